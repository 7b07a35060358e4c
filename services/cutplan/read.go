package cutplan

import (
	"encoding/json/jsontext"
	json "encoding/json/v2"
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

type document struct {
	Stock  []stockDocument `json:"stock"`
	Pieces []pieceDocument `json:"pieces"`
	Kerf   jsontext.Value  `json:"kerf,omitzero"`
	Keep   jsontext.Value  `json:"keep,omitzero"`
}

// stockDocument takes the price under either of its two common names.
type stockDocument struct {
	ID     string         `json:"id,omitzero"`
	Length jsontext.Value `json:"length"`
	Count  *int64         `json:"count,omitzero"`
	Price  jsontext.Value `json:"price,omitzero"`
	Cost   jsontext.Value `json:"cost,omitzero"`
}

type pieceDocument struct {
	Mark   string         `json:"mark,omitzero"`
	Length jsontext.Value `json:"length"`
	Count  *int64         `json:"count,omitzero"`
	Group  string         `json:"group,omitzero"`
	Low    jsontext.Value `json:"low_run,omitzero"`
	High   jsontext.Value `json:"high_run,omitzero"`
}

// Read reads a cut plan's request:
//
//	{"stock":[{"length":"10'","count":null,"id":"","price":"12.50"}],
//	 "pieces":[{"mark":"E-1","length":"7'-3 1/2\"","count":2,"group":"eave-1","low_run":"-6 in","high_run":"0 in"}],
//	 "kerf":"0 mm","keep":"12 in"}
//
// Whole numbers may stand for lengths, all in one unit, none beside lengths with units but for a bare 0. It refuses with
// an *events.Refusal what is no such document; Plan checks what the numbers mean.
func Read(data []byte) (Request, error) {
	var doc document
	if err := decode(data, &doc); err != nil {
		return Request{}, err
	}
	r := reader{}
	var q Request
	for i, s := range doc.Stock {
		where := fmt.Sprintf("stock[%d]", i)
		out := Stock{ID: s.ID, Count: s.Count, Length: r.length(s.Length, where+".length")}
		if len(s.Price) > 0 && len(s.Cost) > 0 {
			r.fail(refuse("doubled", where+".cost", string(s.Cost), "price or cost, not both"))
		}
		out.Price = r.price(s.Price, where+".price")
		if out.Price == nil {
			out.Price = r.price(s.Cost, where+".cost")
		}
		q.Stock = append(q.Stock, out)
	}
	for i, p := range doc.Pieces {
		out := Piece{Mark: p.Mark, Group: p.Group, Count: 1, Length: r.length(p.Length, fmt.Sprintf("pieces[%d].length", i))}
		if p.Count != nil {
			out.Count = *p.Count
		}
		if len(p.Low) > 0 {
			out.LowRun = r.length(p.Low, fmt.Sprintf("pieces[%d].low_run", i))
		}
		if len(p.High) > 0 {
			out.HighRun = r.length(p.High, fmt.Sprintf("pieces[%d].high_run", i))
		}
		q.Pieces = append(q.Pieces, out)
	}
	if len(doc.Kerf) > 0 {
		q.Kerf = r.length(doc.Kerf, "kerf")
	}
	if len(doc.Keep) > 0 {
		q.Keep = r.length(doc.Keep, "keep")
	}
	q.Plain = r.plain != ""
	return q, r.err
}

// ReadInstance reads one line of a batch, {"id":"…","capacity":100,"items":[[size,count],…]}, all plain numbers.
func ReadInstance(line []byte) (id string, q Request, err error) {
	var doc struct {
		ID       string     `json:"id"`
		Capacity int64      `json:"capacity"`
		Items    [][2]int64 `json:"items"`
	}
	if err := decode(line, &doc); err != nil {
		return "", Request{}, err
	}
	q = Request{Plain: true, Stock: []Stock{{Length: doc.Capacity}}}
	for _, it := range doc.Items {
		q.Pieces = append(q.Pieces, Piece{Length: it[0], Count: it[1]})
	}
	return doc.ID, q, nil
}

func decode(data []byte, doc any) error {
	if len(data) > MaxBytes {
		return refuse("too-large", "request", fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("%d bytes at most", MaxBytes))
	}
	err := json.Unmarshal(data, doc, json.RejectUnknownMembers(true))
	if err == nil {
		return nil
	}
	if bad, ok := errors.AsType[*json.SemanticError](err); ok {
		where, want := string(bad.JSONPointer), "what the field's description says"
		if bad.GoType != nil {
			want = "a " + jsonKind(bad.GoType.String())
		}
		if errors.Is(err, json.ErrUnknownName) {
			want = "a known field: id, length, count, price, mark, group, low_run, high_run, kerf, keep"
		}
		return refuse("not-understood", where, clip(string(bad.JSONValue)), want)
	}
	if bad, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		return refuse("no-json", fmt.Sprintf("byte %d %s", bad.ByteOffset, bad.JSONPointer), bad.Err.Error(), "one JSON document")
	}
	return &events.Refusal{Code: "no-json", Was: clip(err.Error()), Want: "one JSON document"}
}

