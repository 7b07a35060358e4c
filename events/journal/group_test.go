package journal

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// written puts an event into the broker of a log on our own disk, and leaves it unsynced. It stands inside the package because outside of
// it nobody can do that.
func written(t *testing.T, j *Journal, subject string, after Tail, id string) Entry {
	t.Helper()
	e, err := following(subject, after, Entry{ID: id, Type: "t", Time: time.Unix(1, 0).UTC(), Recorded: time.Unix(1, 0), Data: []byte("{}")})
	if err != nil {
		t.Fatal(err)
	}
	m := &nats.Msg{Subject: subject, Header: header(e), Data: e.Data}
	m.Header[jetstream.ExpectedLastSubjSeqHeader] = []string{"0"}
	ack, err := j.request(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	e.Sequence = ack.Sequence
	return e
}

// While a sync does not come to its end, nobody is shown what it is to make durable, in whatever way they ask.
func TestNothingIsShownUnsynced(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	}()
	y := j.local.durability.streams[Roof]
	endless := make(chan struct{})
	y.mu.Lock()
	y.under = endless // a sync is under way
	y.mu.Unlock()
	e := written(t, j, "roof.acme.j-1", Tail{}, "a")

	var shown []Entry
	for what, look := range map[string]func(context.Context) error{
		"load": func(ctx context.Context) (err error) {
			shown, err = j.Load(ctx, e.Subject, 0)
			return err
		},
		"follow": func(ctx context.Context) error {
			return j.Follow(ctx, Roof, Position{}, func(events []Entry, _ bool) error {
				shown = append(shown, events...)
				return nil
			})
		},
		"end": func(ctx context.Context) error {
			_, err := j.End(ctx, Roof)
			return err
		},
		"verify": func(ctx context.Context) error {
			_, _, err := j.Verify(ctx, Roof, func(p string) { t.Error(p) })
			return err
		},
		"append": func(ctx context.Context) error {
			_, err := j.Append(ctx, "roof.acme.j-2", Tail{}, Entry{ID: "b", Type: "t", Time: e.Time, Recorded: e.Recorded})
			return err
		},
	} {
		shown = nil
		ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
		err := look(ctx)
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) || len(shown) > 0 {
			t.Errorf("%s: %d events, %v", what, len(shown), err)
		}
	}

	y.mu.Lock()
	y.under = nil
	close(endless)
	y.mu.Unlock()
	events, err := j.Load(t.Context(), e.Subject, 0)
	if err != nil || len(events) != 1 || events[0].Tail() != e.Tail() {
		t.Errorf("when it has ended: %v, %v", events, err)
	}
	if end, err := j.End(t.Context(), Roof); err != nil || end.Sequence != 2 {
		t.Errorf("when it has ended: %v, %v", end, err)
	}
	if got := y.synced.Load(); got != 2 {
		t.Errorf("durable up to %d, want 2", got)
	}
}

// Those who wait share a sync, and the figures tell.
func TestFigures(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	e := Entry{ID: "a", Type: "t", Time: time.Unix(1, 0).UTC(), Recorded: time.Unix(1, 0)}
	for _, subject := range []string{"roof.acme.j-1", "roof.acme.j-2"} {
		if _, err := j.Append(t.Context(), subject, Tail{}, e); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := j.Append(t.Context(), "roof.acme.j-1", Tail{}, Entry{ID: "b", Type: "t", Time: e.Time, Recorded: e.Recorded}); !errors.Is(err, ErrConflict) {
		t.Error(err)
	}
	f := j.Figures()
	if f.Stored != 2 || f.Conflicts != 1 || f.Unknown != 0 || f.Group.Counts[0] != 2 || f.Group.Sum != 2 || f.Sync.Sum <= 0 || f.Append.Sum < f.Sync.Sum {
		t.Errorf("%+v", f)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := j.End(t.Context(), Roof); !errors.Is(err, ErrClosed) {
		t.Errorf("end of a closed journal: %v", err)
	}
}
