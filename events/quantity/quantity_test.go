package quantity_test

import (
	"errors"
	"math"
	"math/big"
	"testing"

	"bydark/events/quantity"

	"pgregory.net/rapid"
)

const in = quantity.Inch

func TestParseLength(t *testing.T) {
	t.Parallel()
	// 1 in = 25.4 mm exactly: international yard and pound agreement of 1959.
	for text, want := range map[string]quantity.Length{
		`12'-6 3/8"`:   150*in + 3*in/8,
		`12' 6-3/8"`:   150*in + 3*in/8,
		`12′ 6⅜″`:      150*in + 3*in/8,
		`12'6"`:        150 * in,
		`12 ft 6 in`:   150 * in,
		`12.5 ft`:      150 * in,
		`150 3/8 in`:   150*in + 3*in/8,
		`150.375 in`:   150*in + 3*in/8,
		`3/8"`:         3 * in / 8,
		`12'-3/8"`:     144*in + 3*in/8,
		`1/64"`:        396_875,
		`3819.5 mm`:    3_819_500_000,
		`3.8195 m`:     3_819_500_000,
		`381.95cm`:     3_819_500_000,
		`0'`:           0,
		`-1'-6"`:       -18 * in,
		`0.000001 mm`:  1,
		`12' - 6"`:     150 * in,
		` 5 in. `:      5 * in,
		`9000000000 m`: 9_000_000_000 * quantity.Metre,
	} {
		got, err := quantity.ParseLength(text)
		if err != nil || got != want {
			t.Errorf("ParseLength(%s) = %d, %v; want %d", text, got, err, want)
		}
	}
}

func TestParseLengthRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"", " ", "12", "12.5", "6 3/8", `12'-13"`, `12'-12"`, `6 8/8"`, `6 9/8"`, `6 3/7"`, `1/128"`, `1/0"`,
		`12.5' 6"`, `12' 6`, `12' 6 mm`, "3,82 m", "1,000 mm", "1e3 mm", "0x10 mm", "+3 m", "--3 m", ".5 m", "5. m",
		"NaN mm", "Inf m", "3 furlongs", "3 m 2", "9300000000 m", `3' 2" 1"`, "0.0000001 mm", "1.1.1 m", "99999999999999999999 m",
		"12'\x00", "12'\xff", "１２ m", `3/8'`, `1/2 m`, "12 inchesx", "6 63/8\"",
	} {
		if got, err := quantity.ParseLength(text); err == nil {
			t.Errorf("ParseLength(%q) = %v, want a refusal", text, got)
		} else if p := new(quantity.ParseError); !errors.As(err, &p) || p.Want == "" || p.Why == "" {
			t.Errorf("ParseLength(%q) refused without saying what would be right: %v", text, err)
		}
	}
}

func TestLengthPrints(t *testing.T) {
	t.Parallel()
	for l, want := range map[quantity.Length]string{
		0: "0'", in: `1"`, 12 * in: "1'", 150*in + 3*in/8: `12'-6 3/8"`, 144*in + in/2: `12'-1/2"`,
		-18 * in: `-1'-6"`, 1: "0.000001 mm", 100 * quantity.Millimetre: "100 mm", 5 * in / 64: `5/64"`,
		math.MinInt64: "-9223372036854.775808 mm",
	} {
		if got := l.String(); got != want {
			t.Errorf("%d prints %s, want %s", int64(l), got, want)
		}
	}
	if got := (3819500 * quantity.Length(1000)).Nearest(16); got != `12'-6 3/8"` {
		t.Errorf("nearest sixteenth is %s", got)
	}
	if got := (-3819500 * quantity.Length(1000)).Nearest(16); got != `-12'-6 3/8"` {
		t.Errorf("nearest sixteenth below zero is %s", got)
	}
}

func TestLengthRoundTrips(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := quantity.Length(rapid.Int64Range(-math.MaxInt64, math.MaxInt64).Draw(t, "nm"))
		if rapid.Bool().Draw(t, "onTheRule") {
			l = l / 1_000_000 * quantity.Sixtyfourth / 400 * 400
			l -= l % quantity.Sixtyfourth
		}
		back, err := quantity.ParseLength(l.String())
		if err != nil || back != l {
			t.Fatalf("%d printed %s, read %d, %v", int64(l), l, int64(back), err)
		}
		if back, err = quantity.ParseLength(l.Metric()); err != nil || back != l {
			t.Fatalf("%d printed %s, read %d, %v", int64(l), l.Metric(), int64(back), err)
		}
	})
}

func TestRoundUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := quantity.Length(rapid.Int64Range(-1e15, 1e15).Draw(t, "nm"))
		step := quantity.Length(rapid.Int64Range(1, 1e9).Draw(t, "step"))
		up := l.RoundUp(step)
		if up < l || up-l >= step || up%step != 0 {
			t.Fatalf("%d rounded up by %d is %d", l, step, up)
		}
	})
}

