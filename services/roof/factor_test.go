package roof_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// The rows on slope, hip and valley of the published values, each by its own case.
func TestPublishedSlopes(t *testing.T) {
	t.Parallel()
	file, err := os.Open("../../testdata/checks/published.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows[1:] {
		if row[0] != "1-slope" {
			continue
		}
		in := make(map[string]float64)
		for part := range strings.SplitSeq(row[2], ";") {
			key, value, _ := strings.Cut(part, "=")
			if in[key], err = strconv.ParseFloat(value, 64); err != nil {
				t.Fatal(row, err)
			}
		}
		pitch := quantity.PitchOf(int64(in["rise_in"]+in["rise_per_ft_in"]), 12)
		var got float64
		switch name := row[1]; {
		case strings.HasPrefix(name, "slope_len_"):
			got = in["run_in"] * roof.SlopeFactor(pitch)
		case name == "army_rafter_13_12":
			got = in["run_ft"] * roof.SlopeFactor(pitch)
		case strings.HasPrefix(name, "hip_valley_factor_"):
			got = roof.HipFactor(pitch)
		case name == "hip_run_per_ft":
			got = in["run_in"] * roof.HipFactor(quantity.Pitch{})
		case strings.HasPrefix(name, "slope_angle_"):
			got = math.Atan(pitch.Slope()) * 180 / math.Pi
		case name == "area_hip_equals_gable":
			got = in["plan_l_ft"] * in["plan_w_ft"] * roof.SlopeFactor(pitch)
		case strings.HasPrefix(name, "hip_panel_step"):
			// Each panel along a hip at a square corner is longer than the last by its
			// width times the slope factor.
			got = in["panel_in"] * roof.SlopeFactor(pitch)
		default:
			t.Errorf("%s: no formula for this row", name)
			continue
		}
		want, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(row, err)
		}
		tolerance, err := strconv.ParseFloat(row[5], 64)
		if err != nil || row[4] == "" || row[6] == "" {
			t.Fatalf("%s has no tolerance, unit or source", row[1])
		}
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: %g, want %g %s (%s)", row[1], got, want, row[4], row[6])
		}
		checked++
	}
	if checked < 18 {
		t.Errorf("only %d rows were checked", checked)
	}
}
