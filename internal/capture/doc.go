// Package capture reads a unit's pictures and says whether each is fit to be
// measured.
//
//  1. [Scan] lists what a folder holds: view, light and angle by file name, or
//     by the folder's unit.yaml.
//  2. [Read] takes one file: it reads it once, checks its header and its end
//     before any decoder sees it, decodes it with one decoder, and turns it
//     upright by its orientation tag, once.
//  3. [Check] looks at the decoded picture: light, sharpness, framing, view,
//     panel. What is not fit is "not measured", never a pass.
//  4. [SharePose] looks at the pictures of one pose together: what one shows helps
//     the others. Whether each shows what its name says is package proof's question.
//  5. [Unreadable] makes the same kind of report for a file that Read refused.
//
// Samples stay as the file holds them (mostly sRGB-encoded); package optics
// turns them into linear light. Hand each picture back with [Release] when you
// are done with it, so that the next one need not be paid for in page faults.
package capture
