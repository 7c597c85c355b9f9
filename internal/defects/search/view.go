package search

import (
	"math/bits"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// View is a set of pictures and what is searched in just these.
type View struct {
	Pics []int
	area int // search pixels that are open in these and no others
}

// Views lists the sets of pictures in which something is to be searched, the
// largest first; slivers too small for anything are left out.
func (f *Face) Views() []View {
	var area [256]int
	for i, s := range f.Open {
		if s != 0 && f.Surface.Dist.V[i] > 0 {
			area[s]++
		}
	}
	var out []View
	for n := len(f.Pictures); n > 0; n-- {
		for s, a := range area {
			if bits.OnesCount8(uint8(s)) != n || float64(a)*f.MMPX*f.MMPX < scene.LeastViewMM2 {
				continue
			}
			v := View{area: a}
			for p := range f.Pictures {
				if s>>p&1 == 1 {
					v.Pics = append(v.Pics, p)
				}
			}
			out = append(out, v)
		}
	}
	return out
}

// sliverMM2 is the area under which a view is searched for what is small alone.
const sliverMM2 = 25

// With is the face as only some of its pictures show it: its noise, colours and
// thresholds are learned where all of them are open; own is true where these are
// all that are.
func (f *Face) With(v View) (sub *Face, own []bool, err error) {
	set := uint8(0)
	for _, p := range v.Pics {
		set |= 1 << p
	}
	c := *f
	sub = &c
	sub.sliver = float64(v.area)*f.MMPX*f.MMPX < sliverMM2
	surf := *f.Surface
	surf.Dist = part.NewPlane(surf.W, surf.H)
	own = make([]bool, len(f.Open))
	for i, s := range f.Open {
		if s&set == set {
			surf.Dist.V[i] = f.Surface.Dist.V[i]
		}
		own[i] = s == set
	}
	sub.Surface = &surf
	sub.Pictures, sub.Channels, sub.colour = nil, nil, nil
	for k, p := range v.Pics {
		sub.Pictures = append(sub.Pictures, f.Pictures[p])
		for _, ch := range f.Channels {
			if ch.Pic == p {
				ch.Pic = k
				ch.Gain = nil
				if f.Gain != nil {
					ch.Gain = f.Gain[p]
				}
				sub.Channels = append(sub.Channels, ch)
			}
		}
	}
	if f.Lone {
		even, err := sub.evenTexture()
		if err != nil {
			return nil, nil, err
		}
		for k := range sub.Channels {
			sub.Channels[k].Gain = even
		}
	}
	sub.Points = sub.SamplePoints(surf.Dist, f.RimPX())
	if err := sub.setBesideLamps(f, v); err != nil {
		return nil, nil, err
	}
	if err := sub.learn(); err != nil {
		return nil, nil, err
	}
	return sub, own, nil
}
