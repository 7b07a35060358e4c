package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// tooMuch are rights that a log's writer has no use for. With each of them events can be taken away, whatever a stream forbids.
var tooMuch = []struct{ ask, may string }{
	{"$JS.API.STREAM.DELETE.", "delete a stream"},
	{"$JS.API.STREAM.UPDATE.", "change a stream's limits"},
	{"$JS.API.STREAM.PURGE.", "empty a stream"},
}

// rightsTimeout is how long a broker that lets a request in may take to answer it.
const rightsTimeout = 2 * time.Second

// excess says what the credentials for a broker elsewhere allow and need not. It asks for each with a stream that is not there, on a
// connection of its own: the broker either says that this may not be asked, or that there is no such stream.
func excess(ctx context.Context, o Options) ([]string, error) {
	ctx, cancel := context.WithTimeout(ctx, rightsTimeout)
	defer cancel()
	var mu sync.Mutex // guards denied
	denied := map[string]bool{}
	nc, err := connect(o, nats.Name("bydark rights"), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		mu.Lock()
		defer mu.Unlock()
		for _, right := range tooMuch {
			if errors.Is(err, nats.ErrPermissionViolation) && strings.Contains(strings.ToUpper(err.Error()), right.ask) {
				denied[right.ask] = true
			}
		}
	}))
	if err != nil {
		return nil, err
	}
	defer nc.Close()
	var all []string
	for _, right := range tooMuch {
		if may, err := asked(ctx, nc, right.ask+"BYDARK-NO-SUCH-STREAM", func() bool {
			mu.Lock()
			defer mu.Unlock()
			return denied[right.ask]
		}); err != nil {
			return nil, fmt.Errorf("whether it may %s: %w", right.may, err)
		} else if may {
			all = append(all, right.may)
		}
	}
	return all, nil
}

// asked says whether a request was let in: it was if it is answered, it was not if denied says so.
func asked(ctx context.Context, nc *nats.Conn, subject string, denied func() bool) (bool, error) {
	inbox := nc.NewInbox()
	answers, err := nc.SubscribeSync(inbox)
	if err != nil {
		return false, err
	}
	defer func() { _ = answers.Unsubscribe() }() // the connection ends soon
	if err := nc.PublishRequest(subject, inbox, []byte("{}")); err != nil {
		return false, err
	}
	for !denied() {
		wait, cancel := context.WithTimeout(ctx, reconnectPoll)
		_, err := answers.NextMsgWithContext(wait)
		cancel()
		switch {
		case err == nil:
			return true, nil
		case ctx.Err() != nil:
			return false, context.Cause(ctx)
		case !errors.Is(err, context.DeadlineExceeded):
			return false, err
		}
	}
	return false, nil
}
