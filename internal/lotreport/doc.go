// Package lotreport writes what is to be told of a lot: one [Report] as PDF
// (pdf.go), XLSX (xlsx.go), CSV (csv.go) and JSON. Pure Go.
package lotreport

import (
	_ "codeberg.org/go-pdf/fpdf"
	_ "github.com/xuri/excelize/v2"
)
