package report

import (
	"fmt"
	"strings"

	"finishbench/internal/part"
)

// This file holds all English text of pictures, pages and tables.

// Words drawn into pictures.
const textStationUnmeasured = "not measured"

// The hatching in the legend, and its name.
const (
	textHatched  = "nothing was looked for here"
	textHatching = "hatching"
)

func kindWord(k part.Kind) string {
	switch k {
	case part.Dust:
		return "dust nib"
	case part.Sanding:
		return "sanding marks"
	case part.Bead:
		return "glue bead"
	}
	return strings.ReplaceAll(string(k), "_", " ")
}

func verdictWord(v part.Verdict) string {
	switch v {
	case part.Pass:
		return "Pass"
	case part.Rework:
		return "Rework"
	case part.Reject:
		return "Reject"
	}
	return "Not measured"
}

// verdictLine says in a line what a verdict asks for.
func verdictLine(v part.Verdict) string {
	switch v {
	case part.Pass:
		return "Within the limits of this stage. Hand it on."
	case part.Rework:
		return "Put right what is listed below, then photograph it again."
	case part.Reject:
		return "Rework at the bench cannot mend this. Set the unit aside."
	}
	return "This is not a pass. Take the pictures again as told below."
}

func stageWord(s part.Stage) string {
	switch s {
	case part.Trim:
		return "after trimming"
	case part.Wet:
		return "lacquer wet"
	case part.Cured:
		return "after curing"
	}
	return string(s)
}

func lightWord(l part.Light) string {
	switch l {
	case part.Diffuse:
		return "diffuse light"
	case part.Raking:
		return "raking light"
	case part.Back:
		return "lit panel behind"
	case part.White:
		return "screen lit"
	case part.Black:
		return "screen dark"
	}
	if phase, ok := strings.CutPrefix(string(l), "stripes_"); ok && l.OfScreen() {
		return fmt.Sprintf("screen stripes along %c, %d°", phase[0], 90*int(phase[1]-'0'))
	}
	return string(l)
}

func zoneWord(z part.Zone) string {
	switch z {
	case part.ZoneFace:
		return "faceplate"
	case part.ZoneRim:
		return "faceplate's rim"
	case part.ZonePanel:
		return "test panel"
	}
	return string(z)
}

// pictureName says which picture this is, in words: "edge 120°", "face, raking
// light", or the file's name.
func pictureName(r *part.Result, file string) string {
	for i := range r.Seam.Stations {
		if s := &r.Seam.Stations[i]; s.Image == file {
			return fmt.Sprintf("edge %s°", trimNumber(s.AngleDeg, 1))
		}
	}
	for i := range r.Pictures {
		p := &r.Pictures[i]
		if p.File != file || p.View == "" || p.View == part.Edge {
			continue
		}
		name := string(p.View)
		if p.View == part.Shell {
			name += ", turned by " + trimNumber(p.Pose().TurnDeg, 1) + "°"
		}
		if p.Light != part.NoLight {
			name += ", " + lightWord(p.Light)
		}
		return name
	}
	switch file {
	case part.GlossMap:
		return "face, gloss: what it mirrors of the screen"
	case part.SlopeMap:
		return "face, slopes as a relief"
	}
	return file
}

// pictureAlt describes an annotated picture for those who do not see it.
func pictureAlt(r *part.Result, a PagePicture) string {
	file := a.File
	var b strings.Builder
	fmt.Fprintf(&b, "Picture %s (%s)", file, pictureName(r, file))
	n := 0
	for i := range r.Findings {
		f := &r.Findings[i]
		if _, ok := boxIn(f, file); !ok {
			continue
		}
		if n++; n == 1 {
			b.WriteString("; marked: ")
		} else {
			b.WriteString(", ")
		}
		if n > 12 {
			b.WriteString("and more")
			break
		}
		fmt.Fprintf(&b, "%d %s", f.Number, kindWord(f.Kind))
	}
	for i := range r.Seam.Stations {
		if s := &r.Seam.Stations[i]; s.Image == file {
			fmt.Fprintf(&b, "; step %s: %s", s.Side, stationLabel(s))
		}
	}
	if n == 0 {
		b.WriteString("; no finding marked")
	}
	if a.Hatched {
		b.WriteString("; hatched where nothing was looked for")
	}
	return b.String() + "."
}

