package access

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"bydark/events"
	"bydark/events/journal"
)

// Opened is a company that was just opened. Token is shown this once.
type Opened struct {
	Company events.CompanyID
	Owner   events.PersonID
	Token   string
}

// Issued is a token that was just issued. Token is shown this once; ID names it.
type Issued struct {
	ID    events.TokenID
	Token string
}

// OpenCompany opens a company under the id that its name makes, with an owner who
// holds a token. Refused when a company has that id.
func (d *Directory) OpenCompany(ctx context.Context, name, owner string) (Opened, error) {
	name, err := readName("/name", name)
	if err != nil {
		return Opened{}, err
	}
	if owner, err = readName("/owner", owner); err != nil {
		return Opened{}, err
	}
	id, err := events.CompanyNamed(name)
	if err != nil {
		return Opened{}, err
	}
	person, err := d.name("p")
	if err != nil {
		return Opened{}, err
	}
	made, err := d.token()
	if err != nil {
		return Opened{}, err
	}
	err = d.change(ctx, id, events.PersonID(person), events.CompanyOpened{
		Name: name, Owner: events.PersonID(person), Called: owner, Token: made.ID, SHA256: hashOf(made.Token).String(),
	})
	if err != nil {
		return Opened{}, err
	}
	return Opened{Company: id, Owner: events.PersonID(person), Token: made.Token}, nil
}

// AddPerson makes somebody known to by's company, without a token.
func (d *Directory) AddPerson(ctx context.Context, by Person, name string, role events.Role) (events.PersonID, error) {
	name, err := readName("/name", name)
	if err != nil {
		return "", err
	}
	if err := checkRole(role); err != nil {
		return "", err
	}
	person, err := d.name("p")
	if err != nil {
		return "", err
	}
	return events.PersonID(person), d.change(ctx, by.Company, by.ID, events.PersonAdded{Person: events.PersonID(person), Name: name, Role: role})
}

// ChangeRole makes somebody something else. Fails with ErrNotFound; refused for the
// last owner.
func (d *Directory) ChangeRole(ctx context.Context, by Person, person events.PersonID, role events.Role) error {
	if err := checkRole(role); err != nil {
		return err
	}
	return d.change(ctx, by.Company, by.ID, events.RoleChanged{Person: person, Role: role})
}

// RemovePerson ends somebody's access. Fails with ErrNotFound; refused for the last
// owner.
func (d *Directory) RemovePerson(ctx context.Context, by Person, person events.PersonID) error {
	return d.change(ctx, by.Company, by.ID, events.PersonRemoved{Person: person})
}

// IssueToken gives somebody of by's company a token. Fails with ErrNotFound.
func (d *Directory) IssueToken(ctx context.Context, by Person, person events.PersonID) (Issued, error) {
	made, err := d.token()
	if err != nil {
		return Issued{}, err
	}
	err = d.change(ctx, by.Company, by.ID, events.TokenIssued{Person: person, Token: made.ID, SHA256: hashOf(made.Token).String()})
	if err != nil {
		return Issued{}, err
	}
	return made, nil
}

// Recover gives somebody a token whom nobody of the company need let in: it is for whoever
// holds the log itself. Fails with ErrNotFound.
func (d *Directory) Recover(ctx context.Context, person events.PersonID) (Issued, error) {
	for _, company := range d.Companies() {
		for _, p := range d.People(company) {
			if p.ID == person {
				return d.IssueToken(ctx, Person{Company: company, ID: events.Self}, person)
			}
		}
	}
	return Issued{}, ErrNotFound
}

// RevokeToken ends a token of the person, named by its id or, for whoever kept only
// that, by itself. When it returns the token is no longer good here, and within a
// second nowhere. Fails with ErrNotFound; refused for the last token of the last owner.
func (d *Directory) RevokeToken(ctx context.Context, by Person, person events.PersonID, id string) error {
	name := events.TokenID(id)
	d.mu.RLock()
	if k, ok := d.keys.tokens[hashOf(id)]; ok && k.company == by.Company {
		name = k.token
	}
	holder := events.PersonID("")
	if c := d.companies[by.Company]; c != nil {
		holder = c.tokens[name].person
	}
	d.mu.RUnlock()
	if holder == "" || holder != person {
		return ErrNotFound
	}
	return d.change(ctx, by.Company, by.ID, events.TokenRevoked{Token: name})
}

