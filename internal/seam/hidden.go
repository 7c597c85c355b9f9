package seam

// hiddenSeam finds the seam where the colour is the same on both sides.
func hiddenSeam(l *light, sil *silhouette, end outlineEnd, dir float64, p Params) (seamCurve, string) {
	return seamCurve{}, "the seam cannot be seen: the colour does not change across it"
}
