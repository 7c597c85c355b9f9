package grade

import (
	"math"

	"finishbench/internal/part"
)

// raiseClusters applies the cluster rule (see [Cluster]). Findings of one pose
// are one scene, whatever the light; so middles are compared within a view, and
// in edge pictures within a picture. Nothing is raised twice.
func raiseClusters(found []weighed, r *part.Result, l Limits) {
	c := l.Cluster
	if c.Count < 2 || !(r.MMPerPX > 0) {
		return
	}
	scenes := map[string][]int{}
	for i, w := range found {
		if w.doubted || w.Severity.Rank() < c.From.Rank() || !has(c.Kinds, w.Kind) || w.Box == (part.Box{}) {
			continue
		}
		s := scene(r, w.Image)
		scenes[s] = append(scenes[s], i)
	}
	size := make([]int, len(found)) // the largest cluster that each is part of
	for _, members := range scenes {
		for _, i := range members {
			var near []int
			for _, j := range members {
				p, q := found[i].Box.Centre(), found[j].Box.Centre()
				if math.Hypot(p.X-q.X, p.Y-q.Y)*r.MMPerPX <= c.WithinMM {
					near = append(near, j)
				}
			}
			if len(near) < c.Count {
				continue
			}
			for _, j := range near {
				size[j] = max(size[j], len(near))
			}
		}
	}
	for i, n := range size {
		if n > 0 {
			found[i].raise(n, c)
		}
	}
}

// raise lifts a finding that is one of n close together.
func (w *weighed) raise(n int, c Cluster) {
	to := min(w.Severity.Rank()+c.Raise, c.UpTo.Rank())
	if to > w.Severity.Rank() {
		w.Severity, w.cluster, w.within = part.Severities[to], n, c.WithinMM
	}
}

// scene names the pose that a picture shows.
func scene(r *part.Result, image string) string {
	for _, p := range r.Pictures {
		if p.File == image && p.View != part.Edge && p.View != "" {
			return "view " + string(p.View)
		}
	}
	return "picture " + image
}
