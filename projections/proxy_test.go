package projections_test

import (
	"bytes"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
)

// commitCutter stands between us and PostgreSQL and cuts a connection at the next commit, if told to.
type commitCutter struct {
	dsn    string
	server string
	cut    atomic.Int32 // 1: the commit does not get there, 2: its answer does not come back
}

func newCommitCutter(t *testing.T, dsn string) *commitCutter {
	t.Helper()
	dir, err := os.MkdirTemp("", "cut") // a short path, for the socket
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	p := &commitCutter{server: filepath.Join(q.Get("host"), ".s.PGSQL.5432")}
	q.Set("host", dir)
	u.RawQuery = q.Encode()
	p.dsn = u.String()
	l, err := net.Listen("unix", filepath.Join(dir, ".s.PGSQL.5432"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return // closed
			}
			go p.serve(c)
		}
	}()
	return p
}

// serve carries bytes both ways until one side ends or the time has come.
func (p *commitCutter) serve(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("unix", p.server)
	if err != nil {
		return // the client sees it
	}
	defer server.Close()
	var answerLost atomic.Bool
	go func() {
		defer client.Close()
		b := make([]byte, 64<<10)
		for {
			n, err := server.Read(b)
			if err != nil || answerLost.Load() {
				return
			}
			if _, err := client.Write(b[:n]); err != nil {
				return
			}
		}
	}()
	b := make([]byte, 64<<10)
	for {
		n, err := client.Read(b)
		if err != nil {
			return
		}
		if bytes.Contains(b[:n], []byte("COMMIT\x00")) {
			switch p.cut.Swap(0) {
			case 1:
				return
			case 2:
				answerLost.Store(true)
			}
		}
		if _, err := io.Copy(server, bytes.NewReader(b[:n])); err != nil {
			return
		}
	}
}
