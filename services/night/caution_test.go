package night_test

import (
	"strings"
	"testing"
	"time"

	"bydark/services/night"
	"bydark/services/weather"
)

// Each caution reaches the plan when the sky has it in some hour until the next start, with the
// rule behind it; none says that anything may be done.
func TestCautionsReachThePlan(t *testing.T) {
	t.Parallel()
	k := weather.Known
	mild := func(h *weather.Hour) {
		h.GustMS, h.ThunderPct, h.TempC, h.DewC, h.SkyPct = k(3), k(0), k(15), k(5), k(50)
	}
	for _, c := range []struct {
		what string
		hour func(*weather.Hour)
		code string
		text string
		rule string
	}{
		{"gusts over sheets in hand", func(h *weather.Hour) { h.GustMS = k(32 * weather.MSPerMPH) }, "wind", "gusts to 32 mph: no loose sheets", "29 CFR 1926.968"},
		{"high wind", func(h *weather.Hour) { h.GustMS = k(45 * weather.MSPerMPH) }, "wind", "wind to 45 mph: high wind", "29 CFR 1926.968"},
		{"thunder", func(h *weather.Hour) { h.ThunderPct = k(40) }, "lightning", "chance of thunder 40 %", "lightning fact sheet"},
		{"heat", func(h *weather.Hour) { h.TempC, h.DewC = k(36), k(26) }, "heat", "heat index to ", "OSHA heat index"},
		{"freezing rain", func(h *weather.Hour) { h.IceMM = k(1) }, "ice", "frost or ice on bare metal", "common practice"},
		{"a frosty night", func(h *weather.Hour) { h.TempC, h.DewC, h.SkyPct = k(0), k(-1), k(0) }, "ice", "frost or ice on bare metal", "common practice"},
		{"wind that nobody forecast", func(h *weather.Hour) { h.GustMS, h.WindMS = weather.Reading{}, weather.Reading{} }, "unsaid", "not forecast for all hours: wind; look yourself", "29 CFR 1926.20(b)(2)"},
	} {
		for n := 14; n < 31; n += 8 { // an hour of the afternoon, of the night, of the morning
			j := open(t, gable, "flat-clip")
			told := skies(48, func(at int, h *weather.Hour) {
				mild(h)
				if at == n {
					c.hour(h)
				}
			})
			plan, err := night.Plan(j.State, told, nil, nil, two)
			if err != nil {
				t.Fatal(err)
			}
			var codes []string
			for _, got := range plan.Cautions {
				codes = append(codes, got.Code)
				if got.Rule == "" || strings.Contains(got.Text, "may ") || strings.Contains(got.Text, "safe") {
					t.Errorf("%s: %+v", c.what, got)
				}
				if got.Code == c.code && (!strings.HasPrefix(got.Text, c.text) || !strings.Contains(got.Rule, c.rule)) {
					t.Errorf("%s: %+v", c.what, got)
				}
			}
			if strings.Join(codes, " ") != "fall "+c.code {
				t.Errorf("%s at hour %d: %v", c.what, n, codes)
			}
		}
	}
}

// Falls are cautioned of by the highest edge, which is where rakes end, and where nobody gave
// the height (29 CFR 1926.501(b): sides and edges 6 ft or more above a lower level).
func TestCautionOfFalls(t *testing.T) {
	t.Parallel()
	plane := func(height, deep string) string {
		if height != "" {
			height = `,"eave_height":"` + height + `"`
		}
		return `{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","` + deep + `"],["0'","` + deep + `"]],"pitch":"6/12","falls_deg":180` + height + `}]}`
	}
	for _, c := range []struct{ roof, want string }{
		{plane("10'", "12'"), "edges up to 16 ft above the ground: fall protection from 6 ft on"},
		{plane("1'", "12'"), "edges up to 7 ft above the ground: fall protection from 6 ft on"},
		{plane("1'", "4'"), ""},
		{plane("", "4'"), "the roof's height is not given: fall protection from 6 ft on"},
	} {
		j := open(t, c.roof, "flat-clip")
		plan, err := night.Plan(j.State, night.Told{}, nil, nil, two)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, caution := range plan.Cautions {
			if caution.Code == "fall" && caution.Rule == "29 CFR 1926.501(b)" && !caution.To.Before(two.Add(12*time.Hour)) {
				got = caution.Text
			}
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.roof, got, c.want)
		}
	}
}
