package grade

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// DefaultLimits are the limits that configs/limits.yaml ships; that file says
// more on each. Every value is common practice, no source.
func DefaultLimits() Limits {
	var (
		trim    = []part.Stage{part.Trim}
		wet     = []part.Stage{part.Wet}
		cured   = []part.Stage{part.Cured}
		lacquer = []part.Stage{part.Wet, part.Cured}
		every   = slices.Clone(part.Stages)
		front   = []part.Zone{part.ZoneFace, part.ZonePanel}
		border  = []part.Zone{part.ZoneRim, part.ZoneSeam}
		shell   = []part.Zone{part.ZoneShell}
		side    = []part.Zone{part.ZoneRim, part.ZoneSeam, part.ZoneShell}
		all     = []part.Zone{part.ZoneFace, part.ZonePanel, part.ZoneRim, part.ZoneSeam, part.ZoneShell}
	)
	surface := func(st []part.Stage, z []part.Zone, k []part.Kind, by ...Classes) SurfaceLimit {
		return SurfaceLimit{Stages: st, Zones: z, Kinds: k, By: by}
	}
	kinds := func(k ...part.Kind) []part.Kind { return k }
	return Limits{
		Version:       1,
		ScoreLimit:    20,
		MinConfidence: 0.5,
		Decision:      Decision{Rule: Simple, K: 2},
		Cluster: Cluster{Count: 3, WithinMM: 2, Raise: 1, UpTo: part.Major, From: part.Minor,
			Kinds: kinds(part.Bubble, part.Dust, part.Crater)},
		Pair: part.PairLimits{StepUM: 50, MeanUM: 25, DeltaE: 2, Demerits: 20},
		Required: []Required{
			{Stages: trim, Views: []part.View{part.Edge}},
			{Stages: lacquer, Views: []part.View{part.Edge, part.Face}},
		},
		LookedAt: []LookedAt{{Stages: lacquer, Views: []part.View{part.Face}, Least: 0.75}},
		Seam: []SeamLimit{
			{Stages: trim, By: []Classes{
				classes(ProudUM, 30, 40, 50, 200),
				classes(RecessedUM, 30, 40, 50, 200),
				classes(GapUM, 30, 60, 100, never),
				classes(BeadUM, 20, 40, 80, never),
			}},
			{Stages: lacquer, By: []Classes{
				classes(ProudUM, 30, 40, 50, 200),
				classes(RecessedUM, 30, 40, 50, 200),
				classes(GapUM, 20, 40, 80, never),
				classes(BeadUM, 20, 40, 80, never),
			}},
		},
		Surface: []SurfaceLimit{
			surface(lacquer, front, kinds(part.Bubble), classes(DiameterMM, 0.10, 0.20, 0.30, 1.00)),
			surface(lacquer, border, kinds(part.Bubble), classes(DiameterMM, 0.15, 0.30, 0.50, 1.50)),
			surface(lacquer, shell, kinds(part.Bubble), classes(DiameterMM, 0.20, 0.40, 0.80, 2.00)),
			surface(lacquer, front, kinds(part.Dust), classes(DiameterMM, 0.10, 0.20, 0.40, 1.00)),
			surface(lacquer, border, kinds(part.Dust), classes(DiameterMM, 0.15, 0.30, 0.60, 1.50)),
			surface(lacquer, shell, kinds(part.Dust), classes(DiameterMM, 0.20, 0.40, 0.80, 2.00)),
			surface(lacquer, front, kinds(part.Crater), classes(DiameterMM, 0.10, 0.25, 0.50, 1.50)),
			surface(lacquer, side, kinds(part.Crater), classes(DiameterMM, 0.20, 0.40, 0.80, 2.00)),
			surface(lacquer, front, kinds(part.Fibre), classes(LengthMM, 0.20, 0.50, 1.50, never)),
			surface(lacquer, side, kinds(part.Fibre), classes(LengthMM, 0.40, 1.00, 2.50, never)),
			surface(lacquer, front, kinds(part.Sanding),
				classes(LengthMM, 0.30, 1.00, 3.00, never), classes(Lines, never, 8, 25, never)),
			surface(lacquer, side, kinds(part.Sanding),
				classes(LengthMM, 0.60, 2.00, 5.00, never), classes(Lines, never, 15, 40, never)),
			surface(lacquer, all, kinds(part.Run), classes(LengthMM, 0.30, 1.00, 3.00, never)),
			surface(lacquer, front, kinds(part.OrangePeel, part.Haze), classes(AreaMM2, 1, 4, 15, never)),
			surface(lacquer, side, kinds(part.OrangePeel, part.Haze), classes(AreaMM2, 3, 10, 30, never)),
			surface(lacquer, all, kinds(part.Missed), classes(AreaMM2, 0.05, 0.20, 1.00, never)),
			surface(trim, all, kinds(part.Bubble, part.Dust, part.Crater), classes(DiameterMM, 0.30, 1.00, never, never)),
			surface(trim, all, kinds(part.Fibre, part.Run), classes(LengthMM, 1.00, 3.00, never, never)),
			surface(trim, all, kinds(part.OrangePeel, part.Haze, part.Missed), classes(AreaMM2, 10, never, never, never)),
			surface(trim, front, kinds(part.Sanding),
				classes(LengthMM, 0.50, 1.50, 4.00, never), classes(Lines, never, 12, 35, never)),
			surface(trim, side, kinds(part.Sanding),
				classes(LengthMM, 1.00, 3.00, 6.00, never), classes(Lines, never, 20, 50, never)),
			surface(every, all, kinds(part.Chip), classes(LengthMM, 0.10, 0.20, 0.50, 2.00)),
		},
		Waviness: []Waviness{{Stages: lacquer, By: []WaveClasses{
			waves(4, 0.125, 2, 4, 6),
			waves(4, 2, 1.5, 3, 4.5),
			waves(2, 1, 1.5, 3, 4.5),
			waves(1, 0.5, 1.5, 3, 4.5),
		}}},
		Mend: []Mend{
			{Stages: trim, What: []string{Proud}, Mendable: true, UpToUM: bound(500)},
			{Stages: lacquer, What: []string{Proud}, Mendable: true, UpToUM: bound(200)},
			{Stages: trim, What: []string{Recessed}, Mendable: true, UpToUM: bound(150)},
			{Stages: wet, What: []string{Recessed}, Mendable: true, UpToUM: bound(80)},
			{Stages: cured, What: []string{Recessed}, Mendable: false},
			{Stages: every, What: []string{string(part.Gap)}, Mendable: true, UpToUM: bound(300)},
			{Stages: every, What: []string{string(part.Bead)}, Mendable: true},
			{Stages: every, What: words(kinds(part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run,
				part.OrangePeel, part.Haze, part.Missed)), Mendable: true},
			{Stages: trim, What: []string{string(part.Chip)}, Mendable: true, UpToMM: bound(1.0)},
			{Stages: lacquer, What: []string{string(part.Chip)}, Mendable: true, UpToMM: bound(0.5)},
		},
	}
}

// never marks a class without a bound.
var never = math.Inf(1)

func classes(measure string, minor, moderate, major, critical float64) Classes {
	return Classes{Measure: measure, Minor: bound(minor), Moderate: bound(moderate), Major: bound(major), Critical: bound(critical)}
}

func waves(fromMM, toMM, minor, moderate, major float64) WaveClasses {
	return WaveClasses{FromMM: fromMM, ToMM: toMM, Minor: bound(minor), Moderate: bound(moderate), Major: bound(major)}
}

func bound(v float64) *float64 {
	if math.IsInf(v, 1) {
		return nil
	}
	return &v
}
