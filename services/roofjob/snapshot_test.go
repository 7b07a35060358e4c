package roofjob

import (
	"encoding/json/jsontext"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/quantity"
	"bydark/services/assembly"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"
)

// twoPlanes is a gable roof so wide.
func twoPlanes(feet int) jsontext.Value {
	return jsontext.Value(fmt.Sprintf(`{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["%[1]d'","0'"],["%[1]d'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["%[1]d'","12'"],["%[1]d'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`, feet))
}

var dawn = time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC)

func numbered(n int) events.ReportID {
	return events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", n)).String())
}

// story draws the events of a job in the order in which they come, many of them late, some taken back, before or after they come.
func story(r *rapid.T, n int) []events.Event {
	all := []events.Event{{ID: numbered(0), At: dawn.Add(time.Hour), By: "boss", Body: events.JobOpened{
		Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: twoPlanes(16), Assembly: document("flat-clip"), Colour: "slate",
	}}}
	clock := 0
	for i := 1; i < n; i++ {
		clock += rapid.IntRange(0, 30).Draw(r, "minutes")
		at := clock
		if rapid.IntRange(0, 4).Draw(r, "is late") == 0 {
			at = rapid.IntRange(-60, clock).Draw(r, "late")
		}
		all = append(all, events.Event{
			ID: numbered(i), At: dawn.Add(time.Duration(at) * time.Minute), Recorded: dawn.Add(time.Duration(clock) * time.Minute),
			By: rapid.SampledFrom([]events.PersonID{"hand", "lead"}).Draw(r, "by"), Body: anyFact(r, n, i),
		})
	}
	for i := range all {
		all[i].Sequence = uint64(3*i + 1) // other jobs lie between
	}
	return all
}

func document(name string) jsontext.Value {
	doc, err := assembly.Document(name)
	if err != nil {
		panic(err)
	}
	return doc
}

