// Package report turns a [part.Result] and its pictures into what people look
// at: annotated pictures, one page a unit, an index of units, and units.csv.
//
// The order in which a unit's files are made:
//
//  1. [Annotate] draws seam, stations and findings on a copy of each picture;
//     [EncodeJPEG] makes the file annotated/<name>.jpg of it ([AnnotatedName]).
//  2. [MakePagePicture] makes the small picture that the page carries.
//  3. [MakeCrops] (or [MakeCrop], one by one) makes the enlarged detail of each
//     finding, with a scale bar.
//  4. [Page] writes report.html, stepplot.go draws its plot of the step.
//  5. [WriteUnitsCSV] and [IndexPage] write what lies above the units.
//
// What is about the gauge and not about a unit is a [Sheet]: [SheetPage] writes
// it for a browser, [SheetText] for a terminal. Its plots come from outside, as
// SVG; a [SheetBar] is drawn here, by [BarSVG] and [BarText]. The head and foot
// that all pages share are in shared.html.
//
// Every kind of finding has a shape of its own (shapes.go), the same in the
// pictures and on the page; colour only helps. A mark never covers the box of
// its finding, nor the box of a smaller one. A unit's page has
// its words from package lang, by words.go; what is English only is in text.go. All colours
// are in palette.go.
//
// Only the JPEG encoder and the fast shrinking need C libraries; built without cgo
// the package uses Go's own, slower ones. Nothing here reads a clock or a file.
package report
