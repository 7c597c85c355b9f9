// Package raster has what is done to planes of light and sets of pixels, whatever they show: filters, distances, means over cells,
// connected regions, quantiles. Of defects' rooms it alone calls OpenCV.
//
// Planes (part.Plane) are row by row, (0,0) the top left pixel; a set of pixels is a list of their indices y*w+x, a mask one value a
// pixel. Functions do not keep what they are given. Those that may fail say which sizes do not go together.
package raster
