package bench

import (
	"sync"
	"time"
)

// maxWatchers bounds how many browsers may watch.
const maxWatchers = 200

// hub wakes those who watch. A wake-up carries nothing: whoever is woken looks
// at the state as it is then. So nothing piles up for one who is slow, and
// nobody waits for him.
type hub struct {
	mu     sync.Mutex
	all    map[chan struct{}]bool
	closed bool
}

// join returns a channel that is woken at each change, and is closed at the
// end; false where there are too many already.
func (h *hub) join() (chan struct{}, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed || len(h.all) >= maxWatchers {
		return nil, false
	}
	if h.all == nil {
		h.all = map[chan struct{}]bool{}
	}
	c := make(chan struct{}, 1)
	h.all[c] = true
	return c, true
}

func (h *hub) leave(c chan struct{}) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.all, c)
}

func (h *hub) wake() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.all {
		select {
		case c <- struct{}{}:
		default: // already woken, and has not looked yet
		}
	}
}

func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for c := range h.all {
		close(c)
		delete(h.all, c)
	}
}

// watchers is how many there are.
func (h *hub) watchers() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.all)
}

// liveEvery is the least time between two live pictures of a camera.
const liveEvery = 150 * time.Millisecond

// liveCache keeps the newest small picture of each camera, so that many
// onlookers cost the bench no more than one.
type liveCache struct {
	shooter Shooter
	mu      sync.Mutex
	by      map[string]*livePicture
}

type livePicture struct {
	mu    sync.Mutex
	taken time.Time
	jpeg  []byte
	aid   Aid
	err   error
}

// get returns a camera's picture, not older than liveEvery.
func (l *liveCache) get(camera string) ([]byte, Aid, error) {
	l.mu.Lock()
	p := l.by[camera]
	if p == nil {
		if l.by == nil {
			l.by = map[string]*livePicture{}
		}
		p = &livePicture{}
		l.by[camera] = p
	}
	l.mu.Unlock()
	p.mu.Lock()
	defer p.mu.Unlock()
	if now := time.Now(); now.Sub(p.taken) >= liveEvery {
		p.jpeg, p.aid, p.err = l.shooter.Live(camera)
		p.taken = now
	}
	return p.jpeg, p.aid, p.err
}
