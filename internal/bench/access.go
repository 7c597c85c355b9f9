package bench

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"maps"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Sessions: how long one lasts unused, and how many there may be.
const (
	sessionIdle = 14 * time.Hour // a shift and its handing over
	maxSessions = 1000
)

// sessions are the browsers that gave the passphrase, where one is asked for, or at which somebody
// signed in. Others hold no place here: their cookie tells nothing. They are forgotten when the
// program ends.
type sessions struct {
	mu  sync.Mutex
	all map[string]*held
}

// held is one browser.
type held struct {
	used  time.Time // at any time
	acted time.Time // by a person, not by the page's own script
	who   string    // signed in; "": nobody
}

// token is a random word that cannot be guessed: 256 bits.
func token() string {
	b := make([]byte, 32)
	rand.Read(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

// formToken goes with each request of a session that changes anything, so that no other page can
// send one in its name.
func (s *Server) formToken(id string) string {
	h := hmac.New(sha256.New, s.key)
	h.Write([]byte(id))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

// begin takes a browser in, at which who is signed in; "": nobody.
func (s *sessions) begin(who string, now time.Time) (id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[string]*held{}
	}
	s.tidy(now)
	id = token()
	s.all[id] = &held{used: now, acted: now, who: who}
	return id
}

// tidy ends sessions that were not used, and the oldest where there are too many.
func (s *sessions) tidy(now time.Time) {
	oldest, at := "", now
	for id, x := range s.all {
		if now.Sub(x.used) > sessionIdle {
			delete(s.all, id)
		} else if oldest == "" || x.used.Before(at) {
			oldest, at = id, x.used
		}
	}
	if len(s.all) >= maxSessions {
		delete(s.all, oldest)
	}
}

// get tells who is signed in at a browser, and whether it was let in. Who did nothing for longer
// than idle is signed out. acts says that a person does something now.
func (s *sessions) get(id string, now time.Time, idle time.Duration, acts func(who string) bool) (who string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.all[id]
	if x == nil || now.Sub(x.used) > sessionIdle {
		return "", false
	}
	x.used = now
	if now.Before(x.acted) { // the clock was set back
		x.acted = now
	}
	if now.Sub(x.acted) > idle {
		x.who = ""
	}
	if x.who != "" && acts(x.who) {
		x.acted = now
	}
	return x.who, true
}

func (s *sessions) end(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.all, id)
}

// same compares two words in a time that does not tell where they differ.
func same(a, b string) bool { return a != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// Tries at a passphrase or PIN: so many at once, then one each tryEvery; and from all other
// machines together a few times that.
const (
	triesAtOnce = 5
	tryEvery    = 12 * time.Second
	allTimes    = 4
	maxTriers   = 4096
)

// tries bounds how fast secrets can be guessed.
type tries struct {
	mu    sync.Mutex
	by    map[string]*rate.Limiter
	known map[string]bool // addresses from which something right came
}

// allow says whether an address may try now at what is asked for, "" the passphrase, else a
// person's PIN; and counts the try. This machine, from "", has an allowance of its own, which
// nobody else uses up, and so has who gave something right before.
func (t *tries) allow(from, what string, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.by == nil {
		t.by = map[string]*rate.Limiter{}
	}
	if len(t.by) > maxTriers {
		maps.DeleteFunc(t.by, func(_ string, l *rate.Limiter) bool { return l.TokensAt(now) >= float64(l.Burst()) })
	}
	if !t.take(triesOf(from, what), 1, now) {
		return false
	}
	// All tries of an address, and those from all addresses that never gave anything right.
	return from == "" || t.take(triesOf(from, "*"), allTimes, now) && (t.known[from] || t.take(triesOf("*", what), allTimes, now))
}

func triesOf(from, what string) string { return from + "\x00" + what }

// take takes a try from an allowance of some times the usual.
func (t *tries) take(name string, times int, now time.Time) bool {
	one := t.by[name]
	if one == nil {
		if len(t.by) > maxTriers && name[0] != 0 && name[0] != '*' {
			return false
		}
		one = rate.NewLimiter(rate.Every(tryEvery/time.Duration(times)), times*triesAtOnce)
		t.by[name] = one
	}
	return one.AllowN(now, 1)
}

// forgive gives an address its tries back, once what it gave was right.
func (t *tries) forgive(from, what string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.by, triesOf(from, what))
	if t.known == nil {
		t.known = map[string]bool{}
	}
	t.known[from] = true
}

// sender is the address a request came from, as tries are counted: "" for this machine, by
// whichever of its addresses; of IPv6 the network, which is one subscriber's.
func sender(r *http.Request) string {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return "?" + r.RemoteAddr
	}
	a := from.Addr().Unmap().WithZone("")
	if own, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr); ok {
		if at, err := netip.ParseAddrPort(own.String()); err == nil && at.Addr().Unmap().WithZone("") == a {
			return ""
		}
	}
	if a.IsLoopback() {
		return ""
	}
	if a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}
