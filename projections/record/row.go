package record

import (
	"fmt"
	"strings"
	"time"

	"bydark/events/journal"
	"bydark/projections"
)

// row is an event as it stands in the table.
type row struct {
	Sequence int64
	ID       string
	Type     string
	Said     string `db:"happened_said"` // when it happened, as the reporter wrote it; the column happened is there to compare
	Recorded string
	Reporter string
	Source   string
	About    string
	Data     []byte
	Digest   string
	Prev     string
}

// entry is the event, as the log gave it. A row that cannot be read was changed behind our back.
func (r row) entry(subject string) (journal.Entry, error) {
	happened, err := time.Parse(time.RFC3339Nano, r.Said)
	if err != nil {
		return journal.Entry{}, fmt.Errorf("%w: %w", projections.ErrDamaged, err)
	}
	recorded, err := time.Parse(time.RFC3339Nano, r.Recorded)
	if err != nil {
		return journal.Entry{}, fmt.Errorf("%w: %w", projections.ErrDamaged, err)
	}
	digest, err := journal.ParseDigest(r.Digest)
	if err != nil {
		return journal.Entry{}, fmt.Errorf("%w: %w", projections.ErrDamaged, err)
	}
	prev, err := journal.ParseDigest(r.Prev)
	if err != nil {
		return journal.Entry{}, fmt.Errorf("%w: %w", projections.ErrDamaged, err)
	}
	return journal.Entry{
		ID: unescape(r.ID), Type: unescape(r.Type), Source: unescape(r.Source), About: unescape(r.About), By: unescape(r.Reporter),
		Time: happened, Recorded: recorded, Data: r.Data,
		Subject: subject, Sequence: uint64(r.Sequence), Digest: digest, Prev: prev,
	}, nil
}

// escape writes any bytes as a text that every database takes: NUL, bytes that are not UTF-8, and backslashes become \XX. Almost no text
// is changed.
func escape(s string) string {
	if !strings.ContainsAny(s, "\x00\\") && strings.ToValidUTF8(s, "") == s {
		return s
	}
	var b strings.Builder
	for _, c := range []byte(s) {
		if c == 0 || c == '\\' || c >= 0x80 {
			fmt.Fprintf(&b, `\%02X`, c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

// unescape is the inverse of escape.
func unescape(s string) string {
	var b strings.Builder
	for {
		i := strings.IndexByte(s, '\\')
		if i < 0 || i+3 > len(s) {
			b.WriteString(s)
			return b.String()
		}
		var c byte
		if _, err := fmt.Sscanf(s[i+1:i+3], "%02X", &c); err != nil {
			b.WriteString(s[:i+3])
		} else {
			b.WriteString(s[:i])
			b.WriteByte(c)
		}
		s = s[i+3:]
	}
}
