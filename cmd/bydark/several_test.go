package main

import (
	"bytes"
	"encoding/json/v2"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"
)

// estate is a broker and a database for several processes of the program.
type estate struct {
	t     testing.TB
	flags []string // where they are
	token string   // the owner's
}

// found prepares a company on a broker and a database of PostgreSQL.
func found(t testing.TB, broker ...string) *estate {
	t.Helper()
	e := &estate{t: t, flags: append(broker, "--postgres", projectiontest.Postgres(t))}
	var out, errs bytes.Buffer
	if code := run(append([]string{"init", "--company", "Larch Roofs", "--json"}, broker...), strings.NewReader(""), &out, &errs); code != 0 {
		t.Fatalf("init ends with %d: %s", code, errs.String())
	}
	var made struct{ Token string }
	if err := json.Unmarshal(out.Bytes(), &made, json.MatchCaseInsensitiveNames(true)); err != nil || made.Token == "" {
		t.Fatalf("init answers %s: %v", out.String(), err)
	}
	e.token = made.Token
	return e
}

// serving are the flags for a broker with monitoring pages.
func serving(s interface{ Options() journal.Options }) []string {
	o := s.Options()
	return []string{"--nats", o.URL, "--monitor", strings.Join(o.Monitor, ",")}
}

func (e *estate) launch(roles ...string) *process {
	e.t.Helper()
	return launch(e.t, "", append(e.flags, roles...)...)
}

// leader is the number of the process that folds; -1 if none says so.
func (e *estate) leader(all []*process) int {
	e.t.Helper()
	for i, p := range all {
		if _, page := (&client{t: e.t, url: p.url}).ask(http.MethodGet, "/metrics", e.token, ""); strings.Contains(page, "\nbydark_views_leader 1\n") {
			return i
		}
	}
	return -1
}

// awaitLeader waits until one process folds.
func (e *estate) awaitLeader(all []*process) int {
	e.t.Helper()
	for e.t.Context().Err() == nil {
		if i := e.leader(all); i >= 0 {
			return i
		}
		pauseTest(e.t, 50*time.Millisecond)
	}
	e.t.Fatal("nobody folds")
	return -1
}

// pauseTest waits for what cannot be waited for by a signal: another process.
func pauseTest(t testing.TB, d time.Duration) {
	t.Helper()
	select {
	case <-time.After(d):
	case <-t.Context().Done():
	}
}

// isFolded waits until a process shows what was taken at a sequence; a process that is behind for long answers 503.
func (c *crew) isFolded(job string, sequence uint64) {
	c.t.Helper()
	for {
		status, text := c.ask(http.MethodGet, fmt.Sprintf("/v1/jobs/%s?after=%d", job, sequence), c.tokens[access.Owner], "")
		switch {
		case status == http.StatusOK:
			return
		case status != http.StatusServiceUnavailable || c.t.Context().Err() != nil:
			c.t.Fatalf("%s after %d at %s: %d %s", job, sequence, c.url, status, text)
		}
	}
}

// verified wants the log whole, and the views to be what it folds to.
func (e *estate) verified(events int) {
	e.t.Helper()
	var out, errs bytes.Buffer
	code := run(append([]string{"verify", "--json"}, e.flags...), strings.NewReader(""), &out, &errs)
	var said verified
	if err := json.Unmarshal(out.Bytes(), &said, json.MatchCaseInsensitiveNames(true)); err != nil || code != 0 || len(said.Problems) > 0 {
		e.t.Errorf("verify ends with %d: %s %s", code, out.String(), errs.String())
	}
	if said.Events != events {
		e.t.Errorf("the log holds %d events, want %d", said.Events, events)
	}
}

