package night_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/weather"
)

// gusty has one gust of 40 mph in the night.
func gusty() night.Told {
	return skies(40, func(n int, h *weather.Hour) {
		if n == 26 {
			h.GustMS = weather.Known(40 * weather.MSPerMPH)
		}
	})
}

// windOn opens a roof built by the flat-clip assembly, changed, with panels on plane B, and
// gives the caution of wind on them.
func windOn(t *testing.T, roof, from, to string) (night.Reason, *night.Zones) {
	t.Helper()
	doc, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(doc), from, to, 1)
	if from != to && changed == string(doc) {
		t.Fatalf("%s is not in the assembly", from)
	}
	j := openAs(t, roof, []byte(changed))
	j.tell(events.DeckOpened{Where: "B"})
	j.layer("B", "deck-check", "felt")
	j.panel("B", 4)
	for _, r := range j.place(j.night(gusty()), "B").Reasons {
		if r.Code == "wind" && strings.Contains(r.Text, "panels are set") {
			for _, st := range night.Stands(j.State) {
				if st.Where == "B" {
					return r, st.Zones
				}
			}
		}
	}
	t.Fatal("no caution of wind on the panels")
	return night.Reason{}, nil
}

const wind = `"underlayment_sun_days"`

// The coefficients are those of the edition that the assembly names; without a name those that
// were checked. 40 mph at the gable's height presses 3.5 psf; 2.67 sqft a clip.
func TestWindZonesByEdition(t *testing.T) {
	t.Parallel()
	q := weather.VelocityPressurePSF(40, 2.01*math.Pow(15.0/900, 2/9.5), 1, 1, 1)
	q22 := weather.VelocityPressurePSF(40, 2.41*math.Pow(15.0/2460, 2/9.8), 1, 1, 1)
	for _, c := range []struct {
		choice, edition, basis, zone string
		q, field, worst              float64
	}{
		{``, "ASCE 7-10", "checked", "3", q, 0.9, 2.6},
		{`"wind":{"edition":"ASCE 7-16"},`, "ASCE 7-16", "transcribed", "3r", q, 1.5, 3.6},
		{`"wind":{"edition":"ASCE 7-22"},`, "ASCE 7-22", "transcribed", "3", q22, 1.5, 3.0},
		{`"wind":{"table":{"edition":"House rule","source":"our engineer","roofs":[{"shape":"any","above_deg":0,"to_deg":90,"figure":"sheet 4","zones":[` +
			`{"zone":"1","up":[{"area_sqft":1,"gcp":-1.1}],"down":[{"area_sqft":1,"gcp":0.5}]},{"zone":"9","up":[{"area_sqft":1,"gcp":-4}],"down":[{"area_sqft":1,"gcp":0.5}]}]}]}},`,
			"House rule", "entered", "9", q, 1.1, 4},
	} {
		r, z := windOn(t, gable, wind, c.choice+wind)
		lift := fmt.Sprintf("lift with %.1f psf in the field and %.1f psf in zone %s", c.q*(c.field+0.18), c.q*(c.worst+0.18), c.zone)
		for _, says := range []string{lift, "within 3 ft of edges", "no check of capacity"} {
			if !strings.Contains(r.Text, says) {
				t.Errorf("%s: %q lacks %q", c.edition, r.Text, says)
			}
		}
		for _, says := range []string{c.edition, c.basis, "a person judges, never a check of capacity"} {
			if !strings.Contains(r.Rule, says) {
				t.Errorf("%s: the rule %q lacks %q", c.edition, r.Rule, says)
			}
		}
		if unnamed := strings.Contains(r.Rule, "names no edition"); unnamed != (c.choice == "") {
			t.Errorf("%s: %s", c.edition, r.Rule)
		}
		if z == nil || z.Edition != c.edition || math.Abs(z.StripFt-3) > 1e-9 {
			t.Errorf("%s: %+v", c.edition, z)
		}
	}
}

// An edition without a figure for the slope reckons no lift, and says so.
func TestWindZonesMissing(t *testing.T) {
	t.Parallel()
	steep := strings.ReplaceAll(gable, "6/12", "14/12")
	r, _ := windOn(t, steep, wind, `"wind":{"edition":"ASCE 7-16"},`+wind)
	if !strings.Contains(r.Text, "have no figure for this slope") || strings.Contains(r.Text, "Pull on one clip") || strings.Contains(r.Rule, "zone coefficients") {
		t.Errorf("%s (%s)", r.Text, r.Rule)
	}
}

// What a clip may take stands beside its pull where somebody entered it, with the test that says
// so; where nobody did, nothing is compared. Neither says that it holds.
func TestClipBesideItsAllowable(t *testing.T) {
	t.Parallel()
	without, _ := windOn(t, gable, "", "")
	with, _ := windOn(t, gable, `"seam_height"`, `"clip_allowable_n":667,"clip_allowable_source":"test report 12","seam_height"`)
	if strings.Contains(without.Text, "allows") || !strings.Contains(without.Text, "Pull on one clip") {
		t.Errorf("nobody entered what a clip may take: %s", without.Text)
	}
	if !strings.Contains(with.Text, "The tested system allows 667 N (test report 12).") || !strings.HasPrefix(with.Text, strings.TrimSuffix(without.Text, " A caution, no check of capacity.")) {
		t.Errorf("beside it stands: %s", with.Text)
	}
	for _, r := range []night.Reason{without, with} {
		if !strings.HasSuffix(r.Text, "A caution, no check of capacity.") {
			t.Errorf("it ends: %s", r.Text)
		}
		for _, word := range []string{"safe", "holds", "enough", "passes", "adequate", "%."} {
			if strings.Contains(strings.ToLower(r.Text), word) {
				t.Errorf("it says %q: %s", word, r.Text)
			}
		}
	}
}
