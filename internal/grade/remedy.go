package grade

import (
	"fmt"
	"strings"

	"finishbench/internal/part"
)

// Cautions, short: the usual ones for this work. Local rules and licensed
// practice come first.
const (
	gloves = "nitrile gloves"                  // uncured resin and lacquer
	dusty  = "wet sanding or extraction, mask" // dust
	lamp   = "eyes off the lamp"               // ultraviolet
)

// care puts the cautions behind a remedy.
func care(remedy string, cautions ...string) string {
	return remedy + " Take care: " + strings.Join(cautions, "; ") + "."
}

// remedies says what to do, by kind and stage. A step has its own table.
var remedies = map[part.Kind]map[part.Stage]string{
	part.Bubble: {
		part.Trim:  care("No lacquer yet, so this is a pore: wipe and look again; if it stays, fill it with adhesive, set it, trim flush.", gloves, dusty, lamp),
		part.Wet:   care("Prick the bubble with a clean needle and let the lacquer flow together; look again before curing.", gloves),
		part.Cured: care("Cut back to the bottom of the bubble, clean, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Dust: {
		part.Trim:  "Wipe the place with a lint-free cloth and look again before lacquering.",
		part.Wet:   care("Lift the nib out with a clean needle or brush tip and let the lacquer close; look again before curing.", gloves),
		part.Cured: care("Flatten the nib with fine abrasive and polish; where a pit is left, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Fibre: {
		part.Trim:  "Wipe the fibre off with a lint-free cloth and look again before lacquering.",
		part.Wet:   care("Pull the fibre out by one end with clean tweezers and let the lacquer close.", gloves),
		part.Cured: care("Cut back until the fibre is gone, clean, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Sanding: {
		part.Trim:  care("Go over the marks with the next finer abrasive, across them, until they are gone.", dusty),
		part.Wet:   care("The lacquer does not hide these marks: wipe it off, dry, sand finer, lacquer again.", gloves, dusty),
		part.Cured: care("Cut back to the marks, sand finer, clean, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Crater: {
		part.Trim:  care("No lacquer yet, so this is a dent or dirt: degrease and look again; if it stays, fill it, set it, trim flush.", gloves, dusty, lamp),
		part.Wet:   care("Something greasy is under the lacquer: wipe it off, degrease, lacquer again.", gloves),
		part.Cured: care("Cut back the crater and its edge, degrease, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Run: {
		part.Trim:  care("No lacquer yet, so this is set adhesive: trim it flush.", dusty),
		part.Wet:   care("Draw the run off with a clean brush and turn the unit on the spindle until it is level.", gloves),
		part.Cured: care("Cut the run back level, polish; where the coat is through, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.OrangePeel: {
		part.Trim:  care("No lacquer yet: even the surface out with fine abrasive before lacquering.", dusty),
		part.Wet:   care("Give it time on the spindle to level; if it does not, wipe off and lacquer again, thinner.", gloves),
		part.Cured: care("Flatten with fine abrasive and polish; where the coat is through, lacquer again and cure.", gloves, dusty, lamp),
	},
	part.Haze: {
		part.Trim:  care("Clean and look again; a dull patch before lacquer is usually residue or coarse abrasive.", gloves),
		part.Wet:   care("Wipe off, dry well (damp makes lacquer dull), lacquer again.", gloves),
		part.Cured: care("Polish; if it stays dull, cut back, lacquer again and cure fully.", gloves, dusty, lamp),
	},
	part.Chip: {
		part.Trim:  care("Fill the chip with adhesive, set it, trim flush.", gloves, dusty, lamp),
		part.Wet:   care("Wipe the lacquer off, fill the chip, set it, trim flush, lacquer again.", gloves, dusty, lamp),
		part.Cured: care("Fill the chip with lacquer, cure, cut flush and polish. It can be sharp: do not fit the unit.", gloves, dusty, lamp),
	},
	part.Missed: {
		part.Trim:  "No lacquer yet: clean the place, so that the lacquer takes.",
		part.Wet:   care("Brush lacquer onto the bare place and let it flow into the rest.", gloves),
		part.Cured: care("Roughen the place lightly, clean, lacquer it and cure again.", gloves, dusty, lamp),
	},
	part.Gap: {
		part.Trim:  care("Run adhesive into the groove, set it, trim flush.", gloves, dusty, lamp),
		part.Wet:   care("Let lacquer run into the groove with a fine brush, more than once if need be.", gloves),
		part.Cured: care("Clean the groove, fill it with lacquer in thin coats, cure each.", gloves, lamp),
	},
	part.Bead: {
		part.Trim:  care("Trim the bead of adhesive flush with the rotary tool, then fine abrasive.", dusty),
		part.Wet:   care("Wipe the lacquer off, trim the bead flush, lacquer again.", gloves, dusty),
		part.Cured: care("Cut the bead back flush, clean, lacquer again and cure.", gloves, dusty, lamp),
	},
}

var proudRemedies = map[part.Stage]string{
	part.Trim:  care("Sand the faceplate's edge flush with the shell, little by little, and photograph again.", dusty),
	part.Wet:   care("Wipe the lacquer off, sand the faceplate's edge flush, lacquer again.", gloves, dusty),
	part.Cured: care("Cut the faceplate's edge back flush, through the lacquer, clean, lacquer again and cure.", gloves, dusty, lamp),
}

var recessedRemedies = map[part.Stage]string{
	part.Trim:  care("Do not sand: the faceplate lies lower. Fill the edge with adhesive, set it, trim flush; or replace the faceplate.", gloves, dusty, lamp),
	part.Wet:   care("Do not sand: the faceplate lies lower. Build the edge up with lacquer, or wipe off and fill with adhesive.", gloves, lamp),
	part.Cured: "Do not sand: the faceplate lies lower, and a set coat is not built up. Replace the faceplate.",
}

// Remedy says in a line what to do about a finding of this kind at this stage,
// with the usual caution where the work can hurt. A step goes by the sign of the
// finding's ValueUM. It does not ask whether rework can mend the finding: the
// Advice that [Judge] sets does.
func Remedy(k part.Kind, st part.Stage, f part.Finding) string {
	if k == part.Step {
		switch {
		case f.ValueUM == nil:
			return "Photograph the seam again: the step's direction is not known."
		case *f.ValueUM < 0:
			return orAsk(recessedRemedies[st])
		}
		return orAsk(proudRemedies[st])
	}
	return orAsk(remedies[k][st])
}

func orAsk(s string) string {
	if s == "" {
		return "Ask whoever answers for the process: there is no remedy on file for this kind at this stage."
	}
	return s
}

// advice is the line that a judged finding carries.
func advice(st part.Stage, w weighed) string {
	switch {
	case w.seam != nil:
		return causeAdvice(st, w.seam)
	case w.doubted:
		return fmt.Sprintf("Look at the place: too uncertain to count (confidence %.2f).", w.Confidence)
	case w.Severity == part.None && w.atLeast:
		return "Look at it by eye: there are slopes too steep for these stripes."
	case w.Severity == part.None && w.measure != "":
		return "Within its limits: leave it."
	case !w.mends && w.Severity.Rank() >= part.Moderate.Rank():
		return beyond(w.Finding)
	}
	return Remedy(w.Kind, st, w.Finding)
}

const (
	beyondRecessed = "Do not sand: the faceplate lies lower, and too far to fill. Replace the faceplate."
	beyondProud    = "More than can be sanded off here. Replace the faceplate."
)

// beyond is the advice for what rework cannot mend.
func beyond(f part.Finding) string {
	switch {
	case f.Kind == part.Step && f.ValueUM != nil && *f.ValueUM < 0:
		return beyondRecessed
	case f.Kind == part.Step:
		return beyondProud
	case f.Kind == part.Gap:
		return "Too deep to fill. Take the faceplate off and glue it again, or replace it."
	case f.Kind == part.Chip:
		return "Too large to fill. Replace the part that is chipped. It can be sharp: do not fit the unit."
	}
	return "Rework cannot mend this here. Set the unit aside for whoever decides."
}
