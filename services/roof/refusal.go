package roof

import (
	"fmt"
	"strings"
)

// Refusal tells why a roof cannot be read: which rule, where, what was there and what
// would be right. It is shown to people whole.
type Refusal struct {
	// Code names the rule: "zero-pitch", "self-crossing", "overlap" and so on.
	Code string `json:"code"`
	// Where names the plane and the point: "plane A, outline, point 3 (12', 0')".
	Where string `json:"where"`
	Was   string `json:"was,omitzero"`
	Want  string `json:"want"`
}

// Error is one sentence.
func (r *Refusal) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", r.Where, r.Code)
	if r.Was != "" {
		fmt.Fprintf(&b, ", was %s", r.Was)
	}
	if r.Want != "" {
		fmt.Fprintf(&b, "; want %s", r.Want)
	}
	return b.String()
}

func clip(s string) string {
	const most = 80
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

// place says where a point is, counted from 1 as people count.
func place(mark PlaneMark, ring string, i int, at Point) string {
	return fmt.Sprintf("plane %s, %s, point %d (%s, %s)", mark, ring, i+1, at.X, at.Y)
}