func anyFact(r *rapid.T, n, i int) events.Body {
	some := numbered(rapid.IntRange(1, n).Draw(r, "report"))
	plane := rapid.SampledFrom([]events.Place{"A", "B"}).Draw(r, "plane")
	edge := rapid.SampledFrom([]events.Place{"eave-1", "ridge-1", "rake-1"}).Draw(r, "edge")
	feet := quantity.OfLength(quantity.Length(rapid.IntRange(1, 9).Draw(r, "feet")) * quantity.Foot)
	piece := events.PieceMark(fmt.Sprintf("%s-%02d", plane, rapid.IntRange(1, 12).Draw(r, "panel")))
	kept := quantity.Length(rapid.IntRange(0, 3).Draw(r, "kept")) * quantity.Foot
	rolls := quantity.Packs(int64(rapid.IntRange(1, 9).Draw(r, "rolls"))*1000, "roll")
	area := quantity.OfArea(quantity.Area(rapid.IntRange(1, 200).Draw(r, "square feet")) * quantity.SquareFoot)
	day := dawn.Add(time.Duration(24*i) * time.Minute)
	facts := []events.Body{
		events.DeckOpened{Where: plane}, events.DeckOpened{Where: events.WholeRoof}, events.DeckOpened{Where: plane, Amount: &area},
		events.WeatherTightReached{Where: plane}, events.LayerLaid{Where: plane, Step: "deck-check"},
		events.LayerLaid{Where: plane, Step: "felt"}, events.LayerLaid{Where: plane, Step: "ice-barrier", Amount: &feet},
		events.TrimInstalled{Where: "eave-1", Step: "eave-trim", Amount: &feet}, events.TrimInstalled{Where: "ridge-1", Step: "cap"},
		events.PanelCut{Piece: piece, Length: 13 * quantity.Foot, From: events.CutFrom{Stock: "20'"}, Offcut: &kept},
		events.PanelCut{Piece: piece, Length: 14 * quantity.Foot, From: events.CutFrom{Offcut: "3'"}, Miscut: "short"},
		events.PanelSet{Piece: piece}, events.PanelSet{Piece: piece},
		events.MeasureTaken{Where: edge, Of: events.OfSpacing, Values: []events.Reading{rapid.SampledFrom([]events.Reading{`20"`, `30"`}).Draw(r, "spacing")}},
		events.MeasureTaken{Where: edge, Of: events.OfLength, Values: []events.Reading{rapid.SampledFrom([]events.Reading{`16'`, `16'-2"`, `20'`, `13'-5"`}).Draw(r, "length")}},
		events.CoverPlaced{Where: plane}, events.CoverRemoved{Where: plane}, events.WeatherTightReached{Where: edge},
		events.DayStarted{Heads: 3, ShiftEnd: day.Add(8 * time.Hour).In(time.FixedZone("", -4*3600))}, events.DayEnded{LeftOpen: []events.Place{plane}, AcceptedBy: "lead", Reason: "dry"},
		events.MaterialReceived{Lines: []events.ReceivedLine{{Material: "felt", Amount: rolls, Short: &rolls}}},
		events.MaterialOrdered{Order: "1", Lines: []events.OrderLine{{Material: "felt", Amount: rolls}}},
		events.MaterialCounted{Material: "felt", Amount: rolls}, events.MaterialMoved{Material: "felt", Amount: rolls, To: "barn"},
		events.PunchRaised{Where: plane, What: "a dent", Blocks: events.BlocksCloseout}, events.PunchAssigned{Item: some, To: "hand"},
		events.PunchFixed{Item: some}, events.PunchVerified{Item: some}, events.PunchReopened{Item: some, Reason: "still"}, events.PunchWaived{Item: some, Reason: "so be it"},
		events.PhotoAttached{To: some, Photo: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"},
		events.CheckSigned{Check: "eave-1/eave-trim/spacing"}, events.EstimateIssued{}, events.CrewPlanned{From: "2026-05-04", Heads: 4},
		events.JobClosed{}, events.JobReopened{Reason: "more"}, events.ExposureWarned{Why: "A is open."},
		events.RoofDrawn{Roof: twoPlanes(rapid.IntRange(16, 17).Draw(r, "wide")), Reason: "seen better"},
		events.AssemblyChosen{Assembly: document(rapid.SampledFrom([]string{"flat-clip", "raised-clip-vented"}).Draw(r, "assembly")), Reason: "changed"},
		events.ReportWithdrawn{Report: some, Reason: "wrong"}, events.ReportWithdrawn{Report: some, Reason: "wrong", Own: true},
		events.ReportWithdrawn{Report: numbered(max(1, i-rapid.IntRange(1, 9).Draw(r, "back"))), Reason: "wrong"},
	}
	return rapid.SampledFrom(facts).Draw(r, "fact")
}

// decided is all that decisions go by, and what is told of a job but its history.
func decided(s *State) any {
	felt, _ := s.Used("felt")
	metal, err := s.Used("panel-metal")
	return []any{
		s.Places(), s.Items(), s.Checks(), s.MissingCloseout(), s.Stage(), s.Movement("felt"), felt, metal, fmt.Sprint(err), s.Paces(), s.Warnings(),
		s.Closed(), s.LeftOpen(), s.PlannedHeads(), s.Latest(), s.Last(), s.Changes(), s.Opened().Name, s.withdrawn, s.newest, s.ids.count(),
	}
}

// written is a state's fold as it is written, whatever documents it knows besides.
func written(t testing.TB, s *State) string {
	t.Helper()
	c := &codec{writes: true, papers: &papers{}}
	if s.layout(c); c.err != nil {
		t.Fatal(c.err)
	}
	return string(c.out)
}

// deskOf is a state that decides and the log that it can load.
type deskOf struct {
	*State
	log []events.Event // what has come, in the order of the log
}

func (d *deskOf) add(e events.Event) error {
	for !d.reaches(e) {
		back, tail, err := d.backTo(e)
		if err != nil {
			return err
		}
		d.State = back
		after := slices.IndexFunc(d.log, func(e events.Event) bool { return e.Sequence > tail.Sequence })
		if after < 0 {
			return fmt.Errorf("went back to %d of %d", tail.Sequence, len(d.log))
		}
		if err := back.AddAll(d.log[after:]); err != nil {
			return err
		}
	}
	err := d.Add(e)
	if err == nil {
		d.log = append(d.log, e)
	}
	return err
}

func tailOf(e events.Event) journal.Tail {
	return journal.Tail{Sequence: e.Sequence, Digest: journal.Digest{byte(e.Sequence)}, Recorded: e.Recorded}
}

// Whatever comes late or is taken back, and wherever it was written down and read again, a state that decides says what one says that
// holds every event.
func TestSnapshotAndTailAreTheWholeLog(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(r *rapid.T) {
		all := story(r, rapid.IntRange(2, 60).Draw(r, "events"))
		whole := New("firm", "gable")
		desk := &deskOf{State: deciding("firm", "gable")}
		for _, e := range all {
			wanted, got := whole.Add(e), desk.add(e)
			if (wanted == nil) != (got == nil) {
				r.Fatalf("event %d, %s: %v, with snapshots %v", e.Sequence, e.Type(), wanted, got)
			}
			if got != nil { // what cannot be read is not in the log
				return
			}
			switch rapid.IntRange(0, 5).Draw(r, "then") {
			case 0:
				if err := desk.settle(tailOf(e)); err != nil {
					r.Fatal(err)
				}
			case 1:
				data, err := desk.snapshot(tailOf(e))
				if err != nil {
					r.Fatal(err)
				}
				read, tail, err := readSnapshot(data, "firm", "gable")
				if err != nil || tail != tailOf(e) {
					r.Fatalf("read back with tail %+v: %v", tail, err)
				}
				desk.State = read
			case 2:
				if written(t, whole) != written(t, desk.State) {
					r.Fatalf("after event %d, %s:\n%s", e.Sequence, e.Type(), cmp.Diff(decided(whole), decided(desk.State), alike...))
				}
			}
		}
		if diff := cmp.Diff(decided(whole), decided(desk.State), alike...); diff != "" {
			r.Fatalf("in the end:\n%s", diff)
		}
		if written(t, whole) != written(t, desk.State) {
			r.Fatal("what decides is written in another way")
		}
		for _, again := range all {
			if err := desk.add(again); err != nil || desk.Last() != whole.Last() || desk.ids.count() != len(all) {
				r.Fatalf("event %d again: %v", again.Sequence, err)
			}
		}
	})
}