func TestAreaReadsAndPrints(t *testing.T) {
	t.Parallel()
	// 1 ft² = 0.09290304 m² exactly: NIST SP 811, appendix B.8 (from memory).
	if quantity.SquareFoot.SquareMetres() != 0.09290304 {
		t.Errorf("a square foot is %v m2", quantity.SquareFoot.SquareMetres())
	}
	for text, want := range map[string]quantity.Area{
		"120 sqft": 120 * quantity.SquareFoot, "120 ft2": 120 * quantity.SquareFoot, "1.2 squares": 120 * quantity.SquareFoot,
		"2.5 m2": 250_000_000, "0.01 mm2": 1, "-1 sqin": -quantity.SquareInch,
	} {
		if got, err := quantity.ParseArea(text); err != nil || got != want {
			t.Errorf("ParseArea(%s) = %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "12", "12 m", "0.001 mm2", "1e3 m2", "99999999999 m2x", "999999999999999 sqft"} {
		if got, err := quantity.ParseArea(text); err == nil {
			t.Errorf("ParseArea(%q) = %v, want a refusal", text, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := quantity.Area(rapid.Int64Range(-math.MaxInt64, math.MaxInt64).Draw(t, "a"))
		if rapid.Bool().Draw(t, "whole") {
			a -= a % quantity.SquareFoot
		}
		if back, err := quantity.ParseArea(a.String()); err != nil || back != a {
			t.Fatalf("%d printed %s, read %d, %v", int64(a), a, int64(back), err)
		}
	})
}

func TestRectangle(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Int64Range(0, math.MaxInt64).Draw(t, "a")
		b := rapid.Int64Range(0, math.MaxInt64).Draw(t, "b")
		exact := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
		exact.Add(exact, big.NewInt(5_000_000_000)).Quo(exact, big.NewInt(10_000_000_000))
		got, ok := quantity.Rectangle(quantity.Length(a), quantity.Length(b))
		if ok != exact.IsInt64() || ok && int64(got) != exact.Int64() {
			t.Fatalf("%d by %d is %d, %v; want %v", a, b, got, ok, exact)
		}
	})
}

func TestAmounts(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]quantity.Amount{
		"40'": quantity.OfLength(40 * quantity.Foot), "12 each": quantity.Pieces(12), "3 rolls": quantity.Packs(3000, "rolls"),
		"0.5 box": quantity.Packs(500, "box"), "120 sqft": quantity.OfArea(120 * quantity.SquareFoot),
	} {
		if got, err := quantity.ParseAmount(text); err != nil || got != want {
			t.Errorf("ParseAmount(%s) = %v, %v; want %v", text, got, err, want)
		}
		if back, err := quantity.ParseAmount(want.String()); err != nil || back != want {
			t.Errorf("%v printed %s, read %v, %v", want, want, back, err)
		}
	}
	for _, text := range []string{"", "12", "rolls", "1.0001 each", "1e3 each", "12 Rolls!", "0.0000001 mm", "1,5 rolls", "3 rolls extra words here too"} {
		if got, err := quantity.ParseAmount(text); err == nil {
			t.Errorf("ParseAmount(%q) = %v, want a refusal", text, got)
		}
	}
}

func TestAmountsAddLikeToLikeOnly(t *testing.T) {
	t.Parallel()
	kinds := []quantity.Amount{
		quantity.Pieces(3), quantity.Packs(3000, "roll"), quantity.OfLength(3 * quantity.Metre), quantity.OfArea(3 * quantity.SquareMetre),
	}
	for i, a := range kinds {
		for j, b := range kinds {
			sum, err := a.Add(b)
			var unlike *quantity.UnlikeError
			if same := i == j; same != (err == nil) || !same && !errors.As(err, &unlike) {
				t.Errorf("%v + %v = %v, %v", a, b, sum, err)
			}
			if _, err := a.Cmp(b); (err == nil) != (i == j) {
				t.Errorf("%v against %v: %v", a, b, err)
			}
		}
		if sum, err := a.Add(quantity.Amount{}); err != nil || sum != a {
			t.Errorf("%v + nothing = %v, %v", a, sum, err)
		}
	}
	most := quantity.OfLength(math.MaxInt64)
	if _, err := most.Add(quantity.OfLength(1)); !errors.Is(err, quantity.ErrTooMuch) {
		t.Errorf("a sum beyond the type gave %v", err)
	}
	if _, err := most.Neg().Sub(quantity.OfLength(2)); !errors.Is(err, quantity.ErrTooMuch) {
		t.Errorf("a difference beyond the type gave %v", err)
	}
}

func TestPitch(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{"6/12": "6/12", "6:12": "6/12", "4.50 / 12": "4.5/12", "0/12": "0/12", "0.25/12": "0.25/12"} {
		p, err := quantity.ParsePitch(text)
		if err != nil || p.String() != want {
			t.Errorf("ParsePitch(%s) = %v, %v; want %s", text, p, err, want)
		}
	}
	for _, text := range []string{"", "6", "6/0", "6/", "/12", "-6/12", "6/12/2", "6/12 in", "NaN/12", "1e1/12"} {
		if p, err := quantity.ParsePitch(text); err == nil {
			t.Errorf("ParsePitch(%q) = %v, want a refusal", text, p)
		}
	}
	if !quantity.PitchOf(1, 4).Less(quantity.PitchOf(31, 120)) || quantity.PitchOf(3, 12).Less(quantity.PitchOf(1, 4)) {
		t.Error("pitches are not ordered by their ratio")
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{`12'-6 3/8"`, "3819.5 mm", "120 sqft", "3 rolls", "6/12", "-0'", "½\""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if l, err := quantity.ParseLength(s); err == nil {
			if back, err := quantity.ParseLength(l.String()); err != nil || back != l {
				t.Errorf("%q read as %d prints %s, read %d, %v", s, int64(l), l, int64(back), err)
			}
		}
		if a, err := quantity.ParseAmount(s); err == nil {
			if back, err := quantity.ParseAmount(a.String()); err != nil || back != a {
				t.Errorf("%q read as %v prints %s, read %v, %v", s, a, a, back, err)
			}
		}
		if p, err := quantity.ParsePitch(s); err == nil {
			if back, err := quantity.ParsePitch(p.String()); err != nil || back != p {
				t.Errorf("%q read as %v, read back %v, %v", s, p, back, err)
			}
		}
	})
}