// SignIn begins a session with a token and returns the session's secret, shown once.
// Fails with ErrNoKey.
func (d *Directory) SignIn(ctx context.Context, token string) (secret string, err error) {
	d.mu.RLock()
	k, ok := d.keys.tokens[hashOf(token)]
	d.mu.RUnlock()
	if !ok {
		return "", ErrNoKey
	}
	session, err := d.name("s")
	if err != nil {
		return "", err
	}
	if secret, err = d.key(sessionPrefix); err != nil {
		return "", err
	}
	err = d.change(ctx, k.company, k.person, events.SignedIn{
		Session: events.TokenID(session), Token: k.token, SHA256: hashOf(secret).String(), Until: d.now().UTC().Add(SessionLife),
	})
	if errors.Is(err, ErrNotFound) || errors.Is(err, ErrForbidden) { // revoked meanwhile
		return "", ErrNoKey
	}
	return secret, err
}

// SignOut ends the session that has the secret. Fails with ErrNoKey.
func (d *Directory) SignOut(ctx context.Context, secret string) error {
	d.mu.RLock()
	k, ok := d.keys.sessions[hashOf(secret)]
	d.mu.RUnlock()
	if !ok {
		return ErrNoKey
	}
	return d.change(ctx, k.company, k.person, events.SignedOut{Session: k.session})
}

func checkRole(role events.Role) error {
	if slices.Contains(Roles(), role) {
		return nil
	}
	names := make([]string, 0, len(Roles()))
	for _, r := range Roles() {
		names = append(names, string(r))
	}
	return &events.Refusal{Code: "unknown-role", Where: "/role", Was: fmt.Sprintf("%+.80q", string(role)), Want: "one of " + strings.Join(names, ", ")}
}

// attempts is how often a change is decided anew because somebody else wrote first.
const attempts = 20

// change decides an event on the company's present state, appends it, and returns when
// the directory has it.
func (d *Directory) change(ctx context.Context, id events.CompanyID, by events.PersonID, b events.Body) error {
	e, err := d.entry(by, b)
	if err != nil {
		return err
	}
	subject, err := journal.DoorSubject(string(id))
	if err != nil {
		return err
	}
	for range attempts {
		var tail journal.Tail
		if tail, err = d.decide(id, by, b); err != nil {
			return err
		}
		var written journal.Tail
		if written, err = d.log.Append(ctx, subject, tail, e); err == nil {
			return d.wait(ctx, written.Sequence)
		}
		if !errors.Is(err, journal.ErrConflict) && !errors.Is(err, journal.ErrUnknown) {
			return err
		}
		// Whether it was written shows in the log only, under our own id.
		newer, failed := d.log.Load(ctx, subject, tail.Sequence)
		if failed != nil {
			return errors.Join(err, failed)
		}
		for _, n := range newer {
			if failed := d.wait(ctx, n.Sequence); failed != nil {
				return failed
			}
			if n.ID == e.ID {
				return nil
			}
		}
		if len(newer) == 0 && errors.Is(err, journal.ErrUnknown) {
			return err
		}
	}
	return fmt.Errorf("change of %s after %d attempts: %w", id, attempts, err)
}

// decide checks a change against the present state and returns what it was checked
// against.
func (d *Directory) decide(id events.CompanyID, by events.PersonID, b events.Body) (journal.Tail, error) {
	d.mu.RLock()
	defer d.mu.RUnlock()
	c := d.companies[id]
	if c == nil {
		c = newCompany()
	}
	return c.tail, c.decide(by, b)
}

func (d *Directory) entry(by events.PersonID, b events.Body) (journal.Entry, error) {
	data, err := events.Encode(b)
	if err != nil {
		return journal.Entry{}, err
	}
	d.randomMu.Lock()
	id, err := uuid.NewRandomFromReader(d.random)
	d.randomMu.Unlock()
	if err != nil {
		return journal.Entry{}, fmt.Errorf("make an event's id: %w", err)
	}
	now := d.now()
	return journal.Entry{ID: id.String(), Type: events.Event{Body: b}.Type(), Time: now, Recorded: now, By: string(by), Data: data}, nil
}

func (d *Directory) name(kind string) (string, error) {
	d.randomMu.Lock()
	defer d.randomMu.Unlock()
	return newName(d.random, kind)
}

func (d *Directory) key(prefix string) (string, error) {
	d.randomMu.Lock()
	defer d.randomMu.Unlock()
	return newKey(d.random, prefix)
}

func (d *Directory) token() (Issued, error) {
	id, err := d.name("t")
	if err != nil {
		return Issued{}, err
	}
	key, err := d.key(tokenPrefix)
	return Issued{ID: events.TokenID(id), Token: key}, err
}
