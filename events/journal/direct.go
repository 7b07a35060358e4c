package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
)

// directRequest asks the broker for messages past all consumers.
type directRequest struct {
	Seq     uint64 `json:"seq,omitempty"`
	NextFor string `json:"next_by_subj,omitempty"`
	LastFor string `json:"last_by_subj,omitempty"`
	Batch   int    `json:"batch,omitempty"`
}

// messages gets one page of a stream, hands each message out, and returns the number of those that remain behind it. The broker ends a
// page early when it grows too large, so only that number tells whether there is more.
func (j *Journal) messages(ctx context.Context, stream string, request directRequest,
	each func(sequence uint64, subject string, m *nats.Msg) error) (pending uint64, err error) {
	ctx, cancel := context.WithTimeout(ctx, loadTimeout)
	defer cancel()
	if err := j.connected(ctx); err != nil {
		return 0, err
	}
	ctx, release := j.link.bound(ctx)
	defer release()
	body, err := json.Marshal(request)
	if err != nil {
		return 0, err
	}
	inbox := j.nc.NewInbox()
	sub, err := j.nc.SubscribeSync(inbox)
	if err != nil {
		return 0, err
	}
	defer func() { _ = sub.Unsubscribe() }() // fails only when the connection is gone, and the subscription with it
	if err := sub.SetPendingLimits(-1, -1); err != nil {
		return 0, err
	}
	if err := j.nc.PublishRequest("$JS.API.DIRECT.GET."+stream, inbox, body); err != nil {
		return 0, err
	}
	for {
		m, err := sub.NextMsgWithContext(ctx)
		if ctx.Err() != nil {
			return 0, context.Cause(ctx)
		}
		if err != nil {
			return 0, err
		}
		switch status := m.Header.Get("Status"); status {
		case "":
		case "204": // end of the page
			return pending, nil
		case "404": // nothing there
			return 0, nil
		default:
			return 0, fmt.Errorf("broker answered %s %s", status, m.Header.Get("Description"))
		}
		sequence, err := strconv.ParseUint(m.Header.Get("Nats-Sequence"), 10, 64)
		if err != nil {
			return 0, fmt.Errorf("answer without sequence: %w", err)
		}
		if pending, err = strconv.ParseUint(m.Header.Get("Nats-Num-Pending"), 10, 64); err != nil {
			return 0, fmt.Errorf("answer without number of pending events: %w", err)
		}
		if err := each(sequence, m.Header.Get("Nats-Subject"), m); err != nil {
			return 0, err
		}
	}
}

// apiError is how the broker refuses a request.
type apiError struct {
	Code        int    `json:"code"`
	ErrorCode   int    `json:"err_code"`
	Description string `json:"description"`
}

func (e *apiError) Error() string {
	return fmt.Sprintf("broker refused: %s (%d, %d)", e.Description, e.Code, e.ErrorCode)
}

// pause waits, unless the context ends first.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
