package journal_test

import (
	"slices"
	"strings"
	"testing"

	"bydark/events/journal"
)

// What is said of replicas, given what they were a minute before.
func TestReplicaFaults(t *testing.T) {
	at := func(node string, events, first, last, deleted uint64) journal.Replica {
		return journal.Replica{Stream: journal.Roof, Node: node, Events: events, First: first, Last: last, Deleted: deleted}
	}
	before := []journal.Replica{at("a", 100, 1, 100, 0), at("b", 98, 1, 98, 0), at("c", 100, 1, 100, 0)}
	for _, c := range []struct {
		name string
		now  []journal.Replica
		want []string // the beginnings of what is said
	}{
		{"all whole", []journal.Replica{at("a", 200, 1, 200, 0), at("b", 190, 1, 190, 0), at("c", 100, 1, 100, 0)}, nil},
		{"nothing in it", []journal.Replica{at("a", 0, 0, 0, 0)}, []string{"node a is behind"}},
		{"one behind", []journal.Replica{at("a", 200, 1, 200, 0), at("b", 99, 1, 99, 0), at("c", 200, 1, 200, 0)}, []string{"node b is behind"}},
		{"a hole", []journal.Replica{at("a", 200, 1, 200, 0), at("b", 150, 1, 200, 50)}, []string{"node b has lost"}},
		{"a hole that is not counted", []journal.Replica{at("b", 150, 1, 200, 0)}, []string{"node b has lost"}},
		{"the beginning gone", []journal.Replica{at("b", 100, 101, 200, 0)}, []string{"node b has lost"}},
		{"a node that does not answer", []journal.Replica{at("a", 200, 1, 200, 0)}, nil},
	} {
		got := journal.ReplicaFaults(before, c.now)
		if !slices.EqualFunc(got, c.want, strings.HasPrefix) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
