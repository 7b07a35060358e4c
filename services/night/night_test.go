package night_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/weather"

	"pgregory.net/rapid"
)

func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(1, math.Max(math.Abs(a), math.Abs(b)))
}

// Water by hand on the broken roof: 20 ft by 10 ft of low plane, 20 ft by 15 ft of high one
// above it, in plan 18.58 and 27.87 m², ten hours of 1 mm.
func TestWaterByHand(t *testing.T) {
	t.Parallel()
	const low, high = 200 * weather.M2PerSqft, 300 * weather.M2PerSqft
	rain := skies(40, func(n int, h *weather.Hour) {
		if n >= 21 && n < 31 { // ten hours of the night, 20:40 to 07:00
			h.RainMM, h.ChancePct = weather.Known(1), weather.Known(100)
		}
	})
	for _, c := range []struct {
		what string
		tell func(*job)
		want map[events.Place]weather.Litres
	}{
		{"nothing opened", func(*job) {}, nil},
		{"all of the low plane bare: the high one's water runs into it", func(j *job) { j.tell(events.DeckOpened{Where: "low"}) },
			map[events.Place]weather.Litres{"low": {Direct: 10 * low, Runoff: 10 * high}}},
		{"both bare: what goes in above does not come down", func(j *job) { j.tell(events.DeckOpened{Where: "low"}, events.DeckOpened{Where: "high"}) },
			map[events.Place]weather.Litres{"low": {Direct: 10 * low}, "high": {Direct: 10 * high}}},
		{"half of the low plane bare", func(j *job) {
			p, _ := j.Place("low")
			part, err := p.Extent.Share(*amount(j.t, "1 each"), *amount(j.t, "2 each"))
			if err != nil {
				j.t.Fatal(err)
			}
			j.tell(events.DeckOpened{Where: "low", Amount: &part})
		}, map[events.Place]weather.Litres{"low": {Direct: 5 * low, Runoff: 5 * high}}},
		{"under a cover a fifth", func(j *job) { j.tell(events.DeckOpened{Where: "low"}, events.CoverPlaced{Where: "low"}) },
			map[events.Place]weather.Litres{"low": {Direct: 2 * low, Runoff: 2 * high}}},
		{"under felt none", func(j *job) { j.tell(events.DeckOpened{Where: "low"}); j.layer("low", "deck-check", "felt") }, nil},
		{"panels below an open break take what comes down", func(j *job) {
			j.tell(events.DeckOpened{Where: "low"})
			j.layer("low", "deck-check", "felt", "slip-sheet")
			j.panel("low", -1)
		}, map[events.Place]weather.Litres{"break-1": {Runoff: 10 * high}}},
	} {
		t.Run(c.what, func(t *testing.T) {
			j := open(t, broken, "flat-clip")
			c.tell(j)
			n := j.night(rain)
			for _, p := range n.Places {
				want := c.want[p.Where]
				if math.Abs(p.Expected.Direct-want.Direct) > 1e-6 || math.Abs(p.Expected.Runoff-want.Runoff) > 1e-6 || p.Expected.Driven != 0 {
					t.Errorf("%s: %+v, want %+v", p.Where, p.Expected, want)
				}
				if p.Water.ExpectedL > 0 && (len(p.Reasons) == 0 || p.Reasons[0].Code != "rain" || p.Reasons[0].EndsWith == "") {
					t.Errorf("%s: %g l and %+v", p.Where, p.Water.ExpectedL, p.Reasons)
				}
			}
		})
	}
}

