package journaltest

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"bydark/events/journal"
)

// asNode makes a test binary one node of a cluster: its configuration, as JSON.
const asNode = "BYDARK_TEST_AS_NODE"

// node is how a node runs.
type node struct {
	Name                  string
	Client, Monitor, Mesh int // ports
	Store                 string
	Routes                []string
}

// IsNode says whether this process is to be a node of a test's cluster. The TestMain of a package that calls StartCluster asks first, and
// ends with RunNode's code.
func IsNode() bool { return os.Getenv(asNode) != "" }

// RunNode is a node until it is told to end, or whoever started it is gone.
func RunNode() int {
	if err := runNode(os.Getenv(asNode)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func runNode(text string) error {
	var n node
	if err := json.Unmarshal([]byte(text), &n); err != nil {
		return err
	}
	o := &server.Options{
		ServerName: n.Name, Host: "127.0.0.1", Port: n.Client, HTTPHost: "127.0.0.1", HTTPPort: n.Monitor,
		JetStream: true, StoreDir: n.Store, SyncAlways: true, NoSigs: true, NoLog: true,
		// Nodes tell each other an address where nobody is, so that they meet only through the gates.
		Cluster: server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: n.Mesh, Advertise: "127.0.0.1:1", NoAdvertise: true, PoolSize: -1},
	}
	for _, r := range n.Routes {
		u, err := url.Parse(r)
		if err != nil {
			return err
		}
		o.Routes = append(o.Routes, u)
	}
	s, err := server.NewServer(o)
	if err != nil {
		return err
	}
	told := make(chan os.Signal, 1)
	signal.Notify(told, syscall.SIGTERM)
	gone := make(chan error, 1)
	go func() {
		_, err := io.Copy(io.Discard, os.Stdin)
		gone <- err
	}()
	s.Start()
	select {
	case <-told:
	case <-gone:
	}
	s.Shutdown()
	s.WaitForShutdown()
	return nil
}

// Cluster is three nodes that each keep every event, in processes of their own. Each reaches each other one through a gate.
type Cluster struct {
	nodes []node
	gates [][]*gate // from, to
	cmds  []*exec.Cmd
	alive []io.Closer // closed, it ends the node
}

// StartCluster runs three nodes until the test ends.
func StartCluster(t testing.TB) *Cluster {
	t.Helper()
	const size = 3
	ports := freePorts(t, 3*size)
	c := &Cluster{nodes: make([]node, size), gates: make([][]*gate, size), cmds: make([]*exec.Cmd, size), alive: make([]io.Closer, size)}
	dir := t.TempDir()
	for i := range c.nodes {
		c.nodes[i] = node{Name: fmt.Sprint("n", i), Client: ports[3*i], Monitor: ports[3*i+1], Mesh: ports[3*i+2], Store: filepath.Join(dir, fmt.Sprint("n", i))}
	}
	for i := range c.nodes {
		c.gates[i] = make([]*gate, size)
		for k := range c.nodes {
			if k != i {
				c.gates[i][k] = openGate(t, fmt.Sprintf("127.0.0.1:%d", c.nodes[k].Mesh))
				c.nodes[i].Routes = append(c.nodes[i].Routes, "nats://"+c.gates[i][k].listener.Addr().String())
			}
		}
	}
	t.Cleanup(func() {
		for i := range c.nodes {
			c.Kill(i)
		}
	})
	for i := range c.nodes {
		c.Start(t, i)
	}
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for !c.agreed() {
		select {
		case <-tick.C:
		case <-t.Context().Done():
			t.Fatal("the nodes do not find each other")
		}
	}
	return c
}

// agreed says whether one node leads and knows that all others keep up.
func (c *Cluster) agreed() bool {
	for _, n := range c.nodes {
		answer, err := http.Get(fmt.Sprintf("http://127.0.0.1:%d/jsz", n.Monitor))
		if err != nil {
			continue
		}
		var said struct {
			Meta struct {
				Leader   string `json:"leader"`
				Replicas []struct {
					Current bool `json:"current"`
				} `json:"replicas"`
			} `json:"meta_cluster"`
		}
		err = json.NewDecoder(answer.Body).Decode(&said)
		if err := errors.Join(err, answer.Body.Close()); err != nil || said.Meta.Leader != n.Name {
			continue
		}
		current := 0
		for _, r := range said.Meta.Replicas {
			if r.Current {
				current++
			}
		}
		if current == len(c.nodes)-1 {
			return true
		}
	}
	return false
}

// freePorts finds ports that nobody uses now.
func freePorts(t testing.TB, n int) []int {
	t.Helper()
	ports := make([]int, n)
	for i := range ports {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close() // only when all are found, so that no two are the same
		ports[i] = l.Addr().(*net.TCPAddr).Port
	}
	return ports
}

// Start runs a node that does not run.
func (c *Cluster) Start(t testing.TB, i int) {
	t.Helper()
	text, err := json.Marshal(c.nodes[i])
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), asNode+"="+string(text))
	cmd.Stderr = os.Stderr
	if c.alive[i], err = cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c.cmds[i] = cmd
}

