package synth

import "math/rand/v2"

// StudyParams describe a crossed study with known components of variance.
type StudyParams struct {
	Parts, Appraisers, Trials int
	Mean                      float64
	// Standard deviations, all in the unit of Mean.
	PartSD, AppraiserSD, InteractionSD, RepeatSD float64
}

// Study draws the readings of a crossed study, by part, appraiser and trial:
// the mean plus a part's, an appraiser's, a cell's and a reading's own share,
// each drawn from a normal distribution. The same seed gives the same study.
func Study(p StudyParams, seed uint64) [][][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x57d1))
	draw := func(n int, sd float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = sd * rng.NormFloat64()
		}
		return v
	}
	part, appraiser := draw(p.Parts, p.PartSD), draw(p.Appraisers, p.AppraiserSD)
	all := make([][][]float64, p.Parts)
	for i := range all {
		cell := draw(p.Appraisers, p.InteractionSD)
		all[i] = make([][]float64, p.Appraisers)
		for j := range all[i] {
			all[i][j] = draw(p.Trials, p.RepeatSD)
			for k := range all[i][j] {
				all[i][j][k] += p.Mean + part[i] + appraiser[j] + cell[j]
			}
		}
	}
	return all
}
