// Package label is about what findings are in a person's word: label.go notes it,
// examples.go gathers it with what is known otherwise, fit.go fits a model to it by
// package learn, sheet.go tells what the model is worth, models.go puts one into force.
package label
