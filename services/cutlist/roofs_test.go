package cutlist_test

import (
	"bytes"
	"context"
	"encoding/json/v2"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/cutlist"
	"bydark/services/cutplan"
	"bydark/services/roof"
	"bydark/services/roofjob"
)

var update = flag.Bool("update", false, "write the golden file anew")

// asIfPrice is an invented price of a foot of every metal, so that lengths can be read as
// money too.
const asIfPrice = 4

// real are the roofs that are cut: the demo's (invented) and some of the city models in
// testdata/roofs (their sources and licences stand there). Each has hips, valleys or both.
var real = []struct{ file, building string }{
	{"cmd/bydark/demo/mill-gable.json", ""},
	{"cmd/bydark/demo/orchard-ell.json", ""},
	{"testdata/roofs/analytic.city.jsonl", "analytic-05-Lhip-14x6-6in12"},
	{"testdata/roofs/vienna.city.jsonl", "UUID_LOD2_011488-fcce1166-78a2-4f42-8adb"},
	{"testdata/roofs/vienna.city.jsonl", "UUID_LOD2_011444-4fec0f9c-4f94-424b-ac76"},
	{"testdata/roofs/vienna.city.jsonl", "UUID_LOD2_011486-7ec8beb5-3798-47e3-8ab6"},
}

func jobOf(t *testing.T, file, building string) *roofjob.State {
	t.Helper()
	doc, err := os.ReadFile(filepath.Join("../..", file))
	if err != nil {
		t.Fatal(err)
	}
	if building != "" {
		if doc, err = roof.ImportBuilding(doc, building); err != nil {
			t.Fatal(err)
		}
	}
	build, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	prices := map[events.MaterialID]string{}
	a, err := assembly.Read(build)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range a.Materials {
		if m.Unit == assembly.UnitLength {
			prices[m.ID] = fmt.Sprint(asIfPrice * int64(m.Pack.Holds.Length()/quantity.Foot))
		}
	}
	s := roofjob.New("larch", "barn")
	at := time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)
	if err := s.Add(events.Event{ID: "0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f", At: at, Recorded: at, Sequence: 1, Body: events.JobOpened{
		Name: building, Site: events.Site{Zone: "UTC"}, Roof: doc, Assembly: build, Prices: prices,
	}}); err != nil {
		t.Fatal(err)
	}
	return s
}

// inNeed is how many bars it takes to cut the pieces as they are needed, square cuts only:
// begun, out of the first bar begun that still holds the piece, wherever it lies; hand, out
// of the bar in hand, else out of a new one.
func inNeed(q cutplan.Request) (begun, hand int64) {
	var rooms []int64
	held := int64(0)
	for _, p := range q.Pieces {
		w := p.Length + q.Kerf
		k := slices.IndexFunc(rooms, func(room int64) bool { return room >= w })
		if k < 0 {
			rooms, k = append(rooms, q.Stock[0].Length+q.Kerf), len(rooms)
		}
		rooms[k] -= w
		if held < w {
			held = q.Stock[0].Length + q.Kerf
			hand++
		}
		held -= w
	}
	return int64(len(rooms)), hand
}

// Real roofs: bars against the proven bound and against cutting in order of need, the cuts
// that panels share, in feet and money, and drawn. The golden file is meant to be read.
func TestRealRoofs(t *testing.T) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Real roofs cut by the plan. Money at an invented price of %d a foot of every metal.\n", asIfPrice)
	drawn := 0
	for _, r := range real {
		s := jobOf(t, r.file, r.building)
		fmt.Fprintf(&b, "\n== %s %s\n", filepath.Base(r.file), r.building)
		var planned, needed int64
		for i := range s.Assembly().Materials {
			m := &s.Assembly().Materials[i]
			p, ok, err := cutlist.Of(context.Background(), s, m, 0, cutlist.Settled{}, cutlist.Options{Keep: cutlist.UsualKeep})
			if err != nil {
				t.Fatal(r, err)
			}
			if !ok {
				continue
			}
			begun, need := inNeed(p.Request())
			a := p.Plan
			if !a.Proven || a.LowerBound != a.Used || begun < a.Used || need < a.Used {
				t.Errorf("%s, %s: %d bars, bound %d, in order of need %d or %d", r.file, m.ID, a.Used, a.LowerBound, begun, need)
			}
			planned, needed = planned+a.Used*int64(p.StockLength), needed+need*int64(p.StockLength)
			fmt.Fprintf(&b, "%-14s %3d pieces, %2d of %s, bound %2d; in order of need %2d out of any bar begun, %2d out of the bar in hand\n",
				m.ID, len(p.Pieces), a.Used, p.StockLength, a.LowerBound, begun, need)
			if a.AngleSaved != nil {
				fmt.Fprintf(&b, "  shared cuts save %s: %.1f feet, worth %s\n", a.AngleSaved.Length, a.AngleSaved.Feet, a.AngleSaved.Money)
				drawn += draw(&b, p)
			}
		}
		saved := quantity.Length(needed - planned)
		fmt.Fprintf(&b, "saved against cutting in order of need out of the bar in hand: %s, worth %d\n", saved, int64(saved/quantity.Foot)*asIfPrice)
	}
	if drawn == 0 {
		t.Error("no roof shares a cut")
	}
	const golden = "testdata/real-roofs.txt"
	if *update {
		if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil { //nolint:gosec // a file of the source tree
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil || !bytes.Equal(want, b.Bytes()) {
		t.Errorf("not as in %s (%v); if it is meant so: go test ./services/cutlist -run RealRoofs -update\n%s", golden, err, b.String())
	}
}

// draw draws the pieces that share a cut, low end to the left, left seam side on top.
func draw(b *bytes.Buffer, p *cutlist.Plan) int {
	by := map[string]cutplan.Piece{}
	q := p.Request()
	for _, c := range q.Pieces {
		by[c.Mark] = c
	}
	n := 0
	for _, bar := range p.Plan.Bars {
		for k := 1; k < len(bar.Pieces); k++ {
			one, two := by[bar.Pieces[k-1]], by[bar.Pieces[k]]
			if one.HighRun == 0 || one.HighRun != two.LowRun {
				continue
			}
			cut := `\`
			if one.HighRun < 0 {
				cut = "/"
			}
			text := func(c cutplan.Piece) string { return c.Mark + " " + quantity.Length(c.Length).String() }
			line := strings.Repeat("_", len(text(one))+len(text(two))+7)
			fmt.Fprintf(b, "    %s\n    |  %s  %s  %s  |\n", line, text(one), cut, text(two))
			n++
		}
	}
	return n
}

// An answer's JSON stands for itself: what goes out is read back by whoever asks.
func TestPlanIsJSON(t *testing.T) {
	s := jobOf(t, real[0].file, "")
	m, _ := s.Assembly().Material("eave-trim")
	p, _, err := cutlist.Of(context.Background(), s, m, 25*quantity.Foot, cutlist.Settled{}, cutlist.Options{})
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		WholeAtHand int64 `json:"whole_at_hand"`
		Plan        struct {
			Used int64 `json:"used"`
		} `json:"plan"`
	}
	if err := json.Unmarshal(data, &back); err != nil || back.WholeAtHand != 2 || back.Plan.Used != p.Plan.Used {
		t.Errorf("%+v, %v", back, err)
	}
}