// Kill ends a node as a power cut would; one that is not running stays so.
func (c *Cluster) Kill(i int) { c.end(i, syscall.SIGKILL) }

// Stop ends a node in good order.
func (c *Cluster) Stop(i int) { c.end(i, syscall.SIGTERM) }

func (c *Cluster) end(i int, s syscall.Signal) {
	if c.cmds[i] == nil {
		return
	}
	_ = c.cmds[i].Process.Signal(s) // it may have ended by itself
	_ = c.cmds[i].Wait()            // its code is that of the signal
	_ = c.alive[i].Close()
	c.cmds[i] = nil
}

// Freeze stops a node in its tracks, and Thaw lets it go on.
func (c *Cluster) Freeze(t testing.TB, i int) { c.signal(t, i, syscall.SIGSTOP) }

// Thaw lets a frozen node go on.
func (c *Cluster) Thaw(t testing.TB, i int) { c.signal(t, i, syscall.SIGCONT) }

func (c *Cluster) signal(t testing.TB, i int, s syscall.Signal) {
	t.Helper()
	if err := c.cmds[i].Process.Signal(s); err != nil {
		t.Fatal(err)
	}
}

// Store is the directory of a node.
func (c *Cluster) Store(i int) string { return c.nodes[i].Store }

// Part cuts a node off from the others, or joins it again. Clients reach it all the while.
func (c *Cluster) Part(i int, parted bool) {
	for k := range c.nodes {
		if k != i {
			c.gates[i][k].shut(parted)
			c.gates[k][i].shut(parted)
		}
	}
}

// Options are how a journal reaches the nodes.
func (c *Cluster) Options() journal.Options { return c.OptionsOf(0, 1, 2) }

// OptionsOf are how a journal reaches some of the nodes. Its proof that they sync covers all.
func (c *Cluster) OptionsOf(some ...int) journal.Options {
	var urls, pages []string
	for i, n := range c.nodes {
		if slices.Contains(some, i) {
			urls = append(urls, fmt.Sprintf("nats://127.0.0.1:%d", n.Client))
		}
		pages = append(pages, fmt.Sprintf("http://127.0.0.1:%d", n.Monitor))
	}
	return journal.Options{URL: strings.Join(urls, ","), Monitor: pages}
}

// Number is the number of a node by its name.
func (c *Cluster) Number(name string) int {
	i, err := strconv.Atoi(strings.TrimPrefix(name, "n"))
	if err != nil || i >= len(c.nodes) {
		return -1
	}
	return i
}

// gate is a way from one node to another.
type gate struct {
	target   string
	listener net.Listener
	passing  sync.WaitGroup

	mu     sync.Mutex // guards what follows
	closed bool
	open   map[net.Conn]bool
}

func openGate(t testing.TB, target string) *gate {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	g := &gate{target: target, listener: l, open: map[net.Conn]bool{}}
	g.passing.Go(g.accept)
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		g.shut(true)
		g.passing.Wait()
	})
	return g
}

// shut cuts what passes and lets nothing more in, or opens again.
func (g *gate) shut(closed bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.closed = closed
	if closed {
		for c := range g.open {
			_ = c.Close() // it may be closed already
		}
		clear(g.open)
	}
}

func (g *gate) accept() {
	for {
		from, err := g.listener.Accept()
		if err != nil {
			return // closed
		}
		to, err := net.DialTimeout("tcp", g.target, time.Second)
		if err != nil {
			_ = from.Close()
			continue
		}
		g.mu.Lock()
		if g.closed {
			g.mu.Unlock()
			_ = errors.Join(from.Close(), to.Close())
			continue
		}
		g.open[from], g.open[to] = true, true
		g.mu.Unlock()
		g.passing.Go(func() { g.pass(from, to) })
		g.passing.Go(func() { g.pass(to, from) })
	}
}

func (g *gate) pass(from, to net.Conn) {
	_, _ = io.Copy(to, from) // one end is gone
	_ = errors.Join(from.Close(), to.Close())
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.open, from)
	delete(g.open, to)
}
