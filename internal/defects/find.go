package defects

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
)

// Find looks at one scene: the pictures of one pose of a faceplate, all of one
// size, each under another light. It returns the findings in no particular order,
// without severity, advice or number. Errors say what is wrong with the scene.
func Find(scene []Picture, p Params) (Result, error) { return find(scene, p, false) }

// FindPanel looks at a flat lacquered test panel that fills the whole picture.
func FindPanel(scene []Picture, p Params) (Result, error) { return find(scene, p, true) }

func find(scene []Picture, p Params, panel bool) (Result, error) {
	if err := p.validate(); err != nil {
		return Result{}, err
	}
	if err := checkScene(scene); err != nil {
		return Result{}, err
	}
	f, err := prepare(scene, p, panel)
	if err != nil {
		return Result{}, err
	}
	r, err := f.respond()
	if err != nil {
		return Result{}, err
	}
	var places []*place
	for _, pixels := range segment(r.ratio, float32(p.GrowShare), 2) {
		places = append(places, f.newPlace(pixels, r))
	}
	var out Result
	for _, pl := range f.group(places, r) {
		fd := f.finding(pl, r)
		if panel {
			fd.Zone = part.ZonePanel
		}
		if fd.Confidence >= p.MinConfidence {
			out.Findings = append(out.Findings, fd)
		}
	}
	out.Warnings = f.warnings(len(out.Findings))
	for _, q := range f.surf.outline {
		k := float64(f.factor)
		out.Outline = append(out.Outline, part.Point{X: q.X * k, Y: q.Y * k})
	}
	return out, nil
}

// checkScene refuses pictures that do not belong together.
func checkScene(scene []Picture) error {
	if len(scene) == 0 {
		return fmt.Errorf("defects: a scene without pictures")
	}
	for _, s := range scene {
		if err := s.Image.Validate(); err != nil {
			return fmt.Errorf("defects: %s: %w", s.Shot.File, err)
		}
		if a, b := s.Image, scene[0].Image; a.W != b.W || a.H != b.H {
			return fmt.Errorf("defects: %s is %dx%d and %s is %dx%d: pictures of one pose must be of one size; photograph them without moving the camera",
				s.Shot.File, a.W, a.H, scene[0].Shot.File, b.W, b.H)
		}
	}
	return nil
}

// warnings are what a reader of the findings must know.
func (f *face) warnings(n int) []string {
	var out []string
	if len(f.scene) == 1 {
		out = append(out, fmt.Sprintf("%s: one light only; faint bubbles and craters, and defects that look like the pattern, may be missed: photograph the same pose under a second light", f.scene[0].Shot.File))
	}
	if f.factor == 1 && f.mmPX > 2*f.p.WorkMM {
		out = append(out, fmt.Sprintf("%.3f mm per pixel is coarse: defects under %.2f mm may be missed", f.mmPX, 4*f.mmPX))
	}
	if n > f.p.MaxFindings {
		out = append(out, fmt.Sprintf("%d places found: the surface as a whole may be unfit (orange peel, haze, unlacquered) or the pictures may not belong together", n))
	}
	return out
}

// prepare makes a face of a scene: surface, channels, base, noise, palette.
func prepare(scene []Picture, p Params, panel bool) (*face, error) {
	f := &face{scene: scene, p: p, factor: workFactor(p)}
	f.mmPX = p.MMPerPX * float64(f.factor)
	var err error
	if panel {
		f.surf = wholeSurface(scene[0].Image.W/f.factor, scene[0].Image.H/f.factor)
	} else if f.surf, err = findSurface(scene, f.factor); err != nil {
		return nil, err
	}
	if f.channels, err = loadChannels(scene, f.factor, f.surf); err != nil {
		return nil, err
	}
	deep := float32(0)
	if !f.surf.all {
		deep = float32(f.p.RimMM / f.mmPX)
	}
	f.grid = newCellGrid(f.surf.w, f.surf.h, max(8, int(p.CellMM/f.mmPX+0.5)))
	for _, c := range f.channels {
		s := part.NewPlane(f.surf.w, f.surf.h)
		if err := gauss(s, c.plane, max(0.6, p.BlurMM/f.mmPX)); err != nil {
			return nil, err
		}
		b, err := f.grid.newSpread(f.grid.medians(s, f.surf.dist, deep))
		if err != nil {
			return nil, err
		}
		f.smooth, f.base = append(f.smooth, s), append(f.base, b)
	}
	f.samplePoints(deep)
	if err := f.learn(); err != nil {
		return nil, err
	}
	if !f.surf.all {
		f.endOfRim(deep)
	}
	return f, nil
}

