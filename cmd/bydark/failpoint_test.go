package main

import (
	"bytes"
	"encoding/json/v2"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"
)

// sniper stands between the program and a server that it uses, and kills the program at the moment when certain bytes pass: what a
// failpoint in the program would do, on the program as it is.
type sniper struct {
	network, server string
	listener        net.Listener

	mu     sync.Mutex // guards what follows
	aim    aim
	victim *process
}

// aim is what to kill at: a piece that one side sends, after another that the program sent before on the same connection, if any.
type aim struct {
	answer       bool // the server sends it
	before, when string
}

func newSniper(t testing.TB, network, server, listen string) *sniper {
	t.Helper()
	l, err := net.Listen(network, listen)
	if err != nil {
		t.Fatal(err)
	}
	s := &sniper{network: network, server: server, listener: l}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return // closed
			}
			go s.serve(c)
		}
	}()
	return s
}

// load aims at a process; the next fitting bytes kill it.
func (s *sniper) load(victim *process, a aim) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.victim, s.aim = victim, a
}

// shoot kills the victim if the bytes fit, and says so; then they are not passed on.
func (s *sniper) shoot(answer bool, sent []byte, prepared *atomic.Bool) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.victim == nil {
		return false
	}
	if !answer && s.aim.before != "" && bytes.Contains(sent, []byte(s.aim.before)) {
		prepared.Store(true)
	}
	if s.aim.answer != answer || s.aim.before != "" && !prepared.Load() || !bytes.Contains(sent, []byte(s.aim.when)) {
		return false
	}
	_ = s.victim.Process.Signal(syscall.SIGKILL) // the wait for it tells how it ended
	s.victim = nil
	return true
}

// serve carries bytes both ways until one side ends.
func (s *sniper) serve(client net.Conn) {
	defer client.Close()
	server, err := net.Dial(s.network, s.server)
	if err != nil {
		return // the client sees it
	}
	defer server.Close()
	var prepared atomic.Bool
	pass := func(to io.Writer, from io.Reader, answer bool) {
		b := make([]byte, 64<<10)
		for {
			n, err := from.Read(b)
			if err != nil || s.shoot(answer, b[:n], &prepared) {
				return
			}
			if _, err := to.Write(b[:n]); err != nil {
				return
			}
		}
	}
	go func() {
		defer client.Close()
		defer server.Close()
		pass(client, server, true)
	}()
	pass(server, client, false)
}

// far is a broker and a database of their own, each behind a sniper, and a company in them.
type far struct {
	dir, token        string
	broker, store     *sniper
	server            *journaltest.Server
	throughBoth, bare []string // flags of the program: past the snipers, and straight
}

func openFar(t testing.TB) *far {
	t.Helper()
	f := &far{dir: t.TempDir(), server: journaltest.StartServer(t, nil)}
	monitor := f.server.Options().Monitor[0]
	address := strings.TrimPrefix(f.server.Options().URL, "nats://")
	f.broker = newSniper(t, "tcp", address, "127.0.0.1:0")

	dsn, err := url.Parse(projectiontest.Postgres(t))
	if err != nil {
		t.Fatal(err)
	}
	short, err := os.MkdirTemp("", "far") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(short); err != nil {
			t.Error(err)
		}
	})
	const socket = ".s.PGSQL.5432"
	q := dsn.Query()
	f.store = newSniper(t, "unix", filepath.Join(q.Get("host"), socket), filepath.Join(short, socket))
	f.bare = []string{"--nats", f.server.Options().URL, "--monitor", monitor, "--postgres", dsn.String()}
	q.Set("host", short)
	dsn.RawQuery = q.Encode()
	f.throughBoth = []string{"--nats", "nats://" + f.broker.listener.Addr().String(), "--monitor", monitor, "--postgres", dsn.String()}

	j := journaltest.OpenWith(t, f.server.Options())
	p := &program{ctx: t.Context(), now: time.Now, random: randomness, log: slog.New(slog.DiscardHandler)}
	opened, err := openCompany(p, j, "Larch Roofs")
	if err != nil {
		t.Fatal(err)
	}
	f.token = opened.Token
	return f
}

