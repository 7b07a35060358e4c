package main

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/access"
)

// F28: many writers by several processes report to one job at once, each decision on a state that may be stale, on one broker and on a cluster
// of three. Every report is taken, once, in some order that all processes agree on; no conflict reaches a client.
func TestManyWritersOfOneJob(t *testing.T) {
	t.Parallel()
	const writers = 24
	for _, k := range []struct {
		name   string
		broker func() []string
	}{
		{"one broker", func() []string { return serving(journaltest.StartServer(t, nil)) }},
		{"a cluster", func() []string { return serving(journaltest.StartCluster(t)) }},
	} {
		begun, each := time.Now(), max(4, (journaltest.Rounds(t, 4*writers)+writers-1)/writers) // a round is one report
		e := found(t, k.broker()...)
		all := []*process{e.launch("--take", "--fold"), e.launch("--take"), e.launch("--take")} // none reacts: warnings would be counted
		c := hire(&client{t: t, url: all[0].url}, e.token)
		c.open("job")
		var taken sync.Map // id to sequence
		var group sync.WaitGroup
		var last atomic.Uint64
		for w := range writers {
			group.Go(func() {
				at := &crew{client: &client{t: t, url: all[w%len(all)].url}, tokens: c.tokens, people: c.people}
				for n := range each {
					report := tell(fmt.Sprintf("%s %d/%d", k.name, w, n), "panel-set", rand.IntN(60), roofReport{"piece": fmt.Sprintf("A-%02d", 1+rand.IntN(12))})
					got, ok := at.sure("job", report)
					if !ok {
						t.Errorf("%s: a report got no answer", k.name)
						return
					}
					taken.Store(got.ID, got.Sequence)
					for seen := last.Load(); got.Sequence > seen && !last.CompareAndSwap(seen, got.Sequence); seen = last.Load() {
					}
				}
			})
		}
		group.Wait()
		var first string
		for _, p := range all {
			at := &crew{client: &client{t: t, url: p.url}, tokens: c.tokens, people: c.people}
			at.isFolded("job", last.Load())
			events := at.record("job", last.Load())
			if len(events) != writers*each+1 {
				t.Errorf("%s: %d events, want %d", k.name, len(events), writers*each+1)
			}
			for _, e := range events {
				if sequence, ok := taken.Load(e.ID); ok && sequence != e.Sequence {
					t.Errorf("%s: %s was taken at %d and stands at %d", k.name, e.ID, sequence, e.Sequence)
				}
			}
			if views := written(t, at.views("job", last.Load())); first == "" {
				first = views
			} else if views != first {
				t.Errorf("%s: two processes show different views:\n%s\n%s", k.name, first, views)
			}
		}
		e.verified(writers*each + 1)
		t.Logf("F28 %s rounds=%d seconds=%.1f", k.name, each*writers, time.Since(begun).Seconds())
		for _, p := range all {
			p.kill()
		}
	}
}

// F30: of a body of 100 reports the 50th is bad. Each stands alone and is answered in its place; sent again, the good ones are repeated.
func TestBadReportAmongMany(t *testing.T) {
	t.Parallel()
	r := start(t)
	r.crew.open("job")
	var body []roofReport
	for n := range 100 {
		report := tell(fmt.Sprint("report ", n), "panel-set", n, roofReport{"piece": fmt.Sprintf("A-%02d", 1+n%12)})
		if n == 49 {
			report["piece"] = "no such piece"
		}
		body = append(body, report)
	}
	for round, want := range []string{"accepted", "repeated", "repeated"} {
		for n, got := range r.crew.sendAs(access.Owner, "job", body...) {
			switch {
			case got.ID != body[n]["id"]:
				t.Errorf("round %d: the answer in place %d is of %s", round, n, got.ID)
			case n == 49 && got.Status != "refused", n != 49 && got.Status != want:
				t.Errorf("round %d: report %d is %s", round, n, got.Status)
			}
		}
	}
	end, err := r.journal.End(t.Context(), journal.Roof)
	if err != nil || end.Sequence != 100 {
		t.Errorf("%d events are in the log, want 99 reports and what opened the job (%v)", end.Sequence, err)
	}
}

// F22, F26: the server's clock jumps back and forth while reports come. The log keeps its order, no report is lost or found anew, and when
// one was recorded never goes down within a job. A report sent again is repeated with its first sequence, however much later, after a
// restart too.
func TestClockJumps(t *testing.T) {
	t.Parallel()
	var shift atomic.Int64 // seconds
	now := func() time.Time { return time.Now().Add(time.Duration(shift.Load()) * time.Second) }
	r := startAt(t, now)
	r.crew.open("job")
	const hour, day = 3600, 24 * 3600
	var sent []roofReport
	var at []uint64
	for i, jump := range []int64{0, -hour, hour, 400 * day, 0, 180, 30 * day, 215*day + hour, 0} {
		shift.Store(jump)
		for n := range 5 {
			report := tell(fmt.Sprintf("report %d/%d", i, n), "panel-set", 5*i+n, roofReport{"piece": fmt.Sprintf("A-%02d", 1+n)})
			sent, at = append(sent, report), append(at, r.crew.accept("job", report))
		}
		for n, got := range r.crew.sendAs(access.Owner, "job", sent...) {
			if got.Status != "repeated" || got.Sequence != at[n] {
				t.Errorf("after a jump to %+d s report %d is %s at %d, was taken at %d", jump, n, got.Status, got.Sequence, at[n])
			}
		}
	}
	entries, err := r.journal.Load(t.Context(), "roof."+r.company()+".job", 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range entries[1:] {
		if e.Recorded.Before(entries[i].Recorded) {
			t.Errorf("event %d was recorded at %v, the one before it at %v", e.Sequence, e.Recorded, entries[i].Recorded)
		}
	}
	if len(entries) != len(sent)+1 {
		t.Errorf("%d events, want %d", len(entries), len(sent)+1)
	}
	live := r.told(t)
	r.stop()
	if anew := dumpOf(t, r.dir); anew != live {
		t.Errorf("live:\n%s\nafter a restart:\n%s", live, anew)
	}
	served := launch(t, r.dir)
	again := &crew{client: &client{t: t, url: served.url}, tokens: r.crew.tokens, people: r.crew.people}
	for n, got := range again.sendAs(access.Owner, "job", sent...) {
		if got.Status != "repeated" || got.Sequence != at[n] {
			t.Errorf("after a restart report %d is %s at %d, was taken at %d", n, got.Status, got.Sequence, at[n])
		}
	}
}

// company is the id of the only company.
func (r *running) company() string {
	var me struct{ Company string }
	r.crew.must(http.MethodGet, "/v1/me", r.crew.tokens[access.Owner], nil, &me)
	return me.Company
}
