package stripes

import (
	"errors"
	"math"
	"sync"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Paint is the picture under a white screen with less noise: the four phases of a direction
// add up to twice the white screen's light, so that white and all eight make five of it. It is
// 16-bit, and its samples are encoded as the others' are.
func Paint(white *part.Image, images map[part.Light]*part.Image) (*part.Image, error) {
	if err := white.Validate(); err != nil {
		return nil, err
	}
	all := []*part.Image{white}
	for _, of := range Lights {
		for _, l := range of {
			im := images[l]
			if im == nil || im.W != white.W || im.H != white.H || im.C != white.C {
				return nil, errors.New("stripes: the stripes are not all there, or not of the white picture's size")
			}
			all = append(all, im)
		}
	}
	out := &part.Image{W: white.W, H: white.H, C: white.C, Pix16: make([]uint16, white.W*white.H*white.C)}
	const share = 1.0 / (2*Phases/2 + 1) // the stripes' mean is half of white
	encode := encoded()
	var rows sync.WaitGroup
	const parts = 2
	n := len(out.Pix16)
	for k := range parts {
		rows.Add(1)
		go func() {
			defer rows.Done()
			sum := make([]float32, 4096)
			for from := k * n / parts; from < (k+1)*n/parts; from += len(sum) {
				s := sum[:min(len(sum), (k+1)*n/parts-from)]
				clear(s)
				for _, im := range all {
					addLight(s, im, from)
				}
				for i, v := range s {
					out.Pix16[from+i] = encode[int(min(1, v*share)*float32(len(encode)-1)+0.5)]
				}
			}
		}()
	}
	rows.Wait()
	return out, nil
}

// addLight adds a picture's linear light from sample from on.
func addLight(to []float32, im *part.Image, from int) {
	if im.Pix16 != nil {
		t := optics.Linear16()
		for i, v := range im.Pix16[from : from+len(to)] {
			to[i] += t[v]
		}
		return
	}
	t := optics.Linear8()
	for i, v := range im.Pix8[from : from+len(to)] {
		to[i] += t[v]
	}
}

// encoded is the table from linear light to a 16-bit sample.
var encoded = sync.OnceValue(func() []uint16 {
	t := make([]uint16, 1<<16)
	for i := range t {
		t[i] = uint16(math.Round(65535 * optics.LinearToSRGB(float64(i)/float64(len(t)-1))))
	}
	return t
})
