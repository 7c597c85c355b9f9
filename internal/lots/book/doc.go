// Package book keeps lots in the records: book.go reads a lot's events and writes the next
// one, and each further file is a step of a lot, what it reads, decides and tells: plan.go
// and design.go, draw.go, take.go and takefolders.go, decide.go, step.go, show.go. Its
// report is gathered by reporter.go and charts.go and written by report.go; chart.go
// draws the process over many lots.
package book
