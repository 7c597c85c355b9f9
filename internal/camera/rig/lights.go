package rig

import (
	"context"
	"slices"
	"strings"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
)

// At most so many lights are switched on within so long: under the 3 flashes a
// second of WCAG 2.2, success criterion 2.3.1.
const (
	mostOns = 2
	onsTime = time.Second
)

// Light switches to one light; see [Rig].
func (g *GCode) Light(ctx context.Context, name string) error {
	g.one.Lock()
	defer g.one.Unlock()
	i := slices.IndexFunc(g.o.Lights, func(l LightLines) bool { return l.Light == name })
	if i < 0 && name != Off {
		return trouble.New(trouble.NoLight, "no light "+name+" is set up; the station file has "+g.lightNames(), "light", name)
	}
	if _, err := g.line(); err != nil {
		return err
	}
	now := g.State().Light
	if now == name {
		return nil
	}
	if err := g.lightsOff(ctx, now); err != nil {
		return err
	}
	if name == Off {
		return nil
	}
	if err := g.slowly(ctx); err != nil {
		return err
	}
	g.lit("")
	if _, err := g.send(ctx, g.o.Answer, false, g.o.Lights[i].On...); err != nil {
		return err
	}
	g.lit(name)
	return nil
}

func (g *GCode) lightNames() string {
	var names []string
	for _, l := range g.o.Lights {
		names = append(names, l.Light)
	}
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// lightsOff puts out the light that is on, or all where that is not known.
func (g *GCode) lightsOff(ctx context.Context, now string) error {
	if now == Off {
		return nil
	}
	g.lit("")
	for _, l := range g.o.Lights {
		if now == "" || l.Light == now {
			if _, err := g.send(ctx, g.o.Answer, false, l.Off...); err != nil {
				return err
			}
		}
	}
	g.lit(Off)
	return nil
}

// lit notes which light is on.
func (g *GCode) lit(name string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.conn != nil {
		g.state.Light = name
	}
}

// slowly waits until a light may be switched on.
func (g *GCode) slowly(ctx context.Context) error {
	if len(g.ons) == mostOns {
		if d := onsTime - time.Since(g.ons[0]); d > 0 && !retry.Sleep(ctx, d) {
			return ctx.Err()
		}
		g.ons = g.ons[1:]
	}
	g.ons = append(g.ons, time.Now())
	return nil
}