func jsonKind(goType string) string {
	switch strings.TrimLeft(goType, "*") {
	case "int64":
		return "whole number"
	case "string":
		return "string"
	}
	return "list or object as described"
}

// reader reads lengths and remembers the first fault and which of the two kinds of length it saw.
type reader struct {
	err             error
	plain, measured string // where the first of each was
}

func (r *reader) fail(err error) {
	if r.err == nil {
		r.err = err
	}
}

func (r *reader) length(v jsontext.Value, where string) int64 {
	switch v.Kind() {
	case '"':
		var s string
		if err := json.Unmarshal(v, &s); err != nil {
			r.fail(refuse("no-length", where, clip(string(v)), "a length with its unit"))
			return 0
		}
		l, err := quantity.ParseLength(s)
		if err != nil {
			want := "a length with its unit"
			if p, ok := errors.AsType[*quantity.ParseError](err); ok {
				want = p.Want + " (" + p.Why + ")"
			}
			r.fail(refuse("no-length", where, clip(s), want))
			return 0
		}
		r.kind(&r.measured, where)
		return int64(l)
	case '0':
		n, err := strconv.ParseInt(string(v), 10, 64)
		if err != nil {
			r.fail(refuse("no-length", where, clip(string(v)), "a whole number, or a string with a unit"))
			return 0
		}
		if n != 0 {
			r.kind(&r.plain, where)
		}
		return n
	}
	r.fail(refuse("no-length", where, clip(string(v)), "a length: a string with a unit, or a whole number"))
	return 0
}

func (r *reader) kind(seen *string, where string) {
	if *seen == "" {
		*seen = where
	}
	if r.plain != "" && r.measured != "" {
		r.fail(refuse("mixed-units", where, "plain numbers at "+r.plain+", lengths with a unit at "+r.measured,
			"one or the other everywhere"))
	}
}

// price reads a number or a string of one, exact to a ten-thousandth.
func (r *reader) price(v jsontext.Value, where string) *int64 {
	if len(v) == 0 || v.Kind() == 'n' {
		return nil
	}
	n, err := ParsePrice(strings.Trim(string(v), `"`))
	if err != nil {
		if bad := events.RefusalIn(err); bad != nil {
			bad.Where = where
		}
		r.fail(err)
		return nil
	}
	return &n
}

// ParsePrice reads a price such as 12.50 exactly, in ten-thousandths. It refuses, with an
// *events.Refusal without a place, what is no such number from zero to a million.
func ParsePrice(text string) (int64, error) {
	x, ok := new(big.Rat).SetString(text)
	if !ok || len(text) > 20 || strings.ContainsAny(text, "/eEpPxX_") {
		return 0, refuse("no-price", "", clip(text), "a number such as 12.50")
	}
	x.Mul(x, big.NewRat(priceParts, 1))
	if !x.IsInt() || !x.Num().IsInt64() {
		return 0, refuse("no-price", "", clip(text), "a number with at most four decimals")
	}
	n := x.Num().Int64()
	if n < 0 || n > maxPrice*priceParts {
		return 0, refuse("out-of-range", "", clip(text), fmt.Sprintf("zero to %d", maxPrice))
	}
	return n, nil
}

// PriceText prints ten-thousandths of money as a number, without trailing zeros.
func PriceText(price int64) string { return priceText(price) }
