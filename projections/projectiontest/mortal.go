package projectiontest

import (
	"errors"
	"os"
	"syscall"
	"testing"
	"time"
)

// Mortal is a PostgreSQL of a test's own, which it may kill and start again.
type Mortal struct {
	DSN    string // of a database in it
	server *server
	dead   bool
}

// StartMortal starts one that syncs what it commits and ends with the test.
func StartMortal(t testing.TB) *Mortal {
	t.Helper()
	s, err := startServer(true)
	if err != nil {
		t.Fatal(err)
	}
	m := &Mortal{server: s}
	t.Cleanup(func() {
		if !m.dead {
			if err := s.stop(); err != nil {
				t.Error(err)
			}
		}
		if err := os.RemoveAll(s.dir); err != nil {
			t.Error(err)
		}
	})
	if m.DSN, err = s.database(t.Context()); err != nil {
		t.Fatal(err)
	}
	return m
}

// Kill ends it as a power cut would.
func (m *Mortal) Kill(t testing.TB) {
	t.Helper()
	_ = m.server.kill() // the error is that of the signal
	m.dead = true
}

// Start starts it again on what it has kept. The processes that served its connections may outlive it for a moment, and it does not start
// before they are gone.
func (m *Mortal) Start(t testing.TB) {
	t.Helper()
	bin, err := binaries()
	if err != nil {
		t.Fatal(err)
	}
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for range 100 {
		if err = m.server.run(bin); err == nil {
			m.dead = false
			return
		}
		if errors.Is(err, syscall.ENOENT) {
			break
		}
		<-tick.C
	}
	t.Fatal(err)
}
