package part

// PairLimits is how far left and right of one serial may differ; 0: no limit. It tells
// the eye of whoever compares them and changes no unit's verdict.
type PairLimits struct {
	StepUM   float64 `mapstructure:"step_um"`  // worst steps, with their signs, um, 0..10000
	MeanUM   float64 `mapstructure:"mean_um"`  // mean steps around the seam, um, 0..10000
	DeltaE   float64 `mapstructure:"delta_e"`  // faceplates' colours, CIEDE2000, 0..100
	Demerits float64 `mapstructure:"demerits"` // scores, 0..10000
}