// cropAlt describes a finding's detail.
func cropAlt(f *part.Finding, r *part.Result, c Crop) string {
	s := fmt.Sprintf("Finding %d, %s, enlarged from %s (%s)", f.Number, kindWord(f.Kind), c.File, pictureName(r, c.File))
	if c.BarMM > 0 {
		s += ", with a bar of " + mmText(c.BarMM)
	}
	return s + "."
}

// problemWord turns the name of a picture's problem into words.
func problemWord(name string) string { return strings.ReplaceAll(name, "_", " ") }

// plural is "1 finding", "3 findings".
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// words are the page's fixed texts.
type words struct {
	Lang, More, Skip, Unit, Why, NoReason, NoReasonFace, NotGiven, Do, NothingToDo, NotFit, PicturesHead, PicturesHint, Legend, Shown, OtherPictures,
	Brightened, NoPictures, StepHead, StepNone, StepConvention, StepCaption, FindingsHead, FindingsNone, Size, Length, Width,
	Area, Across, Slope, Direction, Lines, Zone, Place, Value, Severity, Confidence, Advice, Features, FeatureName, FeatureValue, AlsoIn, NoCrop, Stretched,
	FitHead, FitCaption, Picture, View, State, Sharpness, Clipped, Problems, Ok, NotOk, Warnings, Cautions, About,
	MapHead, MapUnplaced,
	Score, Worst, Findings, Stage, Verdict, UnfitPicture, OnlyRead, Limit, Measured, Remedy, Told, Around, Side, Step, Uncertainty, Gap, Bead, Remark, Scale, KindModel,
	IndexTitle, IndexEmpty, IndexCaption, NoPicture, FullPicture string
	CautionList []string
}

