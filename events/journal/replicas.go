package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"sync"
	"time"
)

// Replica is what one node of a broker elsewhere holds of a stream.
type Replica struct {
	Stream              Stream
	Node                string
	Events, First, Last uint64 // how many, and the first and the last sequence
	Deleted             uint64 // sequences between the two that are not there
}

// Replicas asks every node of a broker elsewhere, by its monitoring page, what it holds. A node that does not answer is left out.
func (j *Journal) Replicas(ctx context.Context) []Replica {
	var all []Replica
	for _, page := range j.pages {
		held, err := replicasOf(ctx, page)
		if err != nil {
			j.log.Warn("node does not say what it holds", "page", page, "error", err)
			continue
		}
		all = append(all, held...)
	}
	return all
}

// replicasOf asks one node.
func replicasOf(ctx context.Context, page string) ([]Replica, error) {
	n, err := monitored(ctx, page)
	if err != nil {
		return nil, err
	}
	body, err := monitoring(ctx, page, "/jsz?"+url.Values{"accounts": {"true"}, "streams": {"true"}}.Encode())
	if err != nil {
		return nil, err
	}
	var said struct {
		Accounts []struct {
			Streams []struct {
				Name  string `json:"name"`
				State struct {
					Events  uint64 `json:"messages"`
					First   uint64 `json:"first_seq"`
					Last    uint64 `json:"last_seq"`
					Deleted uint64 `json:"num_deleted"`
				} `json:"state"`
			} `json:"stream_detail"`
		} `json:"account_details"`
	}
	if err := json.Unmarshal(body, &said); err != nil {
		return nil, err
	}
	var all []Replica
	for _, account := range said.Accounts {
		for _, s := range account.Streams {
			if slices.Contains(Streams(), Stream(s.Name)) {
				all = append(all, Replica{Stream(s.Name), n.Name, s.State.Events, s.State.First, s.State.Last, s.State.Deleted})
			}
		}
	}
	return all, nil
}

// replicaFaults says in words which replicas are not to be trusted: those from which events are missing, and those that have not reached
// where another one was at the look before. The broker itself calls such a node current.
func replicaFaults(before, now []Replica) []string {
	reached := map[Stream]uint64{}
	for _, r := range before {
		reached[r.Stream] = max(reached[r.Stream], r.Last)
	}
	var faults []string
	for _, r := range now {
		switch {
		case r.Deleted > 0 || r.Last > 0 && (r.First != 1 || r.Events != r.Last):
			faults = append(faults, fmt.Sprintf("node %s has lost events of stream %s: it holds %d of %d", r.Node, r.Stream, r.Events, r.Last))
		case r.Last < reached[r.Stream]:
			faults = append(faults, fmt.Sprintf("node %s is behind in stream %s: it ends at %d, another ended at %d a minute ago",
				r.Node, r.Stream, r.Last, reached[r.Stream]))
		}
	}
	return faults
}

// replicaPause is how often the replicas are looked at.
const replicaPause = time.Minute

// replicaHealth is what the last look at the replicas found.
type replicaHealth struct {
	mu     sync.Mutex // guards faults
	faults []string
}

// WatchReplicas looks at the nodes of a broker elsewhere once a minute until ctx ends, and logs what is wrong with any. The repair is to
// stop that node, empty its store and start it: it fetches all from the others. Without monitoring pages it only waits.
func (j *Journal) WatchReplicas(ctx context.Context) error {
	before := j.Replicas(ctx)
	for {
		if err := pause(ctx, replicaPause); err != nil {
			return err
		}
		now := j.Replicas(ctx)
		faults := replicaFaults(before, now)
		for _, fault := range faults {
			j.log.Error("replica is not to be trusted: stop the node, empty its store, start it", "fault", fault)
		}
		j.health.mu.Lock()
		j.health.faults = faults
		j.health.mu.Unlock()
		before = now
	}
}

// ReplicaFaults are what the last look at the replicas found wrong, in words.
func (j *Journal) ReplicaFaults() []string {
	j.health.mu.Lock()
	defer j.health.mu.Unlock()
	return slices.Clone(j.health.faults)
}
