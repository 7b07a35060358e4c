package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"bydark/events/journal/journaltest"
	"bydark/services/access"
)

// process is the program in a process of its own.
type process struct {
	*exec.Cmd
	url string
	// rest is closed when its standard error ended.
	rest chan struct{}
}

// command is a call of the program in a process of its own.
func command(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(context.WithoutCancel(t.Context()), self, args...)
	c.Env = append(os.Environ(), asProgram+"=1")
	return c
}

// launch serves a directory, or what flags name, and returns when the program says where.
func launch(t testing.TB, dir string, flags ...string) *process {
	t.Helper()
	args := []string{"serve", "--addr", "127.0.0.1:0"}
	if dir != "" {
		args = append(args, "--dir", dir)
	}
	p := &process{Cmd: command(t, append(args, flags...)...), rest: make(chan struct{})}
	said, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	lines := bufio.NewScanner(said)
	var before []string
	for lines.Scan() {
		if _, url, ok := strings.Cut(lines.Text(), " serving on "); ok {
			p.url = url
			break
		}
		before = append(before, lines.Text())
	}
	go func() {
		defer close(p.rest)
		for lines.Scan() { // so that it never waits for a reader
		}
	}()
	if p.url == "" {
		t.Fatalf("it does not serve: %s", strings.Join(before, "\n"))
	}
	return p
}

// kill ends it as a power cut would, with nothing said; once is enough.
func (p *process) kill() {
	if p.ProcessState == nil {
		_ = p.Process.Signal(syscall.SIGKILL) // it may have ended by itself
		<-p.rest
		_ = p.Wait() // its code is that of the signal
	}
}

// F01, F02: killed at a random moment of a burst by sixteen writers, the program keeps
// each report that it took, once, at the place it named, and knows it when it is sent
// again; what it did not answer is there once or not at all.
func TestKilledInABurst(t *testing.T) {
	t.Parallel()
	const writers, jobs = 16, 2
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	dice := rand.New(rand.NewPCG(seed, 2))
	dir, token := prepare(t)
	served := launch(t, dir)
	c := hire(&client{t: t, url: served.url}, token)
	for job := range jobs {
		c.open(fmt.Sprintf("job-%d", job))
	}
	taken := map[string]answered{} // guarded by mu
	var mu sync.Mutex
	for round := range journaltest.Rounds(t, 5) {
		var sent [writers][]roofReport
		var count atomic.Int64
		fatal := int64(dice.IntN(150) + 10)
		var all sync.WaitGroup
		for w := range writers {
			all.Go(func() {
				for i := 0; ; i++ {
					report := tell(fmt.Sprintf("%d/%d/%d", round, w, i), "panel-set", i%50, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)})
					sent[w] = append(sent[w], report)
					got, ok := c.sure(fmt.Sprintf("job-%d", w%jobs), report)
					if !ok {
						return
					}
					mu.Lock()
					taken[got.ID] = got
					mu.Unlock()
					if count.Add(1) == fatal {
						_ = served.Process.Signal(syscall.SIGKILL) // the wait below tells how it ended
					}
				}
			})
		}
		all.Wait()
		served.kill()
		http.DefaultClient.CloseIdleConnections()
		served = launch(t, dir)
		c.url = served.url
		last := map[string]uint64{}
		for w := range writers {
			job := fmt.Sprintf("job-%d", w%jobs)
			for _, report := range sent[w] {
				got := c.sendAs(access.Owner, job, report)[0]
				before, sure := taken[got.ID]
				if sure && (got.Status != "repeated" || got.Sequence != before.Sequence) || !sure && got.Status != "accepted" && got.Status != "repeated" {
					t.Fatalf("round %d: %v was answered %+v, and is now %+v %+v", round, report, before, got, got.Problem)
				}
				taken[got.ID] = got
				last[job] = max(last[job], got.Sequence)
			}
		}
		found := map[string]int{}
		for job, sequence := range last {
			for _, e := range c.record(job, sequence) {
				if strings.HasPrefix(e.Type, "shortage-") || strings.HasPrefix(e.Type, "exposure-") {
					continue // in a long run the watch has its say
				}
				found[e.ID]++
				if got, ok := taken[e.ID]; ok && got.Sequence != e.Sequence {
					t.Errorf("round %d: %s was taken at %d and stands at %d", round, e.ID, got.Sequence, e.Sequence)
				}
			}
		}
		for id := range taken {
			if found[id] != 1 {
				t.Errorf("round %d: %s stands in the record %d times", round, id, found[id])
			}
		}
		if len(found) != len(taken)+jobs {
			t.Errorf("round %d: %d reports were sent, and the record has %d of them", round, len(taken), len(found)-jobs)
		}
	}
	served.kill()
	code, problems := verify(t, dir)
	if code != 0 || len(problems.Problems) > 0 || problems.Events < len(taken)+jobs {
		t.Errorf("verify ends with %d: %+v after %d reports", code, problems, len(taken))
	}
}

// sure sends one report; false says that no answer tells what became of it.
func (c *crew) sure(job string, report roofReport) (answered, bool) {
	status, text, err := c.try(http.MethodPost, "/v1/jobs/"+job+"/reports", c.tokens[access.Owner], written(c.t, map[string]any{"reports": []any{report}}))
	if err != nil {
		return answered{}, false
	}
	var answer struct{ Results []answered }
	if err := json.Unmarshal([]byte(text), &answer, json.MatchCaseInsensitiveNames(true)); status != http.StatusOK || err != nil || len(answer.Results) != 1 || answer.Results[0].Status != "accepted" {
		c.t.Errorf("%v: %d %s", report, status, text)
		return answered{}, false
	}
	return answer.Results[0], true
}

// F09: one process at a time works in a directory; another ends with one line that
// names it, and the first notices nothing. Whoever is killed holds nothing any more.
func TestSecondProcessOnADirectory(t *testing.T) {
	t.Parallel()
	dir, token := prepare(t)
	first := launch(t, dir)
	for _, verb := range [][]string{
		{"serve", "--addr", "127.0.0.1:0"}, {"rebuild"}, {"verify", "--json"},
	} {
		second := command(t, append(verb, "--dir", dir)...)
		var out, errs bytes.Buffer
		second.Stdout, second.Stderr = &out, &errs
		var ended *exec.ExitError
		if err := second.Run(); !errors.As(err, &ended) || ended.ExitCode() != 1 {
			t.Errorf("%s beside another ends with %v", verb[0], err)
		}
		said := errs.String()
		if verb[0] != "serve" && !strings.Contains(said, verb[0]+" needs the directory for itself: stop it") {
			t.Errorf("%s beside another does not say what to do: %q", verb[0], said)
		}
		if strings.Count(said, "\n") != 1 || !strings.Contains(said, fmt.Sprintf("process %d", first.Process.Pid)) || out.Len() > 0 {
			t.Errorf("%s beside another says %q and %q", verb[0], said, out.String())
		}
	}
	if status, text := (&client{t: t, url: first.url}).ask(http.MethodGet, "/v1/me", token, ""); status != http.StatusOK {
		t.Errorf("the first answers %d %s", status, text)
	}
	http.DefaultClient.CloseIdleConnections()
	first.kill()
	again := launch(t, dir)
	if status, text := (&client{t: t, url: again.url}).ask(http.MethodGet, "/v1/me", token, ""); status != http.StatusOK {
		t.Errorf("the next answers %d %s", status, text)
	}
}
