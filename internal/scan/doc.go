// Package scan tells what a barcode reader sent: which unit, badge, lot or batch of faceplates.
//
//  1. scan.go: a scan's text becomes a [Code], by the station's [Rules].
//  2. own.go: codes that this program prints say themselves what they are.
//  3. gs1.go: element strings of GS1.
//
// How keys become a scan's text is told in package bench.
package scan
