package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Events that a reaction could not deal with are set aside: in a stream of its own, which names each by its place in the log and says
// what was wrong. The event itself stays where it is. What is set aside is a worklist and no record: it is taken off when it is dealt
// with, and a backup leaves it out.

const (
	asideStream = "ASIDE"
	asideFamily = "aside"
)

// Aside is one event that was set aside for a reader.
type Aside struct {
	Number  uint64 `json:"-"` // names it
	Company string `json:"-"`
	Reader  string `json:"-"`

	Sequence uint64    `json:"sequence"` // of the event, in Roof
	Subject  string    `json:"subject"`
	ID       string    `json:"id"`   // of the event; empty when it could not be read
	Type     string    `json:"type"` // likewise
	Reason   string    `json:"reason"`
	Handler  string    `json:"handler"`
	Set      time.Time `json:"set"` // when it was set aside, by our clock
}

func asideConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: asideStream, Subjects: []string{asideFamily + ".*.*"}, Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy,
		Discard: jetstream.DiscardNew, AllowDirect: true, Replicas: replicas,
	}
}

// SetAside sets an event aside for a reader of a company and returns when that is durable.
func (j *Journal) SetAside(ctx context.Context, a Aside) error {
	if !isID(a.Company) || !isID(a.Reader) {
		return fmt.Errorf("set aside for %q of %q: %w: a name is 1 to 64 of A-Z a-z 0-9 _ -", a.Reader, a.Company, ErrInvalid)
	}
	data, err := json.Marshal(a)
	if err != nil {
		return err
	}
	// It has no message id: the broker would take the second of two for a repeat of the first, and it would be lost.
	if _, err := j.request(ctx, &nats.Msg{Subject: asideFamily + "." + a.Company + "." + a.Reader, Data: data}); err != nil {
		return fmt.Errorf("set event %d aside for %s: %w", a.Sequence, a.Reader, err)
	}
	if j.local != nil { // the broker in this process syncs nothing; these are few
		dir := blockDir(j.local.dir, asideStream)
		if err := errors.Join(syncFiles(dir), syncDir(dir)); err != nil {
			return fmt.Errorf("set event %d aside for %s: %w: %w", a.Sequence, a.Reader, ErrUnknown, err)
		}
	}
	return nil
}

// Asides lists what is set aside for a company's readers, the oldest first: at most limit with a higher number than after.
func (j *Journal) Asides(ctx context.Context, company string, after uint64, limit int) ([]Aside, error) {
	if !isID(company) {
		return nil, fmt.Errorf("what is set aside for %q: %w", company, ErrInvalid)
	}
	var all []Aside
	_, err := j.messages(ctx, asideStream, directRequest{Seq: after + 1, NextFor: asideFamily + "." + company + ".*", Batch: limit},
		func(number uint64, subject string, m *nats.Msg) error {
			a, err := readAside(number, subject, m.Data)
			all = append(all, a)
			return err
		})
	if err != nil {
		return nil, fmt.Errorf("what is set aside for %s: %w", company, err)
	}
	return all, nil
}

// Aside reads one by its number. Fails with ErrNotFound, also when it is another company's.
func (j *Journal) Aside(ctx context.Context, company string, number uint64) (Aside, error) {
	var found Aside
	_, err := j.messages(ctx, asideStream, directRequest{Seq: number, Batch: 1}, func(n uint64, subject string, m *nats.Msg) (err error) {
		if n == number {
			found, err = readAside(n, subject, m.Data)
		}
		return err
	})
	if err == nil && (found.Number != number || found.Company != company) {
		err = ErrNotFound
	}
	if err != nil {
		return Aside{}, fmt.Errorf("number %d set aside for %s: %w", number, company, err)
	}
	return found, nil
}

// TakeBack takes one off the list.
func (j *Journal) TakeBack(ctx context.Context, a Aside) error {
	stream, err := j.js.Stream(ctx, asideStream)
	if err == nil {
		err = stream.DeleteMsg(ctx, a.Number)
	}
	if err != nil {
		if _, gone := j.Aside(ctx, a.Company, a.Number); errors.Is(gone, ErrNotFound) {
			return nil // somebody else did
		}
		return fmt.Errorf("take number %d back: %w", a.Number, err)
	}
	return nil
}

func readAside(number uint64, subject string, data []byte) (Aside, error) {
	a := Aside{}
	if err := json.Unmarshal(data, &a); err != nil {
		return Aside{}, fmt.Errorf("number %d set aside: %w", number, err)
	}
	ids := strings.Split(subject, ".")
	if len(ids) != 3 {
		return Aside{}, fmt.Errorf("number %d set aside: its subject is %q", number, subject)
	}
	a.Number, a.Company, a.Reader = number, ids[1], ids[2]
	return a, nil
}
