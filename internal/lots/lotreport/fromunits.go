package lotreport

import (
	"slices"

	"finishbench/internal/part"
)

// AddInspections adds findings, stations and uncertainties. Units of which there
// is no inspection keep what the lot's events say.
func (r *Report) AddInspections(all []part.Inspection) {
	at := make(map[int64]int, len(r.Units))
	for i, u := range r.Units {
		if u.Inspection != 0 {
			at[u.Inspection] = i
		}
	}
	in := make([]*part.Inspection, len(r.Units))
	stations, findings := 0, 0
	for i := range all {
		if k, ok := at[all[i].ID]; ok {
			in[k] = &all[i]
			stations, findings = stations+len(all[i].Result.Seam.Stations), findings+len(all[i].Result.Findings)
		}
	}
	r.Stations, r.Findings = slices.Grow(r.Stations, stations), slices.Grow(r.Findings, findings)
	var us []float64
	missing, without, unread := 0, 0, 0
	for k, x := range in {
		if x == nil {
			if r.Units[k].Taken {
				without++
			}
			continue
		}
		u := &r.Units[k]
		if u.By == "" {
			u.By = x.Operator
		}
		r.addFindings(u.Serial, &x.Result)
		for i := range x.Result.Findings {
			// At the seam lie findings of the shell and, with a station, those of edge pictures.
			f := &x.Result.Findings[i]
			if x.Brief && (f.Zone == part.ZoneShell || f.Zone == part.ZoneSeam && f.StepStation == "") {
				unread++
			}
		}
		for i := range x.Result.Seam.Stations {
			s := &x.Result.Seam.Stations[i]
			r.Stations = append(r.Stations, StepStation{Serial: u.Serial, AngleDeg: s.AngleDeg, Side: string(s.Side), StepUM: s.StepUM, UUM: s.UUM, GapUM: s.GapUM, BeadUM: s.BeadUM, Reason: s.Reason})
			switch {
			case s.StepUM == nil:
				missing++
			default:
				if s.UUM != nil {
					us = append(us, *s.UUM)
				}
				if u.WorstStepUM != nil && *s.StepUM == *u.WorstStepUM {
					u.UUM = s.UUM
				}
			}
		}
	}
	if without > 0 {
		r.note("note.no_inspection", "n", count(without))
	}
	if unread > 0 {
		r.note("note.places_unread", "n", count(unread))
	}
	if len(us) > 0 {
		slices.Sort(us)
		r.Gauge.Step = &StepU{Stations: len(r.Stations) - missing, Unmeasured: missing, MedianUM: part.Num(middle(us)), LargestUM: part.Num(us[len(us)-1])}
	}
}

func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func (r *Report) addFindings(serial string, res *part.Result) {
	for i := range res.Findings {
		f := &res.Findings[i]
		r.Findings = append(r.Findings, Finding{Serial: serial, Number: f.Number, Kind: f.Kind, Zone: f.Zone, Severity: f.Severity, Place: f.StepStation, TurnDeg: f.TurnDeg, BelowMM: f.BelowMM,
			DiameterMM: f.DiameterMM, UDiamMM: f.UDiamMM, LengthMM: f.LengthMM, ULengthMM: f.ULengthMM, ValueUM: f.ValueUM, Confidence: f.Confidence})
	}
}

// AddShapes adds the curves of steps of the units that were read in full.
func (r *Report) AddShapes(full []part.Inspection) {
	for i := range full {
		k := slices.IndexFunc(r.Units, func(u Unit) bool { return u.Inspection == full[i].ID })
		if k >= 0 {
			r.Units[k].Seam = full[i].Result.Seam.Shape
		}
	}
}

// AddScales tells the scale files of inspections that were read in full, of how
// many of the sample's.
func (r *Report) AddScales(full []part.Inspection) {
	for i := range full {
		for _, s := range full[i].Result.Scales {
			k := slices.IndexFunc(r.Gauge.Scales, func(o Scale) bool { return o.SHA256 == s.SHA256 && o.View == string(s.View) })
			if k < 0 {
				r.Gauge.Scales = append(r.Gauge.Scales, Scale{File: s.File, SHA256: s.SHA256, Made: s.Made, View: string(s.View), MMPerPX: s.MMPerPX, URel: s.URel})
				k = len(r.Gauge.Scales) - 1
			}
			r.Gauge.Scales[k].Units++
		}
	}
	r.Gauge.ScalesOf = len(full)
}
