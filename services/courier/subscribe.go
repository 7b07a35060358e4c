package courier

import (
	"context"
	"fmt"
	"net/mail"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

// Everything is what a subscriber names that wants to be told of every event.
const Everything = "everything"

// secretOverlap is how long a secret still signs beside the one that replaced it.
const secretOverlap = 24 * time.Hour

// Wish is what somebody asks to be told.
type Wish struct {
	By    events.Channel
	To    string
	Wants []string
	Role  events.Role
}

// Subscribe begins to tell somebody of everything that is reported from now on. Secret
// is shown this once; mail has none. Refused when nothing could be sent there.
func (c *Courier) Subscribe(ctx context.Context, by access.Person, w Wish) (id events.SubscriberID, secret string, err error) {
	if err := c.check(&w); err != nil {
		return "", "", err
	}
	from, err := c.Journal.End(ctx, journal.Roof)
	if err != nil {
		return "", "", err
	}
	s := access.Subscriber{By: w.By, To: w.To, Wants: w.Wants, Role: w.Role, From: from}
	if w.By == events.Webhook {
		made, err := c.salt()
		if err != nil {
			return "", "", err
		}
		s.Secrets = []access.Secret{made}
	}
	if id, err = c.People.AddSubscriber(ctx, by, s); err != nil || w.By == events.Mail {
		return id, "", err
	}
	key, err := c.Keys.secret(by.Company, id, s.Secrets[0])
	return id, written(key), err
}

// Renew gives a webhook another secret, which is shown this once. The one before signs
// beside it for a day, so that the receiver can change over.
func (c *Courier) Renew(ctx context.Context, by access.Person, id events.SubscriberID) (secret string, until time.Time, err error) {
	made, err := c.salt()
	if err != nil {
		return "", time.Time{}, err
	}
	until = c.Now().UTC().Add(secretOverlap).Truncate(time.Second)
	if err := c.People.RenewSecret(ctx, by, id, made, until); err != nil {
		return "", time.Time{}, err
	}
	key, err := c.Keys.secret(by.Company, id, made)
	return written(key), until, err
}

// Unsubscribe ends a subscriber; what was set aside for it stays listed until it is
// dropped.
func (c *Courier) Unsubscribe(ctx context.Context, by access.Person, id events.SubscriberID) error {
	if err := c.People.RemoveSubscriber(ctx, by, id); err != nil {
		return err
	}
	return c.Journal.ForgetReader(ctx, reader(id))
}

func (c *Courier) salt() (access.Secret, error) {
	salt, err := c.People.Salt()
	return access.Secret{Salt: salt, Key: c.Keys.id}, err
}

// check refuses a wish that could not be kept, and puts it into one form.
func (c *Courier) check(w *Wish) error {
	slices.Sort(w.Wants)
	w.Wants = slices.Compact(w.Wants)
	if len(w.Wants) == 0 {
		w.Wants = []string{"warning"}
	}
	for i, name := range w.Wants {
		if name != Everything && !slices.Contains(events.Families(), name) && !slices.Contains(events.ToldOfJobs(), name) {
			return &events.Refusal{Code: "unknown-event", Where: fmt.Sprintf("/wants/%d", i), Was: clip(name),
				Want: "everything, a family (" + strings.Join(events.Families(), ", ") + ") or the name of a report"}
		}
	}
	if w.Role != "" && !slices.Contains(access.Roles(), w.Role) {
		return &events.Refusal{Code: "unknown-role", Where: "/role", Was: clip(string(w.Role)), Want: "a role, or none"}
	}
	switch w.By {
	case events.Webhook:
		if len(c.Keys.key) == 0 {
			return &events.Refusal{Code: "no-webhooks", Where: "/channel", Was: "webhook", Want: "an operator who gives this service a key for webhooks"}
		}
		return c.webAddress(w.To)
	case events.Mail:
		if c.Post.Host == "" {
			return &events.Refusal{Code: "no-mail", Where: "/channel", Was: "mail", Want: "an operator who gives this service a mail server"}
		}
		at, err := mail.ParseAddress(w.To)
		if err != nil || at.Name != "" || at.Address != w.To || len(w.To) > 254 {
			return &events.Refusal{Code: "unreadable-address", Where: "/to", Was: clip(w.To), Want: "one mail address, such as office@larch.example"}
		}
		return nil
	}
	return &events.Refusal{Code: "unknown-channel", Where: "/channel", Was: clip(string(w.By)), Want: "webhook or mail"}
}

// webAddress refuses what is no address of a receiver. Where a name leads is looked at
// when it is connected to.
func (c *Courier) webAddress(to string) error {
	no := func(want string) error {
		return &events.Refusal{Code: "unreadable-address", Where: "/to", Was: clip(to), Want: want}
	}
	u, err := url.Parse(to)
	if err != nil || len(to) > 2000 || u.Opaque != "" || u.Hostname() == "" {
		return no("an address such as https://hooks.larch.example/roofs")
	}
	ip, literal := netip.Addr{}, false
	if parsed, err := netip.ParseAddr(u.Hostname()); err == nil {
		ip, literal = parsed, true
	}
	switch {
	case u.User != nil:
		return no("an address without a name or password in it: messages are signed")
	case u.Fragment != "":
		return no("an address without a fragment")
	case literal && c.Guard.kept(ip) != "":
		return &events.Refusal{Code: "kept-address", Where: "/to", Was: clip(to), Want: "an address on the public internet: this one is " + c.Guard.kept(ip)}
	case u.Scheme == "http" && literal && c.Guard.allows(ip):
		return nil // a receiver in the operator's own network
	case u.Scheme != "https":
		return no("https: what is sent tells where roofs are open")
	}
	return nil
}
