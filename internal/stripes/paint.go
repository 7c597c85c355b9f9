package stripes

import (
	"math"
	"sync"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Paint is the picture under a white screen with less noise: the four phases of a direction
// add up to twice the white screen's light, so that white and all eight make five of it; of
// three phases, 0 and 180 degrees add up to one. white may be nil: then
// it is as bright as the stripes' mean. It is 16-bit, and its samples are encoded as the
// others' are.
func Paint(white *part.Image, images map[part.Light]*part.Image) (*part.Image, error) {
	var all []*part.Image
	if white != nil {
		if err := white.Validate(); err != nil {
			return nil, err
		}
		all = append(all, white)
	}
	whites, step := float32(len(all)), 1
	if phasesOf(images) == threePhases {
		step = 2
	}
	for _, of := range Lights {
		for k := 0; k < Phases; k += step {
			im := images[of[k]]
			if im == nil || im.Validate() != nil || len(all) > 0 && (im.W != all[0].W || im.H != all[0].H || im.C != all[0].C) {
				return nil, lang.Error(part.Say("stripes.err.paint", "light", string(of[k])))
			}
			all, whites = append(all, im), whites+0.5
		}
	}
	first := all[0]
	out := &part.Image{W: first.W, H: first.H, C: first.C, Pix16: make([]uint16, first.W*first.H*first.C)}
	share := 1 / whites
	if white == nil { // exposed for stripes, whose mean is half as bright
		share /= 2
	}
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