// Wind drives rain into the gaps that look its way and into no others: a gable with panels
// on and nothing closed, south wind; by the formula of ISO 15927-3 written out.
func TestWindFindsTheGapsThatLookItsWay(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	for _, p := range []events.Place{"A", "B"} {
		j.tell(events.DeckOpened{Where: p})
		j.layer(p, "deck-check", "felt", "slip-sheet")
		j.panel(p, -1)
	}
	hour := 22
	south := skies(40, func(n int, h *weather.Hour) {
		if n == hour {
			h.RainMM, h.ChancePct, h.WindMS, h.WindFromDeg = weather.Known(4), weather.Known(100), weather.Known(9), weather.Known(180)
		}
	})
	n := j.night(south)
	flux := 2.0 / 9 * 9 * math.Exp(math.Log(4)*8/9)
	for where, want := range map[events.Place]float64{
		"eave-1":  16 * 0.3048 * 0.0254 * flux,              // A's eave looks south
		"eave-2":  0,                                        // B's looks north
		"ridge-1": 16 * 0.3048 * 1.5 * 0.0254 * flux,        // B's upper ends look south over the ridge
		"rake-1":  0, "rake-2": 0, "rake-3": 0, "rake-4": 0, // along the wind
	} {
		if got := j.place(n, where).Expected; math.Abs(got.Driven-want) > 1e-9 || got.Direct+got.Runoff != 0 {
			t.Errorf("%s: %+v, want %g driven in", where, got, want)
		}
	}
}

// A chimney 4 ft wide whose head has 6 ft of plane above it, in plan 2.23 m², with panels on
// and no flashing: ten hours of 1 mm run down to it, and a south wind drives rain on its low
// face and no other. A pipe of 3 in has 7 ft above it. Flashed, nothing goes in.
func TestWaterAtAChimney(t *testing.T) {
	t.Parallel()
	j := open(t, `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'",
  "openings":[[["4'","4'"],["8'","4'"],["8'","6'"],["4'","6'"]]],"opening_kinds":["chimney"],"pipes":[{"at":["12'","5'"],"diameter":"3 in"}]},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`, "flat-clip")
	rain := skies(40, func(n int, h *weather.Hour) {
		if n >= 21 && n < 31 {
			h.RainMM, h.ChancePct, h.WindMS, h.WindFromDeg = weather.Known(1), weather.Known(100), weather.Known(9), weather.Known(180)
		}
	})
	j.tell(events.DeckOpened{Where: "A"})
	j.layer("A", "deck-check", "membrane", "felt", "slip-sheet")
	if got := j.place(j.night(rain), "A/opening-1").Expected; got != (weather.Litres{}) {
		t.Errorf("under its membrane %+v goes in", got)
	}
	j.panel("A", -1)
	const foot = 0.3048
	flux := 2.0 / 9 * 9 * 10
	for where, want := range map[events.Place]weather.Litres{
		"A/opening-1": {Runoff: 10 * 4 * 6 * foot * foot, Driven: 4 * foot * 1.5 * 0.0254 * flux},
		"A/pipe-1":    {Runoff: 10 * 0.25 * 7 * foot * foot},
	} {
		got := j.place(j.night(rain), where).Expected
		if math.Abs(got.Runoff-want.Runoff) > 1e-3 || math.Abs(got.Driven-want.Driven) > 1e-6 || got.Direct != 0 {
			t.Errorf("%s: %+v, want %+v", where, got, want)
		}
	}
	j.finish()
	if got := j.place(j.night(rain), "A/opening-1").Expected; got != (weather.Litres{}) {
		t.Errorf("flashed, %+v goes in", got)
	}
}

