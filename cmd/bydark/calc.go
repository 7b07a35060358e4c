package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

type calcVerb struct {
	Name string   `arg:"" help:"The formula; a name that none has lists them all."`
	Keys []string `arg:"" optional:"" help:"What goes into it." placeholder:"key=value"`
	JSON bool     `help:"Print one JSON document."`
}

// result is one formula's answer.
type result struct {
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Formula string  `json:"formula"`
	Source  string  `json:"source"`
	// Also are further answers of the same formula, by name.
	Also    map[string]float64 `json:"also,omitempty"`
	Caution string             `json:"caution,omitempty"`
}

func (v calcVerb) Run(p *program) error {
	r, err := calculate(v.Name, v.Keys)
	if err != nil {
		return err
	}
	if v.JSON {
		return p.print(r)
	}
	text := fmt.Sprintf("%g %s\n", r.Value, r.Unit)
	for _, name := range slices.Sorted(maps.Keys(r.Also)) {
		text += fmt.Sprintf("%s %g\n", name, r.Also[name])
	}
	text += r.Formula + "\n" + r.Source + "\n"
	if r.Caution != "" {
		text += r.Caution + "\n"
	}
	return p.write([]byte(text))
}

// calculate finds the formula, reads what it wants, and answers; errors are the caller's.
func calculate(name string, words []string) (result, error) {
	f, ok := formulas[name]
	if !ok {
		return result{}, refuse("calc", &events.Refusal{Code: "unknown", Where: "NAME", Was: name, Want: "one of " + formulaNames()})
	}
	g, err := readKeys(f.keys, words)
	if err != nil {
		return result{}, refuse("calc "+name, err)
	}
	r, err := f.of(g)
	if g.err != nil {
		err = g.err // what was not read made whatever followed wrong
	}
	if err == nil && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) {
		err = &events.Refusal{Code: "out-of-range", Where: strings.Join(words, " "), Want: "numbers that have an answer"}
	}
	return r, refuse("calc "+name, err)
}

func formulaNames() string {
	return strings.Join(slices.Sorted(maps.Keys(formulas)), ", ")
}

// given is what was given, by key; it remembers the first thing that could not be read.
type given struct {
	text map[string]string
	err  error
}

// readKeys splits key=value words and knows each key once, of those listed.
func readKeys(known []string, words []string) (*given, error) {
	g := &given{text: map[string]string{}}
	for _, word := range words {
		key, value, ok := strings.Cut(word, "=")
		switch {
		case !ok:
			return nil, &events.Refusal{Code: "not-understood", Was: word, Want: "key=value"}
		case !slices.Contains(known, key):
			return nil, &events.Refusal{Code: "unknown", Where: key, Want: "one of " + strings.Join(known, ", ")}
		}
		if _, twice := g.text[key]; twice {
			return nil, &events.Refusal{Code: "doubled", Where: key, Was: word, Want: "each key once"}
		}
		g.text[key] = value
	}
	return g, nil
}

func (g *given) fail(code, key, was, want string) {
	if g.err == nil {
		g.err = &events.Refusal{Code: code, Where: key, Was: was, Want: want}
	}
}

// word is the text of a key; one that is not there fails with what was wanted.
func (g *given) word(key, want string) string {
	text, ok := g.text[key]
	if !ok || text == "" {
		g.fail("missing", key, "", want)
	}
	return text
}

// number is a plain number from least to most.
func (g *given) number(key string, least, most float64, want string) float64 {
	text := g.word(key, want)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= least && v <= most) {
		g.fail("out-of-range", key, text, fmt.Sprintf("%s, a plain number from %g to %g", want, least, most))
		return 0
	}
	return v
}

// numberOr is number, or otherwise where the key was left out.
func (g *given) numberOr(key string, otherwise, least, most float64, want string) float64 {
	if _, ok := g.text[key]; !ok {
		return otherwise
	}
	return g.number(key, least, most, want)
}

// length is a length with its unit, above zero.
func (g *given) length(key string) quantity.Length {
	const want = `a length above zero with its unit, as 10'-6" or 3200 mm`
	text := g.word(key, want)
	l, err := quantity.ParseLength(text)
	if err != nil || l <= 0 {
		g.fail("no-length", key, text, want)
	}
	return l
}

func (g *given) pitch() quantity.Pitch {
	const want = "rise over run, as 6/12"
	text := g.word("pitch", want)
	p, err := quantity.ParsePitch(text)
	if err != nil {
		g.fail("no-pitch", "pitch", text, want)
	}
	return p
}

// sides are lengths in one unit: all with their units, or all plain numbers.
func (g *given) sides(keys ...string) []float64 {
	const want = "a length with its unit, or plain numbers in one unit for all"
	var out []float64
	plain := 0
	for _, key := range keys {
		text := g.word(key, want)
		if v, err := strconv.ParseFloat(text, 64); err == nil {
			if !(v > 0 && v <= 1e9) {
				g.fail("out-of-range", key, text, "above zero and at most 1e9")
			}
			plain++
			out = append(out, v)
			continue
		}
		l, err := quantity.ParseLength(text)
		if err != nil || l <= 0 {
			g.fail("no-length", key, text, want)
		}
		out = append(out, l.Metres())
	}
	if plain > 0 && plain < len(keys) {
		g.fail("mixed-units", strings.Join(keys, ", "), "plain numbers beside lengths with units", want)
	}
	return out
}

// amount is a plain number of one thing, each with or without its unit behind it:
// 12, or "12 sqft", the same unit for every key.
func (g *given) amount(key, want string, unit *string) float64 {
	text := g.word(key, want)
	number, noun, _ := strings.Cut(strings.TrimSpace(text), " ")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !(v >= 0 && v <= 1e12) {
		g.fail("out-of-range", key, text, want+", a number from 0 to 1e12, with or without its unit")
		return 0
	}
	noun = strings.TrimSpace(noun)
	if noun != "" && *unit != "" && noun != *unit {
		g.fail("mixed-units", key, text, want+" in "+*unit)
	}
	if noun != "" {
		*unit = noun
	}
	return v
}
