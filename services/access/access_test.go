package access

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// house is a directory that runs.
type house struct {
	*Directory
	stop func()
}

func clock() time.Time { return time.Date(2031, time.May, 5, 11, 0, 0, 0, time.UTC) }

func open(t testing.TB, j *journal.Journal) house {
	t.Helper()
	d, err := Open(t.Context(), j, rand.Reader, clock)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ran := make(chan error, 1)
	go func() { ran <- d.Run(ctx) }()
	h := house{d, sync.OnceFunc(func() {
		cancel()
		if err := <-ran; !errors.Is(err, context.Canceled) {
			t.Errorf("Run ended with %v", err)
		}
	})}
	t.Cleanup(h.stop)
	return h
}

func (h house) company(t testing.TB, name string) (Person, string) {
	t.Helper()
	o, err := h.OpenCompany(t.Context(), name, "Wanda Larch")
	if err != nil {
		t.Fatal(err)
	}
	owner, err := h.Who(o.Token)
	if err != nil || owner != (Person{o.Company, o.Owner, "Wanda Larch", Owner}) {
		t.Fatalf("the new owner's token is %+v's, %v", owner, err)
	}
	return owner, o.Token
}

func (h house) person(t testing.TB, by Person, name string, role events.Role) (Person, Issued) {
	t.Helper()
	id, err := h.AddPerson(t.Context(), by, name, role)
	if err != nil {
		t.Fatal(err)
	}
	issued, err := h.IssueToken(t.Context(), by, id)
	if err != nil {
		t.Fatal(err)
	}
	p, err := h.Who(issued.Token)
	if err != nil || p != (Person{by.Company, id, name, role}) {
		t.Fatalf("the new token is %+v's, %v", p, err)
	}
	return p, issued
}

func TestCompanyIsOpenedOnce(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	var wg sync.WaitGroup
	results := make([]error, 8)
	for i := range results {
		wg.Go(func() { _, results[i] = h.OpenCompany(t.Context(), "Larch & Sons", "Wanda") })
	}
	wg.Wait()
	opened := 0
	for _, err := range results {
		if err == nil {
			opened++
		} else if r := events.RefusalIn(err); r == nil || r.Code != "company-exists" {
			t.Errorf("refused with %v", err)
		}
	}
	if opened != 1 {
		t.Errorf("opened %d times", opened)
	}
	// Another spelling of the same id is the same company.
	if _, err := h.OpenCompany(t.Context(), "LARCH sons", "Wanda"); events.RefusalIn(err) == nil {
		t.Errorf("the same id was opened again: %v", err)
	}
}

// S01.
func TestRoles(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	owner, _ := h.company(t, "Larch")
	hand, issued := h.person(t, owner, "Ike", Hand)
	for what, do := range map[string]func() error{
		"add":    func() error { _, err := h.AddPerson(t.Context(), hand, "X", Owner); return err },
		"role":   func() error { return h.ChangeRole(t.Context(), hand, hand.ID, Owner) },
		"remove": func() error { return h.RemovePerson(t.Context(), hand, owner.ID) },
		"token":  func() error { _, err := h.IssueToken(t.Context(), hand, owner.ID); return err },
		"revoke": func() error { return h.RevokeToken(t.Context(), hand, hand.ID, string(issued.ID)) },
	} {
		if err := do(); !errors.Is(err, ErrForbidden) {
			t.Errorf("%s by a hand: %v", what, err)
		}
	}
	if err := h.ChangeRole(t.Context(), owner, hand.ID, "boss"); events.RefusalIn(err) == nil || events.RefusalIn(err).Code != "unknown-role" {
		t.Errorf("role boss: %v", err)
	}
	if err := h.ChangeRole(t.Context(), owner, hand.ID, Lead); err != nil {
		t.Fatal(err)
	}
	if p, err := h.Who(issued.Token); err != nil || p.Role != Lead {
		t.Errorf("after the change the token is %+v's, %v", p, err)
	}
}

