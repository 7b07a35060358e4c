package quantity

import "strings"

// Pitch is a roof's steepness as the trade writes it, rise over run: 6/12. Both are
// held in millionths; only their ratio counts. The zero value is no pitch.
type Pitch struct{ rise, run int64 }

const pitchWant = "rise over run, such as 6/12 or 7.25/12"

// ParsePitch reads rise over run ("6/12", "6:12", "4.5/12"). It refuses, with a
// *ParseError, a run of zero and anything else; a rise of zero is read, and is for
// whoever asks for a pitch to refuse.
func ParsePitch(s string) (Pitch, error) {
	refuse := func(why string) (Pitch, error) {
		return Pitch{}, &ParseError{Kind: "pitch", Was: clip(s), Why: why, Want: pitchWant}
	}
	rise, rest, ok := scanDecimal(strings.TrimSpace(s))
	if !ok {
		return refuse("there is no rise at its start")
	}
	rest = strings.TrimSpace(rest)
	if !strings.HasPrefix(rest, "/") && !strings.HasPrefix(rest, ":") {
		return refuse("there is no / between rise and run")
	}
	run, rest, ok := scanDecimal(strings.TrimSpace(rest[1:]))
	if !ok || strings.TrimSpace(rest) != "" {
		return refuse("what follows the / is not a run")
	}
	const millionth = 1_000_000
	up, exactUp, fitsUp := rise.times(millionth)
	along, exactAlong, fitsAlong := run.times(millionth)
	switch {
	case !exactUp || !exactAlong:
		return refuse("it has more than six decimals")
	case !fitsUp || !fitsAlong:
		return refuse("it is larger than can be held")
	case along == 0:
		return refuse("the run is zero")
	}
	return Pitch{up, along}, nil
}

// PitchOf is rise over run, both in any one unit and not negative, run not zero.
func PitchOf(rise, run int64) Pitch { return Pitch{rise * 1_000_000, run * 1_000_000} }

// Slope is rise divided by run; zero for the zero value.
func (p Pitch) Slope() float64 {
	if p.run == 0 {
		return 0
	}
	return float64(p.rise) / float64(p.run)
}

// Less tells whether p is flatter than q, exactly.
func (p Pitch) Less(q Pitch) bool {
	return cross(p.rise, q.run, q.rise, p.run) < 0
}

// String is rise over run as written, without needless zeros. ParsePitch reads it
// back.
func (p Pitch) String() string { return printDecimal(p.rise, 6) + "/" + printDecimal(p.run, 6) }

// MarshalText gives String.
func (p Pitch) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads what ParsePitch reads.
func (p *Pitch) UnmarshalText(text []byte) error {
	v, err := ParsePitch(string(text))
	if err != nil {
		return err
	}
	*p = v
	return nil
}
