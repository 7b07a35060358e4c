package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// errCut is why a wait for an answer ended early: the connection on which it was to come is gone.
var errCut = errors.New("connection to the broker was lost")

// link knows the life of a connection, so that nobody waits for an answer that can no longer come.
type link struct {
	log *slog.Logger

	mu    sync.Mutex // guards what follows
	alive context.Context
	end   context.CancelFunc
}

func newLink(log *slog.Logger) *link {
	l := &link{log: log}
	l.alive, l.end = context.WithCancel(context.Background())
	return l
}

// options are those of every connection. The client notices a dead peer within 15 s, never gives up, and keeps nothing back for later:
// what cannot be sent fails at once.
func (l *link) options() []nats.Option {
	lost := func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.end()
		l.alive, l.end = context.WithCancel(context.Background())
	}
	return []nats.Option{
		nats.Name("bydark journal"), nats.MaxReconnects(-1), nats.ReconnectWait(50 * time.Millisecond),
		nats.PingInterval(5 * time.Second), nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1),
		nats.DisconnectErrHandler(func(*nats.Conn, error) { lost() }),
		nats.ClosedHandler(func(*nats.Conn) { lost() }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			l.log.Warn("connection to the broker", "error", err)
		}),
	}
}

// bound is a context that also ends, with errCut, when the present connection does.
func (l *link) bound(ctx context.Context) (context.Context, func()) {
	l.mu.Lock()
	alive := l.alive
	l.mu.Unlock()
	ctx, cancel := context.WithCancelCause(ctx)
	stop := context.AfterFunc(alive, func() { cancel(errCut) })
	return ctx, func() {
		stop()
		cancel(nil)
	}
}

// connected waits for a connection while there is none. Nothing is sent before it returns.
func (j *Journal) connected(ctx context.Context) error {
	for !j.nc.IsConnected() {
		if j.nc.IsClosed() {
			return ErrClosed
		}
		if err := pause(ctx, reconnectPoll); err != nil {
			return errors.Join(errCut, err)
		}
	}
	return nil
}

// reconnectPoll is how often a lost connection is looked at.
const reconnectPoll = 10 * time.Millisecond

// connectLocal connects to the broker in this process.
func connectLocal(b *broker, l *link) (*nats.Conn, error) {
	return nats.Connect("", append(l.options(), nats.InProcessServer(b))...)
}

// connectRemote connects by URL.
func connectRemote(o Options, l *link) (*nats.Conn, error) { return connect(o, l.options()...) }

func connect(o Options, options ...nats.Option) (*nats.Conn, error) {
	if o.Creds != "" {
		options = append(options, nats.UserCredentials(o.Creds))
	}
	if o.Authority != "" {
		options = append(options, nats.RootCAs(o.Authority))
	}
	nc, err := nats.Connect(o.URL, options...)
	if err != nil {
		return nil, fmt.Errorf("connect to the broker: %w", err)
	}
	return nc, nil
}