var english = words{
	Lang: "en", More: "and %d more", Skip: "Skip to the findings", Unit: "Unit",
	Why: "Why", NoReason: "No step, gap, bead or finding is over its limit.", NoReasonFace: "No finding is over its limit. The step at the seam was not measured.", NotGiven: "No reason was given.",
	Do: "What to do", NothingToDo: "Nothing has to be done at this stage.", NotFit: "Take again:",
	PicturesHead: "Pictures", PicturesHint: "Click a picture to open it at full size.",
	Legend: "Shapes in the pictures", Shown: "Shows", OtherPictures: "Other pictures",
	Brightened: "Shown brighter than taken.", NoPictures: "There is no picture to show.",
	MapHead: "Shell and faceplate, unrolled", MapUnplaced: "Not on the map, since where on it they lie is not known",
	StepHead: "Step around the seam", StepNone: "There are no edge pictures, so the step at the seam was not measured.",
	StepConvention: "Plus is proud (the faceplate stands out), minus is recessed. In the picture taken at angle a, the right limb is at a and the left limb at a + 180°. Bars show the expanded uncertainty, k = 2, about 95 %.",
	StepCaption:    "Step, gap and glue bead at each station",
	FindingsHead:   "Findings", FindingsNone: "Nothing that disturbs the surface was found.",
	Size: "Size", Length: "Length", Width: "Width", Area: "Area", Across: "Diameter", Slope: "Slope", Direction: "Direction", Lines: "Lines",
	Zone: "Zone", Place: "Place", Value: "Value", Severity: "Severity", Confidence: "Confidence", Advice: "Advice",
	Features: "What led to this kind", FeatureName: "Feature", FeatureValue: "Value", AlsoIn: "Also in",
	NoCrop: "No enlarged detail; see the picture.", Stretched: "contrast raised",
	FitHead: "Were the pictures fit to measure?", FitCaption: "Each picture, and what was checked",
	Picture: "Picture", View: "View", State: "State", Sharpness: "Edge width, px", Clipped: "Clipped, %", Problems: "Problems and remedies",
	Ok: "fit", NotOk: "not fit", Warnings: "To bear in mind", Cautions: "Cautions", About: "About this page",
	Score: "Demerits", Verdict: "Verdict", UnfitPicture: "✗ not fit to measure", OnlyRead: "Read only: nothing was looked for in it.", Worst: "Largest step", Findings: "Findings", Stage: "Stage",
	Limit: "limit", Measured: "measured", Remedy: "Remedy", Told: "measured all the same",
	Around: "Around", Side: "Side", Step: "Step, µm", Uncertainty: "± U, µm (k = 2)", Gap: "Gap, µm", Bead: "Bead, µm", Remark: "Remark", Scale: "Scale", KindModel: "Kinds by model %s",
	IndexTitle: "Inspected units", IndexEmpty: "No unit was inspected.", IndexCaption: "Each unit, with its verdict",
	NoPicture: "no picture", FullPicture: "full size",
	CautionList: []string{
		"A pass says that the surface and the seam meet the limits of this stage. It says nothing about fit, hearing safety or skin tolerance.",
		"Curing lamps and boxes harm eyes and skin: keep the shielded door shut, wear eyewear for ultraviolet light, never look in.",
		"Uncured resin and lacquer can sensitise the skin: wear nitrile gloves, touch no wet unit with a bare hand.",
		"Sanding and cutting back raise dust: use extraction or sand wet, and wear a mask.",
		"Local codes, the makers' safety data sheets and licensed practice come first.",
	},
}

// Words of the map of shell and faceplate.
const (
	textMapPlate      = "faceplate"
	textMapShell      = "shell, cut open along turn 0"
	textMapTurn       = "turn"
	textMapBelow      = "mm below the seam"
	textMapSome       = "looked at in some lights only"
	textMapNone       = "not looked at"
	textMapLooked     = "Looked at %s of the shell over all turns, in at least one light."
	textMapSeeThrough = "The shell is see-through: what lies inside it shows."
	textMapScale      = "A place is at the turn by which the unit is turned when that place is in the middle of the picture. Faceplate and shell are drawn at one scale; along the turn it holds where the shell has its mean girth of %s mm."
	textMapNoPlate    = "The faceplate's outline is not known."
	textOnShell       = "%s° of turn, %s mm below the seam"
)

// Words of the step plot.
const (
	textPlotX            = "angle around the seam"
	textPlotY            = "step, µm"
	textPlotProud        = "proud limit"
	textPlotRecessed     = "recess limit"
	textPlotNoneMeasured = "No station could be measured."
	textPlotSummary      = "%d of %d stations measured, from %s µm at %s° to %s µm at %s°; %d beyond a limit. The table below has each value."
)

// Words of the pages about the gauge.
const (
	textSheetSkip    = "Skip to the reasons and figures"
	textSheetCaution = "Good, fair and poor are said of the gauge, not of a unit. They hold for the camera, lens, light, pieces and people they were found with."
	textUnrated      = "not rated"
	textUnnamedTable = "Table"
	textMarkedRow    = "▸ stands out"
	textMarkedText   = "* stands out"
)

// The words for where a value lies beside its zone.
const (
	textBarIn     = "in the zone"
	textBarBelow  = "too low"
	textBarAbove  = "too high"
	textBarNone   = "not measured"
	textBarNoZone = "no zone given"
)

// Words inside the page's tables.
const (
	textAt           = " (%s°, %s)"
	textOverProud    = "proud beyond the limit"
	textOverRecessed = "recessed beyond the limit"
	textSeamFromRim  = "seam not seen; its height taken from the rim"
)
