package night_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/night"
	"bydark/services/weather"
)

// plenty is more of everything than a roof takes.
func plenty(j *job) map[string]int64 {
	stock := map[string]int64{}
	for _, m := range j.Assembly().Materials {
		stock[string(m.ID)] = math.MaxInt64 / 4
	}
	return stock
}

func week(t *testing.T, j *job, told night.Told, stock map[string]int64) []night.Ahead {
	t.Helper()
	plan, err := night.Plan(j.State, told, stock, map[events.StepID]float64{}, two)
	if err != nil {
		t.Fatal(err)
	}
	days, err := night.Week(j.State, told, plan)
	if err != nil {
		t.Fatal(err)
	}
	return days
}

// What may be opened on a day is by hand: the gable's planes of 16 ft by 13.42 ft, 2.147
// squares, at 10 + 25 minutes a square for deck and felt and 30 for the old roof, 139.5
// person-minutes, and for the edges of a plane 16 ft of ice barrier (8 a 10 ft) and eave trim
// (15) and two rakes of 13.42 ft of starter cleat (12): 36.8 and 32.2.
func TestWhatMayBeOpenedTomorrow(t *testing.T) {
	t.Parallel()
	const plane, edges = 16 * 12 * 1.118033988749895 / 100 * 65, 36.8 + 2*13.41640786*1.2
	dry := skies(24*9, func(int, *weather.Hour) {})
	wetAt := func(hour, mm int) night.Told {
		return skies(24*9, func(n int, h *weather.Hour) {
			h.ChancePct = weather.Known(20)
			if n == 24+hour {
				h.RainMM, h.ChancePct = weather.Known(float64(mm)), weather.Known(80)
			}
		})
	}
	day := func(heads int) func(*job) {
		return func(j *job) { j.tell(events.DayStarted{Heads: heads, ShiftEnd: eight.Add(9 * time.Hour)}) }
	}
	j := open(t, gable, "flat-clip")
	day(2)(j)
	days := week(t, j, dry, plenty(j))
	if len(days) != 7 || days[0].Date != "2026-05-05" || days[6].Date != "2026-05-11" {
		t.Fatalf("days %+v", days)
	}
	// From 07:00 to 17:00 is 1,200 minutes for two people (felt takes two): both planes.
	d := days[0]
	if len(d.Opens) != 2 || math.Abs(d.AreaSqft-2*16*12*1.118033988749895) > 0.01 || d.Opens[0].CrewMin != int(math.Ceil((plane+edges)/2)) || d.Because != "the end of the shift" || *d.ChancePct != 100 {
		t.Errorf("a dry day: %+v", d)
	}
	if d.Opens[0].Line != "the whole plane" || d.Opens[1].DoneBy.After(d.Until) {
		t.Errorf("a dry day: %+v", d.Opens)
	}
	// Rain at 08:00: 120 person-minutes, the edges and then a part of the plane.
	d = week(t, j, wetAt(8, 2), plenty(j))[0]
	want := (120 - edges) / plane
	if len(d.Opens) != 1 || math.Abs(d.Opens[0].SharePct-100*want) > 0.01 || d.Opens[0].Limit != "time" || !strings.HasPrefix(d.Opens[0].Line, "up to a line ") || d.IfDryM2 <= d.AreaM2 || *d.ChancePct != 80 || *d.IfDryPct != 20 {
		t.Errorf("rain at eight: want %.1f %%, got %+v", 100*want, d)
	}
	if got := d.Until.In(newYork).Format("15:04"); got != "08:00" || !strings.Contains(d.Because, "2.0 mm") {
		t.Errorf("until %s, %s", got, d.Because)
	}
	// Nobody has forecast the day: nothing is opened.
	if d = week(t, j, night.Told{}, plenty(j))[3]; len(d.Opens) != 0 || d.ChancePct != nil || !strings.Contains(d.Says, "nobody has forecast") {
		t.Errorf("no forecast: %+v", d)
	}
	// A quarter of the felt that a plane takes.
	stock := plenty(j)
	for _, o := range j.DryIns(nil) {
		stock["felt"] = o.Needs["felt"] / 4
	}
	felt, _ := j.Assembly().Material("felt") // told by its name
	if d = week(t, j, dry, stock)[0]; len(d.Opens) != 1 || math.Abs(d.Opens[0].SharePct-25) > 0.01 || d.Opens[0].Limit != "material: "+felt.Name {
		t.Errorf("little felt: %+v", d)
	}
	// What is open comes first.
	j.tell(events.DeckOpened{Where: "A"})
	stock = plenty(j)
	stock["felt"] = 0
	d = week(t, j, dry, stock)[0]
	if d.FirstMin == 0 || len(d.Opens) != 0 {
		t.Errorf("with A open and no felt: %+v", d)
	}
}
