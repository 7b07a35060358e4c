package access

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"bydark/events"
	"bydark/events/journal"
)

// isUnseen says whether a character is not seen but changes what is: controls, bidi
// overrides, zero widths, and what stands for bytes that were no character.
func isUnseen(c rune) bool {
	return c == utf8.RuneError || unicode.IsControl(c) || unicode.In(c, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co)
}

// member is one of a company's people.
type member struct {
	name string
	role events.Role
}

// token is one that was issued and not revoked, session one that was not ended.
type token struct {
	person events.PersonID
	hash   hash
}

type session struct {
	token events.TokenID
	hash  hash
	until time.Time
}

// company is the fold of one company's door.
type company struct {
	name     string
	people   map[events.PersonID]member
	tokens   map[events.TokenID]token
	sessions map[events.TokenID]session
	// subscribers are whom the company's roofs are told to.
	subscribers map[events.SubscriberID]Subscriber
	tail        journal.Tail
}

// isLastIn tells of an owner whether no other can come in: whether no other owner holds a
// token.
func (c *company) isLastIn(p events.PersonID) bool {
	for _, t := range c.tokens {
		if t.person != p && c.people[t.person].role == Owner {
			return false
		}
	}
	return true
}

// decide refuses a change that the company's state does not permit. Every rule about
// people stands here; by is who asks for the change.
func (c *company) decide(by events.PersonID, b events.Body) error {
	if o, ok := b.(events.CompanyOpened); ok {
		return c.openable(o)
	}
	if _, stops := b.(events.SubscriberStopped); stops && by == events.Self {
		return c.subscribing(b)
	}
	if issued, ok := b.(events.TokenIssued); ok && by == events.Self {
		return found(c.people, issued.Person)
	}
	actor, ok := c.people[by]
	if !ok {
		return ErrForbidden
	}
	need := ManagePeople
	switch b.(type) {
	case events.SignedIn, events.SignedOut:
		need = SeeSelf
	case events.SubscriberAdded, events.SecretRenewed, events.SubscriberStopped, events.SubscriberResumed, events.SubscriberRemoved:
		need = ManageSubscribers
	}
	if !May(actor.role, need) {
		return ErrForbidden
	}
	switch b := b.(type) {
	case events.RoleChanged:
		return c.stays(b.Person, b.Role == Owner)
	case events.PersonRemoved:
		return c.stays(b.Person, false)
	case events.TokenIssued:
		return found(c.people, b.Person)
	case events.TokenRevoked:
		return c.revocable(b.Token)
	case events.SignedIn:
		return found(c.tokens, b.Token)
	case events.SignedOut:
		return found(c.sessions, b.Session)
	}
	return c.subscribing(b)
}

func found[K comparable, V any](m map[K]V, k K) error {
	if _, ok := m[k]; !ok {
		return ErrNotFound
	}
	return nil
}

func (c *company) openable(o events.CompanyOpened) error {
	if c.tail.Sequence != 0 {
		return &events.Refusal{Code: "company-exists", Where: "/name", Was: o.Name, Want: "a name whose letters and digits no company here has"}
	}
	return nil
}

// stays refuses to take from a company the last owner who can come in.
func (c *company) stays(p events.PersonID, owner bool) error {
	m, ok := c.people[p]
	switch {
	case !ok:
		return ErrNotFound
	case m.role == Owner && !owner && c.isLastIn(p):
		return &events.Refusal{Code: "last-owner", Where: string(p), Was: m.name, Want: "another owner with a token first: a company always has one"}
	}
	return nil
}

// revocable refuses to end the last token with which an owner can come in: nobody could
// issue another.
func (c *company) revocable(id events.TokenID) error {
	t, ok := c.tokens[id]
	if !ok {
		return ErrNotFound
	}
	if c.people[t.person].role != Owner || !c.isLastIn(t.person) {
		return nil
	}
	for other, held := range c.tokens {
		if other != id && held.person == t.person {
			return nil
		}
	}
	return &events.Refusal{Code: "last-owner", Where: string(id), Was: "the only token of " + c.people[t.person].name, Want: "another token for an owner first: without one nobody could let people in any more"}
}

// errMisfit says that an event of the door does not fit what came before it: the log
// was not written by this package.
var errMisfit = errors.New("event does not fit the company's state")

// fold takes an event in. keys is the directory's index, kept in step.
func (c *company) fold(id events.CompanyID, b events.Body, keys *keys) error {
	switch b := b.(type) {
	case events.CompanyOpened:
		c.name = b.Name
		c.people[b.Owner] = member{b.Called, Owner}
		return c.issue(id, events.TokenIssued{Person: b.Owner, Token: b.Token, SHA256: b.SHA256}, keys)
	case events.PersonAdded:
		c.people[b.Person] = member{b.Name, b.Role}
	case events.RoleChanged:
		m, ok := c.people[b.Person]
		if !ok {
			return fmt.Errorf("%w: role of unknown %s", errMisfit, b.Person)
		}
		m.role = b.Role
		c.people[b.Person] = m
	case events.PersonRemoved:
		for id, t := range c.tokens {
			if t.person == b.Person {
				c.revoke(id, keys)
			}
		}
		delete(c.people, b.Person)
	case events.TokenIssued:
		return c.issue(id, b, keys)
	case events.TokenRevoked:
		c.revoke(b.Token, keys)
	case events.SignedIn:
		return c.begin(id, b, keys)
	case events.SignedOut:
		c.end(b.Session, keys)
	default:
		if !c.foldSubscriber(id, b) {
			return fmt.Errorf("%w: %T at the door", errMisfit, b)
		}
	}
	return nil
}

func (c *company) issue(id events.CompanyID, b events.TokenIssued, keys *keys) error {
	h, err := parseHash(b.SHA256)
	if err != nil {
		return err
	}
	c.tokens[b.Token] = token{b.Person, h}
	keys.tokens[h] = credential{company: id, person: b.Person, token: b.Token}
	return nil
}

func (c *company) revoke(id events.TokenID, keys *keys) {
	for s, session := range c.sessions {
		if session.token == id {
			c.end(s, keys)
		}
	}
	delete(keys.tokens, c.tokens[id].hash)
	delete(c.tokens, id)
}

func (c *company) begin(id events.CompanyID, b events.SignedIn, keys *keys) error {
	h, err := parseHash(b.SHA256)
	if err != nil {
		return err
	}
	t, ok := c.tokens[b.Token]
	if !ok {
		return fmt.Errorf("%w: session with unknown token %s", errMisfit, b.Token)
	}
	// The sign-in tells the time; sessions that have ended by then are forgotten.
	for s, old := range c.sessions {
		if old.until.Before(b.Until.Add(-SessionLife)) {
			c.end(s, keys)
		}
	}
	c.sessions[b.Session] = session{b.Token, h, b.Until}
	keys.sessions[h] = credential{company: id, person: t.person, session: b.Session, until: b.Until}
	return nil
}

func (c *company) end(id events.TokenID, keys *keys) {
	delete(keys.sessions, c.sessions[id].hash)
	delete(c.sessions, id)
}

func newCompany() *company {
	return &company{
		people: map[events.PersonID]member{}, tokens: map[events.TokenID]token{}, sessions: map[events.TokenID]session{},
		subscribers: map[events.SubscriberID]Subscriber{},
	}
}

// companyOf reads the company out of a subject of the door.
func companyOf(subject string) (events.CompanyID, error) {
	_, id, _ := strings.Cut(subject, ".")
	return events.ParseCompanyID(id)
}
