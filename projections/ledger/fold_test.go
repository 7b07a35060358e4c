package ledger_test

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/ledger"
	"bydark/services/assembly"
	"bydark/services/cutlist"
	"bydark/services/roofjob"
)

// gable is a job on the gable of the demo (invented), and its panels.
type gable struct {
	t      *testing.T
	state  *roofjob.State
	panels []cutlist.Piece
	n      int
}

func opened(t *testing.T) *gable {
	t.Helper()
	doc, err := os.ReadFile("../../cmd/bydark/demo/mill-gable.json")
	if err != nil {
		t.Fatal(err)
	}
	build, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	g := &gable{t: t, state: roofjob.New("larch", "barn")}
	g.tell(events.JobOpened{Name: "Barn", Site: events.Site{Zone: "UTC"}, Roof: doc, Assembly: build})
	g.panels = g.plan().Pieces
	return g
}

func (g *gable) tell(bodies ...events.Body) {
	g.t.Helper()
	for _, body := range bodies {
		g.n++
		at := time.Date(2026, 5, 4, 7, g.n, 0, 0, time.UTC)
		id := events.ReportID(fmt.Sprintf("0199d2f0-6f1a-7cc3-98c4-dc0c0c%06d", g.n))
		if err := g.state.Add(events.Event{ID: id, At: at, Recorded: at, Sequence: uint64(g.n), Body: body}); err != nil {
			g.t.Fatal(err)
		}
	}
}

func (g *gable) metal() *assembly.Material {
	m, _ := g.state.Assembly().Material(g.state.Assembly().Panel.Material)
	return m
}

func (g *gable) line(id events.MaterialID) ledger.Line {
	g.t.Helper()
	lines, err := ledger.Fold(g.state)
	if err != nil {
		g.t.Fatal(err)
	}
	for _, l := range lines {
		if l.Material == id {
			return l
		}
	}
	g.t.Fatalf("no line of %s", id)
	return ledger.Line{}
}

func (g *gable) plan() *cutlist.Plan {
	g.t.Helper()
	hand := quantity.Length(0)
	if lines, err := ledger.Fold(g.state); err == nil {
		for _, l := range lines {
			if l.Material == g.metal().ID {
				hand = l.OnHand.Length()
			}
		}
	}
	p, ok, err := cutlist.Of(context.Background(), g.state, g.metal(), hand, cutlist.Settle(nil), cutlist.Options{})
	if err != nil || !ok {
		g.t.Fatal(ok, err)
	}
	return p
}

func cutOf(p cutlist.Piece, miscut string) events.PanelCut {
	return events.PanelCut{Piece: events.PieceMark(p.Mark), Length: p.Length, From: events.CutFrom{Coil: "c"}, Miscut: miscut}
}

// The metal still needed is what the cut plan still has to cut, whatever was cut, cut
// wrong, or set.
func TestMetalStillNeededIsWhatIsToBeCut(t *testing.T) {
	t.Parallel()
	g := opened(t)
	last := len(g.panels) - 2
	if last < 4 {
		t.Fatalf("%d panels", len(g.panels))
	}
	same := func(what string) {
		t.Helper()
		var left quantity.Length
		for _, p := range g.plan().Pieces {
			if p.State == cutlist.ToCut {
				left += p.Length
			}
		}
		l := g.line(g.metal().ID)
		if l.Remaining != quantity.OfLength(left) {
			t.Errorf("%s: the ledger still needs %s, the cut plan %s", what, l.Remaining.Shown(), left)
		}
	}
	same("nothing cut")
	all := g.line(g.metal().ID).EstimatedNow.Length()
	g.tell(events.MaterialReceived{Lines: []events.ReceivedLine{{Material: g.metal().ID, Amount: quantity.OfLength(all)}}})
	for i, p := range g.panels[:last] {
		g.tell(cutOf(p, ""))
		same(fmt.Sprint(i+1, " cut"))
	}
	l := g.line(g.metal().ID)
	if l.ShortBy.Sign() != 0 || l.ToOrder.Sign() != 0 || g.plan().ToBuy != 0 || l.BurnRatio != 1 || l.UsedImplied.Sign() != 0 {
		t.Errorf("all but two cut and none set: %+v", l)
	}
	g.tell(events.PanelSet{Piece: events.PieceMark(g.panels[0].Mark)}, events.PanelSet{Piece: events.PieceMark(g.panels[last].Mark)})
	same("two set, one of them not told as cut")
	lost := g.panels[last+1].Length
	g.tell(cutOf(g.panels[last+1], "too short"))
	same("one cut wrong")
	if l := g.line(g.metal().ID); l.Remaining != quantity.OfLength(lost) || l.BurnRatio <= 1 {
		t.Errorf("the piece cut wrong is still to be cut: %+v", l)
	}
	// Told by the plane, with no piece named: nothing is left.
	bare := opened(t)
	for _, plane := range bare.state.Estimate().Planes {
		bare.tell(events.LayerLaid{Where: plane.Mark, Step: g.panels[0].Step})
	}
	if l := bare.line(g.metal().ID); l.Remaining.Sign() != 0 {
		t.Errorf("all told as laid: %+v", l)
	}
}

// More went than came by the reports: that is to be counted, and is no order.
func TestLessThanNothingOrdersNothing(t *testing.T) {
	t.Parallel()
	g := opened(t)
	for _, plane := range g.state.Estimate().Planes {
		g.tell(events.LayerLaid{Where: plane.Mark, Step: "felt"})
	}
	now := time.Date(2026, 5, 5, 7, 0, 0, 0, time.UTC)
	l := g.line("felt")
	if l.OnHand.Sign() >= 0 || l.Remaining.Sign() != 0 || l.ShortBy.Sign() != 0 || l.ToOrder.Sign() != 0 {
		t.Errorf("laid whole, no delivery told: %+v", l)
	}
	if o := l.Outlook("", now); o.OrderBy != "" || !strings.Contains(o.Words, "Count what is there.") {
		t.Errorf("%+v", o)
	}
	if odd := len(g.state.Oddities()); odd != 0 {
		t.Errorf("%d oddities", odd)
	}

	typo := opened(t)
	roll := quantity.Packs(1000, "roll")
	before := typo.line("felt").ShortBy
	typo.tell(events.MaterialReceived{Lines: []events.ReceivedLine{{Material: "felt", Amount: roll}}}, events.MaterialSpoiled{Material: "felt", Amount: roll, Reason: "rain"})
	if odd := typo.state.Oddities(); len(odd) != 0 {
		t.Errorf("what was there may spoil: %+v", odd)
	}
	typo.tell(events.MaterialSpoiled{Material: "felt", Amount: quantity.Packs(100_000, "roll"), Reason: "rain"})
	if l := typo.line("felt"); l.ShortBy != before {
		t.Errorf("100 rolls told spoiled: short by %s, before %s", l.ShortBy, before)
	}
	if odd := typo.state.Oddities(); len(odd) != 1 || !strings.Contains(odd[0].What, "100 roll of felt is told spoiled") {
		t.Errorf("%+v", odd)
	}
	counted := opened(t)
	counted.tell(events.MaterialCounted{Material: "felt", Amount: quantity.Packs(3000, "roll")}, events.MaterialSpoiled{Material: "felt", Amount: roll, Reason: "rain"})
	if odd := counted.state.Oddities(); len(odd) != 0 {
		t.Errorf("what was counted may spoil: %+v", odd)
	}
}
