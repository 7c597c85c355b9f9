package sources

import (
	"errors"
	"time"

	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// put makes a frame the newest and hands back the buffer of the one before.
func (p *Pipeline) put(f raw) (old []byte, same bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	old = p.newest.data
	same = rawSame(old, f.data)
	p.state.Frames++
	f.seq = p.state.Frames
	p.newest = f
	now := time.Now()
	p.rate.add(now)
	if !p.state.Ready {
		p.state.Ready, p.state.Why, p.state.Since, p.state.NextTry = true, nil, now, time.Time{}
	}
	p.wake()
	return old, same
}

// starting notes that the next try has begun. The reason for the last loss stays
// until a frame comes.
func (p *Pipeline) starting() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state.NextTry = time.Time{}
	p.newest.data = nil
}

// lost notes why the child ended and when it is started again.
func (p *Pipeline) lost(err error, next time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var why *part.Trouble
	if !errors.As(err, &why) {
		why = trouble.Newf(trouble.Other, "%v", err)
	}
	if p.state.Ready || p.state.Why.Key == trouble.Starting {
		p.state.Since = time.Now()
	}
	p.state.Ready, p.state.Why, p.state.NextTry = false, why, next
	p.newest.data = nil
	p.rate = rate{}
	p.wake()
}

// wake tells those who wait; mu is held.
func (p *Pipeline) wake() {
	close(p.came)
	p.came = make(chan struct{})
}

// rate counts frames over the last seconds.
type rate struct {
	times [32]time.Time
	n     int
}

func (r *rate) add(t time.Time) {
	r.times[r.n%len(r.times)] = t
	r.n++
}

// perS is the mean rate of the frames remembered; 0: not known, or none for two
// seconds.
func (r *rate) perS(now time.Time) float64 {
	k := min(r.n, len(r.times))
	if k < 2 {
		return 0
	}
	last, first := r.times[(r.n-1)%len(r.times)], r.times[(r.n-k)%len(r.times)]
	if now.Sub(last) > 2*time.Second || !last.After(first) {
		return 0
	}
	return float64(k-1) / last.Sub(first).Seconds()
}
