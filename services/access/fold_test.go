package access

import (
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bydark/events"
	"bydark/events/journal/journaltest"
)

// Whatever happens at the door, a directory read anew knows what the live one knows,
// and a company has an owner.
func TestLiveEqualsReadAnew(t *testing.T) {
	t.Parallel()
	j := journaltest.Open(t)
	h := open(t, j)
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		first, key := h.company(t, fmt.Sprintf("Larch %d", n))
		known, tokens, sessions := []Person{first}, []string{key}, []string{""}
		pick := func() Person { return rapid.SampledFrom(known).Draw(r, "person") }
		for range rapid.IntRange(1, 25).Draw(r, "steps") {
			by, whom := pick(), pick()
			var err error
			switch rapid.IntRange(0, 6).Draw(r, "step") {
			case 0:
				role := rapid.SampledFrom(Roles()).Draw(r, "role")
				var id events.PersonID
				if id, err = h.AddPerson(t.Context(), by, "Somebody", role); err == nil {
					known = append(known, Person{first.Company, id, "Somebody", role})
				}
			case 1:
				err = h.ChangeRole(t.Context(), by, whom.ID, rapid.SampledFrom(Roles()).Draw(r, "role"))
			case 2:
				err = h.RemovePerson(t.Context(), by, whom.ID)
			case 3:
				var i Issued
				if i, err = h.IssueToken(t.Context(), by, whom.ID); err == nil {
					tokens = append(tokens, i.Token)
				}
			case 4:
				err = h.RevokeToken(t.Context(), by, whom.ID, rapid.SampledFrom(tokens).Draw(r, "token"))
			case 5:
				var secret string
				if secret, err = h.SignIn(t.Context(), rapid.SampledFrom(tokens).Draw(r, "token")); err == nil {
					sessions = append(sessions, secret)
				}
			case 6:
				err = h.SignOut(t.Context(), rapid.SampledFrom(sessions).Draw(r, "session"))
			}
			if err != nil && events.RefusalIn(err) == nil && !errors.Is(err, ErrNotFound) && !errors.Is(err, ErrForbidden) && !errors.Is(err, ErrNoKey) {
				r.Fatalf("a step failed: %v", err)
			}
			if !slices.ContainsFunc(h.People(first.Company), func(p Listed) bool { return p.Role == Owner && len(p.Tokens) > 0 }) {
				r.Fatal("no owner is left who can come in")
			}
		}
		again, err := Open(t.Context(), j, rand.Reader, clock)
		if err != nil {
			r.Fatal(err)
		}
		if diff := cmp.Diff(h.companies, again.companies, cmp.AllowUnexported(company{}, member{}, token{}, session{})); diff != "" {
			r.Errorf("people differ: %s", diff)
		}
		if diff := cmp.Diff(h.keys, again.keys, cmp.AllowUnexported(keys{}, credential{})); diff != "" {
			r.Errorf("keys differ: %s", diff)
		}
		// Every key that is good belongs to somebody who is there.
		for _, k := range again.keys.tokens {
			if _, ok := again.companies[k.company].people[k.person]; !ok {
				r.Errorf("a key of nobody: %+v", k)
			}
		}
	})
}
