package weather

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Published thresholds behind the cautions. Codes and offices change them: they are told
// with their rule and are never a permission.
const (
	// FallHeightFt is the height above a lower level from which workers are protected
	// from falling: 29 CFR 1926.501(b)(10), (11), (13).
	FallHeightFt = 6.0
	// HighWindMPH is high wind, and HandlingWindMPH high wind where material is handled:
	// 29 CFR 1926.968, note to "high wind" (the 30 from memory).
	HighWindMPH     = 40
	HandlingWindMPH = 30
	// SunAddsF is what full sun adds to the heat index: OSHA, about the heat index.
	SunAddsF = 15
)

// HeatBands are OSHA's steps of the heat index in °F, lowest first.
var HeatBands = [...]struct {
	FromF float64
	Risk  string
}{
	{80, "lower: water, rest, shade"},
	{91, "moderate: water each 20 minutes, breaks, someone watches"},
	{103, "high: longer breaks, buddies, hard work moved to the morning"},
	{115, "very high to extreme: put off what can be put off"},
}

const (
	ruleWind  = `29 CFR 1926.968, "high wind" (written for line work, quoted as a yardstick)`
	ruleFall  = "29 CFR 1926.501(b)"
	ruleHeat  = "OSHA heat index guide; heat index by the US National Weather Service"
	ruleStorm = "National Weather Service and OSHA lightning fact sheet: hear thunder, be inside; wait 30 minutes"
	ruleLook  = "29 CFR 1926.20(b)(2): competent persons inspect the site (from memory)"
	ruleIce   = "common practice: no walking on metal with frost, ice or dew"
)

// Caution is one thing to mind while the hours From to To last, with the numbers and the
// published rule behind it.
type Caution struct {
	Code string    `json:"code"`
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	Text string    `json:"text"`
	Rule string    `json:"rule"`
}

// hazard is one kind of caution: how bad an hour is (zero: not at all), and what to say
// of the worst.
type hazard struct {
	code, rule string
	badness    func(Hour) float64
	text       func(worst float64) string
}

var hazards = [...]hazard{
	{"wind", ruleWind, func(h Hour) float64 {
		v := math.Max(h.GustMS.Or(0), h.WindMS.Or(0)) / MSPerMPH
		if v < HandlingWindMPH {
			return 0
		}
		return v
	}, func(v float64) string {
		if v >= HighWindMPH {
			return fmt.Sprintf("wind to %.0f mph: high wind, nobody on the roof without the competent person's word", v)
		}
		return fmt.Sprintf("gusts to %.0f mph: no loose sheets or panels in hand, tie down what lies about", v)
	}},
	{"lightning", ruleStorm, func(h Hour) float64 {
		if p := h.ThunderPct.Or(0); p >= 15 {
			return p
		}
		return 0
	}, func(p float64) string {
		return fmt.Sprintf("chance of thunder %.0f %%: off the roof at the first thunder", p)
	}},
	{"heat", ruleHeat, func(h Hour) float64 {
		if !h.TempC.Known || !h.DewC.Known && !h.RHPct.Known {
			return 0
		}
		rh := h.RHPct.V
		if !h.RHPct.Known {
			rh = RelativeHumidityPct(h.TempC.V, h.DewC.V)
		}
		// The step below OSHA's first is left out: every warm day would be cautioned.
		if hi := HeatIndexF(h.TempC.V*9/5+32, math.Min(rh, 100)); hi >= HeatBands[1].FromF {
			return hi
		}
		return 0
	}, func(hi float64) string {
		risk := ""
		for _, b := range HeatBands {
			if hi >= b.FromF {
				risk = b.Risk
			}
		}
		return fmt.Sprintf("heat index to %.0f °F in shade, up to %d more in the sun; risk %s", hi, SunAddsF, risk)
	}},
	{"ice", ruleIce, func(h Hour) float64 {
		if slick(h) {
			return 1
		}
		return 0
	}, func(float64) string {
		return "frost or ice on bare metal likely: no walking on panels until it is gone"
	}},
}

