package deploy_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"bydark/events/journal/journaltest"
)

// F21: a directory that cannot be written, or belongs to somebody else, is told in one line that names the path.
func TestDirectoryOfSomebodyElse(t *testing.T) {
	t.Parallel()
	h := prepare(t)
	refused := func(what string) {
		t.Helper()
		c := h.run(t, nil, "serve", "--dir", h.dir, "--addr", "127.0.0.1:0")
		var said bytes.Buffer
		c.Stderr = &said
		var ended *exec.ExitError
		if err := c.Run(); !errors.As(err, &ended) || ended.ExitCode() != 1 {
			t.Errorf("%s: it ends with %v", what, err)
		}
		if line := said.String(); strings.Count(line, "\n") != 1 || !strings.Contains(line, h.dir) || !strings.Contains(line, "permission denied") {
			t.Errorf("%s: it says %q", what, line)
		}
	}
	mode := func(dir, file fs.FileMode) {
		t.Helper()
		err := filepath.WalkDir(h.dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() {
				return os.Chmod(path, dir)
			}
			return os.Chmod(path, file)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	mode(0o500, 0o600)
	refused("directories that cannot be written")
	mode(0o700, 0o400)
	refused("files that cannot be written")
	mode(0o700, 0o600)
	if os.Geteuid() == 0 {
		if err := os.Chown(h.dir, 0, 0); err != nil {
			t.Fatal(err)
		}
		refused("a directory of root's")
		h.own(t)
	}
	h.verified(t)
}

// F21: of 64 descriptors, others hold all that are left. Whoever still gets through is answered, or told to come again; nothing is lost, and
// when there are descriptors again all goes on.
func TestFewDescriptors(t *testing.T) {
	t.Parallel()
	h := prepare(t)
	s := h.serve(t, h.run(t, []string{"prlimit", "--nofile=64:64"}, "serve", "--dir", h.dir, "--addr", "127.0.0.1:0"))
	s.open(t)
	var idle []net.Conn
	for range 100 {
		c, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		idle = append(idle, c)
	}
	for round := range 30 { // over the connection that was open before
		status, text, err := s.ask(t, http.MethodPost, "/v1/jobs/barn/reports", "application/json", marshalled(t, reports(fmt.Sprint("round ", round), 20)))
		if err != nil || status != http.StatusOK && status != http.StatusServiceUnavailable {
			t.Fatalf("round %d: %d %s %v; it said %s", round, status, text, err, s.words())
		}
	}
	for _, c := range idle {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	for round := range 30 {
		s.must(t, http.MethodPost, "/v1/jobs/barn/reports", reports(fmt.Sprint("round ", round), 20))
	}
	s.must(t, http.MethodGet, "/v1/jobs/barn?after=601", nil)
	s.stop(t)
	if n := h.verified(t); n < 601 { // more if it has warned of something meanwhile
		t.Errorf("%d events, want 600 reports and what opened the job", n)
	}
}

// limited makes the system keep a process and its children below so many bytes of memory, and gives what starts the process so. Where the
// system does not let us, nothing does; then the test holds its peak against the limit.
func limited(t *testing.T, bytes int) (before []string, kills func() int) {
	t.Helper()
	for _, c := range []struct{ top, limit, events, kills string }{
		{"/sys/fs/cgroup/memory", "memory.limit_in_bytes", "memory.oom_control", `(?m)^oom_kill (\d+)$`},
		{"/sys/fs/cgroup", "memory.max", "memory.events", `(?m)^oom_kill (\d+)$`},
	} {
		dir := filepath.Join(c.top, fmt.Sprintf("bydark-test-%d", os.Getpid()))
		if err := os.Mkdir(dir, 0o755); err != nil { //nolint:gosec // the system's own tree
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, c.limit), []byte(strconv.Itoa(bytes)), 0o600); err != nil {
			if err := os.Remove(dir); err != nil {
				t.Error(err)
			}
			continue
		}
		t.Cleanup(func() {
			if err := os.Remove(dir); err != nil {
				t.Error(err)
			}
		})
		found := regexp.MustCompile(c.kills)
		return []string{"sh", "-c", `echo $$ > ` + filepath.Join(dir, "cgroup.procs") + ` && exec "$@"`, "sh"}, func() int {
			text, err := os.ReadFile(filepath.Join(dir, c.events))
			m := found.FindSubmatch(text)
			if err != nil || m == nil {
				t.Fatalf("%s: %v, %s", c.events, err, text)
			}
			n, err := strconv.Atoi(string(m[1]))
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Log("the system lets nobody limit memory here: the peak is held against the limit")
	return nil, func() int { return 0 }
}

// F08: with 256 MB for everything the program takes reports and large pictures while it folds all anew. It is not killed, and its heap stays
// within a fifth of what it was told.
func TestLittleMemory(t *testing.T) {
	t.Parallel()
	const limit, mark = 256 << 20, 200 << 20
	h := prepare(t)
	first := h.serve(t, h.run(t, nil, "serve", "--dir", h.dir, "--addr", "127.0.0.1:0"))
	first.open(t)
	events := 1
	for n := range 4 {
		first.must(t, http.MethodPost, "/v1/jobs/barn/reports", reports(fmt.Sprint("before ", n), 500))
		events += 500
	}
	first.stop(t)
	before, kills := limited(t, limit)
	picture := photograph(t, 4000, 3000)
	rounds := journaltest.Rounds(t, 1)
	each := min(5, 1+rounds) // 20 pictures of four senders in a full run
	for round := range rounds {
		if err := os.RemoveAll(filepath.Join(h.dir, "views")); err != nil {
			t.Fatal(err)
		}
		c := h.run(t, nil, "serve", "--dir", h.dir, "--addr", "127.0.0.1:0")
		if before != nil {
			line := append(before[:len(before):len(before)], c.Args...)
			env := c.Env
			c = exec.CommandContext(t.Context(), line[0], line[1:]...)
			c.Env = env
		}
		c.Env = append(c.Env, fmt.Sprintf("GOMEMLIMIT=%d", mark))
		s := h.serve(t, c)
		peak := s.busy(t, round, each, picture)
		events += 80 * each
		s.must(t, http.MethodGet, fmt.Sprintf("/v1/jobs/barn?after=%d", events), nil)
		peak = max(peak, s.measure(t, "go_memstats_heap_inuse_bytes"))
		resident := status(t, s.Process.Pid, "VmHWM")
		s.stop(t)
		t.Logf("round %d: at most %d MB resident, %d MB of heap, %d kills", round, resident>>20, peak>>20, kills())
		if kills() > 0 || resident > limit || peak > mark*6/5 {
			t.Errorf("round %d: %d MB resident, %d MB of heap, %d kills", round, resident>>20, peak>>20, kills())
		}
	}
	if n := h.verified(t); n < events { // more if it has warned of something meanwhile
		t.Errorf("%d events, want %d", n, events)
	}
}

// busy sends reports and pictures at once, and gives the largest heap that was seen.
func (s *served) busy(t *testing.T, round, each int, picture []byte) (peak int) {
	t.Helper()
	var all sync.WaitGroup
	for w := range 4 {
		all.Go(func() {
			for n := range each {
				if status, text, err := s.ask(t, http.MethodPost, "/v1/photos", "image/jpeg", picture); err != nil || status/100 != 2 {
					t.Errorf("picture: %d %s %v; it said %s", status, text, err, s.words())
				}
				body := marshalled(t, reports(fmt.Sprintf("round %d, writer %d, %d", round, w, n), 20))
				if status, text, err := s.ask(t, http.MethodPost, "/v1/jobs/barn/reports", "application/json", body); err != nil || status != http.StatusOK {
					t.Errorf("reports: %d %s %v; it said %s", status, text, err, s.words())
				}
			}
		})
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		all.Wait()
	}()
	for {
		select {
		case <-ended:
			return peak
		default:
			peak = max(peak, s.measure(t, "go_memstats_heap_inuse_bytes"))
		}
	}
}

// measure is one number of /metrics.
func (s *served) measure(t *testing.T, name string) int {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + name + ` (\S+)$`).FindStringSubmatch(s.must(t, http.MethodGet, "/metrics", nil))
	if m == nil {
		t.Fatalf("there is no %s", name)
	}
	n, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return int(n)
}

// status is what the system says of a process, in bytes.
func status(t *testing.T, pid int, what string) int {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^` + what + `:\s+(\d+) kB$`).FindSubmatch(text)
	if m == nil {
		t.Fatalf("there is no %s in %s", what, text)
	}
	n, err := strconv.Atoi(string(m[1]))
	if err != nil {
		t.Fatal(err)
	}
	return n << 10
}

// photograph is a picture as large as a phone's.
func photograph(t *testing.T, width, height int) []byte {
	t.Helper()
	p := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			p.SetRGBA(x, y, color.RGBA{uint8(x), uint8(y), uint8(x * y), 255})
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, p, &jpeg.Options{Quality: 60}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
