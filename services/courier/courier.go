// Package courier tells people outside what happens on a company's roofs: signed
// webhooks (Standard Webhooks) and mail, to the subscribers that the door knows.
//
// Each subscriber has a reader of the log of its own, so that one that is down holds up
// nobody else. To one subscriber the events of a company go out in the order of the log,
// one at a time, at least once, always under the same id. One that cannot be delivered
// in all attempts is set aside, and what comes after it goes on: from then on the order
// is the log's but for what was set aside, and sending that again sends it late.
//
// Any number of processes may run it on one log: the broker hands an event to one of
// them at a time.
package courier

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/ThreeDotsLabs/watermill"
	"github.com/ThreeDotsLabs/watermill/message"
	"github.com/ThreeDotsLabs/watermill/message/router/middleware"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

// Config is what a courier stands on.
type Config struct {
	Journal *journal.Journal
	People  *access.Directory
	Keys    Keys
	Guard   Guard
	Post    Post
	// Agent is what the courier calls itself to receivers.
	Agent string
	// Patience is how often an event is tried; zero fields take Usual's.
	Patience Patience
	Now      func() time.Time
	Log      *slog.Logger
}

// Patience is how often and how long an event is tried before it is set aside.
type Patience struct {
	// Tries are all attempts, the first one included. First is the wait after it; each
	// further one is three times as long, at most Longest, and all are spread by half.
	Tries          int
	First, Longest time.Duration
	// Wait is after how long what a process that died was working on goes out again.
	Wait time.Duration
	// InARow is how many events in a row may be set aside before a subscriber is stopped.
	InARow int
}

// Usual tries an event eight times over some fourteen minutes.
func Usual() Patience {
	return Patience{Tries: 8, First: 2 * time.Second, Longest: 5 * time.Minute, Wait: 10 * time.Second, InARow: 20}
}

// Courier tells subscribers. Run is to be called once; the rest by anybody.
type Courier struct {
	Config
	hooks *webhooks
	mails *mails

	figures figures
}

// New makes a courier.
func New(c Config) *Courier {
	usual := Usual()
	if c.Patience == (Patience{}) {
		c.Patience = usual
	}
	return &Courier{Config: c, hooks: newWebhooks(c.Guard, c.Keys, c.Agent, c.Now), mails: &mails{c.Post, c.Now}}
}

// Run tells all subscribers until ctx ends, and follows the door: who is added is told
// at once, who is stopped or removed no longer.
func (c *Courier) Run(ctx context.Context) error {
	type round struct {
		stop  context.CancelFunc
		ended chan struct{}
	}
	at := map[events.SubscriberID]round{}
	var all sync.WaitGroup
	defer all.Wait()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	for {
		changed := c.People.Changes()
		wanted := map[events.SubscriberID]access.Subscriber{}
		for _, company := range c.People.Companies() {
			for _, s := range c.People.Subscribers(company) {
				if s.Stopped == "" {
					wanted[s.ID] = s
				}
			}
		}
		for id, r := range at {
			if _, ok := wanted[id]; !ok {
				r.stop()
				<-r.ended
				delete(at, id)
			}
		}
		for id, s := range wanted {
			if _, ok := at[id]; ok {
				continue
			}
			going, end := context.WithCancel(ctx)
			r := round{end, make(chan struct{})}
			at[id] = r
			all.Go(func() {
				defer close(r.ended)
				c.serve(going, s)
			})
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return nil
		}
	}
}

// readers is what the names of all begin with under which subscribers read the log.
const readers = "tell-"

// reader is the name under which a subscriber reads the log.
func reader(id events.SubscriberID) string { return readers + string(id) }

// serve tells one subscriber until ctx ends.
func (c *Courier) serve(ctx context.Context, s access.Subscriber) {
	for ctx.Err() == nil {
		if err := c.route(ctx, s); err != nil && ctx.Err() == nil {
			c.Log.Warn("a subscriber cannot be told, trying again", "subscriber", s.ID, "error", err)
			pause(ctx, reopenPause)
		}
	}
}

