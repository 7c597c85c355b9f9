package people

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Cost of a hash: argon2id with three passes over 64 MiB and four lanes, the second recommended
// choice of RFC 9106 (2021), section 4. Numbers from memory.
const (
	argonTime    = 3
	argonMemory  = 64 * 1024 // KiB
	argonThreads = 4
	argonKey     = 32
	argonSalt    = 16
)

// How long they are; common practice, no source.
const (
	leastPassphrase = 10 // letters
	leastPIN        = 4  // digits
	mostPIN         = 12
)

// HashPassphrase returns a line that tells whether a passphrase is right, but
// not what it is. The error says what is wrong with the passphrase.
func HashPassphrase(passphrase string) (string, error) {
	if n := utf8.RuneCountInString(passphrase); n < leastPassphrase || n > 200 {
		return "", fmt.Errorf("the passphrase has %d letters: give %d to 200", n, leastPassphrase)
	}
	return hashOf(passphrase), nil
}

// HashPIN is the same of a PIN. The error says what is wrong with it.
func HashPIN(pin string) (string, error) {
	if !IsPIN(pin) {
		return "", fmt.Errorf("a PIN has %d to %d digits and nothing else", leastPIN, mostPIN)
	}
	even := true // from each digit to the next as far as from the first to the second: 0000, 1234, 9876
	for i := 2; i < len(pin); i++ {
		even = even && pin[i]-pin[i-1] == pin[1]-pin[0]
	}
	if step := int(pin[1]) - int(pin[0]); even && step >= -1 && step <= 1 {
		return "", errors.New("this PIN is among the first that anybody tries: take digits that do not follow each other")
	}
	return hashOf(pin), nil
}

// IsPIN says whether a word may be a PIN.
func IsPIN(s string) bool {
	return len(s) >= leastPIN && len(s) <= mostPIN && !strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' })
}

func hashOf(secret string) string {
	salt := make([]byte, argonSalt)
	rand.Read(salt)
	key := argon2.IDKey([]byte(secret), salt, argonTime, argonMemory, argonThreads, argonKey)
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemory, argonTime, argonThreads,
		enc.EncodeToString(salt), enc.EncodeToString(key))
}

// Hash is a stored hash, ready to be asked.
type Hash struct {
	salt, key    []byte
	memory, time uint32
	threads      uint8
}

// ParseHash reads what HashPassphrase or HashPIN wrote.
func ParseHash(line string) (*Hash, error) {
	var p Hash
	f := strings.Split(strings.TrimSpace(line), "$")
	bad := errors.New("this is no argon2id hash as this program writes it")
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

// Right says whether this is the passphrase or PIN. It takes a part of a second.
func (p *Hash) Right(try string) bool {
	got := argon2.IDKey([]byte(try), p.salt, p.time, p.memory, p.threads, uint32(len(p.key)))
	return subtle.ConstantTimeCompare(got, p.key) == 1
}