func TestAnOwnerStays(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	owner, token := h.company(t, "Larch")
	only := h.People(owner.Company)[0].Tokens[0]
	for what, do := range map[string]func() error{
		"lowered":                func() error { return h.ChangeRole(t.Context(), owner, owner.ID, Manager) },
		"removed":                func() error { return h.RemovePerson(t.Context(), owner, owner.ID) },
		"shut out":               func() error { return h.RevokeToken(t.Context(), owner, owner.ID, string(only)) },
		"shut out, by the token": func() error { return h.RevokeToken(t.Context(), owner, owner.ID, token) },
		"removed beside one without a token": func() error {
			if _, err := h.AddPerson(t.Context(), owner, "Una", Owner); err != nil {
				return err
			}
			return h.RemovePerson(t.Context(), owner, owner.ID)
		},
		"shut out beside one without a token": func() error { return h.RevokeToken(t.Context(), owner, owner.ID, token) },
	} {
		if r := events.RefusalIn(do()); r == nil || r.Code != "last-owner" {
			t.Errorf("the last owner was %s: %v", what, r)
		}
	}
	for _, p := range h.People(owner.Company) {
		if p.ID != owner.ID {
			if err := h.RemovePerson(t.Context(), owner, p.ID); err != nil {
				t.Fatal(err)
			}
		}
	}
	// A second token takes the first one's place.
	spare, err := h.IssueToken(t.Context(), owner, owner.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.RevokeToken(t.Context(), owner, owner.ID, token); err != nil {
		t.Error(err)
	}
	if r := events.RefusalIn(h.RevokeToken(t.Context(), owner, owner.ID, string(spare.ID))); r == nil || r.Code != "last-owner" {
		t.Errorf("the second token, the only one left: %v", r)
	}
	token = spare.Token
	second, _ := h.person(t, owner, "Mo", Owner)
	// Two owners remove each other at once: one of them stays.
	var wg sync.WaitGroup
	wg.Go(func() { _ = h.RemovePerson(t.Context(), owner, second.ID) }) // either may fail
	wg.Go(func() { _ = h.RemovePerson(t.Context(), second, owner.ID) })
	wg.Wait()
	if people := h.People(owner.Company); len(people) != 1 || people[0].Role != Owner {
		t.Errorf("left are %+v", people)
	}
	if _, err := h.Who(token); err != nil && h.People(owner.Company)[0].ID == owner.ID {
		t.Errorf("the owner who stayed is locked out: %v", err)
	}
}

func TestOtherCompany(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	larch, _ := h.company(t, "Larch")
	other, otherToken := h.company(t, "Other")
	hand, issued := h.person(t, other, "Ike", Hand)
	for what, err := range map[string]error{
		"role":            h.ChangeRole(t.Context(), larch, hand.ID, Owner),
		"remove":          h.RemovePerson(t.Context(), larch, hand.ID),
		"revoke":          h.RevokeToken(t.Context(), larch, hand.ID, string(issued.ID)),
		"revoke by token": h.RevokeToken(t.Context(), larch, hand.ID, issued.Token),
		"nobody":          h.RemovePerson(t.Context(), larch, "p-nobody"),
		"own, other's":    h.RevokeToken(t.Context(), larch, larch.ID, string(issued.ID)),
	} {
		if !errors.Is(err, ErrNotFound) {
			t.Errorf("%s in another company: %v", what, err)
		}
	}
	if _, err := h.IssueToken(t.Context(), larch, hand.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("token for another company's person: %v", err)
	}
	if p, err := h.Who(otherToken); err != nil || p != other {
		t.Errorf("the other company's token is %+v's, %v", p, err)
	}
}

// S14, S18: a key has 256 bits, is in no file of the log, and one that is not good is
// like any other that is not.
func TestKeys(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h := open(t, journaltest.OpenWith(t, journal.Options{Dir: dir}))
	owner, token := h.company(t, "Larch")
	_, issued := h.person(t, owner, "Ike", Hand)
	secret, err := h.SignIn(t.Context(), issued.Token)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{token, issued.Token, secret} {
		if !strings.HasPrefix(key, "bydark") || len(key) < 43 {
			t.Errorf("key %q", key)
		}
		if file := fileWith(t, dir, key); file != "" {
			t.Errorf("key %q is in %s", key, file)
		}
	}
	if file := fileWith(t, dir, hashOf(token).String()); file == "" {
		t.Error("the search finds not even the hash")
	}
	if _, err := h.IssueToken(t.Context(), owner, owner.ID); err != nil { // the last one is not revoked
		t.Fatal(err)
	}
	if err := h.RevokeToken(t.Context(), owner, owner.ID, token); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"", token, token + "x", token[:len(token)-1], secret, strings.ToUpper(issued.Token), string(issued.ID), hashOf(issued.Token).String()} {
		if _, err := h.Who(key); err != ErrNoKey { //nolint:errorlint // exactly the same, not only of its kind
			t.Errorf("%q gave %v", key, err)
		}
	}
}