// slick tells whether bare metal may carry frost or ice: rain or sleet onto metal at or
// below freezing, or metal under a clear sky below both freezing and the frost point.
func slick(h Hour) bool {
	if h.IceMM.Or(0) > 0 {
		return true
	}
	if !h.TempC.Known {
		return false
	}
	metalC := MetalNightC(h.TempC.V, h.SkyPct.Or(0))
	if metalC > 0 {
		return false
	}
	return h.RainMM.Or(0) > 0 || h.SnowMM.Or(0) > 0 || h.DewC.Known && metalC <= FrostPointC(h.DewC.V)
}

// Cautions tells what to mind over the hours that lie between from and to, each kind
// once with its first and last hour and its worst, in a fixed order. edgeFt is the height
// of the highest edge above the ground, NaN where nobody gave it; from 6 ft on, and there, the
// caution about falls leads the list. What a forecast does not say is named at its end: that no
// caution is told is never a permission.
func Cautions(hours []Hour, from, to time.Time, edgeFt float64) []Caution {
	var out []Caution
	switch {
	case math.IsNaN(edgeFt):
		out = append(out, Caution{"fall", from, to, fmt.Sprintf("the roof's height is not given: fall protection from %.0f ft on", FallHeightFt), ruleFall})
	case edgeFt >= FallHeightFt:
		out = append(out, Caution{"fall", from, to,
			fmt.Sprintf("edges up to %s ft above the ground: fall protection from %.0f ft on", trimZero(edgeFt), FallHeightFt), ruleFall})
	}
	for _, z := range hazards {
		worst := 0.0
		var first, last time.Time
		for _, h := range hours {
			end := h.Time.Add(time.Hour)
			if !h.Time.Before(to) || !end.After(from) {
				continue
			}
			bad := z.badness(h)
			if bad == 0 {
				continue
			}
			if first.IsZero() {
				first = h.Time
			}
			last, worst = end, math.Max(worst, bad)
		}
		if worst > 0 {
			out = append(out, Caution{z.code, first, last, z.text(worst), z.rule})
		}
	}
	if unsaid := unsaid(hours, from, to); unsaid != "" {
		out = append(out, Caution{"unsaid", from, to, unsaid, ruleLook})
	}
	return out
}

// unsaid names what is cautioned of and not forecast in some hour from one time to another;
// empty where all is.
func unsaid(hours []Hour, from, to time.Time) string {
	var lacking []string
	f := Forecast{Hours: hours}
	for _, q := range []struct {
		name  string
		known func(Hour) bool
	}{
		{"wind", func(h Hour) bool { return h.WindMS.Known || h.GustMS.Known }},
		{"thunder", func(h Hour) bool { return h.ThunderPct.Known }},
		{"temperature", func(h Hour) bool { return h.TempC.Known }},
		{"humidity", func(h Hour) bool { return h.RHPct.Known || h.DewC.Known }},
	} {
		for at := from.Truncate(time.Hour); at.Before(to); at = at.Add(time.Hour) {
			if h, _ := f.At(at); !q.known(h) {
				lacking = append(lacking, q.name)
				break
			}
		}
	}
	if len(lacking) == 0 {
		return ""
	}
	return "not forecast for all hours: " + strings.Join(lacking, ", ") + "; look yourself: that nothing is told of them is no permission"
}

// AlertCautions are the weather service's alerts that hold between from and to, in the
// order in which they came, each once.
func AlertCautions(alerts []Alert, from, to time.Time) []Caution {
	var out []Caution
	for _, a := range alerts {
		if !a.InForce(from, to) {
			continue
		}
		c := Caution{Code: "alert", From: a.Onset, To: a.Ends, Text: a.Event, Rule: "US National Weather Service alert for the area: " + clip(a.Area)}
		if c.From.IsZero() {
			c.From = a.Sent
		}
		if c.To.IsZero() {
			c.To = a.Expires
		}
		if a.Headline != "" {
			c.Text = a.Headline
		}
		if a.Severity != "" {
			c.Text += " (" + strings.ToLower(a.Severity) + ")"
		}
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

func trimZero(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
}
