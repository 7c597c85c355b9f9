// Package lotreport writes what is to be told of a lot. A [Report] (report.go) is
// plain data; the same report gives the same bytes each time, as its time stamp is
// part of it. Words come from the language files through [Words].
//
//  1. figures.go: the plots, by package plots, for the page and for the PDF alike.
//  2. pdf.go on layout.go: the PDF, by package paper.
//  3. xlsx.go, csv.go, json.go: the same for people who reckon on.
//
// Pure Go; it knows neither files nor databases nor clocks.
//
// # Adding to the report
//
// Numbers go into [Report], filled in internal/lots/book/reporter.go and charts.go; words into
// internal/lang/lot; then each of the four writers. Turn the PDF into pictures and look.
package lotreport
