package journal

import (
	"errors"
	"fmt"
)

var (
	// ErrConflict: the subject's last event is no longer the one that was expected. Nothing was written. Load and decide again.
	ErrConflict = errors.New("somebody else wrote first")
	// ErrUnknown: no answer came. The event may be in the log or not; load, and look for its id.
	ErrUnknown = errors.New("no answer from the log, outcome unknown")
	// ErrNotFound: there is no such object, or not all of it yet.
	ErrNotFound = errors.New("not found")
	// ErrFull: the disk is at its watermark, or the broker is at its limit. Nothing was written.
	ErrFull = errors.New("no room in the log")
	// ErrTooLarge: the event, headers included, exceeds MaxEntry. Nothing was written.
	ErrTooLarge = errors.New("too large for one event")
	// ErrInvalid: the subject or an attribute cannot be stored. Nothing was written.
	ErrInvalid = errors.New("cannot be an event")
	// ErrLocked: another process holds the directory; the text names it.
	ErrLocked = errors.New("directory is in use")
	// ErrDamaged: what is stored is not what was written. The text says where; errors.As to *Damage gives the place.
	ErrDamaged = errors.New("log is damaged")
	// ErrUnfit: the broker, the stream or the disk is not set up to keep a log; the text says which setting and what it must be.
	ErrUnfit = errors.New("unfit to keep the log")
	// ErrOtherLog: a position or a sequence does not belong to this log: it is from another one, or from a later state of it.
	ErrOtherLog = errors.New("position is not of this log")
	// ErrClosed: the journal was closed.
	ErrClosed = errors.New("journal is closed")
)

// Damage is where a log is damaged. It is an ErrDamaged.
type Damage struct {
	Stream Stream
	File   string // a block file, or empty when the fault was found in what the broker handed out
	Offset int64  // first byte that cannot be read, in File
	Last   uint64 // last good sequence before it, 0 if there is none
	Reason string
}

// Error says place and reason.
func (d *Damage) Error() string {
	where := "stream " + string(d.Stream)
	if d.File != "" {
		where = fmt.Sprintf("%s, file %s at byte %d", where, d.File, d.Offset)
	}
	return fmt.Sprintf("%v: %s: %s; last good sequence %d, first missing %d", ErrDamaged, where, d.Reason, d.Last, d.Last+1)
}

// Is makes every Damage an ErrDamaged.
func (*Damage) Is(target error) bool { return target == ErrDamaged }
