package events

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"bydark/events/quantity"
)

// ErrUnknownType says that a stored event's type is not in the catalogue: written by
// a newer release, or not by us.
var ErrUnknownType = errors.New("the event's type is not in this release's catalogue")

// Encode is the body as the log holds it: one JSON object, members in the order of
// the fields.
func Encode(b Body) ([]byte, error) {
	data, err := json.Marshal(b, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", rowOf(b).wire(), err)
	}
	return data, nil
}

// Decode reads a body that the log holds, of this or an earlier version of its type.
// Unknown types, later versions among them, give ErrUnknownType.
func Decode(wire string, data []byte) (Body, error) {
	r, known := byName[wire]
	if !known {
		lifted, at, err := current(catalogue, upcasters, wire, data)
		if err != nil {
			return nil, err
		}
		r, data = &lifted, at
	}
	body := r.zero()
	if err := json.Unmarshal(data, body, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("decode %s: %w", wire, err)
	}
	return reflect.ValueOf(body).Elem().Interface().(Body), nil
}

// Report is what a sender says happened, read but not yet decided.
type Report struct {
	ID   ReportID
	At   time.Time
	Body Body
}

// head is what every report has; the rest of its members are the body's.
type head struct {
	ID   string         `json:"id"`
	Type string         `json:"type"`
	At   string         `json:"at"`
	Rest jsontext.Value `json:",embed"`
}

// ParseReport reads one report: strictly, so that a misspelt, differently cased or
// doubled member is refused and never dropped. Errors are *Refusal, their places JSON
// pointers within the report.
func ParseReport(data []byte) (Report, error) {
	var h head
	if err := json.Unmarshal(data, &h); err != nil {
		return Report{}, unreadable(err)
	}
	id, err := ParseReportID(h.ID)
	if err != nil {
		return Report{}, err
	}
	r, ok := rowOfReport(h.Type)
	if !ok {
		return Report{}, &Refusal{Code: "unknown-type", Where: "/type", Was: clip(h.Type), Want: "one of the report types that openapi.json lists"}
	}
	at, err := time.Parse(time.RFC3339Nano, h.At)
	if err != nil {
		return Report{}, &Refusal{Code: "unreadable-time", Where: "/at", Was: clip(h.At), Want: wantTime}
	}
	if len(h.Rest) == 0 {
		h.Rest = jsontext.Value("{}")
	}
	body := r.zero()
	if err := json.Unmarshal(h.Rest, body, json.RejectUnknownMembers(true)); err != nil {
		return Report{}, unreadable(err)
	}
	return Report{ID: id, At: at.UTC(), Body: reflect.ValueOf(body).Elem().Interface().(Body)}, nil
}

const wantTime = "RFC 3339, such as 2026-05-04T15:30:00-04:00"

// unreadable turns what the JSON reader found into a refusal with its place.
func unreadable(err error) *Refusal {
	refusal := &Refusal{Code: "unreadable", Want: "one JSON object with the members of its type, each once and spelt exactly"}
	var semantic *json.SemanticError
	var syntactic *jsontext.SyntacticError
	switch {
	case errors.As(err, &semantic):
		refusal.Where = string(semantic.JSONPointer)
		switch {
		case errors.Is(semantic.Err, json.ErrUnknownName):
			refusal.Code, refusal.Was = "unknown-member", string(semantic.JSONPointer)
		case semantic.Err != nil:
			refusal.Was = clip(semantic.Err.Error())
			var said *quantity.ParseError
			var clock *time.ParseError
			switch {
			case errors.As(semantic.Err, &said):
				refusal.Code, refusal.Was, refusal.Want = "unreadable-"+said.Kind, clip(said.Was), said.Want
			case errors.As(semantic.Err, &clock):
				refusal.Code, refusal.Was, refusal.Want = "unreadable-time", clip(clock.Value), wantTime
			}
		default:
			refusal.Was = clip(string(semantic.JSONValue))
			if refusal.Was == "" {
				refusal.Was = "a JSON " + semantic.JSONKind.String()
			}
		}
	case errors.As(err, &syntactic):
		refusal.Where = string(syntactic.JSONPointer)
		refusal.Was = clip(syntactic.Err.Error())
		if errors.Is(syntactic.Err, jsontext.ErrDuplicateName) {
			refusal.Code = "doubled-member"
		}
	default:
		refusal.Was = clip(err.Error())
	}
	return refusal
}

func clip(s string) string {
	const most = 120
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
