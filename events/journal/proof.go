package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
)

// node is what a server says of itself, on its monitoring page as to the system account.
type node struct {
	Name      string `json:"server_name"`
	JetStream struct {
		Config struct {
			SyncAlways bool `json:"sync_always"`
		} `json:"config"`
	} `json:"jetstream"`
}

// proveSync fails with ErrUnfit unless every node that keeps a stream has said that it syncs before it acknowledges, on its monitoring
// page or to a user of the system account.
func proveSync(ctx context.Context, names []string, o Options) error {
	var said []node
	for _, page := range o.Monitor {
		n, err := monitored(ctx, page)
		if err != nil {
			return fmt.Errorf("%w: monitoring page %s: %w", ErrUnfit, page, err)
		}
		said = append(said, n)
	}
	if o.System != "" {
		all, err := systemNodes(ctx, o, names)
		if err != nil {
			return fmt.Errorf("%w: ask the broker's nodes by the system account: %w", ErrUnfit, err)
		}
		said = append(said, all...)
	}
	syncs := map[string]bool{}
	for _, n := range said {
		if !n.JetStream.Config.SyncAlways {
			return fmt.Errorf("%w: node %s acknowledges before it syncs: set sync_interval: always in its jetstream block", ErrUnfit, n.Name)
		}
		syncs[n.Name] = true
	}
	for _, name := range names {
		if !syncs[name] {
			return fmt.Errorf("%w: nothing proves that node %s syncs before it acknowledges: give the address of its monitoring page or a user of "+
				"the system account, or say that durability may go unverified", ErrUnfit, name)
		}
	}
	return nil
}

// monitored asks a server's monitoring page what it says of itself.
func monitored(ctx context.Context, page string) (node, error) {
	var n node
	body, err := monitoring(ctx, page, "/varz")
	if err == nil {
		err = json.Unmarshal(body, &n)
	}
	return n, err
}

// systemNodes asks all servers at once, and waits until those with the given names have answered, or for a while. Servers that keep
// nothing of ours are left out.
func systemNodes(ctx context.Context, o Options, names []string) ([]node, error) {
	ctx, cancel := context.WithTimeout(ctx, monitorTimeout)
	defer cancel()
	to := o
	to.URL, to.Creds = o.System, ""
	nc, err := connect(to, nats.Name("bydark proof"))
	if err != nil {
		return nil, err
	}
	defer nc.Close()
	inbox := nc.NewInbox()
	answers, err := nc.SubscribeSync(inbox)
	if err != nil {
		return nil, err
	}
	if err := nc.PublishRequest("$SYS.REQ.SERVER.PING.VARZ", inbox, nil); err != nil {
		return nil, err
	}
	waiting := map[string]bool{}
	for _, name := range names {
		waiting[name] = true
	}
	var all []node
	for len(waiting) > 0 {
		m, err := answers.NextMsgWithContext(ctx)
		if errors.Is(err, context.DeadlineExceeded) {
			return all, nil // whoever is missing is named by the caller
		}
		if err != nil {
			return nil, err
		}
		var answer struct {
			Data node `json:"data"`
		}
		if err := json.Unmarshal(m.Data, &answer); err != nil {
			return nil, fmt.Errorf("answer %.200q: %w", m.Data, err)
		}
		if waiting[answer.Data.Name] {
			delete(waiting, answer.Data.Name)
			all = append(all, answer.Data)
		}
	}
	return all, nil
}