// endOfRim finds, for each of rimSectors angles, the distance from the outline
// from which on the left-over response is that of the face, and turns dist into
// the depth beyond it: the flat face is where dist > 0. The rim's shading and the
// lamps mirrored in it lie off the pattern's directions, so the pattern does not
// matter here.
func (f *face) endOfRim(deep float32) {
	w, h := f.surf.w, f.surf.h
	n := int(deep) + int(deep)/2
	bins := make([][]float32, rimSectors*n)
	planes := f.project(f.pal.left)
	cx, cy := float64(w)/2, float64(h)/2
	sectorOf := func(x, y int) int {
		return int((math.Atan2(float64(y)-cy, float64(x)-cx)+math.Pi)/(2*math.Pi)*rimSectors) % rimSectors
	}
	for y := range h {
		for x := y % 2; x < w; x += 2 {
			i := y*w + x
			d := f.surf.dist.V[i]
			if d <= 0 || int(d) >= n {
				continue
			}
			chi := float32(0)
			for _, p := range planes {
				chi += p.V[i] * p.V[i]
			}
			k := sectorOf(x, y)*n + int(d)
			bins[k] = append(bins[k], chi)
		}
	}
	var flat [rimSectors]float32
	for s := range flat {
		flat[s] = rimEnd(bins[s*n:(s+1)*n], int(deep))
	}
	sorted := slices.Clone(flat[:])
	slices.Sort(sorted)
	most := sorted[rimSectors*9/10] // a defect near the rim reaches deep in a sector or two; a rim does not
	margin := float32(max(1, int(f.p.MarginMM/f.mmPX)))
	for y := range h {
		for x := range w {
			i := y*w + x
			if f.surf.dist.V[i] > deep+margin {
				continue
			}
			s := sectorOf(x, y)
			f.surf.dist.V[i] -= min(most, max(flat[s], flat[(s+1)%rimSectors], flat[(s+rimSectors-1)%rimSectors])) + margin
		}
	}
}

// rimEnd is the distance from which on the bins' third quartiles stay near those
// beyond deep: a lamp's image may fill only part of a sector.
func rimEnd(bins [][]float32, deep int) float32 {
	med := make([]float64, len(bins))
	for i, b := range bins {
		med[i] = math.NaN()
		if len(b) >= 12 {
			slices.Sort(b)
			med[i] = float64(b[len(b)*3/4])
		}
	}
	far := slices.DeleteFunc(slices.Clone(med[deep:]), math.IsNaN)
	if len(far) == 0 {
		return float32(deep)
	}
	slices.Sort(far)
	limit := 1.6 * far[len(far)/2]
	over := 0
	for i := deep - 1; i >= 0; i-- {
		if math.IsNaN(med[i]) || med[i] > limit {
			if over++; over == 2 {
				return float32(i + 2)
			}
		} else {
			over = 0
		}
	}
	return 0
}

// samplePoints picks an even sample of the flat face.
func (f *face) samplePoints(from float32) {
	const want = 25000
	n := 0
	for _, d := range f.surf.dist.V {
		if d > from {
			n++
		}
	}
	step := max(1, n/want)
	k := 0
	for i, d := range f.surf.dist.V {
		if d > from {
			if k%step == 0 {
				f.points = append(f.points, i)
			}
			k++
		}
	}
}

// learn measures noise and learns the palette.
func (f *face) learn() error {
	nc, w := len(f.channels), f.surf.w
	noise, base := make([]float64, nc), make([]float64, nc)
	for c := range f.channels {
		s := f.smooth[c]
		d := make([]float64, 0, len(f.points))
		v := make([]float64, 0, len(f.points))
		for _, i := range f.points {
			x, y := i%w, i/w
			if x < 4 || y < 4 || x >= w-4 || y >= f.surf.h-4 {
				continue
			}
			m := (s.V[i-4] + s.V[i+4] + s.V[i-4*w] + s.V[i+4*w]) / 4
			d = append(d, math.Abs(float64(s.V[i]-m)))
			v = append(v, float64(s.V[i]))
		}
		if len(d) == 0 {
			continue
		}
		slices.Sort(d)
		slices.Sort(v)
		base[c] = v[len(v)/2]
		f.channels[c].base = base[c]
		noise[c] = max(1.4826*d[len(d)/2]/math.Sqrt(1.25), 0.003*base[c], 1e-5)
	}
	f.noise = noise
	for c := 0; c+2 < nc; c++ {
		if f.channels[c].pic == f.channels[c+2].pic && (c == 0 || f.channels[c-1].pic != f.channels[c].pic) {
			f.colour = append(f.colour, [3]int{c, c + 1, c + 2})
		}
	}
	most := min(maxPigments, nc/2)
	var err error
	f.pal, err = learnPalette(f.samples(func(int) bool { return true }), noise, base, f.colour, most)
	return err
}

// samples returns the sampled pixels' deviations from base, of those that pass.
func (f *face) samples(pass func(i int) bool) []sample {
	var out []sample
	for _, i := range f.points {
		if !pass(i) {
			continue
		}
		x, y := i%f.surf.w, i/f.surf.w
		dev := make([]float64, len(f.channels))
		for c := range dev {
			dev[c] = float64(f.smooth[c].V[i] - f.base[c].V[y*f.base[c].W+x])
		}
		out = append(out, sample{dev: dev, cell: y/f.grid.cell*f.grid.nx + x/f.grid.cell})
	}
	return out
}
