package facade

import (
	"bytes"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"strings"
	"time"

	"bydark/events"
)

// Bounds of a JSON body, whatever its size.
const (
	mostDepth  = 40
	mostValues = 100_000
	mostItems  = 10_000 // of a list or an object
	mostText   = 64 << 10
	mostNumber = 400 // digits; those of the largest float64 written out are 309
)

// receive reads a request's body whole, of the type and size that the route takes.
func receive(w http.ResponseWriter, r *http.Request, contentType string, most int64) ([]byte, error) {
	if !isOfType(r.Header.Get("Content-Type"), contentType) {
		return nil, &events.Refusal{Code: "wrong-content-type", Where: "Content-Type", Was: clip(r.Header.Get("Content-Type")), Want: contentType}
	}
	if coding := r.Header.Get("Content-Encoding"); coding != "" && coding != "identity" {
		return nil, &events.Refusal{Code: "encoded-body", Where: "Content-Encoding", Was: clip(coding), Want: "a body as it is"}
	}
	tooLarge := &events.Refusal{Code: "too-large", Where: "body", Want: fmt.Sprintf("at most %d bytes", most)}
	if r.ContentLength > most {
		tooLarge.Was = fmt.Sprintf("%d bytes", r.ContentLength)
		return nil, tooLarge
	}
	// The deadline for the body is set where the request came in.
	data, err := readAll(http.MaxBytesReader(w, r.Body, most), r.ContentLength)
	var over *http.MaxBytesError
	var timing net.Error
	switch {
	case errors.As(err, &over):
		return nil, tooLarge
	case errors.As(err, &timing) && timing.Timeout():
		w.Header().Set("Connection", "close")
		return nil, &events.Refusal{Code: "slow-body", Where: "body", Want: fmt.Sprintf("the whole body within %v", bodyTime)}
	case err != nil:
		return nil, &events.Refusal{Code: "unreadable-body", Where: "body", Was: clip(err.Error()), Want: "a body as long as it says"}
	}
	_ = http.NewResponseController(w).SetReadDeadline(time.Time{}) // not every writer of a test has deadlines
	if len(data) == 0 {
		return nil, &events.Refusal{Code: "no-body", Where: "body", Want: contentType}
	}
	return data, nil
}

func isOfType(sent, wanted string) bool {
	if sent == wanted {
		return true
	}
	kind, params, err := mime.ParseMediaType(sent)
	charset := params["charset"]
	return err == nil && kind == wanted && (charset == "" || strings.EqualFold(charset, "utf-8"))
}

// readAll reads a body to its end. length is how long it says it is, below 0 when it
// does not say.
func readAll(body io.Reader, length int64) ([]byte, error) {
	if length < 0 {
		return io.ReadAll(body)
	}
	data := make([]byte, length)
	_, err := io.ReadFull(body, data)
	return data, err
}

// checkJSON refuses what is not exactly one JSON value in UTF-8 within the bounds, with
// each member's name once. Names that are not known are found when the value is read
// into its type.
func checkJSON(data []byte) error {
	d := jsontext.NewDecoder(bytes.NewBuffer(data))
	for values := 0; values == 0 || d.StackDepth() > 0; values++ {
		if values > mostValues {
			return &events.Refusal{Code: "too-many-values", Where: clip(string(d.StackPointer())), Want: fmt.Sprintf("at most %d values", mostValues)}
		}
		if err := checkToken(d); err != nil {
			return err
		}
	}
	return nothingBehind(d)
}

func nothingBehind(d *jsontext.Decoder) error {
	end := d.InputOffset()
	if _, err := d.ReadToken(); !errors.Is(err, io.EOF) {
		return &events.Refusal{Code: "trailing-text", Where: fmt.Sprintf("byte %d", end), Want: "one JSON value and nothing behind it"}
	}
	return nil
}

func checkToken(d *jsontext.Decoder) error {
	before := d.InputOffset()
	if d.PeekKind() == '"' {
		text, err := d.ReadValue()
		if err != nil {
			return unreadableJSON(err)
		}
		if len(text) > mostText {
			return &events.Refusal{Code: "too-long-text", Where: clip(string(d.StackPointer())), Was: fmt.Sprintf("%d bytes", len(text)), Want: fmt.Sprintf("at most %d bytes", mostText)}
		}
		if bytes.Contains(text, []byte(`\u0000`)) && holdsNUL(text) {
			return &events.Refusal{Code: "unreadable-text", Where: clip(string(d.StackPointer())), Was: "a NUL character", Want: "text without it"}
		}
	} else if token, err := d.ReadToken(); err != nil {
		return unreadableJSON(err)
	} else if n := int(d.InputOffset() - before); token.Kind() == '0' && n > mostNumber {
		return &events.Refusal{Code: "unreadable-number", Where: clip(string(d.StackPointer())), Was: fmt.Sprintf("%d digits", n), Want: fmt.Sprintf("a number of at most %d digits", mostNumber)}
	}
	depth := d.StackDepth()
	if depth > mostDepth {
		return &events.Refusal{Code: "too-deep", Where: clip(string(d.StackPointer())), Want: fmt.Sprintf("at most %d levels", mostDepth)}
	}
	kind, n := d.StackIndex(depth)
	if kind == '{' {
		n /= 2 // names and values
	}
	if n > mostItems {
		return &events.Refusal{Code: "too-many-values", Where: clip(string(d.StackPointer().Parent())), Want: fmt.Sprintf("at most %d items or members in one place", mostItems)}
	}
	return nil
}

// holdsNUL tells the escape of NUL from an escaped backslash before the same letters.
func holdsNUL(text jsontext.Value) bool {
	plain, err := jsontext.AppendUnquote(nil, text)
	return err == nil && bytes.IndexByte(plain, 0) >= 0
}

// unreadableJSON is the refusal for what the JSON reader found.
func unreadableJSON(err error) *events.Refusal {
	r := &events.Refusal{Code: "unreadable", Want: "JSON of the route's type, each member once and spelt exactly"}
	var semantic *json.SemanticError
	var syntactic *jsontext.SyntacticError
	switch {
	case errors.As(err, &semantic):
		r.Where = clip(string(semantic.JSONPointer))
		switch {
		case errors.Is(semantic.Err, json.ErrUnknownName):
			r.Code = "unknown-member"
		case semantic.Err != nil:
			if within := refusalIn(semantic.Err); within != nil {
				within.Where = r.Where + within.Where
				return within
			}
			r.Was = clip(semantic.Err.Error())
		default:
			r.Was = clip(string(semantic.JSONValue))
			if r.Was == "" {
				r.Was = "a JSON " + semantic.JSONKind.String()
			}
		}
	case errors.As(err, &syntactic):
		r.Where = clip(string(syntactic.JSONPointer))
		r.Was = clip(fmt.Sprintf("at byte %d: %v", syntactic.ByteOffset, syntactic.Err))
		if errors.Is(syntactic.Err, jsontext.ErrDuplicateName) {
			r.Code = "doubled-member"
		}
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		r.Was = "the end of the text"
	default:
		r.Was = clip(err.Error())
	}
	return r
}

func clip(s string) string {
	const most = 120
	s = strings.ToValidUTF8(s, "\ufffd")
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
