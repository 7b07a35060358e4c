package courier

import (
	"context"
	"errors"
	"fmt"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

// Undelivered lists what could not be delivered to a company's subscribers, the oldest
// first: at most limit with a higher number than after.
func (c *Courier) Undelivered(ctx context.Context, company events.CompanyID, after uint64, limit int) ([]journal.Aside, error) {
	return c.Journal.Asides(ctx, string(company), after, limit)
}

// Letter is one that could not be delivered, with what would be sent; Message is nil
// where the event cannot be read.
type Letter struct {
	journal.Aside
	Message *Message
}

// Read gives one whole. Fails with journal.ErrNotFound.
func (c *Courier) Read(ctx context.Context, company events.CompanyID, number uint64) (Letter, error) {
	a, err := c.Journal.Aside(ctx, string(company), number)
	if err != nil {
		return Letter{}, err
	}
	letter := Letter{Aside: a}
	entry, err := c.Journal.Event(ctx, journal.Roof, a.Sequence)
	switch {
	case errors.Is(err, journal.ErrDamaged):
		return letter, nil // that is why it is here
	case err != nil:
		return Letter{}, err
	}
	if m, err := messageOf(entry); err == nil {
		letter.Message = &m
	}
	return letter, nil
}

// SendAgain makes one attempt at one that could not be delivered, and takes it off the
// list when it was. Refused with the reason when it was not. Fails with
// journal.ErrNotFound.
func (c *Courier) SendAgain(ctx context.Context, company events.CompanyID, number uint64) error {
	letter, err := c.Read(ctx, company, number)
	if err != nil {
		return err
	}
	id := events.SubscriberID(letter.Reader)
	if _, err := c.People.Subscriber(company, id); errors.Is(err, access.ErrNotFound) {
		return &events.Refusal{Code: "no-subscriber", Was: letter.Reader, Want: "a subscriber that was not removed: drop this one"}
	}
	if letter.Message == nil {
		return &events.Refusal{Code: "not-delivered", Was: letter.Reason, Want: "an event that this release can read: drop this one, or update the program"}
	}
	entry, err := c.Journal.Event(ctx, journal.Roof, letter.Sequence)
	if err != nil {
		return err
	}
	if err := c.tell(ctx, company, id, entry); err != nil {
		return &events.Refusal{Code: "not-delivered", Where: letter.Reader, Was: clip(err.Error()), Want: "a receiver that takes it: mend it and send again"}
	}
	if err := c.Journal.TakeBack(ctx, letter.Aside); err != nil {
		return fmt.Errorf("it was delivered and is still listed: %w", err)
	}
	return nil
}

// Drop takes one off the list without sending it. Fails with journal.ErrNotFound.
func (c *Courier) Drop(ctx context.Context, company events.CompanyID, number uint64) error {
	a, err := c.Journal.Aside(ctx, string(company), number)
	if err != nil {
		return err
	}
	return c.Journal.TakeBack(ctx, a)
}
