package courier

import (
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// broker is a broker of its own, which the test can write past the journal to.
func broker(t *testing.T) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true, SyncAlways: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() {
		s.Shutdown()
		s.WaitForShutdown()
	})
	if !s.ReadyForConnections(time.Minute) {
		t.Fatal("the broker does not start")
	}
	return s
}

// F41: what is no event of ours, whatever it is, neither ends the process nor holds up
// what comes after it: it is set aside once, with reason, handler and sequence.
func TestRubbishIsSetAside(t *testing.T) {
	t.Parallel()
	s := broker(t)
	log, err := journal.Open(t.Context(), journal.Options{URL: s.ClientURL(), DurabilityUnverified: true, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	})
	h := over(t, log, nil)
	nc, err := nats.Connect(s.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	r := receive(t, nil)
	id, _ := h.subscribe(Wish{To: r.URL})
	raw := func(header nats.Header, data string) {
		t.Helper()
		answer, err := nc.RequestMsg(&nats.Msg{Subject: "roof." + string(h.owner.Company) + ".raw", Header: header, Data: []byte(data)}, time.Minute)
		if err != nil || strings.Contains(string(answer.Data), "error") {
			t.Fatalf("%v, %s", err, answer.Data)
		}
	}
	rounds := journaltest.Rounds(t, 3)
	for i := range rounds {
		raw(nil, "no headers at all")
		raw(nats.Header{"Ce-Id": {"a", "b"}, "ce-id": {"a", "b"}, "ce-type": {"x", "y"}}, "two values")
		raw(nats.Header{"ce-id": {"%ZZ"}, "ce-time": {"yesterday"}}, strings.Repeat("x", 1<<20-200))
		raw(nats.Header{"Nats-Expected-Stream": {"ROOF"}}, "")
		tail := journal.Tail{}
		if _, err := log.Append(t.Context(), fmt.Sprintf("roof.%s.other-%d", h.owner.Company, i), tail, journal.Entry{
			ID: "1", Type: "bydark.work.not-yet-invented.v7", Time: time.Now(), Recorded: time.Now(), Data: []byte(`{}`),
		}); err != nil {
			t.Fatal(err)
		}
		h.report("shed", fmt.Sprintf("good %d", i))
		if got := r.next(t); !strings.Contains(got.words, fmt.Sprintf("good %d", i)) {
			t.Fatalf("round %d: told %q", i, got.words)
		}
	}
	list := h.undelivered()
	seen := map[uint64]bool{}
	for _, a := range list {
		if a.Reason == "" || a.Handler == "" || a.Sequence == 0 || a.Reader != string(id) || seen[a.Sequence] {
			t.Errorf("set aside: %+v", a)
		}
		seen[a.Sequence] = true
		letter, err := h.courier.Read(t.Context(), h.owner.Company, a.Number)
		if err != nil || letter.Message != nil {
			t.Errorf("read %d: %v, %v", a.Sequence, letter.Message, err)
		}
	}
	if len(list) != 5*rounds {
		t.Errorf("%d are set aside, want %d", len(list), 5*rounds)
	}
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); err == nil {
		t.Error("rubbish was sent")
	}
	for _, a := range list {
		if err := h.courier.Drop(t.Context(), h.owner.Company, a.Number); err != nil {
			t.Error(err)
		}
	}
	if left := h.undelivered(); len(left) != 0 {
		t.Errorf("%d are left after all were dropped", len(left))
	}
}

// W5: a handler that panics is tried like one that fails, set aside once, and the next
// event goes out.
func TestAPanicIsSetAside(t *testing.T) {
	t.Parallel()
	var panics atomic.Int64
	h := open(t, func(c *Config) {
		c.Now = func() time.Time {
			if panics.Add(-1) >= 0 {
				panic("the clock fell off the wall")
			}
			return time.Now()
		}
	})
	r := receive(t, nil)
	h.subscribe(Wish{To: r.URL})
	panics.Store(int64(quick.Tries))
	h.report("shed", "first")
	h.report("shed", "second")
	if got := r.next(t); !strings.Contains(got.words, "second") {
		t.Errorf("told %q", got.words)
	}
	if list := h.undelivered(); len(list) != 1 || !strings.Contains(list[0].Reason, "clock fell off the wall") {
		t.Errorf("set aside: %+v", list)
	}
}

// An event is tried by one at a time, however long a receiver takes over it and however
// many couriers run on the log: the broker hears that it is being worked on.
func TestOneAtATime(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	second := New(h.courier.Config)
	done := make(chan error, 1)
	go func() { done <- second.Run(t.Context()) }()
	t.Cleanup(func() {
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	var under, most atomic.Int64
	r := receive(t, func(http.ResponseWriter, *http.Request, received) {
		most.Store(max(most.Load(), under.Add(1)))
		under.Add(-1)
	})
	h.subscribe(Wish{To: r.URL})
	const events = 30
	for i := range events {
		h.report("shed", fmt.Sprint(i))
	}
	for i := range events {
		if got := r.next(t); !strings.Contains(got.words, fmt.Sprintf("A: %d (", i)) {
			t.Fatalf("message %d is %q", i, got.words)
		}
	}
	if most.Load() != 1 {
		t.Errorf("%d at once", most.Load())
	}
}
