package projections_test

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/projectiontest"
)

// bare writes counts the dumb way: all rows away, all rows anew.
type bare struct{}

func (bare) Name() string     { return "bare" }
func (bare) Version() int     { return 1 }
func (bare) Tables() []string { return []string{"bare"} }

const bareTable = `create table if not exists bare (company text not null, job text not null, word text not null, n bigint not null,
	often boolean not null, share double precision not null, last bigint, primary key (company, job, word))`

func (bare) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	for _, c := range changes {
		if _, err := tx.Exec(ctx, `delete from bare where company = ? and job = ?`, c.Company, c.Job); err != nil {
			return err
		}
		for word, n := range c.State {
			var last any
			if n > 1 {
				last = n
			}
			if _, err := tx.Exec(ctx, `insert into bare values (?, ?, ?, ?, ?, ?, ?)`, c.Company, c.Job, word, n, n > 2, float64(n)/3, last); err != nil {
				return err
			}
		}
	}
	return nil
}

// Replace beside a twin that writes all rows every time: whatever comes, goes and changes, the tables are the same.
func TestReplaceBesideTwin(t *testing.T) {
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		makeTables(t, s)
		if err := s.Exec(t.Context(), bareTable); err != nil {
			t.Fatal(err)
		}
		h := newHouse(t)
		c := h.config(s)
		c.Views = []projections.View[tally]{counts{1}, bare{}}
		c.Fold.Apply = func(n tally, e journal.Entry) (tally, error) { // +word adds, -word takes away
			word, err := strconv.Unquote(string(e.Data))
			if err != nil {
				return n, err
			}
			if n[word[1:]]++; word[0] == '-' {
				delete(n, word[1:])
			}
			return n, nil
		}
		r := projections.NewRunner(c)
		rapid.Check(t, func(t *rapid.T) {
			for range rapid.IntRange(1, 5).Draw(t, "events") {
				word := rapid.SampledFrom([]string{"+a", "+b", "+c", "+d", "-a", "-b", "-c"}).Draw(t, "word")
				h.say(t, rapid.SampledFrom([]string{"j0", "j1", "j2", "j3", "j4"}).Draw(t, "job"), strconv.Quote(word))
			}
			if err := r.CatchUp(context.Background()); err != nil {
				t.Fatal(err)
			}
			var all [2][]row
			if err := s.Read(context.Background(), func(tx *projections.Tx) error {
				for i, table := range []string{"counts", "bare"} {
					if err := tx.Select(context.Background(), &all[i], `select * from `+table+` order by job, word`); err != nil {
						return err
					}
				}
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			if a, b := fmt.Sprint(all[0]), fmt.Sprint(all[1]); a != b {
				t.Fatalf("Replace leaves\n%s\nthe twin\n%s", a, b)
			}
		})
	})
}

type row struct {
	Company, Job, Word string
	N                  int
	Often              bool
	Share              float64
	Last               sql.NullInt64
}

// What Replace cannot do right it does not do.
func TestReplaceRefuses(t *testing.T) {
	columns := []string{"company", "job", "word", "n", "often", "share", "last"}
	good := []any{"acme", "j", "a", 1, false, 0.5, nil}
	for name, c := range map[string]struct {
		columns []string
		rows    [][]any
	}{
		"two rows with a key":   {columns, [][]any{good, {"acme", "j", "a", 2, false, 0.5, nil}}},
		"row of another job":    {columns, [][]any{{"acme", "other", "a", 1, false, 0.5, nil}}},
		"no job":                {[]string{"company", "word", "n", "often", "share"}, [][]any{{"acme", "a", 1, false, 0.5}}},
		"key not whole":         {[]string{"company", "job", "n", "often", "share"}, [][]any{{"acme", "j", 1, false, 0.5}}},
		"value of another type": {columns, [][]any{{"acme", "j", "a", struct{}{}, false, 0.5, nil}}},
	} {
		t.Run(name, func(t *testing.T) {
			eachStore(t, func(t *testing.T, h *house, s *projections.Store) {
				conf := h.config(s)
				conf.Views = []projections.View[tally]{viewOf(func(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
					return projections.Replace(ctx, tx, "counts", changes, c.columns, c.rows)
				})}
				r := projections.NewRunner(conf)
				h.say(t, "j", `[]`)
				catchUp(t, r)
				if n := len(r.Status().Stopped); n != 1 {
					t.Errorf("%d jobs are stopped, want 1", n)
				}
			})
		})
	}
}

// viewOf is a view of the table counts that writes it by a function.
type viewOf func(context.Context, *projections.Tx, []projections.Change[tally]) error

func (viewOf) Name() string     { return "function" }
func (viewOf) Version() int     { return 1 }
func (viewOf) Tables() []string { return []string{"counts"} }
func (f viewOf) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	return f(ctx, tx, changes)
}
