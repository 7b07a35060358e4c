package journal_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// crowd are writers that report to a cluster until they are told to stop, each to a job of its own, and remember what was acknowledged.
type crowd struct {
	stop  context.CancelFunc
	group sync.WaitGroup
	count atomic.Int64 // events acknowledged

	mu    sync.Mutex // guards acked
	acked map[string]uint64
}

// report starts writers. None may see anything but an acknowledgement, a conflict with itself, or no answer.
func report(t *testing.T, j *journal.Journal, name string, writers int) *crowd {
	ctx, stop := context.WithCancel(t.Context())
	c := &crowd{stop: stop, acked: map[string]uint64{}}
	for w := range writers {
		c.group.Go(func() {
			subject := fmt.Sprintf("roof.acme.%s-%d", name, w)
			var tail journal.Tail
			for n := 0; ctx.Err() == nil; n++ {
				e := journaltest.Event(n)
				next, err := j.Append(ctx, subject, tail, e)
				for err != nil && ctx.Err() == nil {
					if !errors.Is(err, journal.ErrUnknown) && !errors.Is(err, journal.ErrConflict) {
						t.Errorf("%s of %s: %v", e.ID, subject, err)
						return
					}
					next, err = again(ctx, j, subject, tail, e)
				}
				if err != nil {
					return // told to stop in the middle of it
				}
				tail = next
				c.mu.Lock()
				c.acked[subject+" "+e.ID] = tail.Sequence
				c.mu.Unlock()
				c.count.Add(1)
			}
		})
	}
	return c
}

// again looks whether an event is in the log after all, and writes it if not.
func again(ctx context.Context, j *journal.Journal, subject string, tail journal.Tail, e journal.Entry) (journal.Tail, error) {
	events, err := j.Load(ctx, subject, tail.Sequence)
	if err != nil {
		return tail, errors.Join(journal.ErrUnknown, err)
	}
	for _, have := range events {
		if have.ID == e.ID {
			return have.Tail(), nil
		}
	}
	return j.Append(ctx, subject, tail, e)
}

// more waits until so many more events are acknowledged.
func (c *crowd) more(t *testing.T, n int64) {
	t.Helper()
	until(t, fmt.Sprintf("%d more events", n), func(at int64) func() bool { return func() bool { return c.count.Load() >= at+n } }(c.count.Load()))
}

// until waits for what nothing tells of. The test's own deadline ends it.
func until(t *testing.T, what string, done func() bool) {
	t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	limit := time.After(10 * time.Minute)
	for !done() {
		select {
		case <-tick.C:
		case <-limit:
			t.Fatalf("no %s within 10 minutes", what)
		case <-t.Context().Done():
			t.Fatal(t.Context().Err())
		}
	}
}

// ended stops the writers and looks for all that was acknowledged: it is there once, where it was said to be.
func (c *crowd) ended(t *testing.T, j *journal.Journal) {
	t.Helper()
	c.stop()
	c.group.Wait()
	var end journal.Position
	until(t, "word of where the log ends", func() (known bool) { // events are taken before the cluster has chosen who tells that
		var err error
		end, err = j.End(t.Context(), journal.Roof)
		return err == nil
	})
	all, err := journaltest.Read(t.Context(), j, journal.Roof, journal.Position{}, int(end.Sequence))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]uint64{}
	for _, e := range all {
		key := e.Subject + " " + e.ID
		if was, twice := seen[key]; twice {
			t.Errorf("%s is there at %d and %d", key, was, e.Sequence)
		}
		seen[key] = e.Sequence
	}
	for key, sequence := range c.acked {
		if seen[key] != sequence {
			t.Errorf("%s was acknowledged at %d and is at %d", key, sequence, seen[key])
		}
	}
}

// openCluster opens a journal on a cluster that may not have found itself yet.
func openCluster(t *testing.T, o journal.Options) *journal.Journal {
	t.Helper()
	o.Log = slog.New(slog.DiscardHandler)
	var j *journal.Journal
	var err error
	until(t, "cluster", func() bool {
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
		defer cancel()
		j, err = journal.Open(ctx, o)
		return err == nil
	})
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return j
}

