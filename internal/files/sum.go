package files

import (
	"crypto/sha256"
	"encoding/hex"
)

// SHA256 is the SHA-256 of some bytes, in hex.
func SHA256(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
