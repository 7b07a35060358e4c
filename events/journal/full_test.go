package journal_test

import (
	"errors"
	"math"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// F16: at the disk's watermark reports are turned away, unharmed, and readiness says so.
func TestWatermark(t *testing.T) {
	j := journaltest.OpenWith(t, journal.Options{Dir: t.TempDir(), Spare: math.MaxInt64})
	if _, err := j.Append(t.Context(), subject, journal.Tail{}, journaltest.Event(1)); !errors.Is(err, journal.ErrFull) {
		t.Errorf("append: %v", err)
	}
	if _, err := j.PutObject(t.Context(), []byte("photo")); !errors.Is(err, journal.ErrFull) {
		t.Errorf("put: %v", err)
	}
	if err := j.Ready(t.Context()); !errors.Is(err, journal.ErrFull) {
		t.Errorf("ready: %v", err)
	}
	if n := len(journaltest.Load(t, j, subject, 0)); n != 0 {
		t.Errorf("%d events", n)
	}
}
