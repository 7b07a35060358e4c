package weather

import (
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

func TestAlertsAgreeWithTable(t *testing.T) {
	table := rows(t, "expected-alerts.csv")
	t.Logf("%d rows", len(table))
	if len(table) != 3 {
		t.Error("the table has 3 rows")
	}
	for _, r := range table {
		alerts, err := ReadAlerts(file(t, r["case"], "alerts.json"))
		if err != nil {
			t.Fatal(r["case"], err)
		}
		var mapped, wind, flood, winter int
		var first, last time.Time
		for _, a := range alerts {
			if a.Mapped {
				mapped++
			}
			switch a.Kind {
			case "wind":
				wind++
			case "flood":
				flood++
			case "winter":
				winter++
			}
			if first.IsZero() || a.Sent.Before(first) {
				first = a.Sent
			}
			if a.Expires.After(last) {
				last = a.Expires
			}
		}
		for _, c := range []struct {
			column string
			got    int
		}{{"n_features", len(alerts)}, {"n_with_geometry", mapped}, {"n_wind_events", wind}, {"n_flood_or_rain_events", flood}, {"n_winter_events", winter}} {
			if r[c.column] != strconv.Itoa(c.got) {
				t.Errorf("%s: %s is %d, want %s", r["case"], c.column, c.got, r[c.column])
			}
		}
		if !first.Equal(clock(t, r["first_sent"])) || !last.Equal(clock(t, r["last_expires"])) {
			t.Errorf("%s: %s to %s, want %s to %s", r["case"], first, last, r["first_sent"], r["last_expires"])
		}
	}
}

func TestObservationsAgreeWithTable(t *testing.T) {
	flagged := map[string]string{}
	for _, r := range rows(t, "flags.csv") {
		flagged[r["file"]] = r["layer"]
	}
	table := rows(t, "expected-observations.csv")
	t.Logf("%d rows", len(table))
	if len(table) != 13 {
		t.Error("the table has 13 rows")
	}
	// Rain of three and six hours stands in the table and is not read: no page shows it.
	for _, r := range table {
		all, err := ReadObservations(file(t, r["case"], r["file"]))
		if err != nil {
			t.Fatal(r["case"], err)
		}
		o := all[0]
		name := r["case"] + "/" + r["file"]
		if o.Station != r["station"] || !o.At.Equal(clock(t, r["timestamp"])) || o.Raw != r["raw_metar"] {
			t.Errorf("%s: %s %s %q", name, o.Station, o.At, o.Raw)
		}
		edited := flagged["open/"+name] == "temperature"
		if edited && (o.TempC.Known || len(o.Told) == 0) {
			t.Errorf("%s: an edited temperature was taken over: %v, told %v", name, o.TempC, o.Told)
		}
		for _, c := range []struct {
			column string
			got    Reading
			back   float64
		}{
			{"temp_c", o.TempC, 1}, {"dewpoint_c", o.DewC, 1}, {"wind_dir_deg", o.WindFromDeg, 1},
			{"wind_kmh", o.WindMS, 3.6}, {"gust_kmh", o.GustMS, 3.6}, {"rh_pct", o.RHPct, 1},
			{"pressure_pa", o.PressurePa, 1}, {"precip_last_hour_mm", o.RainMM, 1},
		} {
			if edited && c.column == "temp_c" {
				continue
			}
			if c.got.Known != (r[c.column] != "") {
				t.Errorf("%s: %s known is %v, the table has %q", name, c.column, c.got.Known, r[c.column])
			} else if c.got.Known {
				near(t, name+" "+c.column, c.got.V*c.back, number(t, r[c.column]), 1e-6)
			}
		}
	}
}

// The service reckons humidity from temperature and dew point: of its decoded reports and of
// the stations' own, ours is the same within its constants.
func TestHumidityAgreesWithService(t *testing.T) {
	compared := 0
	for _, table := range []string{"metar-with-nws-decode.csv", "expected-observations.csv"} {
		for _, r := range rows(t, table) {
			if r["temp_c"] == "" || r["dewpoint_c"] == "" || r["rh_pct"] == "" || r["rh_pct"] == "0" || number(t, r["temp_c"]) > 60 {
				continue // not given, or edited by hand: flags.csv
			}
			got := RelativeHumidityPct(number(t, r["temp_c"]), number(t, r["dewpoint_c"]))
			near(t, r["station"]+" "+r["timestamp"]+" humidity", got, number(t, r["rh_pct"]), 0.1)
			compared++
		}
	}
	t.Logf("%d reports", compared)
}

// Every recorded document is known for what it is, and only a forecast reads as one.
func TestSniff(t *testing.T) {
	for _, c := range []struct{ pattern, want string }{
		{"gridpoint.json", KindGridpoint}, {"forecast-hourly.json", KindHourly}, {"forecast.json", KindHourly},
		{"alerts.json", KindAlerts}, {"observation*.json", KindObservation}, {"point.json", ""},
	} {
		docs, _ := filepath.Glob(filepath.Join(recorded, "*", c.pattern))
		if len(docs) == 0 {
			t.Fatal("no", c.pattern)
		}
		for _, path := range docs {
			doc := file(t, filepath.Base(filepath.Dir(path)), filepath.Base(path))
			if got := Sniff(doc); got != c.want {
				t.Errorf("%s looks like %q, want %q", path, got, c.want)
			}
			_, err := Read(doc)
			if forecast := c.want == KindGridpoint || c.want == KindHourly; forecast != (err == nil) {
				t.Errorf("%s: %v", path, err)
			}
		}
	}
}
