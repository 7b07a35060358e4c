package events

import (
	"errors"
	"fmt"
	"strings"
)

// Refusal is why something a person sent was turned away: shown to them whole. It is
// made where the rule lives.
type Refusal struct {
	// Code names the rule, in words joined by hyphens: unknown-mark.
	Code string `json:"code"`
	// Where is the place in what was sent, as a JSON pointer or a mark.
	Where string `json:"where,omitempty"`
	// Was is what stood there.
	Was string `json:"was,omitempty"`
	// Want is what would be right.
	Want string `json:"want,omitempty"`
	// Missing lists what a refused claim lacks, each in words.
	Missing []string `json:"missing,omitempty"`
}

// Error is one sentence: what was wrong, where, and what would be right.
func (r *Refusal) Error() string {
	var b strings.Builder
	b.WriteString(strings.ReplaceAll(r.Code, "-", " "))
	if r.Where != "" {
		fmt.Fprintf(&b, " at %s", r.Where)
	}
	if r.Was != "" {
		fmt.Fprintf(&b, ": %s", r.Was)
	}
	if r.Want != "" {
		fmt.Fprintf(&b, "; want %s", r.Want)
	}
	if len(r.Missing) > 0 {
		fmt.Fprintf(&b, "; missing: %s", strings.Join(r.Missing, "; "))
	}
	return b.String()
}

// RefusalIn finds the refusal in an error's chain; nil when there is none.
func RefusalIn(err error) *Refusal {
	var r *Refusal
	if errors.As(err, &r) {
		return r
	}
	return nil
}
