package facade

import (
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"bydark/events"
	"bydark/projections"
	"bydark/services/access"
)

// Subscription collects what changes in the views until it is asked.
type Subscription interface {
	// Next waits for changes; it fails with the context's error.
	Next(context.Context) ([]projections.Changed, error)
	Close()
}

const (
	// beat is how often a silent stream says that it lives; proxies cut silent ones.
	beat = 15 * time.Second
	// liveWrite is how long a client may take for one message before it is cut off.
	liveWrite = 10 * time.Second
	// mostStreams is how many one person may have open.
	mostStreams = 16
)

// holder is whose streams are counted together.
type holder struct {
	company events.CompanyID
	person  events.PersonID
}

type streams struct {
	mu   sync.Mutex // guards open
	open map[holder]int
}

func (l *streams) begin(p access.Person) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	h := holder{p.Company, p.ID}
	if l.open[h] >= mostStreams {
		return false
	}
	l.open[h]++
	return true
}

func (l *streams) end(p access.Person) {
	l.mu.Lock()
	defer l.mu.Unlock()
	h := holder{p.Company, p.ID}
	if l.open[h]--; l.open[h] == 0 {
		delete(l.open, h)
	}
}

// change is one message of the live stream: what to look at again.
type change struct {
	Job      string `json:"job,omitzero"`
	Sequence uint64 `json:"sequence,omitzero"`
}

// live tells a person what changes in their company, until the person's access ends.
// It tells only where to look: what is seen there is judged anew.
func (s *Server) live(w http.ResponseWriter, r *http.Request, p access.Person) error {
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	if r.Method == http.MethodHead {
		return nil
	}
	if !s.streams.begin(p) {
		return errTooMany
	}
	defer s.streams.end(p)
	s.count.streams.Inc()
	defer s.count.streams.Dec()
	feed := s.Subscribe()
	defer feed.Close()
	out := stream{w: w, control: http.NewResponseController(w), now: s.Now}
	// A client that comes back has missed something: it is told to look at all.
	first := ": open\n\n"
	if r.Header.Get("Last-Event-ID") != "" {
		first += "event: changed\ndata: {}\n\n"
	}
	if err := out.write(first); err != nil {
		s.sent(r, err)
		return nil
	}
	s.sent(r, s.relay(r, p, feed, out))
	return nil
}

// relay passes changes on until the client, the person's access or the service ends.
func (s *Server) relay(r *http.Request, p access.Person, feed Subscription, out stream) error {
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	fresh := make(chan []projections.Changed)
	ended := make(chan error, 1)
	go func() { ended <- pass(ctx, feed, fresh) }()
	defer func() {
		cancel()
		<-ended //nolint:errcheck // waits; what it says was taken up below, or is the end of ctx
	}()
	pulse := time.NewTicker(beat)
	defer pulse.Stop()
	for {
		rights := s.People.Changes()
		if now, err := s.caller(r); err != nil || now.Company != p.Company || !now.May(access.FollowLive) {
			return nil
		}
		var message string
		select {
		case <-rights:
			continue
		case <-s.stopping:
			return nil
		case err := <-ended:
			ended <- err
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("changes ended: %w", err)
		case <-pulse.C: // also judges a session anew that ends by its time
			message = ": beat\n\n"
		case changed := <-fresh:
			var err error
			if message, err = messages(p.Company, changed); err != nil {
				return err
			}
		}
		if message == "" {
			continue
		}
		if err := out.write(message); err != nil {
			return err
		}
	}
}

func pass(ctx context.Context, feed Subscription, to chan<- []projections.Changed) error {
	for {
		changed, err := feed.Next(ctx)
		if err != nil {
			return err
		}
		select {
		case to <- changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// messages are the messages for one company.
func messages(company events.CompanyID, changed []projections.Changed) (string, error) {
	var text []byte
	for _, c := range changed {
		if c.Company != "" && c.Company != string(company) {
			continue
		}
		data, err := json.Marshal(change{c.Job, c.Sequence})
		if err != nil {
			return "", err
		}
		text = fmt.Appendf(text, "id: %d\nevent: changed\ndata: %s\n\n", c.Sequence, data)
	}
	return string(text), nil
}

// stream writes server-sent events, each within its deadline.
type stream struct {
	w       http.ResponseWriter
	control *http.ResponseController
	now     func() time.Time
}

func (s stream) write(text string) error {
	if err := s.control.SetWriteDeadline(s.now().Add(liveWrite)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	if _, err := s.w.Write([]byte(text)); err != nil {
		return err
	}
	return s.control.Flush()
}
