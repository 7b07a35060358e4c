package cutlist

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roofjob"
)

func turn(job events.JobID, hour int, what, offcut string, length quantity.Length, to events.JobID) Turn {
	return Turn{job, roofjob.OffcutTurn{
		What: what, Offcut: offcut, Material: "cap", Length: length, To: to, Report: events.ReportID(offcut + what),
		At: time.Date(2026, 5, 4, hour, 0, 0, 0, time.UTC),
	}}
}

func TestSettle(t *testing.T) {
	const foot = quantity.Foot
	kept := turn("a", 8, roofjob.OffcutKept, "x", 4*foot, "")
	other := turn("a", 9, roofjob.OffcutKept, "y", 4*foot, "")
	for _, c := range []struct {
		name  string
		turns []Turn
		want  []string // job/id
	}{
		{"kept lies where it was cut", []Turn{kept}, []string{"a/x"}},
		{"used is gone", []Turn{kept, turn("a", 10, roofjob.OffcutUsed, "x", 0, "")}, nil},
		{"used by its length: the older one", []Turn{kept, other, turn("a", 10, roofjob.OffcutUsed, "4'", 0, "")}, []string{"a/y"}},
		{"another job's use of that length takes nothing", []Turn{kept, turn("b", 10, roofjob.OffcutUsed, "4'", 0, "")}, []string{"a/x"}},
		{"moved lies there", []Turn{kept, turn("a", 10, roofjob.OffcutMoved, "x", 4*foot, "b")}, []string{"b/x"}},
		{"moved on and used", []Turn{kept, turn("a", 10, roofjob.OffcutMoved, "x", 4*foot, "b"), turn("b", 11, roofjob.OffcutMoved, "x", 4*foot, "c"), turn("c", 12, roofjob.OffcutUsed, "x", 0, "")}, nil},
		{"used before the move was written down", []Turn{kept, turn("b", 10, roofjob.OffcutUsed, "x", 0, ""), turn("a", 11, roofjob.OffcutMoved, "x", 4*foot, "b")}, nil},
		{"of nothing that was kept", []Turn{turn("a", 10, roofjob.OffcutMoved, "10'", 10*foot, "b")}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(1, 2))
			for range 20 { // the order of arrival does not matter
				r.Shuffle(len(c.turns), func(i, j int) { c.turns[i], c.turns[j] = c.turns[j], c.turns[i] })
				var got []string
				for _, o := range Settle(c.turns).Lying {
					got = append(got, string(o.Job)+"/"+o.ID)
				}
				if !slices.Equal(got, c.want) {
					t.Fatalf("%v, want %v", got, c.want)
				}
			}
		})
	}
}

// An offcut that was cut up tells how long it was, for the waste.
func TestSettleRemembersUsed(t *testing.T) {
	s := Settle([]Turn{turn("a", 8, roofjob.OffcutKept, "x", 4*quantity.Foot, ""), turn("a", 9, roofjob.OffcutUsed, "x", 0, "")})
	if got := s.Used["xused"]; got != 4*quantity.Foot {
		t.Error(got)
	}
}

// Set from the right, a panel lies on the strip with its high end first.
func TestStripOfPanelsSetFromTheRight(t *testing.T) {
	p := Piece{lowRun: 3, highRun: -7}
	if low, high := p.onStrip(); low != 3 || high != -7 {
		t.Error("from the left", low, high)
	}
	p.fromRight = true
	if low, high := p.onStrip(); low != -7 || high != 3 {
		t.Error("from the right", low, high)
	}
}

func TestShareOfARun(t *testing.T) {
	all := []quantity.Length{100, 100, 30}
	for _, c := range []struct{ part, whole, want quantity.Length }{{0, 200, 0}, {100, 200, 115}, {200, 200, 230}, {300, 200, 230}, {5, 0, 0}} {
		if got := share(all, c.part, c.whole); got != c.want {
			t.Errorf("%d of %d: %d, want %d", c.part, c.whole, got, c.want)
		}
	}
}
