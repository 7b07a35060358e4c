// Package calc answers one published formula at a time, from the words that a person
// types: the calculator beside the plan. It is pure.
package calc

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

// Answer is a value with its unit, the formula it came from and where that stands. More
// holds what the same formula tells besides, each name with its unit.
type Answer struct {
	Value   float64            `json:"value"`
	Unit    string             `json:"unit"`
	Formula string             `json:"formula"`
	Source  string             `json:"source"`
	More    map[string]float64 `json:"more,omitempty"`
}

// formula is one name that Answer knows.
type formula struct {
	must, may []string // keys
	answer    func(*inputs) Answer
}

// Of answers the formula called name from its inputs by key. An unknown name or key, a
// missing one, and a value that cannot be are an *events.Refusal that names the key and
// says what would be right.
func Of(name string, args map[string]string) (Answer, error) {
	f, ok := formulas[name]
	if !ok {
		return Answer{}, &events.Refusal{Code: "unknown-formula", Where: "name", Was: name, Want: "one of " + strings.Join(Names(), ", ")}
	}
	known := slices.Concat(f.must, f.may)
	for _, key := range slices.Sorted(maps.Keys(args)) {
		if !slices.Contains(known, key) {
			return Answer{}, &events.Refusal{Code: "unknown-key", Where: name + ", " + key, Was: args[key], Want: "only " + strings.Join(known, ", ")}
		}
	}
	var missing []string
	for _, key := range f.must {
		if args[key] == "" {
			missing = append(missing, key)
		}
	}
	if missing != nil {
		return Answer{}, &events.Refusal{Code: "missing-key", Where: name, Want: "key=value for " + strings.Join(f.must, ", "), Missing: missing}
	}
	in := &inputs{name: name, args: args}
	a := f.answer(in)
	switch {
	case in.err != nil:
		return Answer{}, in.err
	case math.IsNaN(a.Value) || math.IsInf(a.Value, 0):
		return Answer{}, &events.Refusal{Code: "out-of-range", Where: name, Was: fmt.Sprint(args), Want: "inputs for which the formula has an answer"}
	}
	return a, nil
}

// Names are the formulas, sorted.
func Names() []string { return slices.Sorted(maps.Keys(formulas)) }

// inputs reads values by key; the first fault stays, and every value after it is zero.
type inputs struct {
	name string
	args map[string]string
	err  error
}

func (in *inputs) has(key string) bool { return in.args[key] != "" }

func (in *inputs) fail(err error) {
	if in.err == nil && err != nil {
		in.err = err
	}
}

func (in *inputs) refuse(key, want string) {
	in.fail(&events.Refusal{Code: "out-of-range", Where: in.name + ", " + key, Was: in.args[key], Want: want})
}

// number reads a plain number between lo and hi.
func (in *inputs) number(key string, lo, hi float64, what string) float64 {
	text := in.args[key]
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || strings.ContainsAny(text, "xX_pPnN") || !(v >= lo && v <= hi) {
		in.refuse(key, fmt.Sprintf("%s, %g to %g", what, lo, hi))
		return 0
	}
	return v
}

// optional is number, or otherwise where the key is not given.
func (in *inputs) optional(key string, otherwise, lo, hi float64, what string) float64 {
	if !in.has(key) {
		return otherwise
	}
	return in.number(key, lo, hi, what)
}

func (in *inputs) length(key string) quantity.Length {
	l, err := quantity.ParseLength(in.args[key])
	if err != nil || l < 0 {
		in.refuse(key, `a length with its unit, such as 12'-6 3/8", 40 ft or 3819.5 mm`)
		return 0
	}
	return l
}

// mm is a length in millimetres.
func (in *inputs) mm(key string) float64 {
	return float64(in.length(key)) / float64(quantity.Millimetre)
}

func (in *inputs) pitch(key string) quantity.Pitch {
	p, err := quantity.ParsePitch(in.args[key])
	if err != nil {
		in.refuse(key, "rise over run, such as 6/12")
	}
	return p
}