var alike = []cmp.Option{
	cmpopts.EquateComparable(quantity.Amount{}), cmpopts.EquateEmpty(), cmp.AllowUnexported(mark{}), cmpopts.EquateApproxTime(0),
	cmp.Comparer(func(a, b events.DayStarted) bool { return a.Heads == b.Heads && a.ShiftEnd.Equal(b.ShiftEnd) }),
}

// A snapshot that is not as it was written is not read, and neither is one of another job or release.
func TestDamagedSnapshots(t *testing.T) {
	t.Parallel()
	s := deciding("firm", "gable")
	var last events.Event
	for _, e := range rapid.Custom(func(r *rapid.T) []events.Event { return story(r, 40) }).Example(7) {
		if e.Sequence = last.Sequence + 1; s.reaches(e) {
			if err := s.Add(e); err != nil {
				t.Fatal(err)
			}
			last = e
		}
	}
	data, err := s.snapshot(tailOf(last))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := readSnapshot(slices.Clone(data), "firm", "gable"); err != nil {
		t.Fatal(err)
	}
	dice := rand.New(rand.NewPCG(20261125, 1))
	for range 500 {
		damaged := slices.Clone(data)
		bit := dice.IntN(8 * len(data))
		damaged[bit/8] ^= 1 << (bit % 8)
		if _, _, err := readSnapshot(damaged, "firm", "gable"); !errors.Is(err, errDamagedSnapshot) {
			t.Fatalf("bit %d flipped gave %v", bit, err)
		}
	}
	for n := 0; n < len(data); n += 1 + dice.IntN(200) {
		if _, _, err := readSnapshot(slices.Clone(data[:n]), "firm", "gable"); !errors.Is(err, errDamagedSnapshot) {
			t.Fatalf("cut after %d bytes gave %v", n, err)
		}
	}
	if _, _, err := readSnapshot(data, "firm", "barn"); !errors.Is(err, errOtherSnapshot) {
		t.Errorf("of another job: %v", err)
	}
}