// route runs Watermill's router for one subscriber. The order of the middleware is what
// makes a panic or a failure end in one entry that is set aside: outermost what sets
// aside, then the attempts, innermost what turns a panic into an error.
func (c *Courier) route(ctx context.Context, s access.Subscriber) error {
	logger := watermill.NopLogger{}
	router, err := message.NewRouter(message.RouterConfig{}, logger)
	if err != nil {
		return err
	}
	asider := &asider{c: c, s: s}
	poison, err := middleware.PoisonQueueWithFilter(asider, reader(s.ID), func(error) bool { return ctx.Err() == nil })
	if err != nil {
		return err
	}
	p := c.Patience
	retry := middleware.Retry{
		MaxRetries: p.Tries - 1, InitialInterval: p.First, MaxInterval: p.Longest, Multiplier: 3, RandomizationFactor: 0.5, ResetContextOnRetry: true,
		OnRetryHook: func(int, time.Duration) { c.figures.retries.Add(1) },
		ShouldRetry: func(params middleware.RetryParams) bool {
			var f *final
			return ctx.Err() == nil && !errors.As(params.Err, &f)
		},
	}
	router.AddMiddleware(poison, retry.Middleware, middleware.Recoverer)
	router.AddConsumerHandler(reader(s.ID), reader(s.ID), &feed{
		log: c.Journal, logger: c.Log,
		read: journal.Reading{Name: reader(s.ID), Company: string(s.Company), From: s.From, Wait: p.Wait},
	}, func(m *message.Message) error {
		err := c.handle(m, s)
		if err == nil {
			asider.row.Store(0)
		}
		return err
	})
	return router.Run(ctx)
}

// handle makes one attempt at one event.
func (c *Courier) handle(m *message.Message, s access.Subscriber) error {
	if why := m.Metadata.Get(metaUnreadable); why != "" {
		return &final{errors.New(why)}
	}
	entry, ok := m.Context().Value(entryKey{}).(journal.Entry)
	if !ok {
		return &final{errors.New("the message has no event")}
	}
	return c.tell(m.Context(), s.Company, s.ID, entry)
}

// tell makes one attempt to tell a subscriber of an event, as the subscriber is now.
func (c *Courier) tell(ctx context.Context, company events.CompanyID, id events.SubscriberID, entry journal.Entry) error {
	s, err := c.People.Subscriber(company, id)
	if err != nil {
		return nil //nolint:nilerr // it was removed meanwhile: nobody is to be told
	}
	m, err := messageOf(entry)
	if err != nil {
		return &final{err}
	}
	if !m.wanted(s) {
		return nil
	}
	if s.By == events.Mail {
		err = c.mails.send(ctx, s, m)
	} else {
		err = c.hooks.send(ctx, s, m)
	}
	if err == nil {
		c.figures.delivered.Add(1)
	}
	if errors.Is(err, errGone) {
		if stop := c.People.StopSubscriber(ctx, company, events.Self, id, "It answered 410 Gone: it wants nothing more."); stop != nil {
			return fmt.Errorf("%w; stop it: %w", errGone, stop)
		}
	}
	return err
}

// asider is Watermill's publisher of what is poisoned: it sets the event aside.
type asider struct {
	c *Courier
	s access.Subscriber
	// row counts what was set aside in a row.
	row atomic.Int64
}

// Publish sets aside, under an entry of its own each.
func (a *asider) Publish(_ string, messages ...*message.Message) error {
	for _, m := range messages {
		ctx := context.WithoutCancel(m.Context())
		sequence, err := strconv.ParseUint(m.Metadata.Get(metaSequence), 10, 64)
		if err != nil {
			return fmt.Errorf("set a message aside: %w", err)
		}
		entry, _ := m.Context().Value(entryKey{}).(journal.Entry)
		reason := m.Metadata.Get(middleware.ReasonForPoisonedKey)
		err = a.c.Journal.SetAside(ctx, journal.Aside{
			Company: string(a.s.Company), Reader: string(a.s.ID), Sequence: sequence, Subject: m.Metadata.Get(metaSubject), ID: entry.ID, Type: entry.Type,
			Reason: clip(reason), Handler: m.Metadata.Get(middleware.PoisonedHandlerKey), Set: a.c.Now().UTC(),
		})
		if err != nil {
			return err
		}
		a.c.figures.aside.Add(1)
		a.c.Log.Warn("an event could not be delivered and is set aside", "subscriber", a.s.ID, "sequence", sequence, "reason", reason)
		if n := a.row.Add(1); int(n) >= a.c.Patience.InARow {
			why := fmt.Sprintf("%d events in a row could not be delivered; the last: %s", n, clip(reason))
			if err := a.c.People.StopSubscriber(ctx, a.s.Company, events.Self, a.s.ID, why); err != nil && !errors.Is(err, access.ErrNotFound) {
				return fmt.Errorf("stop a subscriber: %w", err)
			}
		}
	}
	return nil
}

// Close is Watermill's; there is nothing to close.
func (a *asider) Close() error { return nil }

// clip shortens what a receiver may have made long.
func clip(s string) string {
	const most = 500
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
