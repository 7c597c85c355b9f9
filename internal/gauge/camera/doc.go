// Package camera judges a camera by pictures that it took: noise, dark level, linearity,
// evenness and sharpness over the field; it makes the flat field. series.go reads which
// pictures belong together, sheet.go and json.go tell what was measured.
package camera