// F35 with processes: three share a broker and a database. Any takes reports and any shows them; one folds; killed, it is replaced, and
// nothing is lost or counted twice. A process that only folds takes no reports, and one that only takes them folds none.
func TestSeveralProcesses(t *testing.T) {
	t.Parallel()
	begun, n := time.Now(), journaltest.Rounds(t, 2)
	seed := rand.Uint64()
	dice := rand.New(rand.NewPCG(seed, 35))
	e := found(t, serving(journaltest.StartServer(t, nil))...)
	taker := e.launch("--take")
	all := []*process{taker, e.launch("--take", "--fold"), e.launch("--fold")}
	c := hire(&client{t: t, url: taker.url}, e.token)
	c.open("job")
	events := 1
	at := func(p *process) *crew {
		return &crew{client: &client{t: t, url: p.url}, tokens: c.tokens, people: c.people}
	}
	if status, text := at(all[2]).ask(http.MethodGet, "/v1/me", e.token, ""); status != http.StatusNotFound {
		t.Errorf("a process that only folds answers %d %s", status, text)
	}
	report := func(p *process) uint64 {
		events++
		return at(p).accept("job", tell(fmt.Sprint("report ", events), "panel-set", dice.IntN(100), roofReport{"piece": fmt.Sprintf("A-%02d", 1+events%12)}))
	}
	for range n {
		leads := e.awaitLeader(all[1:]) + 1
		for range 5 {
			last := report(all[dice.IntN(2)])
			for _, p := range all[:2] {
				at(p).isFolded("job", last)
			}
		}
		before := report(taker)
		all[leads].kill()
		after := report(taker)
		at(taker).isFolded("job", max(before, after))
		roles := []string{"--fold"}
		if leads == 1 {
			roles = append(roles, "--take")
		}
		all[leads] = e.launch(roles...)
	}
	last := report(all[1])
	if leads := e.leader(all[:1]); leads >= 0 {
		t.Error("a process without the role folds")
	}
	first := at(all[0]).views("job", last)
	if second := at(all[1]).views("job", last); written(t, first) != written(t, second) {
		t.Errorf("two processes show different views:\n%v\n%v", first, second)
	}
	e.verified(events)
	report(taker)
	e.verified(events)
	t.Logf("F35 rounds=%d seed=%d seconds=%.1f", n, seed, time.Since(begun).Seconds())
}

// F24, F36: the process that folds is stopped in its tracks while reports come, past its lease, and goes on when another has folded them.
// What it was about to write does not count, and it watches from then on.
func TestFrozenProcess(t *testing.T) {
	t.Parallel()
	begun, n := time.Now(), journaltest.Rounds(t, 1)
	seed := rand.Uint64()
	dice := rand.New(rand.NewPCG(seed, 36))
	e := found(t, serving(journaltest.StartServer(t, nil))...)
	// Neither reacts: in a long run the watch would add its warnings to the events that are counted.
	all := []*process{e.launch("--take", "--fold"), e.launch("--take", "--fold")}
	c := hire(&client{t: t, url: all[0].url}, e.token)
	c.open("job")
	at := func(p *process) *crew {
		return &crew{client: &client{t: t, url: p.url}, tokens: c.tokens, people: c.people}
	}
	events := 1
	report := func(p *process) uint64 {
		events++
		return at(p).accept("job", tell(fmt.Sprint("report ", events), "panel-set", events, roofReport{"piece": fmt.Sprintf("A-%02d", 1+events%12)}))
	}
	for range n {
		frozen := e.awaitLeader(all)
		other := all[1-frozen]
		for range dice.IntN(20) {
			report(other) // so that it may be in the middle of a batch
		}
		all[frozen].freeze(t)
		at(other).isFolded("job", report(other))
		if err := all[frozen].Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		last := report(other)
		for _, p := range all {
			at(p).isFolded("job", last)
		}
	}
	e.verified(events)
	t.Logf("F36 rounds=%d seed=%d seconds=%.1f", n, seed, time.Since(begun).Seconds())
}

// The demo plays the same on a broker and a database elsewhere, and is refused where somebody is at home.
func TestDemoElsewhere(t *testing.T) {
	t.Parallel()
	flags := append(serving(journaltest.StartServer(t, nil)), "--postgres", projectiontest.Postgres(t))
	play := func(flags ...string) (int, string, string) {
		var out, errs bytes.Buffer
		code := run(append([]string{"demo", "--once"}, flags...), strings.NewReader(""), &out, &errs)
		return code, out.String(), errs.String()
	}
	code, here, errs := play()
	if code != 0 {
		t.Fatalf("the demo ends with %d: %s", code, errs)
	}
	code, there, errs := play(flags...)
	if code != 0 || there != here {
		t.Errorf("elsewhere it ends with %d: %s\n%s\nwant\n%s", code, errs, there, here)
	}
	if code, _, errs = play(flags...); code != 2 || !strings.Contains(errs, "company already") {
		t.Errorf("a second time it ends with %d: %s", code, errs)
	}
	var out bytes.Buffer
	for _, verb := range []string{"rebuild", "verify"} {
		if code := run(append([]string{verb}, flags...), strings.NewReader(""), &out, io.Discard); code != 0 {
			t.Errorf("%s ends with %d: %s", verb, code, out.String())
		}
	}
}

// Roles are refused where there is nobody to share them with.
func TestRolesAlone(t *testing.T) {
	t.Parallel()
	dir, _ := prepare(t)
	var out, errs bytes.Buffer
	if code := run([]string{"serve", "--dir", dir, "--addr", "127.0.0.1:0", "--fold"}, strings.NewReader(""), &out, &errs); code != 2 || !strings.Contains(errs.String(), "--postgres") {
		t.Errorf("it ends with %d: %s", code, errs.String())
	}
}
