package access

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/journal"
)

// Subscriber is somebody outside whom a company's roofs are told to.
type Subscriber struct {
	Company events.CompanyID
	ID      events.SubscriberID
	By      events.Channel
	To      string
	Wants   []string
	Role    events.Role
	// Secrets are what a webhook is signed with: the present one first, and the one
	// before it until it ends.
	Secrets []Secret
	// From is the place in the log after which it is told.
	From journal.Position
	// Stopped says why it is told nothing now; empty when it is.
	Stopped string
}

// Secret is what a webhook's secret is made from, together with the key of that name.
type Secret struct {
	Salt, Key string
	// Until is when it ends; zero for the present one.
	Until time.Time
}

// mostSubscribers bounds a company's.
const mostSubscribers = 50

// Salt makes what a new secret follows from; it is no secret itself.
func (d *Directory) Salt() (string, error) {
	var b [18]byte
	d.randomMu.Lock()
	defer d.randomMu.Unlock()
	if _, err := io.ReadFull(d.random, b[:]); err != nil {
		return "", fmt.Errorf("make a salt: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(b[:]), nil
}

// AddSubscriber begins to tell somebody. ID and Company are made here; what it wants and
// where it is are the caller's to have checked.
func (d *Directory) AddSubscriber(ctx context.Context, by Person, s Subscriber) (events.SubscriberID, error) {
	name, err := d.name("w")
	if err != nil {
		return "", err
	}
	added := events.SubscriberAdded{
		Subscriber: events.SubscriberID(name), By: s.By, To: s.To, Wants: s.Wants, Role: s.Role, After: s.From.Sequence, Log: s.From.Created,
	}
	if len(s.Secrets) > 0 {
		added.Salt, added.Key = s.Secrets[0].Salt, s.Secrets[0].Key
	}
	return added.Subscriber, d.change(ctx, by.Company, by.ID, added)
}

// RenewSecret gives a webhook another secret; the one before signs until until. Fails
// with ErrNotFound.
func (d *Directory) RenewSecret(ctx context.Context, by Person, id events.SubscriberID, s Secret, until time.Time) error {
	return d.change(ctx, by.Company, by.ID, events.SecretRenewed{Subscriber: id, Salt: s.Salt, Key: s.Key, Until: until.UTC()})
}

// StopSubscriber tells a subscriber nothing more. By may be the service itself. Fails
// with ErrNotFound.
func (d *Directory) StopSubscriber(ctx context.Context, company events.CompanyID, by events.PersonID, id events.SubscriberID, reason string) error {
	return d.change(ctx, company, by, events.SubscriberStopped{Subscriber: id, Reason: reason})
}

// ResumeSubscriber goes on where it was stopped. Fails with ErrNotFound.
func (d *Directory) ResumeSubscriber(ctx context.Context, by Person, id events.SubscriberID) error {
	return d.change(ctx, by.Company, by.ID, events.SubscriberResumed{Subscriber: id})
}

// RemoveSubscriber ends a subscriber. Fails with ErrNotFound.
func (d *Directory) RemoveSubscriber(ctx context.Context, by Person, id events.SubscriberID) error {
	return d.change(ctx, by.Company, by.ID, events.SubscriberRemoved{Subscriber: id})
}

// Subscribers lists a company's subscribers, sorted by id.
func (d *Directory) Subscribers(id events.CompanyID) []Subscriber {
	d.mu.RLock()
	defer d.mu.RUnlock()
	c := d.companies[id]
	if c == nil {
		return nil
	}
	all := make([]Subscriber, 0, len(c.subscribers))
	for _, s := range slices.Sorted(maps.Keys(c.subscribers)) {
		all = append(all, c.subscribers[s])
	}
	return all
}

// Subscriber finds one. Fails with ErrNotFound.
func (d *Directory) Subscriber(company events.CompanyID, id events.SubscriberID) (Subscriber, error) {
	d.mu.RLock()
	defer d.mu.RUnlock()
	if c := d.companies[company]; c != nil {
		if s, ok := c.subscribers[id]; ok {
			return s, nil
		}
	}
	return Subscriber{}, ErrNotFound
}

// subscribing refuses a change of subscribers that the company's state does not permit;
// nil for every other event.
func (c *company) subscribing(b events.Body) error {
	switch b := b.(type) {
	case events.SubscriberAdded:
		if len(c.subscribers) >= mostSubscribers {
			return &events.Refusal{Code: "too-many-subscribers", Was: fmt.Sprint(len(c.subscribers)), Want: fmt.Sprintf("%d at most: remove one that is not needed", mostSubscribers)}
		}
	case events.SecretRenewed:
		if err := found(c.subscribers, b.Subscriber); err != nil {
			return err
		}
		if c.subscribers[b.Subscriber].By != events.Webhook {
			return &events.Refusal{Code: "no-secret", Was: string(c.subscribers[b.Subscriber].By), Want: "a webhook: mail is not signed"}
		}
	case events.SubscriberStopped:
		return found(c.subscribers, b.Subscriber)
	case events.SubscriberResumed:
		return found(c.subscribers, b.Subscriber)
	case events.SubscriberRemoved:
		return found(c.subscribers, b.Subscriber)
	}
	return nil
}

// foldSubscriber takes an event of subscribers in; false for every other.
func (c *company) foldSubscriber(id events.CompanyID, b events.Body) bool {
	switch b := b.(type) {
	case events.SubscriberAdded:
		s := Subscriber{
			Company: id, ID: b.Subscriber, By: b.By, To: b.To, Wants: b.Wants, Role: b.Role,
			From: journal.Position{Created: b.Log, Sequence: b.After},
		}
		if b.Salt != "" {
			s.Secrets = []Secret{{Salt: b.Salt, Key: b.Key}}
		}
		c.subscribers[s.ID] = s
	case events.SecretRenewed:
		s := c.subscribers[b.Subscriber]
		before := s.Secrets[0]
		before.Until = b.Until
		s.Secrets = []Secret{{Salt: b.Salt, Key: b.Key}, before}
		c.subscribers[s.ID] = s
	case events.SubscriberStopped:
		s := c.subscribers[b.Subscriber]
		s.Stopped = b.Reason
		c.subscribers[s.ID] = s
	case events.SubscriberResumed:
		s := c.subscribers[b.Subscriber]
		s.Stopped = ""
		c.subscribers[s.ID] = s
	case events.SubscriberRemoved:
		delete(c.subscribers, b.Subscriber)
	default:
		return false
	}
	return true
}
