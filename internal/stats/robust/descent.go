package robust

// Descent is Levenberg's and Marquardt's way down a sum of squares (Marquardt 1963, SIAM J. Appl. Math. 11:431).
type Descent struct {
	Rounds int     // steps tried before it is given up
	Gain   float64 // a step that takes less than this share off the sum is the last
	Most   float64 // the damping beyond which no direction leads down
}

// Descend goes down from a state of the given sum, which is finite. next gives the state and the sum after one step from the
// normal equations at a state, each term of their diagonal times 1 + damp; +Inf where no step can be taken. rested is false where
// the rounds ran out.
func Descend[S any](d Descent, from S, sum float64, next func(at S, damp float64) (S, float64)) (at S, least float64, rested bool) {
	at, damp := from, 1e-3
	for range d.Rounds {
		if to, s := next(at, damp); s <= sum {
			rested = sum-s <= d.Gain*sum
			at, sum, damp = to, s, max(damp/10, 1e-9)
		} else {
			damp *= 10
			rested = damp > d.Most
		}
		if rested {
			break
		}
	}
	return at, sum, rested
}