// Physics by limit on a whole roof, under any sky.
func TestPhysicsByLimit(t *testing.T) {
	t.Parallel()
	half, whole := open(t, ell(t), "flat-clip"), open(t, ell(t), "flat-clip")
	half.tell(events.DeckOpened{Where: "S"}, events.DeckOpened{Where: "NE"}, events.DeckOpened{Where: "EN"})
	half.layer("EN", "deck-check", "felt")
	half.panel("EN", 3)
	whole.finish()
	rapid.Check(t, func(r *rapid.T) {
		mm := rapid.SliceOfN(rapid.Float64Range(0, 8), 40, 40).Draw(r, "rain")
		wind, from := rapid.Float64Range(0, 20).Draw(r, "wind"), rapid.Float64Range(0, 360).Draw(r, "from")
		fall := func(times float64) night.Told {
			return skies(40, func(n int, h *weather.Hour) {
				h.RainMM, h.ChancePct, h.WindMS, h.WindFromDeg = weather.Known(times*mm[n]), weather.Known(100), weather.Known(wind), weather.Known(from)
			})
		}
		dry, once, twice := half.night(fall(0)), half.night(fall(1)), half.night(fall(2))
		if dry.Water.ExpectedL != 0 {
			r.Fatalf("no rain and %g l", dry.Water.ExpectedL)
		}
		for i, p := range once.Places {
			q := twice.Places[i]
			if !near(q.Expected.Direct, 2*p.Expected.Direct) || !near(q.Expected.Runoff, 2*p.Expected.Runoff) || !near(q.Expected.Driven, math.Pow(2, 8.0/9)*p.Expected.Driven) {
				r.Fatalf("%s: twice the rain is %+v of %+v", p.Where, q.Expected, p.Expected)
			}
			sum := 0.0
			for _, h := range p.Hours {
				sum += h.ExpectedL
			}
			if !near(sum, p.Water.ExpectedL) || p.WeightL < p.Water.ExpectedL || p.Water.IfRainL < p.Water.ExpectedL-1e-9 {
				r.Fatalf("%s: hours %g of %g l, weight %g, if it rains %g", p.Where, sum, p.Water.ExpectedL, p.WeightL, p.Water.IfRainL)
			}
		}
		sum := 0.0
		for _, h := range once.Hours {
			sum += h.ExpectedL
		}
		if !near(sum, once.Water.ExpectedL) {
			r.Fatalf("the roof's hours are %g of %g l", sum, once.Water.ExpectedL)
		}
		closed := whole.night(fall(1))
		if closed.Water != (night.Water{}) || !closed.Worst.IsZero() {
			r.Fatalf("a closed roof takes in %+v", closed.Water)
		}
	})
	if n := whole.night(night.Told{}); n.Water != (night.Water{}) {
		t.Errorf("a closed roof without a forecast takes in %+v", n.Water)
	}
}

// An hour that nobody forecast is rain, whatever the others are.
func TestUnknownHoursAreRain(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"})
	area := 16 * 12 * weather.M2PerSqft
	dry := skies(40, func(int, *weather.Hour) {})
	holed := skies(40, func(n int, h *weather.Hour) {
		if n == 23 || n == 25 {
			h.RainMM, h.ChancePct = weather.Reading{}, weather.Reading{}
		}
	})
	short := skies(30, func(int, *weather.Hour) {}) // ends at 06:00, an hour before the start
	for _, c := range []struct {
		what    string
		told    night.Told
		unknown int
		mm      float64
		says    string
	}{
		{"dry", dry, 0, 0, "0 in of rain"},
		{"two hours unsaid", holed, 2, 5, "does not say the rain of 2 of the"},
		{"it ends too early", short, 1, 2.5, "does not say the rain of 1 of the"},
	} {
		n := j.night(c.told)
		if n.UnknownHours != c.unknown || !near(n.RainMM, c.mm) || !near(n.Water.ExpectedL, c.mm*area) || !strings.Contains(n.Assumes, c.says) {
			t.Errorf("%s: %d hours unknown, %g mm, %g l, %s", c.what, n.UnknownHours, n.RainMM, n.Water.ExpectedL, n.Assumes)
		}
	}
	if n := j.night(night.Told{}); n.UnknownHours != len(n.Hours) || n.Forecast != nil || !strings.HasPrefix(n.Assumes, "No forecast") || n.Water.ExpectedL < 20*area {
		t.Errorf("without a forecast: %d of %d hours unknown, %g l, %s", n.UnknownHours, len(n.Hours), n.Water.ExpectedL, n.Assumes)
	}
}

