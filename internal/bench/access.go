package bench

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/time/rate"
)

// Cost of a passphrase's hash: argon2id with one pass over 64 MiB and four
// lanes, the second recommended choice of RFC 9106 (2021), section 4, with
// three passes. Numbers from memory.
const (
	argonTime    = 3
	argonMemory  = 64 * 1024 // KiB
	argonThreads = 4
	argonKey     = 32
	argonSalt    = 16
)

// minPassphrase is the least number of letters; common practice, no source.
const minPassphrase = 10

// HashPassphrase returns a line that tells whether a passphrase is right, but
// not what it is. The error says what is wrong with the passphrase.
func HashPassphrase(passphrase string) (string, error) {
	if n := utf8.RuneCountInString(passphrase); n < minPassphrase || n > 200 {
		return "", fmt.Errorf("the passphrase has %d letters: give %d to 200", n, minPassphrase)
	}
	salt := make([]byte, argonSalt)
	rand.Read(salt)
	key := argon2.IDKey([]byte(passphrase), salt, argonTime, argonMemory, argonThreads, argonKey)
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemory, argonTime, argonThreads,
		enc.EncodeToString(salt), enc.EncodeToString(key)), nil
}

// Passphrase is a stored hash, ready to be asked.
type Passphrase struct {
	salt, key    []byte
	memory, time uint32
	threads      uint8
}

// ParsePassphrase reads what HashPassphrase wrote.
func ParsePassphrase(line string) (*Passphrase, error) {
	var p Passphrase
	f := strings.Split(strings.TrimSpace(line), "$")
	bad := errors.New("this is no passphrase file: make one with inspect bench --set-passphrase")
	if len(f) != 6 || f[1] != "argon2id" || f[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return nil, bad
	}
	if n, err := fmt.Sscanf(f[3], "m=%d,t=%d,p=%d", &p.memory, &p.time, &p.threads); n != 3 || err != nil {
		return nil, bad
	}
	var err error
	if p.salt, err = base64.RawStdEncoding.DecodeString(f[4]); err != nil {
		return nil, bad
	}
	if p.key, err = base64.RawStdEncoding.DecodeString(f[5]); err != nil {
		return nil, bad
	}
	if len(p.salt) < 8 || len(p.key) < 16 || p.time < 1 || p.time > 20 || p.threads < 1 || p.memory < 8*1024 || p.memory > 1024*1024 {
		return nil, bad
	}
	return &p, nil
}

// Right says whether this is the passphrase. It takes a part of a second.
func (p *Passphrase) Right(try string) bool {
	got := argon2.IDKey([]byte(try), p.salt, p.time, p.memory, p.threads, uint32(len(p.key)))
	return subtle.ConstantTimeCompare(got, p.key) == 1
}

// Sessions: how long one lasts unused, and how many there may be.
const (
	sessionIdle = 14 * time.Hour // a shift and its handing over
	maxSessions = 1000
)

// sessions are the browsers that were let in. They are forgotten when the
// program ends.
type sessions struct {
	mu  sync.Mutex
	all map[string]*session
}

// session is one browser. Its token goes with each request that changes
// anything, so that no other page can send one in its name.
type session struct {
	csrf string
	used time.Time
	in   bool // gave the passphrase, or none is asked for
}

// token is a random word that cannot be guessed: 256 bits.
func token() string {
	b := make([]byte, 32)
	rand.Read(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

// begin makes a session.
func (s *sessions) begin(in bool, now time.Time) (id string, out session) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[string]*session{}
	}
	s.tidy(now)
	id = token()
	s.all[id] = &session{csrf: token(), used: now, in: in}
	return id, *s.all[id]
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

func (s *sessions) get(id string, now time.Time) (session, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.all[id]
	if x == nil || now.Sub(x.used) > sessionIdle {
		return session{}, false
	}
	x.used = now
	return *x, true
}

func (s *sessions) end(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.all, id)
}

// same compares two words in a time that does not tell where they differ.
func same(a, b string) bool { return a != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// Tries at the passphrase: so many at once from one address, then one each
// tryEvery; and from all addresses together a few times that.
const (
	triesAtOnce = 5
	tryEvery    = 12 * time.Second
	allTimes    = 4
	maxTriers   = 4096
)

// tries bounds how fast passphrases can be guessed.
type tries struct {
	mu  sync.Mutex
	by  map[string]*rate.Limiter // by address
	all *rate.Limiter
}

// allow says whether an address may try now, and counts the try.
func (t *tries) allow(from string, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.by == nil {
		t.by, t.all = map[string]*rate.Limiter{}, rate.NewLimiter(rate.Every(tryEvery/allTimes), triesAtOnce*allTimes)
	}
	if len(t.by) > maxTriers {
		maps.DeleteFunc(t.by, func(_ string, l *rate.Limiter) bool { return l.TokensAt(now) >= triesAtOnce })
	}
	one := t.by[from]
	if one == nil && len(t.by) <= maxTriers {
		one = rate.NewLimiter(rate.Every(tryEvery), triesAtOnce)
		t.by[from] = one
	}
	return one != nil && one.AllowN(now, 1) && t.all.AllowN(now, 1)
}

// forgive takes an address's tries back once the passphrase was right.
func (t *tries) forgive(from string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.by, from)
}
