// Package projections turns the log into tables that can be asked: it follows a stream, folds each job's events, lets every view write
// its rows, and moves a checkpoint, all in one SQL transaction. The log is the truth; whatever stands in a table can be thrown away and
// folded again, and comes out the same.
//
// A Store is the database, SQLite in a directory or PostgreSQL. A Runner folds one stream into it. Several runners, in one process or in
// many, may work on the same stream and store: each batch begins by moving the checkpoint from where this runner left it, and a runner
// that finds it elsewhere has written nothing.
//
// The runner knows nothing of what events mean. It is given a Fold, which makes a job's state out of its events, the Views, which make
// rows out of states, and a History, which keeps the events themselves so that a state can be folded again.
package projections

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"

	"bydark/events/journal"
)

// Fold makes the state of a job out of its events. Its functions are pure and must give the same for the same arguments, whenever and
// wherever they run.
type Fold[S any] struct {
	// Version counts the meanings that Apply has had. A new one makes every runner fold all from the beginning.
	Version int
	// New is the state of a job without events. Jobs are folded by several goroutines at once when all are folded from the beginning.
	New func(company, job string) S
	// Apply is the state after one more event. It may change the state that it is given. When it fails or panics, the job is stopped
	// there and the others go on.
	Apply func(S, journal.Entry) (S, error)
	// ApplyAll is Apply for several events, in their order, if that can be done faster together; otherwise nil. When it fails or panics,
	// the state is thrown away and the events are applied one by one.
	ApplyAll func(S, []journal.Entry) (S, error)
}

// View is a set of tables made from the states of jobs. A view belongs to one runner; its methods are called by one goroutine at a time.
type View[S any] interface {
	// Name is the view's name, unique in its runner; it is part of the checkpoint.
	Name() string
	// Version counts the shapes and meanings that the rows have had. A new one makes every runner fold all from the beginning.
	Version() int
	// Tables are the tables that the view alone writes. Each has the columns company and job, and a primary key.
	Tables() []string
	// Write makes the rows of the given jobs be those of their states, whatever they were before. Each job stands in changes once. It may
	// run several times for one change, because its transaction may be rolled back; it must not keep the states.
	Write(ctx context.Context, tx *Tx, changes []Change[S]) error
}

// Change is what a batch did to one job.
type Change[S any] struct {
	Company, Job string // Job is empty in a stream that has no jobs
	Sequence     uint64 // of the last event in State
	State        S
	written      written
}

// History keeps events in tables, from which the runner folds states again. It keeps those of stopped jobs too.
type History interface {
	// Name is that of the table of events; it is part of the checkpoint.
	Name() string
	Version() int
	Tables() []string
	// Keep writes events that were not written before, those of a job in the order of the log. It must not fail because of what they contain.
	Keep(ctx context.Context, tx *Tx, entries []journal.Entry) error
	// Past gives some of a job's events with sequences above after and up to upto, in order and beginning with the first; none only if
	// there are none.
	Past(ctx context.Context, tx *Tx, company, job string, after, upto uint64) ([]journal.Entry, error)
	// Dump writes the events, and nothing of how they lie in the table, as Runner.Dump writes rows.
	Dump(ctx context.Context, tx *Tx, w io.Writer) error
}

// place is a job of a company.
type place struct{ company, job string }

// placeOf reads company and job from a subject, which the journal has checked.
func placeOf(e journal.Entry) place {
	_, ids, _ := strings.Cut(e.Subject, ".")
	company, job, _ := strings.Cut(ids, ".")
	return place{company, job}
}

func (p place) String() string { return strings.TrimSuffix(p.company+"."+p.job, ".") }

// foldVersion names a fold and its views: rows of another version mean something else.
func foldVersion[S any](stream journal.Stream, fold Fold[S], h History, views []View[S]) string {
	sum := sha256.New()
	fmt.Fprintf(sum, "%s %d\n%s %d\n", stream, fold.Version, h.Name(), h.Version())
	for _, v := range views {
		fmt.Fprintf(sum, "%s %d\n", v.Name(), v.Version())
	}
	return fmt.Sprintf("%x", sum.Sum(nil)[:16])
}