// F02: killed between the moment when a report is durable and its answer, the program knows the report when it is sent again, with the
// sequence that it had.
func TestKilledBeforeTheAnswer(t *testing.T) {
	t.Parallel()
	f := openFar(t)
	j := journaltest.OpenWith(t, f.server.Options())
	served := launch(t, f.dir, f.throughBoth...)
	c := hire(&client{t: t, url: served.url}, f.token)
	c.open("job")
	begun, n := time.Now(), journaltest.Rounds(t, 4)
	for round := range n {
		f.broker.load(served, aim{answer: true, when: `{"stream":"ROOF"`})
		report := tell("round "+strconv.Itoa(round), "deck-opened", 5+round, roofReport{"where": "A", "amount": "1 sqft"})
		status, text, err := c.try(http.MethodPost, "/v1/jobs/job/reports", c.tokens[access.Owner], written(t, map[string]any{"reports": []any{report}}))
		if err == nil {
			t.Fatalf("it was answered: %d %s", status, text)
		}
		served.kill()
		http.DefaultClient.CloseIdleConnections()
		var stands []uint64
		for _, e := range journaltest.Load(t, j, subjectOf(t, j), 0) {
			if e.ID == report["id"] {
				stands = append(stands, e.Sequence)
			}
		}
		if len(stands) != 1 {
			t.Fatalf("round %d: it stands in the log at %v; want once", round, stands)
		}
		served = launch(t, f.dir, f.throughBoth...)
		c.url = served.url
		if got := c.sendAs(access.Owner, "job", report)[0]; got.Status != "repeated" || got.Sequence != stands[0] {
			t.Fatalf("round %d: sent again, %+v %+v; it stands at %d", round, got, got.Problem, stands[0])
		}
	}
	t.Logf("F02: %d rounds, %.1f s", n, time.Since(begun).Seconds())
}

// subjectOf is the subject of the only job.
func subjectOf(t testing.TB, j *journal.Journal) string {
	t.Helper()
	entries, err := journaltest.Read(t.Context(), j, journal.Roof, journal.Position{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	return entries[0].Subject
}

// F04: killed just before the views' transaction commits, and just after, the program's views are those of the log when it is back.
func TestKilledAtACommit(t *testing.T) {
	t.Parallel()
	f := openFar(t)
	served := launch(t, f.dir, f.throughBoth...)
	c := hire(&client{t: t, url: served.url}, f.token)
	c.open("job")
	begun, n := time.Now(), journaltest.Rounds(t, 4)
	for round := range n {
		f.store.load(served, aim{answer: round%2 == 1, before: "update checkpoint", when: "COMMIT\x00"})
		report := tell("round "+strconv.Itoa(round), "deck-opened", 5+round, roofReport{"where": "A", "amount": "1 sqft"})
		_, _, _ = c.try(http.MethodPost, "/v1/jobs/job/reports", c.tokens[access.Owner], written(t, map[string]any{"reports": []any{report}})) // the shot may fall before the answer
		<-served.rest
		served.kill()
		http.DefaultClient.CloseIdleConnections()
		served = launch(t, f.dir, f.throughBoth...)
		c.url = served.url
		got := c.sendAs(access.Owner, "job", report)[0]
		if got.Status != "repeated" {
			t.Fatalf("round %d: %+v %+v", round, got, got.Problem)
		}
		c.views("job", got.Sequence)
	}
	served.kill()
	var out, errs bytes.Buffer
	code := run(append([]string{"verify", "--dir", f.dir, "--json"}, f.bare...), strings.NewReader(""), &out, &errs)
	var found verified
	if err := json.Unmarshal(out.Bytes(), &found, json.MatchCaseInsensitiveNames(true)); err != nil || code != 0 || len(found.Problems) > 0 || found.Events < n+1 {
		t.Errorf("verify ends with %d: %s %s", code, out.String(), errs.String())
	}
	t.Logf("F04: %d rounds, %.1f s", n, time.Since(begun).Seconds())
}
