package journal_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"bydark/events/journal"
)

// kept is a log in a directory, with what the tests of readers need.
func kept(t *testing.T, dir string) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir, AnyFileSystem: true, Spare: 1, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func closed(t *testing.T, j *journal.Journal) {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// put appends n events to a subject, numbered from first.
func put(t *testing.T, j *journal.Journal, subject string, first, n int) {
	t.Helper()
	had, err := j.Load(t.Context(), subject, 0)
	if err != nil {
		t.Fatal(err)
	}
	var tail journal.Tail
	if len(had) > 0 {
		tail = had[len(had)-1].Tail()
	}
	at := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	for i := first; i < first+n; i++ {
		if tail, err = j.Append(t.Context(), subject, tail, journal.Entry{ID: fmt.Sprint(i), Type: "x", Time: at, Recorded: at, Data: []byte("{}")}); err != nil {
			t.Fatal(err)
		}
	}
}

// take reads one event.
func take(t *testing.T, r *journal.Reader) journal.Delivery {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	d, err := r.Next(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// A reader goes on where it was, over a restart; it sees its own company only; what is
// given back or not acknowledged comes again; a log that was restored from another
// begins at its end.
func TestReaderGoesOn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	j := kept(t, dir)
	put(t, j, "roof.acme.a", 0, 1)
	from, err := j.End(t.Context(), journal.Roof)
	if err != nil {
		t.Fatal(err)
	}
	put(t, j, "roof.other.a", 100, 2)
	put(t, j, "roof.acme.a", 1, 2)
	put(t, j, "roof.acme.b", 3, 2)
	reading := journal.Reading{Name: "tell-w", Company: "acme", From: from, Wait: time.Second}
	open := func() *journal.Reader {
		t.Helper()
		r, err := j.Reader(t.Context(), reading)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := open()
	first := take(t, r)
	if first.Entry.ID != "1" || first.Unreadable != "" {
		t.Fatalf("first it reads %+v", first)
	}
	if err := first.Again(0); err != nil {
		t.Fatal(err)
	}
	if first = take(t, r); first.Entry.ID != "1" {
		t.Fatalf("after it gave 1 back it reads %s", first.Entry.ID)
	}
	if err := errors.Join(first.Working(), first.Done(t.Context())); err != nil {
		t.Fatal(err)
	}
	if second := take(t, r); second.Entry.ID != "2" { // and is never acknowledged
		t.Fatalf("second it reads %s", second.Entry.ID)
	}
	r.Close()
	closed(t, j)
	j = kept(t, dir)
	r = open()
	for _, want := range []string{"2", "3", "4"} {
		d := take(t, r)
		if d.Entry.ID != want {
			t.Fatalf("after the restart it reads %s, want %s", d.Entry.ID, want)
		}
		if err := d.Done(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	r.Close()
	var backup bytes.Buffer
	if _, err := j.Backup(t.Context(), &backup); err != nil {
		t.Fatal(err)
	}
	closed(t, j)
	other := t.TempDir()
	if _, err := journal.Restore(t.Context(), journal.Options{Dir: other, AnyFileSystem: true, Spare: 1, Log: slog.New(slog.DiscardHandler)}, bytes.NewReader(backup.Bytes())); err != nil {
		t.Fatal(err)
	}
	j = kept(t, other)
	defer closed(t, j)
	r = open()
	defer r.Close()
	put(t, j, "roof.acme.a", 9, 1)
	if d := take(t, r); d.Entry.ID != "9" {
		t.Errorf("a restored log tells %s again", d.Entry.ID)
	}
	if _, err := j.Reader(t.Context(), journal.Reading{Name: "a.b", Company: "acme"}); !errors.Is(err, journal.ErrInvalid) {
		t.Errorf("a name with a dot: %v", err)
	}
}

// What is set aside is listed in order, page by page, to its company only, and stays
// over a restart until it is taken back.
func TestSetAside(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	j := kept(t, dir)
	for i := range 5 {
		for _, company := range []string{"acme", "other"} {
			if err := j.SetAside(t.Context(), journal.Aside{Company: company, Reader: "w", Sequence: uint64(i + 1), Subject: "roof." + company + ".a", Reason: "r", Handler: "h"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	closed(t, j)
	j = kept(t, dir)
	defer closed(t, j)
	var all []journal.Aside
	for after := uint64(0); ; {
		page, err := j.Asides(t.Context(), "acme", after, 2)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			break
		}
		all = append(all, page...)
		after = page[len(page)-1].Number
	}
	if len(all) != 5 {
		t.Fatalf("%d are listed", len(all))
	}
	for i, a := range all {
		if a.Company != "acme" || a.Reader != "w" || a.Sequence != uint64(i+1) {
			t.Errorf("number %d: %+v", i, a)
		}
		if _, err := j.Aside(t.Context(), "other", a.Number); !errors.Is(err, journal.ErrNotFound) {
			t.Errorf("another company reads it: %v", err)
		}
	}
	if err := errors.Join(j.TakeBack(t.Context(), all[1]), j.TakeBack(t.Context(), all[1])); err != nil {
		t.Errorf("taken back twice: %v", err)
	}
	if _, err := j.Aside(t.Context(), "acme", all[1].Number); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("read after it was taken back: %v", err)
	}
	if _, err := j.Aside(t.Context(), "acme", 10_000); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("one that never was: %v", err)
	}
	left, err := j.Asides(t.Context(), "acme", 0, 100)
	if err != nil || len(left) != 4 {
		t.Errorf("%d are left, %v", len(left), err)
	}
	if none, err := j.Asides(t.Context(), "nobody", 0, 100); err != nil || len(none) != 0 {
		t.Errorf("nobody has %d, %v", len(none), err)
	}
}
