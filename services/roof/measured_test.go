package roof_test

import (
	"errors"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// The L of TestEll, measured up the slope with a tape: 8 ft of run at 6/12 is
// 8'-11 5/16" to the nearest sixteenth, an eighth of a millimetre off.
const sheet = `mark,shape,eave,top,offset,slope_length,run,pitch,falls_deg,x,y,eave_height
S,trapezoid,40',24',8',8'-11 5/16",,6/12,180,0',0',9'
E,triangle,16',,,8'-11 5/16",,6/12,90,40',0',
N,trapezoid,24',24',8',,8',6/12,0,40',16',
I,trapezoid,20',20',-8',,8',6/12,90,16',16',
T,triangle,16',,8',8'-11 5/16",,6/12,0,16',36',
W,trapezoid,36',20',,8'-11 5/16",,6/12,270,0',36',
`

func TestMeasuredByHand(t *testing.T) {
	t.Parallel()
	r, err := roof.ReadMeasured("ell", []byte(sheet))
	if err != nil {
		t.Fatal(err)
	}
	want := read(t, ell)
	if len(r.Edges) != len(want.Edges) {
		t.Fatalf("got\n%swant\n%s", summary(r), summary(want))
	}
	for i, e := range want.Edges {
		if got := r.Edges[i]; got.Mark != e.Mark || (got.Length-e.Length).Abs() > quantity.Inch/16 {
			t.Errorf("%s is %v, want %s of %v", got.Mark, got.Length, e.Mark, e.Length)
		}
	}
}

func TestMeasuredRefuses(t *testing.T) {
	t.Parallel()
	row := func(was, is string) string { return strings.Replace(sheet, was, is, 1) }
	for name, c := range map[string]struct{ text, code, where string }{
		"empty":          {"", "not-a-sheet", "row 1"},
		"no rows":        {"mark,shape\n", "no-planes", "planes"},
		"unknown column": {row("offset", "width"), "unknown-column", "row 1, column 5"},
		"column twice":   {row("offset", "top"), "unknown-column", "row 1, column 5"},
		"too few fields": {row(",0',0',9'", ""), "not-a-sheet", "row 2"},
		"shape":          {row("trapezoid", "oval"), "bad-shape", "row 2 (S), column shape"},
		"no top":         {row("40',24'", "40',"), "bad-shape", "row 2 (S), column top"},
		"both lengths":   {row(",,8',6/12", ",9',8',6/12"), "bad-shape", "row 4 (N), column slope_length"},
		"no place":       {row("180,0',0'", "180,,0'"), "no-place", "row 2 (S), column x"},
		"no unit":        {row("40'", "40"), "unreadable-length", "row 2 (S), column eave"},
		"fall":           {row("180", "south"), "bad-fall", "row 2 (S), column falls_deg"},
		"NaN":            {row("180", "NaN"), "bad-fall", "plane S, falls_deg"},
		"zero pitch":     {row("6/12,180", "0/12,180"), "zero-pitch", "plane S, pitch"},
		"overlap":        {row("0,40',16'", "0,40',14'"), "overlap", "planes"},
	} {
		r, err := roof.ReadMeasured(name, []byte(c.text))
		refusal, ok := errors.AsType[*roof.Refusal](err)
		switch {
		case err == nil:
			t.Errorf("%s: read as\n%s", name, summary(r))
		case !ok:
			t.Errorf("%s: not a refusal: %v", name, err)
		case refusal.Code != c.code || !strings.Contains(refusal.Where, c.where) || refusal.Want == "":
			t.Errorf("%s: refused with %+v, want %s at %s", name, *refusal, c.code, c.where)
		}
	}
}
