package robust

// Quadric gathers the normal equations of a surface of second degree through values v at x, y: their
// unknowns are what 1, x, y, x^2, xy, y^2 are multiplied by. As values can be taken off again, a fit that leaves
// a few out need not gather the others anew.
type Quadric struct {
	xy [15]float64 // sums of x^a y^b, a + b <= 4, in the order of the degree a + b, then of b
	v  [6]float64  // sums of v times each term
}

// Add counts a value n times; n = -1 takes it off.
func (q *Quadric) Add(x, y, v, n float64) {
	xx, xy, yy := x*x, x*y, y*y
	for i, t := range [15]float64{1, x, y, xx, xy, yy, xx * x, xx * y, x * yy, y * yy, xx * xx, xx * xy, xx * yy, xy * yy, yy * yy} {
		q.xy[i] += n * t
	}
	q.AddValue(x, y, n*v)
}

// AddValue counts a value, but not its place: where others were counted at the same places before.
func (q *Quadric) AddValue(x, y, v float64) {
	q.v[0] += v
	q.v[1] += v * x
	q.v[2] += v * y
	q.v[3] += v * x * x
	q.v[4] += v * x * y
	q.v[5] += v * y * y
}

// Equations are the first n of the six, upper half, with the right side in column 6.
func (q *Quadric) Equations(n int) (a [6][7]float64) {
	degree, ofY := [6]int{0, 1, 1, 2, 2, 2}, [6]int{0, 0, 1, 0, 1, 2}
	for i := range n {
		for j := i; j < n; j++ {
			d := degree[i] + degree[j]
			a[i][j] = q.xy[d*(d+1)/2+ofY[i]+ofY[j]]
		}
		a[i][6] = q.v[i]
	}
	return a
}
