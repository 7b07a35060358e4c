package projections_test

import (
	"bytes"
	"context"
	"fmt"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/record"
)

func at(n int) time.Time { return time.Date(2026, 5, 4, 7, 0, n, 0, time.UTC) }

func openLog(t *testing.T) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return j
}

// writer appends events to a log, each after its job's last.
type writer struct {
	j     *journal.Journal
	tails map[string]journal.Tail
	n     int
}

func (w *writer) add(t testing.TB, job, data string) uint64 {
	t.Helper()
	subject, err := journal.RoofSubject("acme", job)
	if err != nil {
		t.Fatal(err)
	}
	w.n++
	e := journal.Entry{ID: fmt.Sprint("id-", w.n), Type: "bydark.test.said.v1", Time: at(w.n), Recorded: at(w.n), By: "ann", Data: []byte(data)}
	tail, err := w.j.Append(context.Background(), subject, w.tails[job], e)
	if err != nil {
		t.Fatal(err)
	}
	w.tails[job] = tail
	return tail.Sequence
}

func TestFoldsAndDumps(t *testing.T) {
	j := openLog(t)
	w := &writer{j: j, tails: map[string]journal.Tail{}}
	s, err := projections.OpenSQLite(t.Context(), t.TempDir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	r := projections.NewRunner(projections.Config[int]{Journal: j, Stream: journal.Roof, Store: s, History: record.Roof(), Now: func() time.Time { return at(0) },
		Fold: projections.Fold[int]{New: func(string, string) int { return 0 }, Apply: func(n int, _ journal.Entry) (int, error) { return n + 1, nil }}})
	for i := range 20 {
		w.add(t, fmt.Sprint("j", i%3), `{"a":1}`)
	}
	if err := r.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	var live, rebuilt bytes.Buffer
	if err := r.Dump(t.Context(), &live); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := r.Dump(t.Context(), &rebuilt); err != nil {
		t.Fatal(err)
	}
	if live.String() != rebuilt.String() || live.Len() == 0 {
		t.Fatalf("live\n%s\nrebuilt\n%s", live.String(), rebuilt.String())
	}
}
