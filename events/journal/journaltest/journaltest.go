// Package journaltest says what a journal must do, as tests that run on every kind of broker, and opens journals for the tests of
// others.
package journaltest

import (
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"bydark/events/journal"
)

// Open opens a journal in a directory of its own and closes it when the test ends.
func Open(t testing.TB) *journal.Journal {
	t.Helper()
	return OpenWith(t, journal.Options{Dir: t.TempDir()})
}

// OpenWith opens a journal with the given options and closes it when the test ends. What it has to say goes to the test's log.
func OpenWith(t testing.TB, o journal.Options) *journal.Journal {
	t.Helper()
	if o.Log == nil {
		o.Log = slog.New(slog.NewTextHandler(t.Output(), nil))
	}
	j, err := journal.Open(t.Context(), o)
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

// Server is a NATS server with a port, in this process, that keeps its store when it is stopped.
type Server struct {
	options server.Options
	server  *server.Server
}

// StartServer runs a server that syncs before it acknowledges, on a free port of loopback. change may change its options first.
func StartServer(t testing.TB, change func(*server.Options)) *Server {
	t.Helper()
	s := &Server{options: server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, HTTPHost: "127.0.0.1", HTTPPort: server.RANDOM_PORT,
		JetStream: true, StoreDir: filepath.Join(t.TempDir(), "store"), SyncAlways: true, NoSigs: true, NoLog: true,
	}}
	if change != nil {
		change(&s.options)
	}
	s.Start(t)
	t.Cleanup(s.Stop)
	return s
}

// Start runs the server again after Stop, on the port that it had.
func (s *Server) Start(t testing.TB) {
	t.Helper()
	options := s.options
	started, err := server.NewServer(&options)
	if err != nil {
		t.Fatal(err)
	}
	started.Start()
	if !started.ReadyForConnections(10 * time.Second) {
		t.Fatal("server did not start")
	}
	s.server = started
	s.options.Port = started.Addr().(*net.TCPAddr).Port
	s.options.HTTPPort = started.MonitorAddr().Port
}

// Stop ends the server cleanly.
func (s *Server) Stop() {
	s.server.Shutdown()
	s.server.WaitForShutdown()
}

// Options are how a journal reaches the server.
func (s *Server) Options() journal.Options {
	return journal.Options{
		URL:     fmt.Sprintf("nats://127.0.0.1:%d", s.options.Port),
		Monitor: []string{fmt.Sprintf("http://127.0.0.1:%d", s.options.HTTPPort)},
	}
}
