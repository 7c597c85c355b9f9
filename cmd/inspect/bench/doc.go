// Package bench holds 'inspect bench' and 'inspect screen shoot', which serve the bench's
// page: their flags and their help.
package bench
