// Package surface is where the lacquered surface lies in a picture (surface.go: the region, and each pixel's distance from its outline)
// and its rim unrolled into a strip (strip.go). Lengths are in working pixels: full-resolution pixels averaged by a whole factor.
package surface
