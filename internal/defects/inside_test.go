package defects

import (
	"os"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// seeThrough turns a shell's parameters into those of clear or tinted resin with two boxes and two wires inside.
func seeThrough(p synth.ShellParams, tinted bool) synth.ShellParams {
	q := synth.SeeThroughShell()
	p.Resin, p.Boxes, p.Wires, p.ShellRGB = q.Resin, q.Boxes, q.Wires, q.ShellRGB
	if tinted {
		p.Resin, p.ShellRGB = "tinted", [3]float64{0.75, 0.9, 0.8}
	}
	return p
}

// TestPartsInside: parts and wires inside a drawn tinted shell are not called, and that some of it was not looked at because of them
// is said. An opaque shell in the same light has no parts inside, whatever the rig (all four with FINISHBENCH_FIGURES).
func TestPartsInside(t *testing.T) {
	p := shellParams(2)
	p.Rig, p.Ground = "panels", "grey"
	s, err := turned(seeThrough(p, true), 70)
	if err != nil {
		t.Fatal(err)
	}
	seen := s.turns[0].Found.Seen
	if len(s.before[0]) > 0 || seen.Why[part.Inside] <= 0.02 || seen.Seen() < 0.3 {
		t.Errorf("tinted: %d findings, looked at %+v", len(s.before[0]), seen)
	}
	rigs := []string{"panels"}
	if os.Getenv("FINISHBENCH_FIGURES") != "" {
		rigs = []string{"dome", "ring", "panels", "window"}
	}
	for _, rig := range rigs {
		p.Rig = rig
		if s, err = turned(p, 70); err != nil {
			t.Fatal(err)
		}
		if why := s.turns[0].Found.Seen.Why; why[part.Inside] > 0 {
			t.Errorf("opaque, %s: parts inside are told: %v", rig, why)
		}
	}
}
