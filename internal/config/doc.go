// Package config reads the settings files once and turns them into typed,
// validated values. Nothing else in the program sees viper. It is pure Go.
//
// A file is read and parsed once, in two steps. First its form is compared with the Go type that
// it fills (schema.go): every key known, every value of the right type, nothing
// twice. That step knows line numbers, so its complaints name file, line and
// key, and suggest the nearest key. Then viper fills the type ([viper.UnmarshalExact])
// and the value's own Validate checks ranges and words. Viper alone would take
// an unknown key for nothing, a wrong type for 0, and 0123 for 83.
package config
