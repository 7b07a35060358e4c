package record_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/record"
)

var someEntries = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) journal.Entry {
	e := journal.Entry{
		ID: texts.Draw(t, "id"), Type: texts.Draw(t, "type"), Source: texts.Draw(t, "source"), About: texts.Draw(t, "about"), By: texts.Draw(t, "by"),
		Time: moments.Draw(t, "time"), Recorded: moments.Draw(t, "recorded"), Sequence: rapid.Uint64().Draw(t, "sequence"),
		Data: rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "data"),
	}
	copy(e.Digest[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "digest"))
	copy(e.Prev[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "prev"))
	return e
}), 1, 6)

// What a sheet is made of can be read from it, and nothing else can be: a sheet that is cut, or not one, is damage and no panic.
func TestSheets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := someEntries.Draw(t, "entries")
		sheet, n := record.SheetOf(entries)
		if n != len(entries) {
			t.Fatalf("a sheet took %d of %d small events", n, len(entries))
		}
		got, err := record.EntriesOf(sheet)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(said(entries), said(got)); diff != "" {
			t.Fatal(diff)
		}
		wrong := slices.Clone(sheet)
		if rapid.Bool().Draw(t, "cut") {
			wrong = wrong[:rapid.IntRange(0, len(wrong)-1).Draw(t, "at")]
		} else {
			wrong[rapid.IntRange(0, len(wrong)-1).Draw(t, "at")] ^= byte(1 + rapid.IntRange(0, 254).Draw(t, "bits"))
		}
		if _, err := record.EntriesOf(wrong); err != nil && !errors.Is(err, projections.ErrDamaged) {
			t.Fatal(err)
		}
	})
}

// A sheet is full at some size, and holds one event of any size.
func TestFullSheets(t *testing.T) {
	large := func(n int) journal.Entry {
		return journal.Entry{ID: "e", Time: time.Unix(0, 0), Recorded: time.Unix(0, 0), Data: []byte(strings.Repeat("x", n))}
	}
	for _, c := range []struct {
		sizes []int
		want  int
	}{
		{[]int{900_000}, 1}, {[]int{900_000, 1}, 1}, {[]int{1, 900_000}, 1}, {[]int{30_000, 30_000, 30_000}, 2},
	} {
		var entries []journal.Entry
		for _, n := range c.sizes {
			entries = append(entries, large(n))
		}
		if _, n := record.SheetOf(entries); n != c.want {
			t.Errorf("of events of %v bytes a sheet took %d, want %d", c.sizes, n, c.want)
		}
	}
}

// Who holds an id is found among others whose ids have the same key, and only in its own company. Folded anew, a job's events lie together.
func TestHolder(t *testing.T) {
	eachStore(t, func(t *testing.T, x fixture) {
		ctx := t.Context()
		at := time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)
		last := uint64(0)
		say := func(subject string, tail journal.Tail, id string) journal.Tail {
			next, err := x.log.Append(ctx, subject, tail, journal.Entry{ID: id, Type: "t", Time: at, Recorded: at, Data: []byte(`1`)})
			if err != nil {
				t.Fatal(err)
			}
			if err := x.runner.CatchUp(ctx); err != nil {
				t.Fatal(err)
			}
			last = next.Sequence
			return next
		}
		for _, subject := range []string{"roof.acme.a", "roof.acme.b", "roof.other.c"} {
			var tail journal.Tail
			for _, id := range []string{"1-" + subject, "2-" + subject, "3-" + subject} {
				tail = say(subject, tail, id)
			}
		}
		holder := func(company, id string) (job string) {
			if err := x.store.Read(ctx, func(tx *projections.Tx) (err error) {
				job, err = record.Roof().Holder(ctx, tx, company, id)
				return err
			}); err != nil {
				t.Fatal(err)
			}
			return job
		}
		sheets := func(job string) (n int) {
			if err := x.store.Read(ctx, func(tx *projections.Tx) error {
				all, err := record.Roof().Sheets(ctx, tx, "acme", job)
				n = len(all)
				return err
			}); err != nil {
				t.Fatal(err)
			}
			return n
		}
		if n := sheets("a"); n < 2 {
			t.Errorf("folded as they came, events lie in %d sheets, want some", n)
		}
		if _, err := x.runner.Rebuild(ctx); err != nil {
			t.Fatal(err)
		}
		if n := sheets("a"); n != 1 {
			t.Errorf("folded anew, events lie in %d sheets, want 1", n)
		}
		for i, job := range []string{"a", "b", "no-such-job"} {
			x.commander.commands = append(x.commander.commands,
				record.Roof().Claim("acme", "2-roof.acme.b", last+uint64(i)+10, job), record.Roof().Claim("acme", "nobody's", uint64(i)+1, job))
		}
		say("roof.acme.d", journal.Tail{}, "another")
		for _, c := range []struct{ company, id, want string }{
			{"acme", "1-roof.acme.a", "a"}, {"acme", "2-roof.acme.b", "b"}, {"other", "3-roof.other.c", "c"},
			{"acme", "3-roof.other.c", ""}, {"other", "1-roof.acme.a", ""}, {"acme", "nobody's", ""}, {"acme", "unheard of", ""},
		} {
			if got := holder(c.company, c.id); got != c.want {
				t.Errorf("%s of %s is held by %q, want %q", c.id, c.company, got, c.want)
			}
		}
	})
}

// commander is a view that runs the commands that a test has for it.
type commander struct{ commands []string }

func (*commander) Name() string     { return "commander" }
func (*commander) Version() int     { return 1 }
func (*commander) Tables() []string { return nil }

func (c *commander) Write(ctx context.Context, tx *projections.Tx, _ []projections.Change[int]) error {
	for _, command := range c.commands {
		if _, err := tx.Exec(ctx, command); err != nil {
			return err
		}
	}
	c.commands = nil
	return nil
}
