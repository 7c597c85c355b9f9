// Package detection says from which size on defects are found: units.go matches results
// with what is known of the units, draw.go draws faults of known size into pictures of
// clean faces and looks for them, detection.go puts both into groups and has package
// study fit them, sheet.go writes the page, the statement and the numbers.
package detection
