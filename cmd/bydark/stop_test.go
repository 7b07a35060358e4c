package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/access"

	"golang.org/x/sys/unix"
)

// F06: told to stop under load, the program ends with 0, and every report that it
// answered is there at its place; a second word does not make it drop what it took.
func TestToldToStopUnderLoad(t *testing.T) {
	t.Parallel()
	const writers = 8
	dir, token := prepare(t)
	served := launch(t, dir)
	c := hire(&client{t: t, url: served.url}, token)
	c.open("job")
	taken := map[string]answered{} // guarded by mu
	var mu sync.Mutex
	n := journaltest.Rounds(t, 2)
	for round := range n {
		var sent [writers][]roofReport
		var count atomic.Int64
		var all sync.WaitGroup
		for w := range writers {
			all.Go(func() {
				for i := 0; ; i++ {
					report := tell(fmt.Sprintf("stop/%d/%d/%d", round, w, i), "panel-set", round*100+i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)})
					sent[w] = append(sent[w], report)
					got, ok := c.sure("job", report)
					if !ok {
						return
					}
					mu.Lock()
					taken[got.ID] = got
					mu.Unlock()
					if count.Add(1) == 40 {
						_ = served.Process.Signal(syscall.SIGTERM) // how it ended is looked at below
						_ = served.Process.Signal(syscall.SIGTERM)
					}
				}
			})
		}
		all.Wait()
		http.DefaultClient.CloseIdleConnections()
		<-served.rest
		if err := served.Wait(); err != nil {
			t.Fatalf("round %d: it ends with %v", round, err)
		}
		served = launch(t, dir)
		c.url = served.url
		for w := range writers {
			for _, report := range sent[w] {
				got := c.sendAs(access.Owner, "job", report)[0]
				if before, sure := taken[got.ID]; sure && (got.Status != "repeated" || got.Sequence != before.Sequence) {
					t.Fatalf("round %d: %v was answered %+v, and is now %+v %+v", round, report, before, got, got.Problem)
				}
				taken[got.ID] = got
			}
		}
	}
}

// freeze stops it, and returns when all of it stands still: the signal alone only asks for that.
func (p *process) freeze(t testing.TB) {
	t.Helper()
	if err := p.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	for {
		err := unix.Waitid(unix.P_PID, p.Process.Pid, nil, unix.WSTOPPED|unix.WNOWAIT, nil)
		if !errors.Is(err, unix.EINTR) {
			if err != nil {
				t.Fatal(err)
			}
			return
		}
	}
}

// F24: stopped in mid-work as a laptop is whose lid is closed, and continued, the
// program goes on: what was under way is answered or can be sent again, once.
func TestStoppedAndContinued(t *testing.T) {
	t.Parallel()
	dir, token := prepare(t)
	served := launch(t, dir)
	c := hire(&client{t: t, url: served.url}, token)
	c.open("job")
	for round := range journaltest.Rounds(t, 2) {
		served.freeze(t)
		report := tell(fmt.Sprintf("lid/%d", round), "panel-set", round, roofReport{"piece": "A-01"})
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		request, err := http.NewRequestWithContext(ctx, http.MethodPost, c.url+"/v1/jobs/job/reports",
			strings.NewReader(written(t, map[string]any{"reports": []roofReport{report}})))
		if err != nil {
			t.Fatal(err)
		}
		request.Header.Set("Authorization", "Bearer "+token)
		request.Header.Set("Content-Type", "application/json")
		if answer, err := http.DefaultClient.Do(request); err == nil {
			t.Errorf("answered %s while stopped", answer.Status)
			_ = answer.Body.Close() // the test has failed
		}
		cancel()
		if err := served.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		first, second := c.sendAs(access.Owner, "job", report)[0], c.sendAs(access.Owner, "job", report)[0]
		if first.Status == "refused" || second.Status != "repeated" || first.Sequence != second.Sequence {
			t.Errorf("round %d: %+v, then %+v", round, first, second)
		}
		if status, text := c.ask(http.MethodGet, fmt.Sprintf("/v1/jobs/job?after=%d", first.Sequence), token, ""); status != http.StatusOK {
			t.Errorf("round %d: the view: %d %s", round, status, text)
		}
	}
}

// F30: of a hundred reports in one body, the fiftieth bad, each is answered on its own,
// in order; sent again the good ones are known and the bad one is refused as before.
func TestOneBadReportAmongGoodOnes(t *testing.T) {
	t.Parallel()
	r := start(t)
	r.crew.open("job")
	var reports []roofReport
	for i := range 100 {
		reports = append(reports, tell(fmt.Sprintf("good/%d", i), "panel-set", i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)}))
	}
	reports[49] = tell("bad", "panel-set", 49, roofReport{"piece": "no such panel"})
	first := r.crew.sendAs(access.Owner, "job", reports...)
	again := r.crew.sendAs(access.Owner, "job", reports...)
	for i := range reports {
		want, then := "accepted", "repeated"
		if i == 49 {
			want, then = "refused", "refused"
		}
		if first[i].ID != reports[i]["id"] || first[i].Status != want || again[i].Status != then || first[i].Sequence != again[i].Sequence {
			t.Errorf("report %d: %+v, then %+v", i, first[i], again[i])
		}
	}
}

// F30: a request that is cut off in mid-body, or before its answer, leaves all or nothing of what it carried; sent again, each report is
// answered on its own, and stands once.
func TestRequestCutOff(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	dice := rand.New(rand.NewPCG(seed, 30))
	r := start(t)
	r.crew.open("job")
	n := journaltest.Rounds(t, 6)
	for round := range n {
		var reports []roofReport
		for i := range 20 {
			reports = append(reports, tell(fmt.Sprintf("cut %d/%d", round, i), "panel-set", i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)}))
		}
		reports[9] = tell(fmt.Sprintf("bad %d", round), "panel-set", 9, roofReport{"piece": "no such panel"})
		body := written(t, map[string]any{"reports": reports})
		sent := len(body)
		if round%2 == 0 {
			sent = dice.IntN(len(body))
		}
		c, err := net.Dial("tcp", strings.TrimPrefix(r.crew.url, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		_, err = fmt.Fprintf(c, "POST /v1/jobs/job/reports HTTP/1.1\r\nHost: %s\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
			strings.TrimPrefix(r.crew.url, "http://"), r.crew.tokens[access.Owner], len(body), body[:sent])
		if err := errors.Join(err, c.Close()); err != nil {
			t.Fatal(err)
		}
		before := 0
		for i, got := range r.crew.sendAs(access.Owner, "job", reports...) {
			switch {
			case got.ID != reports[i]["id"], (got.Status == "refused") != (i == 9):
				t.Fatalf("round %d: report %d: %+v", round, i, got)
			case got.Status == "repeated":
				before++
			}
		}
		if before > 0 && sent < len(body) {
			t.Fatalf("round %d: %d reports of a body of which %d bytes of %d came were taken", round, before, sent, len(body))
		}
	}
	end, err := r.journal.End(t.Context(), journal.Roof)
	if err != nil || end.Sequence != uint64(19*n+1) {
		t.Errorf("%d events are in the log, want 19 for each of %d rounds and what opened the job (%v)", end.Sequence, n, err)
	}
}
