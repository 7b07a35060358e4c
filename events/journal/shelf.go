package journal

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Beside the log there is a shelf: for each subject of the log at most one thing that follows from its events and takes long to make again.
// What lies there is a cache. It is not synced, not backed up, replaced without regard to what was there, and whoever takes it down has to
// see for himself that it is whole and of this log. With a log on our own disk it is a file a subject; elsewhere a stream of its own that
// keeps the last message of each part.

const (
	shelfStream = "SHELF"
	shelfFamily = "shelf"
	headerParts = "bydark-parts" // how many parts there are, and which writing they are of
)

func shelfConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: shelfStream, Subjects: []string{shelfFamily + ".>"}, Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy,
		Discard: jetstream.DiscardOld, MaxMsgsPerSubject: 1, AllowDirect: true, Replicas: replicas,
	}
}

// Shelve puts what belongs to a subject of the log on the shelf. Fails with ErrFull when there is no room for the log, with ErrTooLarge.
func (j *Journal) Shelve(ctx context.Context, subject string, data []byte) error {
	if _, err := streamOf(subject); err != nil {
		return err
	}
	if len(data) > MaxObject {
		return fmt.Errorf("shelve %d bytes of %s: %w", len(data), subject, ErrTooLarge)
	}
	if err := cmp.Or(ctx.Err(), j.room()); err != nil {
		return fmt.Errorf("shelve %s: %w", subject, err)
	}
	var err error
	if j.local != nil {
		err = j.local.shelf().put(subject, data)
	} else {
		err = j.shelve(ctx, subject, data)
	}
	if err != nil {
		return fmt.Errorf("shelve %s: %w", subject, err)
	}
	return nil
}

// Shelved is what lies on the shelf for a subject. Fails with ErrNotFound when there is nothing, or not all of it.
func (j *Journal) Shelved(ctx context.Context, subject string) ([]byte, error) {
	if _, err := streamOf(subject); err != nil {
		return nil, err
	}
	var data []byte
	var err error
	if j.local != nil {
		data, err = j.local.shelf().read(subject)
	} else {
		data, err = j.shelved(ctx, subject)
	}
	if err != nil {
		return nil, fmt.Errorf("shelf of %s: %w", subject, err)
	}
	return data, nil
}

func partSubject(subject string, part int) string {
	return shelfFamily + "." + subject + "." + strconv.Itoa(part)
}

// shelve writes the first part last, so that it is there only when the others are.
func (j *Journal) shelve(ctx context.Context, subject string, data []byte) error {
	parts := max(1, (len(data)+chunkSize-1)/chunkSize)
	sum := sha256.Sum256(data)
	mark := fmt.Sprintf("%d %x", parts, sum[:8])
	for part := parts - 1; part >= 0; part-- {
		m := &nats.Msg{
			Subject: partSubject(subject, part), Header: nats.Header{headerParts: {mark}},
			Data: data[part*chunkSize : min(len(data), (part+1)*chunkSize)],
		}
		if _, err := j.request(ctx, m); err != nil {
			return err
		}
	}
	return nil
}

func (j *Journal) shelved(ctx context.Context, subject string) ([]byte, error) {
	var data []byte
	mark := ""
	for part, parts := 0, 1; part < parts; part++ {
		there := false
		_, err := j.messages(ctx, shelfStream, directRequest{Seq: 1, NextFor: partSubject(subject, part), Batch: 1}, func(_ uint64, _ string, m *nats.Msg) error {
			found := m.Header.Get(headerParts)
			if part == 0 {
				count, _, _ := strings.Cut(found, " ")
				n, err := strconv.Atoi(count)
				if err != nil || n < 1 || n > MaxObject/chunkSize {
					return fmt.Errorf("%w: its first part says %q", ErrNotFound, found)
				}
				mark, parts = found, n
			}
			there = found == mark
			data = append(data, m.Data...)
			return nil
		})
		if err != nil {
			return nil, err
		}
		if !there {
			return nil, fmt.Errorf("%w: part %d is missing", ErrNotFound, part)
		}
	}
	return data, nil
}

// shelfDir keeps the shelf of a log on our own disk.
type shelfDir string

func (s shelfDir) file(subject string) string { return filepath.Join(string(s), subject) }

// put replaces what was there. After a power cut a file may hold anything.
func (s shelfDir) put(subject string, data []byte) error {
	if err := os.MkdirAll(string(s), 0o700); err != nil {
		return err
	}
	part, err := os.CreateTemp(string(s), partPrefix)
	if err != nil {
		return err
	}
	_, err = part.Write(data)
	if err = errors.Join(err, part.Close()); err == nil {
		err = os.Rename(part.Name(), s.file(subject))
	}
	if err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	return nil
}

func (s shelfDir) read(subject string) ([]byte, error) {
	data, err := os.ReadFile(s.file(subject))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	return data, err
}

// tidy takes away what a process that died was writing.
func (s shelfDir) tidy() error {
	left, err := filepath.Glob(filepath.Join(string(s), partPrefix+"*"))
	for _, file := range left {
		err = errors.Join(err, os.Remove(file))
	}
	return err
}
