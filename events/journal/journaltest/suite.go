package journaltest

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"bydark/events/journal"
)

// Kind is a kind of journal, empty at first, that can be opened again and finds what it held.
type Kind struct {
	Name  string
	Start func(t *testing.T) (open func(t testing.TB) *journal.Journal)
}

// Kinds are the kinds that we support.
func Kinds() []Kind {
	return []Kind{
		{"embedded", func(t *testing.T) func(testing.TB) *journal.Journal {
			dir := t.TempDir()
			return func(t testing.TB) *journal.Journal { return OpenWith(t, journal.Options{Dir: dir}) }
		}},
		{"remote", func(t *testing.T) func(testing.TB) *journal.Journal {
			s := StartServer(t, nil)
			return func(t testing.TB) *journal.Journal { return OpenWith(t, s.Options()) }
		}},
	}
}

// Run tests one kind.
func Run(t *testing.T, k Kind) {
	for name, test := range map[string]func(*testing.T, Kind){
		"an event comes back as it went in": comesBack,
		"a subject is a chain":              chain,
		"a long subject loads whole":        longSubject,
		"follow, cut at every point":        cutAtEveryPoint,
		"follow sees what is written":       live,
		"follow gathers what has come":      gathered,
		"a position of another log":         otherLog,
		"writers race":                      race,
		"a stale writer":                    stale,
		"an id again":                       repeats,
		"what cannot be stored":             refusals,
		"objects":                           objects,
		"sound and ready":                   sound,
	} {
		t.Run(name, func(t *testing.T) { test(t, k) })
	}
}

// Day is when the tests' events happen.
var Day = time.Date(2031, time.May, 5, 7, 0, 0, 0, time.FixedZone("", -5*3600))

// Event is the n-th event of a test, with an id of its own.
func Event(n int) journal.Entry {
	return journal.Entry{
		ID: fmt.Sprintf("event-%d", n), Type: "bydark.work.panel-set.v1", Source: "phone/7", About: fmt.Sprintf("P%d", n), By: "person-3",
		Time: Day.Add(time.Duration(n) * time.Minute), Recorded: Day.Add(time.Duration(n) * time.Hour),
		Data: fmt.Appendf(nil, `{"panel":"P%d"}`, n),
	}
}

// Append writes the events after the given one and returns the new last.
func Append(t testing.TB, j *journal.Journal, subject string, after journal.Tail, events ...journal.Entry) journal.Tail {
	t.Helper()
	for _, e := range events {
		var err error
		if after, err = j.Append(t.Context(), subject, after, e); err != nil {
			t.Fatal(err)
		}
	}
	return after
}

// Load reads a subject.
func Load(t testing.TB, j *journal.Journal, subject string, after uint64) []journal.Entry {
	t.Helper()
	events, err := j.Load(t.Context(), subject, after)
	if err != nil {
		t.Fatal(err)
	}
	return events
}

func comesBack(t *testing.T, k Kind) {
	open := k.Start(t)
	const subject = "roof.acme.j-1"
	for _, e := range []journal.Entry{
		Event(1),
		{ID: "with spaces, \"quotes\" and 100 %", Type: "t", Time: Day, Recorded: Day},
		{ID: "line\r\nbreak\x00", Type: "größer 屋根", Source: " edges ", About: "\t", By: "%41", Time: Day.UTC().Add(1), Recorded: Day, Data: []byte{}},
		{ID: "binary", Type: "t", Time: Day, Recorded: Day, Data: []byte{0, '\r', '\n', 0xff}},
		{ID: "local mean time", Type: "t", Time: Day.In(time.FixedZone("LMT", 1172)), Recorded: Day},
	} {
		t.Run(e.ID, func(t *testing.T) {
			j := open(t)
			before := Load(t, j, subject, 0)
			var after journal.Tail
			if n := len(before); n > 0 {
				after = before[n-1].Tail()
			}
			tail := Append(t, j, subject, after, e)
			all := Load(t, j, subject, 0)
			if len(all) != len(before)+1 {
				t.Fatalf("%d events, want %d", len(all), len(before)+1)
			}
			got := all[len(before)]
			if got.Tail() != tail {
				t.Errorf("append answered %v, load found %v", tail, got.Tail())
			}
			if got.ID != e.ID || got.Type != e.Type || got.Source != e.Source || got.About != e.About || got.By != e.By ||
				!got.Time.Equal(e.Time) || string(got.Data) != string(e.Data) || got.Subject != subject {
				t.Errorf("got %+v, want %+v", got, e)
			}
			if want := later(after.Recorded, e.Recorded); !got.Recorded.Equal(want) {
				t.Errorf("recorded %v, want %v", got.Recorded, want)
			}
		})
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func chain(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	var tails [2]journal.Tail
	subjects := [2]string{"roof.acme.j-1", "roof.acme.j-2"}
	for n := range 20 {
		tails[n%2] = Append(t, j, subjects[n%2], tails[n%2], Event(n))
	}
	for n, subject := range subjects {
		events := Load(t, j, subject, 0)
		if len(events) != 10 || events[9].Tail() != tails[n] {
			t.Fatalf("%s: %d events, want 10 up to %v", subject, len(events), tails[n])
		}
		var prev journal.Digest
		for _, e := range events {
			if e.Prev != prev {
				t.Errorf("event %d names %v as its predecessor, want %v", e.Sequence, e.Prev, prev)
			}
			prev = e.Digest
		}
		for m, e := range events {
			if rest := Load(t, j, subject, e.Sequence); len(rest) != 9-m {
				t.Errorf("%d events after %d, want %d", len(rest), e.Sequence, 9-m)
			}
		}
		if _, err := j.Load(t.Context(), subject, events[9].Sequence+1); !errors.Is(err, journal.ErrOtherLog) {
			t.Errorf("load after a sequence that is not there: %v", err)
		}
	}
	if _, err := j.Load(t.Context(), subjects[0], 2); !errors.Is(err, journal.ErrOtherLog) {
		t.Errorf("load after another subject's event: %v", err)
	}
	if events := Load(t, j, "roof.acme.nobody", 0); len(events) != 0 {
		t.Errorf("%d events of a subject that has none", len(events))
	}
}

// longSubject has more events than a page holds.
func longSubject(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	const subject, n = "roof.acme.long", 1050
	var tail journal.Tail
	for i := range n {
		tail = Append(t, j, subject, tail, Event(i))
	}
	events := Load(t, j, subject, 0)
	if len(events) != n || events[n-1].Tail() != tail {
		t.Fatalf("%d events, want %d", len(events), n)
	}
}