// What lies loose, in the sun or under dew is told with numbers and the step that ends it.
func TestReasons(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"}, events.DeckOpened{Where: "B"})
	j.layer("A", "deck-check", "felt")
	j.layer("B", "deck-check", "felt")
	j.panel("B", 4)
	storm := skies(40, func(n int, h *weather.Hour) {
		h.GustMS, h.TempC, h.DewC, h.SkyPct = weather.Known(3), weather.Known(8), weather.Known(4), weather.Known(0)
		if n == 26 {
			h.GustMS = weather.Known(40 * weather.MSPerMPH)
		}
		if n == 29 {
			h.TempC, h.DewC = weather.Known(3), weather.Known(1)
		}
	})
	n := j.night(storm)
	find := func(p night.Place, code, says string) night.Reason {
		i := slices.IndexFunc(p.Reasons, func(r night.Reason) bool { return r.Code == code && strings.Contains(r.Text, says) })
		if i < 0 {
			t.Fatalf("%s: no %s that says %q in %+v", p.Where, code, says, p.Reasons)
		}
		return p.Reasons[i]
	}
	a, b := j.place(n, "A"), j.place(n, "B")
	// 0.00256 · Kz · 40², Kz of exposure C below 15 ft 0.849 (ASCE 7-16 table 26.10-1: 0.85).
	for _, c := range []struct {
		where night.Place
		code  string
		says  []string
		ends  events.StepID
	}{
		{a, "wind", []string{"40 mph at Tue 02:00", "3.5 psf", "215 sqft (19.9 m²) of felt", "no check of capacity"}, "panels"},
		{b, "wind", []string{"% of the panels are set", "Pull on one clip", "at 24 in", "at 12 in"}, "panels"},
		{a, "sun", []string{"215 sqft (19.9 m²) of felt", "0.5 of the 30 days", "3 Jun"}, "panels"},
		{b, "dew", []string{"3.0 °C", "dew point of 4.0 °C"}, ""},
		{b, "frost", []string{"-2.0 °C"}, ""},
	} {
		r := find(c.where, c.code, c.says[0])
		for _, says := range c.says {
			if !strings.Contains(r.Text, says) {
				t.Errorf("%s, %s: %q lacks %q", c.where.Where, c.code, r.Text, says)
			}
		}
		if r.EndsWith != c.ends || r.Rule == "" {
			t.Errorf("%s, %s ends with %q by %q", c.where.Where, c.code, r.EndsWith, r.Rule)
		}
	}
	if strings.Contains(find(b, "wind", "clip").Text, "allows") {
		t.Error("nobody entered what a clip may take, and it is compared")
	}
	late, err := night.Coming(site, night.Day{}, two.AddDate(0, 0, 40))
	if err != nil {
		t.Fatal(err)
	}
	if r := find(j.place(night.Reckon(night.Stands(j.State), late, night.Told{}), "A"), "sun", ""); !strings.Contains(r.Text, "10.5 more than the 30") {
		t.Errorf("after forty days: %s", r.Text)
	}
}

// A plane of which part was opened and just that part dried in is not open.
func TestPartOfAPlane(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	j.tell(events.DeckOpened{Where: "A", Amount: amount(t, "100 sqft")})
	j.layer("A", "deck-check")
	j.tell(events.LayerLaid{Where: "A", Step: "felt", Amount: amount(t, "60 sqft")})
	if p, _ := j.Place("A"); p.State != assembly.Open || p.Bare().Area().SquareFeet() < 39.9 || p.Bare().Area().SquareFeet() > 40.1 {
		t.Errorf("with 40 sqft bare it is %s, %v bare", p.State, p.Bare())
	}
	j.tell(events.LayerLaid{Where: "A", Step: "felt", Amount: amount(t, "40 sqft")})
	if p, _ := j.Place("A"); p.State != assembly.DriedIn || p.Bare().Sign() != 0 {
		t.Errorf("with nothing bare it is %s, %v bare", p.State, p.Bare())
	}
	j.tell(events.DeckOpened{Where: "A", Amount: amount(t, "50 sqft")})
	if p, _ := j.Place("A"); p.State != assembly.Open {
		t.Errorf("with more opened it is %s", p.State)
	}
}