// equal waits until all nodes hold the same of the reports, whole.
func equal(t *testing.T, j *journal.Journal) {
	t.Helper()
	until(t, "equality of the replicas", func() bool { return alike(j.Replicas(t.Context())) })
}

// alike says whether three nodes hold the same reports, all of them.
func alike(all []journal.Replica) bool {
	var roof []journal.Replica
	for _, r := range all {
		if r.Stream == journal.Roof {
			roof = append(roof, r)
		}
	}
	for _, r := range roof {
		if r.Deleted > 0 || r.Events != r.Last || r.Last != roof[0].Last {
			return false
		}
	}
	return len(roof) == 3
}

// leader is the node that writes the reports' stream; -1 while there is none.
func leader(t *testing.T, c *journaltest.Cluster) int {
	t.Helper()
	nc, err := nats.Connect(c.Options().URL)
	if err != nil {
		return -1
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	s, err := js.Stream(ctx, string(journal.Roof))
	if err != nil || s.CachedInfo().Cluster == nil {
		return -1
	}
	return c.Number(s.CachedInfo().Cluster.Leader)
}

func awaitLeader(t *testing.T, c *journaltest.Cluster) (n int) {
	t.Helper()
	until(t, "leader", func() bool { n = leader(t, c); return n >= 0 })
	return n
}

// F43-F46: nodes of a cluster are killed, frozen, cut off and stopped while eight writers report. Whatever was acknowledged is there, once,
// where it was said to be; when the fault is over the writers go on, and all three nodes come to hold the same.
func TestClusterFaults(t *testing.T) {
	seed := rand.Uint64()
	dice := rand.New(rand.NewPCG(seed, 43))
	c := journaltest.StartCluster(t)
	j := openCluster(t, c.Options())
	// Each reaches one node only. Opening a log asks all nodes for every stream, which under the writers' load can take minutes.
	var own [3]*journal.Journal
	for n := range own {
		own[n] = openCluster(t, c.OptionsOf(n))
	}
	others := func(n int) (int, int) { return (n + 1) % 3, (n + 2) % 3 }
	for i, fault := range []struct {
		name string
		do   func(writers *crowd)
	}{
		{"F43 leader killed", func(w *crowd) {
			n := awaitLeader(t, c)
			c.Kill(n)
			w.more(t, 20)
			c.Start(t, n)
		}},
		{"F43 leader frozen and thawed", func(w *crowd) {
			n := awaitLeader(t, c)
			c.Freeze(t, n)
			w.more(t, 20)
			c.Thaw(t, n)
		}},
		{"F43 follower killed", func(w *crowd) {
			n, _ := others(awaitLeader(t, c))
			c.Kill(n)
			w.more(t, 20)
			c.Start(t, n)
		}},
		{"F44 leader cut off from the others", func(w *crowd) {
			n := awaitLeader(t, c)
			narrow := own[n]
			c.Part(n, true)
			a, _ := others(n)
			wide := own[a] // the majority serves whoever reaches it
			e, f := journaltest.Event(dice.Int()), journaltest.Event(dice.Int())
			if _, err := journaltest.Persist(t.Context(), wide, "roof.acme.majority", e, time.Minute); err != nil {
				t.Error(err)
			}
			ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
			defer cancel()
			if _, err := narrow.Append(ctx, fmt.Sprintf("roof.acme.minority-%d", dice.Int()), journal.Tail{}, f); !errors.Is(err, journal.ErrUnknown) {
				t.Errorf("the minority answers %v, want ErrUnknown", err)
			}
			c.Part(n, false)
		}},
		{"F44 all three apart", func(*crowd) {
			for n := range 3 {
				c.Part(n, true)
			}
			until(t, "loss of the leader", func() bool { return leader(t, c) < 0 })
			for n := range 3 {
				c.Part(n, false)
			}
		}},
		{"F45 two of three down", func(*crowd) {
			a, b := others(awaitLeader(t, c))
			c.Kill(a)
			c.Kill(b)
			ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
			defer cancel()
			if _, err := j.Append(ctx, fmt.Sprintf("roof.acme.nobody-%d", dice.Int()), journal.Tail{}, journaltest.Event(dice.Int())); !errors.Is(err, journal.ErrUnknown) {
				t.Errorf("one node of three answers %v, want ErrUnknown", err)
			}
			c.Start(t, a)
			c.Start(t, b)
		}},
		{"F46 all three killed at once", func(*crowd) {
			for n := range 3 {
				c.Kill(n)
			}
			for n := range 3 {
				c.Start(t, n)
			}
		}},
		{"F46 rolling restart", func(w *crowd) {
			for n := range 3 {
				c.Stop(n)
				w.more(t, 5)
				c.Start(t, n)
				until(t, "node back", func() bool { return len(j.Replicas(t.Context())) == 9 })
				equalEnough(t, j)
			}
		}},
	} {
		begun, rounds := time.Now(), journaltest.Rounds(t, 1)
		for round := range rounds {
			w := report(t, j, fmt.Sprintf("f%d-%d", i, round), 8)
			w.more(t, 20)
			fault.do(w)
			w.more(t, 20)
			w.ended(t, j)
			equal(t, j)
		}
		t.Logf("%s rounds=%d seed=%d seconds=%.1f", fault.name, rounds, seed, time.Since(begun).Seconds())
	}
}

// equalEnough waits until no node lags far behind another, so that the next may be stopped.
func equalEnough(t *testing.T, j *journal.Journal) {
	t.Helper()
	until(t, "nodes that keep up", func() bool {
		lowest, highest := uint64(1<<63), uint64(0)
		for _, r := range j.Replicas(t.Context()) {
			if r.Stream == journal.Roof {
				lowest, highest = min(lowest, r.Last), max(highest, r.Last)
			}
		}
		return highest-lowest < 200
	})
}

// F47: a block of one node is damaged while it is down, a follower's or that of the node that led. The node comes back and is called
// current by the broker; the look at the replicas names it, and with its store emptied it fetches all again.
func TestDamagedNode(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	dice := rand.New(rand.NewPCG(seed, 47))
	c := journaltest.StartCluster(t)
	j := openCluster(t, c.Options())
	for round := range journaltest.Rounds(t, 1) {
		w := report(t, j, fmt.Sprint("before-", round), 8)
		w.more(t, 400)
		w.ended(t, j)
		equal(t, j)
		n := (awaitLeader(t, c) + 1 - round%2) % 3
		c.Kill(n)
		flipOne(t, dice, c.Store(n))
		more := report(t, j, fmt.Sprint("after-", round), 8)
		more.more(t, 50)
		c.Start(t, n)
		more.more(t, 50)
		more.ended(t, j)
		// The broker may have healed it. If not, it says that all is well, and the look does not.
		before := j.Replicas(t.Context())
		found := false
		until(t, "fault or equality", func() bool {
			now := j.Replicas(t.Context())
			found = len(journal.ReplicaFaults(before, now)) > 0
			return found || len(now) == 9 && alike(now)
		})
		t.Logf("round %d: the node is whole: %v", round, !found)

		c.Kill(n)
		if err := os.RemoveAll(c.Store(n)); err != nil {
			t.Fatal(err)
		}
		c.Start(t, n)
		equal(t, j)
		w.ended(t, j)
		more.ended(t, j)
	}
}

// flipOne flips a bit in the middle of the oldest block of the reports.
func flipOne(t *testing.T, dice *rand.Rand, store string) {
	t.Helper()
	blocks, err := filepath.Glob(filepath.Join(store, "jetstream", "*", "streams", string(journal.Roof), "msgs", "*.blk"))
	if err != nil || len(blocks) == 0 {
		t.Fatal(blocks, err)
	}
	block, err := os.ReadFile(blocks[0])
	if err != nil {
		t.Fatal(err)
	}
	block[len(block)/4+dice.IntN(len(block)/2)] ^= 1 << dice.IntN(8)
	if err := os.WriteFile(blocks[0], block, 0o600); err != nil {
		t.Fatal(err)
	}
}