func fileWith(t *testing.T, dir, needle string) string {
	t.Helper()
	found := ""
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(path)
		if bytes.Contains(data, []byte(needle)) {
			found = path
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// S14.
func TestKeysDiffer(t *testing.T) {
	t.Parallel()
	seen := map[[8]byte]bool{}
	for range 1_000_000 {
		key, err := newKey(rand.Reader, tokenPrefix)
		if err != nil {
			t.Fatal(err)
		}
		h := hashOf(key)
		short := [8]byte(h[:8])
		if seen[short] {
			t.Fatal("a key came twice")
		}
		seen[short] = true
	}
	if _, err := newKey(strings.NewReader("too short"), tokenPrefix); err == nil {
		t.Error("a key was made without chance")
	}
}

// S15: what was revoked stays so, over a restart and in another process.
func TestRevokedStaysRevoked(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	j := journaltest.OpenWith(t, journal.Options{Dir: dir})
	h := open(t, j)
	owner, token := h.company(t, "Larch")
	hand, issued := h.person(t, owner, "Ike", Hand)
	_, gone := h.person(t, owner, "Ann", Lead)
	secret, err := h.SignIn(t.Context(), issued.Token)
	if err != nil {
		t.Fatal(err)
	}
	if p, err := h.WhoseSession(secret); err != nil || p != hand {
		t.Fatalf("the session is %+v's, %v", p, err)
	}
	annID := h.People(owner.Company)[slices.IndexFunc(h.People(owner.Company), func(l Listed) bool { return l.Name == "Ann" })].ID
	if err := errors.Join(
		h.RevokeToken(t.Context(), owner, hand.ID, string(issued.ID)),
		h.RemovePerson(t.Context(), owner, annID),
	); err != nil {
		t.Fatal(err)
	}
	check := func(h house) {
		for what, err := range map[string]error{"token": second(h.Who(issued.Token)), "removed": second(h.Who(gone.Token)), "session": second(h.WhoseSession(secret))} {
			if !errors.Is(err, ErrNoKey) {
				t.Errorf("%s: %v", what, err)
			}
		}
		if p, err := h.Who(token); err != nil || p != owner {
			t.Errorf("the owner's token is %+v's, %v", p, err)
		}
	}
	check(h)
	h.stop()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	check(open(t, journaltest.OpenWith(t, journal.Options{Dir: dir})))
}

func second(_ Person, err error) error { return err }

func TestTwoProcesses(t *testing.T) {
	t.Parallel()
	server := journaltest.StartServer(t, nil)
	a, b := open(t, journaltest.OpenWith(t, server.Options())), open(t, journaltest.OpenWith(t, server.Options()))
	owner, _ := a.company(t, "Larch")
	hand, issued := a.person(t, owner, "Ike", Hand)
	until := func(want func(Person, error) bool) {
		for {
			changed := b.Changes()
			if want(b.Who(issued.Token)) {
				return
			}
			select {
			case <-changed:
			case <-t.Context().Done():
				t.Fatal("the other process never learnt it")
			}
		}
	}
	until(func(p Person, err error) bool { return err == nil && p == hand })
	// b decides on what it knows and is corrected by the log, whoever writes first.
	var wg sync.WaitGroup
	for i := range 10 {
		for _, h := range []house{a, b} {
			wg.Go(func() {
				if _, err := h.AddPerson(t.Context(), owner, fmt.Sprintf("Person %d", i), Hand); err != nil {
					t.Error(err)
				}
			})
		}
	}
	wg.Wait()
	if err := a.RevokeToken(t.Context(), owner, hand.ID, string(issued.ID)); err != nil {
		t.Fatal(err)
	}
	until(func(_ Person, err error) bool { return errors.Is(err, ErrNoKey) })
	if diff := cmp.Diff(a.People(owner.Company), b.People(owner.Company)); diff != "" || len(a.People(owner.Company)) != 22 {
		t.Errorf("the processes differ: %s", diff)
	}
}

// S16.
func TestSessions(t *testing.T) {
	t.Parallel()
	now := clock()
	h := open(t, journaltest.Open(t))
	h.now = func() time.Time { return now }
	_, token := h.company(t, "Larch")
	secret, err := h.SignIn(t.Context(), token)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Who(secret); !errors.Is(err, ErrNoKey) {
		t.Errorf("a session's secret serves as a token: %v", err)
	}
	if _, err := h.WhoseSession(token); !errors.Is(err, ErrNoKey) {
		t.Errorf("a token serves as a session's secret: %v", err)
	}
	if _, err := h.SignIn(t.Context(), secret); !errors.Is(err, ErrNoKey) {
		t.Errorf("a session begot a session: %v", err)
	}
	now = now.Add(SessionLife - time.Nanosecond)
	if _, err := h.WhoseSession(secret); err != nil {
		t.Errorf("just before its end: %v", err)
	}
	now = now.Add(time.Nanosecond)
	if _, err := h.WhoseSession(secret); !errors.Is(err, ErrNoKey) {
		t.Errorf("at its end: %v", err)
	}
	now = now.Add(time.Hour)
	next, err := h.SignIn(t.Context(), token)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(h.keys.sessions); n != 1 {
		t.Errorf("%d sessions are kept, want the one that has not ended", n)
	}
	if err := h.SignOut(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{next, secret, ""} {
		if err := h.SignOut(t.Context(), key); !errors.Is(err, ErrNoKey) {
			t.Errorf("signed out twice: %v", err)
		}
	}
}

// S42: a name is what it looks like.
func TestNames(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	owner, _ := h.company(t, "Larch")
	for _, bad := range []string{"", " ", "a\x00b", "a\r\nb", "\u202eeki", "Ike\u200b", "\xff", strings.Repeat("i", 241), "\u2028", "\ue000"} {
		if _, err := h.AddPerson(t.Context(), owner, bad, Hand); events.RefusalIn(err) == nil || events.RefusalIn(err).Code != "unreadable-name" {
			t.Errorf("%q was taken for a name: %v", bad, err)
		}
	}
	for _, good := range []string{"Ike", "Señor Ångström", "屋根", "O'Brien; DROP TABLE people--", `<script>"&'`, strings.Repeat("i\u0301", 80)} {
		h.person(t, owner, good, Hand)
	}
}

func TestStopped(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	owner, _ := h.company(t, "Larch")
	h.stop()
	if _, err := h.AddPerson(t.Context(), owner, "Ike", Hand); !errors.Is(err, ErrStopped) {
		t.Errorf("a change nobody can see: %v", err)
	}
}

// An event of a later release may take access away: not to know it is not to pass it.
func TestUnknownEventStopsTheDirectory(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]journal.Entry{
		"later":   {ID: "1", Type: "bydark.door.all-revoked.v1", Time: clock(), Recorded: clock(), Data: []byte(`{}`)},
		"foreign": {ID: "1", Type: "bydark.work.panel-set.v1", Time: clock(), Recorded: clock(), Data: []byte(`{"piece":"A-01"}`)},
		"misfit":  {ID: "1", Type: "bydark.door.role-changed.v1", Time: clock(), Recorded: clock(), Data: []byte(`{"person":"p-1","role":"owner"}`)},
		"no hash": {ID: "1", Type: "bydark.door.token-issued.v1", Time: clock(), Recorded: clock(), Data: []byte(`{"person":"p-1","token":"t-1","sha256":"00"}`)},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			j := journaltest.Open(t)
			journaltest.Append(t, j, "door.larch", journal.Tail{}, e)
			if d, err := Open(t.Context(), j, rand.Reader, clock); err == nil {
				t.Errorf("it was passed over: %+v", d.People("larch"))
			}
		})
	}
}

// Whoever holds the log lets an owner in again whose token is lost.
func TestRecover(t *testing.T) {
	t.Parallel()
	h := open(t, journaltest.Open(t))
	owner, lost := h.company(t, "Larch")
	issued, err := h.Recover(t.Context(), owner.ID)
	if err != nil {
		t.Fatal(err)
	}
	if p, err := h.Who(issued.Token); err != nil || p != owner || issued.Token == lost {
		t.Errorf("the new token is %+v's, %v", p, err)
	}
	if _, err := h.Recover(t.Context(), "p-nobody"); !errors.Is(err, ErrNotFound) {
		t.Errorf("for nobody: %v", err)
	}
}
