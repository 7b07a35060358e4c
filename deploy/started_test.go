package deploy_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/google/uuid"
)

// nobody is a user without any rights. Whoever is not root runs the program as himself.
const nobody = 65534

// home is a prepared directory, its owner's token, and the released program beside it.
type home struct {
	program, dir, token string
}

// prepare makes a directory that belongs to nobody, where nobody can reach it.
func prepare(t *testing.T) home {
	t.Helper()
	above, err := os.MkdirTemp("", "bydark-home-")
	if err != nil {
		t.Fatal(err)
	}
	h := home{filepath.Join(above, "bydark"), filepath.Join(above, "house"), ""}
	t.Cleanup(func() {
		if err := errors.Join(os.Chmod(h.dir, 0o700), os.RemoveAll(above)); err != nil { //nolint:gosec // a directory
			t.Error(err)
		}
	})
	if err := errors.Join(copyFile(release(t), h.program), os.Chmod(h.program, 0o755), os.Chmod(above, 0o755), os.Mkdir(h.dir, 0o700)); err != nil { //nolint:gosec // as an installed program is
		t.Fatal(err)
	}
	h.own(t)
	var made struct{ Token string }
	out, err := h.run(t, nil, "init", "--dir", h.dir, "--company", "Larch Roofs", "--json").Output()
	if err != nil || json.Unmarshal(out, &made, json.MatchCaseInsensitiveNames(true)) != nil || made.Token == "" {
		t.Fatalf("init: %v, %s", err, out)
	}
	h.token = made.Token
	return h
}

// own gives the directory to nobody, if there is anybody who may.
func (h home) own(t *testing.T) {
	t.Helper()
	if os.Geteuid() != 0 {
		return
	}
	if err := os.Chown(h.dir, nobody, nobody); err != nil {
		t.Fatal(err)
	}
}

// run is a call of the program as nobody, perhaps behind other programs that start it.
func (h home) run(t *testing.T, before []string, args ...string) *exec.Cmd {
	t.Helper()
	line := append(append(before[:len(before):len(before)], h.program), args...)
	if os.Geteuid() == 0 {
		line = append([]string{"setpriv", "--reuid", fmt.Sprint(nobody), "--regid", fmt.Sprint(nobody), "--clear-groups"}, line...)
	}
	c := exec.CommandContext(context.WithoutCancel(t.Context()), line[0], line[1:]...)
	c.Env = []string{"PATH=" + os.Getenv("PATH")}
	return c
}

// served is the program as it serves.
type served struct {
	*exec.Cmd
	url, token string
	ended      chan struct{} // closed when its standard error has ended

	mu   sync.Mutex // guards said
	said []string
}

// serve starts a call that serves, and returns when it says where.
func (h home) serve(t *testing.T, c *exec.Cmd) *served {
	t.Helper()
	s := &served{Cmd: c, token: h.token, ended: make(chan struct{})}
	errs, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if c.ProcessState == nil {
			_ = c.Process.Kill() // it may have ended
			<-s.ended
			_ = c.Wait() // its code is that of the signal
		}
	})
	where := make(chan string, 1)
	go func() {
		defer close(s.ended)
		defer close(where)
		for lines := bufio.NewScanner(errs); lines.Scan(); {
			s.mu.Lock()
			s.said = append(s.said, lines.Text())
			s.mu.Unlock()
			if _, url, ok := strings.Cut(lines.Text(), " serving on "); ok {
				where <- url
			}
		}
	}()
	url, ok := <-where
	if !ok {
		t.Fatalf("it does not serve: %s", s.words())
	}
	s.url = url
	return s
}

// words is what it said so far.
func (s *served) words() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.said, "\n")
}

// stop tells it to end, and wants it to end well.
func (s *served) stop(t *testing.T) {
	t.Helper()
	http.DefaultClient.CloseIdleConnections()
	if err := s.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	<-s.ended
	if err := s.Wait(); err != nil {
		t.Fatalf("it ends with %v: %s", err, s.words())
	}
}

// ask sends one request; an error says that there was no answer.
func (s *served) ask(t *testing.T, method, path, kind string, body []byte) (int, string, error) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), method, s.url+path, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+s.token)
	request.Header.Set("Content-Type", kind)
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, "", err
	}
	text, err := io.ReadAll(answer.Body)
	return answer.StatusCode, string(text), errors.Join(err, answer.Body.Close())
}

// must asks for what has to be answered well.
func (s *served) must(t *testing.T, method, path string, body any) string {
	t.Helper()
	status, text, err := s.ask(t, method, path, "application/json", marshalled(t, body))
	if err != nil || status/100 != 2 {
		t.Fatalf("%s %s: %d %s %v; it said %s", method, path, status, text, err, s.words())
	}
	return text
}

func marshalled(t *testing.T, doc any) []byte {
	t.Helper()
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// open opens the job barn, of one plane with twelve panels.
func (s *served) open(t *testing.T) {
	t.Helper()
	s.must(t, http.MethodPost, "/v1/jobs", map[string]any{
		"id": "barn", "name": "Barn", "site": map[string]any{"lat": 40, "lon": -75, "zone": "America/New_York"}, "assembly": "flat-clip",
		"roof": map[string]any{"name": "Barn", "planes": []any{map[string]any{
			"mark": "A", "outline": [][]string{{"0'", "0'"}, {"16'", "0'"}, {"16'", "12'"}, {"0'", "12'"}}, "pitch": "6/12", "falls_deg": 180, "eave_height": "10'",
		}}},
	})
}

// reports are n reports of panels that were set; the same name makes the same ones.
func reports(name string, n int) map[string]any {
	var all []any
	for i := range n {
		all = append(all, map[string]any{
			"id": uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%s %d", name, i)).String(), "type": "panel-set", "at": "2026-05-04T12:00:00Z", "piece": fmt.Sprintf("A-%02d", 1+i%12),
		})
	}
	return map[string]any{"reports": all}
}

// verified says how many events a directory holds, and wants nothing wrong with it.
func (h home) verified(t *testing.T) int {
	t.Helper()
	var found struct {
		Events   int
		Problems []string
	}
	out, err := h.run(t, nil, "verify", "--dir", h.dir, "--json").Output()
	if err != nil || json.Unmarshal(out, &found, json.MatchCaseInsensitiveNames(true)) != nil || len(found.Problems) > 0 {
		t.Fatalf("verify: %v, %s", err, out)
	}
	return found.Events
}
