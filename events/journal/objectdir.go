package journal

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// objectDir keeps the objects of a log on our own disk as files named by their digests. The broker in this process does not sync, and a
// stream from which things may be taken away is rewritten by it now and then; a file that is written once and renamed needs no broker.
type objectDir string

// partPrefix begins the names of files that are still being written.
const partPrefix = "part-"

// open makes the directory, and takes away what a process that died was writing.
func (o objectDir) open() error {
	if err := makeDir(string(o)); err != nil {
		return err
	}
	files, err := os.ReadDir(string(o))
	if err != nil {
		return err
	}
	for _, f := range files {
		if !strings.HasPrefix(f.Name(), partPrefix) {
			continue
		}
		if err := os.Remove(filepath.Join(string(o), f.Name())); err != nil {
			return err
		}
	}
	return nil
}

func (o objectDir) file(d Digest) string { return filepath.Join(string(o), d.String()) }

// put writes an object under its digest. One that is there already is written again only if it is not what it should be.
func (o objectDir) put(d Digest, data []byte) error {
	have, err := os.ReadFile(o.file(d))
	if err == nil && bytes.Equal(have, data) {
		return syncDir(string(o)) // whoever wrote it may not have come so far yet
	}
	part, err := os.CreateTemp(string(o), partPrefix)
	if err != nil {
		return err
	}
	_, err = part.Write(data)
	if err := errors.Join(err, part.Sync(), part.Close()); err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	if err := os.Rename(part.Name(), o.file(d)); err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	return syncDir(string(o))
}

// read fails with ErrNotFound, or with ErrDamaged when the file is not what its name says.
func (o objectDir) read(d Digest) ([]byte, error) {
	data, err := os.ReadFile(o.file(d))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: there is no file of that name", ErrNotFound)
	case err != nil:
		return nil, err
	case Digest(sha256.Sum256(data)) != d:
		return nil, &Damage{Stream: objectStream, File: o.file(d), Reason: "its content has another digest"}
	}
	return data, nil
}

// drop takes an object away. The name may come back after a power cut, and can be dropped again.
func (o objectDir) drop(d Digest) error {
	if err := os.Remove(o.file(d)); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// list is in the order of the digests.
func (o objectDir) list() ([]Object, error) {
	files, err := os.ReadDir(string(o))
	if err != nil {
		return nil, err
	}
	var objects []Object
	for _, f := range files {
		d, err := ParseDigest(f.Name())
		if err != nil {
			continue // still being written
		}
		info, err := f.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // dropped meanwhile
		}
		if err != nil {
			return nil, err
		}
		objects = append(objects, Object{Digest: d, Size: int(info.Size()), Stored: info.ModTime().UTC(), Whole: true})
	}
	return objects, nil
}
