// Package part holds the nouns of the pipeline: what flows from the camera to
// the report. It is pure Go, knows no file, no clock and no pixel library, and
// every other package may import it.
//
// The pipeline, in order:
//
//  1. capture reads a unit's folder into Shots and their Images, and checks
//     whether each picture is fit to measure ([PictureReport]).
//  2. outline finds the unit's rough silhouette in a picture.
//  3. seam finds the seam in an edge picture and measures the step at both
//     limbs ([Station]).
//  4. defects finds what disturbs the surface in a scene, that is, in all
//     pictures of one pose ([Finding]).
//  5. grade weighs findings and steps against the limits ([Result]).
//  6. report writes annotated pictures, the page and the tables.
//
// # Conventions
//
// Integer pixel coordinates are pixel centres; (0,0) is the centre of the
// top-left pixel, x grows to the right, y downwards, and a pixel covers
// -0.5..0.5. Boxes are x, y, width, height of the covered area in
// full-resolution pixels: a single pixel at (3,4) has the box 2.5,3.5,1,1.
// Names carry their unit (StepUM, LengthMM, AngleDeg, XPX). A number that could
// not be measured is a nil pointer, or NaN inside the pipeline; never 0.
package part
