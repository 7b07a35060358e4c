package journaltest

import (
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"testing"

	"bydark/events/journal"
)

// Proxy stands between a journal and a Server, and loses what passes.
type Proxy struct {
	target   string
	monitor  []string
	listener net.Listener
	done     sync.WaitGroup

	mu    sync.Mutex // guards what follows
	open  map[net.Conn]bool
	lose  map[direction]int // bytes that still pass before all connections are cut; absent for no limit
	ended bool
}

type direction string

const (
	// Requests go to the server.
	Requests direction = "requests"
	// Answers come from it.
	Answers direction = "answers"
)

// StartProxy runs a proxy before a server until the test ends.
func StartProxy(t testing.TB, s *Server) *Proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{target: fmt.Sprintf("127.0.0.1:%d", s.options.Port), monitor: s.Options().Monitor, listener: l, open: map[net.Conn]bool{}, lose: map[direction]int{}}
	p.done.Add(1)
	go p.accept()
	t.Cleanup(func() {
		p.mu.Lock()
		p.ended = true
		p.mu.Unlock()
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		p.Cut()
		p.done.Wait()
	})
	return p
}

// Options are how a journal reaches the server through the proxy.
func (p *Proxy) Options() journal.Options {
	return journal.Options{URL: "nats://" + p.listener.Addr().String(), Monitor: p.monitor}
}

// CutAfter cuts all connections when n more bytes have passed in a direction; the rest of what was on its way is lost.
func (p *Proxy) CutAfter(d direction, n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.lose[d] = n
}

// Cut cuts all connections now.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut()
}

func (p *Proxy) cut() {
	for c := range p.open {
		_ = c.Close() // it may be closed already
	}
	clear(p.open)
	clear(p.lose)
}

func (p *Proxy) accept() {
	defer p.done.Done()
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return // closed
		}
		server, err := net.Dial("tcp", p.target)
		if err != nil {
			_ = client.Close()
			continue
		}
		p.mu.Lock()
		if p.ended {
			p.mu.Unlock()
			_ = errors.Join(client.Close(), server.Close())
			return
		}
		p.open[client], p.open[server] = true, true
		p.done.Add(2)
		p.mu.Unlock()
		go p.pass(server, client, Requests)
		go p.pass(client, server, Answers)
	}
}

// pass copies until an end is closed or the limit is reached.
func (p *Proxy) pass(to, from net.Conn, d direction) {
	defer p.done.Done()
	defer func() { _ = errors.Join(to.Close(), from.Close()) }()
	buffer := make([]byte, 4096)
	for {
		n, err := from.Read(buffer)
		n, whole := p.allowed(d, n)
		if _, err := to.Write(buffer[:n]); err != nil || !whole {
			if !whole {
				p.Cut()
			}
			return
		}
		if err != nil && !errors.Is(err, io.ErrNoProgress) {
			return
		}
	}
}

// allowed is how much of n bytes may pass, and whether that is all.
func (p *Proxy) allowed(d direction, n int) (int, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	left, limited := p.lose[d]
	if !limited {
		return n, true
	}
	if n < left {
		p.lose[d] = left - n
		return n, true
	}
	return left, false
}
