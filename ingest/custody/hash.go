package custody

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Hash is the SHA-256 of an object's bytes and so its name. The zero value
// stands for no hash. As text and in JSON it is 64 lower-case hex digits.
type Hash [sha256.Size]byte

// HashOf gives the hash of b.
func HashOf(b []byte) Hash { return sha256.Sum256(b) }

// ParseHash reads 64 hex digits, lower case only, so that one hash has one text.
func ParseHash(s string) (Hash, error) {
	var h Hash
	if len(s) != hex.EncodedLen(len(h)) {
		return Hash{}, fmt.Errorf("hash %q: want %d hex digits", s, hex.EncodedLen(len(h)))
	}
	if _, err := hex.Decode(h[:], []byte(s)); err != nil {
		return Hash{}, fmt.Errorf("hash %q: %w", s, err)
	}
	if h.String() != s {
		return Hash{}, fmt.Errorf("hash %q: want lower-case hex digits", s)
	}
	return h, nil
}

// IsZero says whether there is no hash.
func (h Hash) IsZero() bool { return h == Hash{} }

// String gives 64 lower-case hex digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText implements encoding.TextMarshaler.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (h *Hash) UnmarshalText(text []byte) error {
	parsed, err := ParseHash(string(text))
	if err != nil {
		return err
	}
	*h = parsed
	return nil
}
