package main

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/access"
)

// F31: three clients send the same outbox at once, each in its own order and in pieces of its own, as two tabs and a phone with one store
// would. Each report becomes one event, all three hear the same place of it, and all three outboxes empty. What the page does with its
// store is the page's to try; this is what it may rely on.
func TestOneOutboxThreeSenders(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	dice := rand.New(rand.NewPCG(seed, 31))
	r := start(t)
	r.crew.open("job")
	const each = 20
	n := journaltest.Rounds(t, 5)
	for round := range n {
		var outbox []roofReport
		for i := range each {
			outbox = append(outbox, tell(fmt.Sprintf("outbox %d/%d", round, i), "panel-set", i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)}))
		}
		var all sync.WaitGroup
		var heard [3]map[string]answered
		for client := range heard {
			order, pieces := dice.Perm(each), 1+dice.IntN(each)
			all.Go(func() {
				heard[client] = map[string]answered{}
				for from := 0; from < each; from += pieces {
					var piece []roofReport
					for _, i := range order[from:min(from+pieces, each)] {
						piece = append(piece, outbox[i])
					}
					for _, got := range r.crew.sendAs(access.Owner, "job", piece...) {
						heard[client][got.ID] = got
					}
				}
			})
		}
		all.Wait()
		for _, report := range outbox {
			id, _ := report["id"].(string)
			first, accepted := heard[0][id].Sequence, 0
			for client, got := range heard {
				switch {
				case got[id].Status == "accepted":
					accepted++
				case got[id].Status != "repeated":
					t.Fatalf("round %d, client %d: %s is answered %+v", round, client, id, got[id])
				}
				if got[id].Sequence != first {
					t.Errorf("round %d: %s stands at %d for one and at %d for another", round, id, first, got[id].Sequence)
				}
			}
			if accepted != 1 {
				t.Errorf("round %d: %s was accepted %d times", round, id, accepted)
			}
		}
	}
	end, err := r.journal.End(t.Context(), journal.Roof)
	if err != nil || end.Sequence != uint64(n*each+1) {
		t.Errorf("%d events are in the log, want %d reports and what opened the job (%v)", end.Sequence, n*each, err)
	}
}
