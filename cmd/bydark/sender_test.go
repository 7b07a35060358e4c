package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bydark/events"

	"github.com/google/uuid"
)

// sender sends one report after the other over a connection that is kept, as a phone does, and costs the machine little: a request is made
// once, and only the report's id and time and the token are written into it anew. The tokens, all of one length, take turns, because nobody
// alone may send so many.
type sender struct {
	dial    func() (net.Conn, error)
	conn    net.Conn // nil before the first report
	used    time.Time
	answers *bufio.Reader
	request []byte
	tokens  []string
	answer  []byte
	// Where in the request stands what changes.
	token, id, at int
	sent          int
}

// What is sent again and again is a measure that fits: a job whose every report raised an item or an oddity would have thousands of them.
const (
	blankID     = "00000000-0000-7000-8000-000000000000"
	blankReport = `{"id":"` + blankID + `","type":"measure-taken","at":"2026-05-04T12:00:00Z","where":"eave-1","of":"spacing","values":["20\"","19 7/8\"","20 1/8\"","20\""]}`

	// A connection that was not used for so long is given up before the server does.
	longIdle = 20 * time.Second
)

// newSender connects from an address of the machine's own.
func newSender(t testing.TB, from net.IP, address, path string, tokens []string) *sender {
	t.Helper()
	d := net.Dialer{LocalAddr: &net.TCPAddr{IP: from}}
	s := &sender{tokens: tokens, dial: func() (net.Conn, error) { return d.DialContext(t.Context(), "tcp", address) }}
	t.Cleanup(s.hangUp)
	body := `{"reports":[` + blankReport + `]}`
	s.request = fmt.Appendf(nil, "POST %s HTTP/1.1\r\nHost: %s\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
		path, address, tokens[0], len(body), body)
	s.token = bytes.Index(s.request, []byte(tokens[0]))
	s.id = bytes.Index(s.request, []byte(blankID))
	s.at = bytes.Index(s.request, []byte(morning.Format(time.RFC3339)))
	return s
}

// send sends the next report, and wants it taken.
func (s *sender) send() error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	copy(s.request[s.token:], s.tokens[s.sent%len(s.tokens)])
	copy(s.request[s.id:], id.String())
	copy(s.request[s.at:], morning.Add(time.Duration(s.sent)*time.Second).Format(time.RFC3339))
	s.sent++
	if now := time.Now(); now.Sub(s.used) > longIdle {
		s.hangUp()
		if s.conn, err = s.dial(); err != nil {
			return err
		}
		s.used, s.answers = now, bufio.NewReader(s.conn)
	}
	if _, err := s.conn.Write(s.request); err != nil {
		return err
	}
	status, err := s.read()
	if err != nil {
		return err
	}
	s.used = time.Now()
	if !strings.Contains(status, " 200 ") || !bytes.Contains(s.answer, []byte(`"accepted"`)) {
		return fmt.Errorf("report %d: %s %s", s.sent, status, s.answer)
	}
	return nil
}

// read reads an answer, which says how long it is.
func (s *sender) read() (status string, err error) {
	length := -1
	for {
		line, err := s.answers.ReadSlice('\n')
		if err != nil {
			return status, err
		}
		line = bytes.TrimSpace(line)
		name, value, _ := bytes.Cut(line, []byte(": "))
		switch {
		case status == "":
			status = string(line)
		case string(name) == "Content-Length":
			if length, err = strconv.Atoi(string(value)); err != nil {
				return status, err
			}
		case len(line) == 0 && length < 0:
			return status, errors.New("an answer without its length")
		case len(line) == 0:
			s.answer = slices.Grow(s.answer[:0], length)[:length]
			_, err = io.ReadFull(s.answers, s.answer)
			return status, err
		}
	}
}

func (s *sender) hangUp() {
	if s.conn != nil {
		_ = s.conn.Close() // the server may have done so
	}
}

// senders are n, each with a job of its own: bench-0, bench-1 and so on. They come from several addresses, because from no one address may
// so many come either.
func senders(t testing.TB, n int, address string, tokens ...string) []*sender {
	t.Helper()
	all := make([]*sender, n)
	for w := range all {
		all[w] = newSender(t, net.IPv4(127, 0, 0, byte(2+w%8)), address, fmt.Sprintf("/v1/jobs/bench-%d/reports", w), tokens)
	}
	return all
}

// answeredAs is what the door answers to a report of the benchmark, for a server that does nothing else.
var answeredAs = fmt.Sprintf(`{"results":[{"id":%q,"status":"accepted","sequence":123456}]}`, events.ReportID(blankID))

// bareServer answers reports without looking at them, after what do does. It gives its address.
func bareServer(t testing.TB, do func(*http.Request) error) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, err := io.Copy(io.Discard, r.Body)
		if err == nil {
			err = do(r)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = io.WriteString(w, answeredAs) // whoever asked sees it
	})}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	t.Cleanup(func() {
		if err := server.Close(); err != nil {
			t.Error(err)
		}
		<-ended
	})
	return l.Addr().String()
}
