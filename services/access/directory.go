package access

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
)

// SessionLife is how long a session lasts, used or not.
const SessionLife = 14 * 24 * time.Hour

// Directory is who may come in, folded from the whole door stream. Several goroutines
// may use it at once.
type Directory struct {
	log *journal.Journal
	now func() time.Time

	randomMu sync.Mutex // guards random
	random   io.Reader

	mu        sync.RWMutex // guards what follows
	companies map[events.CompanyID]*company
	keys      keys
	at        journal.Position
	changed   chan struct{} // closed and replaced at every change
	ended     chan struct{} // closed when Run has returned
}

// keys finds who holds a key by its hash.
type keys struct {
	tokens, sessions map[hash]credential
}

// credential is whose a key is.
type credential struct {
	company events.CompanyID
	person  events.PersonID
	token   events.TokenID // of a token
	session events.TokenID // of a session
	until   time.Time      // of a session
}

// Open reads the door stream to its end. Changes reach the directory while Run runs,
// its own changes too. random makes keys and ids, crypto/rand.Reader everywhere but in
// tests; now is the clock.
func Open(ctx context.Context, log *journal.Journal, random io.Reader, now func() time.Time) (*Directory, error) {
	d := &Directory{
		log: log, now: now, random: random,
		companies: map[events.CompanyID]*company{},
		keys:      keys{map[hash]credential{}, map[hash]credential{}},
		at:        journal.Position{Created: log.Created(journal.Door)},
		changed:   make(chan struct{}),
		ended:     make(chan struct{}),
	}
	whole := errors.New("read to the end")
	err := log.Follow(ctx, journal.Door, d.at, func(entries []journal.Entry, caughtUp bool) error {
		if err := d.take(entries); err != nil {
			return err
		}
		if caughtUp {
			return whole
		}
		return nil
	})
	if !errors.Is(err, whole) {
		return nil, fmt.Errorf("read the directory of people: %w", err)
	}
	return d, nil
}

// Run follows the door stream until the context ends or the stream cannot be folded.
// It is to be called once.
func (d *Directory) Run(ctx context.Context) error {
	defer close(d.ended)
	d.mu.RLock()
	from := d.at
	d.mu.RUnlock()
	err := d.log.Follow(ctx, journal.Door, from, func(entries []journal.Entry, _ bool) error { return d.take(entries) })
	return fmt.Errorf("follow the directory of people: %w", err)
}

// take folds entries. An event that this release does not know may take somebody's
// access away, so it stops the directory rather than being passed over.
func (d *Directory) take(entries []journal.Entry) error {
	if len(entries) == 0 {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, e := range entries {
		body, err := events.Decode(e.Type, e.Data)
		if err != nil {
			return fmt.Errorf("event %d of %s: %w", e.Sequence, e.Subject, err)
		}
		id, err := companyOf(e.Subject)
		if err != nil {
			return err
		}
		c := d.companies[id]
		if c == nil {
			c = newCompany()
			d.companies[id] = c
		}
		if err := c.fold(id, body, &d.keys); err != nil {
			return fmt.Errorf("event %d of %s: %w", e.Sequence, e.Subject, err)
		}
		c.tail = e.Tail()
		d.at.Sequence, d.at.Digest = e.Sequence, e.Digest
	}
	close(d.changed)
	d.changed = make(chan struct{})
	return nil
}

// Who says whose token it is. Fails with ErrNoKey.
func (d *Directory) Who(token string) (Person, error) {
	h := hashOf(token)
	d.mu.RLock()
	defer d.mu.RUnlock()
	return d.person(d.keys.tokens[h])
}

// WhoseSession says whose session has the secret. Fails with ErrNoKey.
func (d *Directory) WhoseSession(secret string) (Person, error) {
	h := hashOf(secret)
	d.mu.RLock()
	defer d.mu.RUnlock()
	k := d.keys.sessions[h]
	if !d.now().Before(k.until) {
		return Person{}, ErrNoKey
	}
	return d.person(k)
}

// person is called with mu held.
func (d *Directory) person(k credential) (Person, error) {
	c := d.companies[k.company]
	if c == nil {
		return Person{}, ErrNoKey
	}
	m, ok := c.people[k.person]
	if !ok {
		return Person{}, ErrNoKey
	}
	return Person{Company: k.company, ID: k.person, Name: m.name, Role: m.role}, nil
}

// Changes is closed at the next change of anybody's access.
func (d *Directory) Changes() <-chan struct{} {
	d.mu.RLock()
	defer d.mu.RUnlock()
	return d.changed
}

// Companies lists all companies, sorted.
func (d *Directory) Companies() []events.CompanyID {
	d.mu.RLock()
	defer d.mu.RUnlock()
	return slices.Sorted(maps.Keys(d.companies))
}

// CompanyName is the company's name in its own words; empty when there is none.
func (d *Directory) CompanyName(id events.CompanyID) string {
	d.mu.RLock()
	defer d.mu.RUnlock()
	if c := d.companies[id]; c != nil {
		return c.name
	}
	return ""
}

// Listed is a person with the ids of the tokens they hold.
type Listed struct {
	Person
	Tokens []events.TokenID
}

// People lists the company's people by name.
func (d *Directory) People(id events.CompanyID) []Listed {
	d.mu.RLock()
	defer d.mu.RUnlock()
	c := d.companies[id]
	if c == nil {
		return nil
	}
	held := map[events.PersonID][]events.TokenID{}
	for _, t := range slices.Sorted(maps.Keys(c.tokens)) {
		held[c.tokens[t].person] = append(held[c.tokens[t].person], t)
	}
	list := make([]Listed, 0, len(c.people))
	for p, m := range c.people {
		list = append(list, Listed{Person{id, p, m.name, m.role}, held[p]})
	}
	slices.SortFunc(list, func(a, b Listed) int {
		switch {
		case a.Name < b.Name, a.Name == b.Name && a.ID < b.ID:
			return -1
		}
		return 1
	})
	return list
}

// wait returns when the directory has folded the event of the sequence.
func (d *Directory) wait(ctx context.Context, sequence uint64) error {
	for {
		d.mu.RLock()
		at, changed := d.at.Sequence, d.changed
		d.mu.RUnlock()
		if at >= sequence {
			return nil
		}
		select {
		case <-changed:
		case <-d.ended:
			return ErrStopped
		case <-ctx.Done():
			return fmt.Errorf("wait for event %d of the door: %w", sequence, ctx.Err())
		}
	}
}
