package access

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"bydark/events"
)

// What a key begins with, so that scanners for leaked secrets know it.
const (
	tokenPrefix   = "bydark_"
	sessionPrefix = "bydark-session_"
)

// keyBytes is how much chance is in a key: 256 bits.
const keyBytes = 32

// hash is what stays of a key.
type hash [sha256.Size]byte

func hashOf(key string) hash { return sha256.Sum256([]byte(key)) }

func (h hash) String() string { return hex.EncodeToString(h[:]) }

func parseHash(s string) (hash, error) {
	var h hash
	if len(s) != hex.EncodedLen(len(h)) {
		return h, fmt.Errorf("hash of a key has %d characters, want %d", len(s), hex.EncodedLen(len(h)))
	}
	if _, err := hex.Decode(h[:], []byte(s)); err != nil {
		return h, fmt.Errorf("hash of a key: %w", err)
	}
	return h, nil
}

// newKey makes a key of the given sort.
func newKey(random io.Reader, prefix string) (string, error) {
	var b [keyBytes]byte
	if _, err := io.ReadFull(random, b[:]); err != nil {
		return "", fmt.Errorf("make a key: %w", err)
	}
	return prefix + base64.RawURLEncoding.EncodeToString(b[:]), nil
}

var lowerBase32 = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// newName makes an id that tells nothing: p-4qk7d2wz3n6mxa5b. It is no secret.
func newName(random io.Reader, kind string) (string, error) {
	var b [10]byte
	if _, err := io.ReadFull(random, b[:]); err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	return kind + "-" + lowerBase32.EncodeToString(b[:]), nil
}

// readName refuses what is no name of a company or person: nothing, more than 120
// characters' worth of bytes, or control and invisible formatting characters, which
// could make one name look like another.
func readName(where, s string) (string, error) {
	name := strings.TrimSpace(s)
	if name == "" || len(name) > 240 || strings.ContainsFunc(name, isUnseen) {
		return "", &events.Refusal{Code: "unreadable-name", Where: where, Was: fmt.Sprintf("%+.80q", s),
			Want: "a name of 1 to 240 bytes without control or invisible characters"}
	}
	return name, nil
}
