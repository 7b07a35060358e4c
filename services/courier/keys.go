package courier

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"bydark/events"
	"bydark/services/access"
)

// Keys makes the secrets with which webhooks are signed. No secret is stored anywhere:
// each follows from one key in a private file, the company, the subscriber and a salt
// that the log holds (HMAC-SHA256), so that the log and its backups give none away. The
// zero value has no key and signs nothing.
type Keys struct {
	key []byte
	// id names the key without giving it away.
	id string
}

const keySize = 32

// secretPrefix is what a secret begins with by Standard Webhooks.
const secretPrefix = "whsec_"

// OpenKeys reads the key's file, or makes it where there is none. Only its owner may
// read it.
func OpenKeys(file string, random io.Reader) (Keys, error) {
	key, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		if key, err = makeKey(file, random); errors.Is(err, fs.ErrExist) { // another process was first
			key, err = os.ReadFile(file)
		}
	}
	if err != nil {
		return Keys{}, fmt.Errorf("key of the webhooks: %w", err)
	}
	if len(key) != keySize {
		return Keys{}, fmt.Errorf("key of the webhooks: %s holds %d bytes, want %d", file, len(key), keySize)
	}
	info, err := os.Stat(file)
	if err != nil {
		return Keys{}, fmt.Errorf("key of the webhooks: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return Keys{}, fmt.Errorf("key of the webhooks: others may read %s; want mode 0600", file)
	}
	id := sha256.Sum256(append([]byte("bydark webhook key\x00"), key...))
	return Keys{key, hex.EncodeToString(id[:8])}, nil
}

func makeKey(file string, random io.Reader) ([]byte, error) {
	key := make([]byte, keySize)
	if _, err := io.ReadFull(random, key); err != nil {
		return nil, err
	}
	// Written beside and linked, so that nobody ever reads half of it.
	part, err := os.CreateTemp(filepath.Dir(file), ".webhooks-*")
	if err != nil {
		return nil, err
	}
	_, err = part.Write(key)
	err = errors.Join(err, part.Sync(), part.Close())
	if err == nil {
		err = os.Link(part.Name(), file)
	}
	return key, errors.Join(err, os.Remove(part.Name()))
}

// secret is a subscriber's, as bytes to sign with. It fails when the key is another one
// than that with which it was made.
func (k Keys) secret(company events.CompanyID, id events.SubscriberID, s access.Secret) ([]byte, error) {
	if len(k.key) == 0 || s.Key != k.id {
		return nil, fmt.Errorf("the secret was made with the key %s and this program has %s: renew it, or bring the key's file back", s.Key, k.id)
	}
	h := hmac.New(sha256.New, k.key)
	fmt.Fprintf(h, "%s\x00%s\x00%s", company, id, s.Salt)
	return h.Sum(nil), nil
}

// written is a secret as its receiver is told it, once.
func written(secret []byte) string { return secretPrefix + base64.StdEncoding.EncodeToString(secret) }
