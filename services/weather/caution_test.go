package weather_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"bydark/services/weather"
)

func TestCautions(t *testing.T) {
	k := weather.Known
	for _, c := range []struct {
		what string
		h    weather.Hour
		feet float64
		want []string
	}{
		{"a mild dry hour on the ground", weather.Hour{TempC: k(15), DewC: k(5), GustMS: k(5), ThunderPct: k(0)}, 4, nil},
		{"nothing is known", weather.Hour{}, 4, []string{"unsaid"}},
		{"six feet up", weather.Hour{}, 6, []string{"fall", "unsaid"}},
		{"just below six feet", weather.Hour{}, 5.9, []string{"unsaid"}},
		{"nobody said how high", weather.Hour{}, math.NaN(), []string{"fall", "unsaid"}},
		{"wind is not forecast", weather.Hour{TempC: k(15), DewC: k(5), ThunderPct: k(0)}, 4, []string{"unsaid"}},
		{"a breeze of 29.9 mph, all else known", weather.Hour{TempC: k(15), RHPct: k(50), GustMS: k(29.9 * weather.MSPerMPH), ThunderPct: k(14)}, 4, nil},
		{"a chance of thunder of 15 %", weather.Hour{TempC: k(15), RHPct: k(50), GustMS: k(5), ThunderPct: k(15)}, 4, []string{"lightning"}},
		{"89 °F and 50 %: 94.6, OSHA's second step", weather.Hour{TempC: k(fahrenheit(89)), RHPct: k(50), GustMS: k(5), ThunderPct: k(0)}, 4, []string{"heat"}},
		{"84 °F and 40 %: below it", weather.Hour{TempC: k(fahrenheit(84)), RHPct: k(40), GustMS: k(5), ThunderPct: k(0)}, 4, nil},
		{"gusts of 30 mph", weather.Hour{GustMS: k(30 * weather.MSPerMPH)}, 0, []string{"wind", "unsaid"}},
		{"just below", weather.Hour{GustMS: k(29.9 * weather.MSPerMPH)}, 0, []string{"unsaid"}},
		{"wind alone", weather.Hour{WindMS: k(20)}, 0, []string{"wind", "unsaid"}},
		{"thunder", weather.Hour{ThunderPct: k(40)}, 0, []string{"lightning", "unsaid"}},
		{"96 °F and 65 %: 121", weather.Hour{TempC: k(fahrenheit(96)), RHPct: k(65)}, 0, []string{"heat", "unsaid"}},
		{"cold rain on cold metal", weather.Hour{TempC: k(-1), RainMM: k(1), SkyPct: k(100)}, 0, []string{"ice", "unsaid"}},
		{"clear frosty night", weather.Hour{TempC: k(1), DewC: k(0), SkyPct: k(0)}, 0, []string{"ice", "unsaid"}},
		{"rain on metal just above freezing", weather.Hour{TempC: k(1), RainMM: k(1), SkyPct: k(100)}, 0, []string{"unsaid"}},
		{"snow on metal at freezing", weather.Hour{TempC: k(0), SnowMM: k(1), SkyPct: k(100)}, 0, []string{"ice", "unsaid"}},
		{"dry cold", weather.Hour{TempC: k(-10), DewC: k(-25), SkyPct: k(100)}, 0, []string{"unsaid"}},
	} {
		c.h.Time = dusk.Truncate(time.Hour)
		var codes []string
		next := c.h
		next.Time = c.h.Time.Add(time.Hour)
		for _, got := range weather.Cautions([]weather.Hour{c.h, next}, dusk, dusk.Add(time.Hour), c.feet) {
			codes = append(codes, got.Code)
			if got.Text == "" || got.Rule == "" || got.From.IsZero() || !got.To.After(got.From) {
				t.Errorf("%s: %+v", c.what, got)
			}
		}
		if fmt.Sprint(codes) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v", c.what, codes, c.want)
		}
	}
	if all := weather.Cautions([]weather.Hour{{Time: dusk.Add(5 * time.Hour), GustMS: k(30)}}, dusk, dusk.Add(time.Hour), 0); len(all) != 1 || all[0].Code != "unsaid" {
		t.Errorf("an hour outside: %v", all)
	}
}

// The hours of rain that stations measured (NWS daily summaries, hundredths of an inch)
// go through our CSV and come out as the station's own total; and the rain they drive
// against a wall is that of the formula written another way, to the last bit but a few.
func TestMeasuredHoursKeepTheirTotal(t *testing.T) {
	days := 0
	for _, r := range reference(t, "rain-dsm-raw.csv") {
		fields := strings.Split(r["daily_summary_message"], "/")
		total, hours := -1.0, []float64(nil)
		for n := len(fields) - 25; n > 0; n-- {
			if h, ok := hundredths(fields[n : n+25]); ok {
				total, hours = h[0], h[1:]
				break
			}
		}
		if hours == nil {
			t.Errorf("%s: no hours found", fields[0])
			continue
		}
		var doc strings.Builder
		doc.WriteString("time,rain_in,wind_ms,wind_from_deg\n")
		at := time.Date(2025, 11, 26, 0, 0, 0, 0, time.UTC)
		sum, twin := 0.0, 0.0
		for n, h := range hours {
			fmt.Fprintf(&doc, "%s,%.2f,7,200\n", at.Add(time.Duration(n)*time.Hour).Format(time.RFC3339), h/100)
			if h > 0 {
				twin += 2.0 / 9 * 7 * math.Exp(8*math.Log(h/100*25.4)/9) * math.Cos(math.Pi/9)
			}
		}
		f, err := weather.Read([]byte(doc.String()))
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range f.Hours {
			sum += h.RainMM.V
		}
		if math.Abs(sum-total*0.254) > 1e-9 {
			t.Errorf("%s: %g mm, the station says %g", fields[0], sum, total*0.254)
		}
		wall := weather.Opening{LengthM: 1, HeightM: 1, FacingDeg: 180, WindFactor: 1}
		if got := wall.Night(f, at, at.Add(24*time.Hour), weather.UsualAssumed).Expected.Driven; math.Abs(got-twin) > 1e-9*math.Max(1, twin) {
			t.Errorf("%s: %g l/m², twin %g", fields[0], got, twin)
		}
		days++
	}
	t.Logf("%d station days", days)
	if days != 12 {
		t.Error("the table has 12 days")
	}
}

// hundredths reads a total and 24 hours whose sum it is; a trace counts nothing.
func hundredths(fields []string) ([]float64, bool) {
	out := make([]float64, len(fields))
	sum := 0.0
	for n, f := range fields {
		if f = strings.TrimSpace(f); f == "T" {
			continue
		}
		if _, err := fmt.Sscanf(f, "%f", &out[n]); err != nil || strings.Trim(f, "0123456789") != "" {
			return nil, false
		}
		if n > 0 {
			sum += out[n]
		}
	}
	return out, out[0] == sum
}
