// Package scaling makes a scale file of pictures of a target: fit.go has the target found
// and the scale and the lens fitted, sheet.go builds the page that goes with the file.
package scaling
