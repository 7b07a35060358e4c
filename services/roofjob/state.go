package roofjob

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/takeoff"
)

// State is one job as its events tell it, folded in the order in which things
// happened, not in which they were heard of. It is not safe for several goroutines.
//
// A state that views are made of holds every event. One that only decides holds what
// decisions go by, the ids it has had, and some earlier states of its own (footings): an
// event that comes late or takes another back needs the log from one of those on.
type State struct {
	Company events.CompanyID
	Job     events.JobID

	drawings *drawings
	decides  bool
	// log holds the events after the sequence since, in the order of happening.
	log   []events.Event
	since uint64
	ids   taken
	// withdrawn holds the reports whose effect is taken back, and by which report.
	withdrawn map[events.ReportID]events.ReportID
	// pending holds, of reports that have not come, where the first withdrawal of each stands.
	pending map[events.ReportID]uint64
	// newest is the latest event in the order of happening, last the highest sequence.
	newest mark
	last   uint64

	footings []footing
	papers   papers
	// wentBack tells that the log was needed since the last settling.
	wentBack bool

	now fold
}

// fold is everything that follows from the effective events; it is made anew when an
// event comes that is not the latest.
type fold struct {
	opened *events.JobOpened
	// drawing is in force: drawn, as the roof file has it, re-solved by what was measured.
	drawing, drawn *drawing
	// tape are the measures of the drawn roof's geometry, resolved what they make of it, and
	// contradicts those that had an item raised because they contradict others.
	tape        []events.MeasureTaken
	resolved    *takeoff.Remeasured
	contradicts map[gauge]bool
	// unfit are the reports that measured a thing out of tolerance since it last fitted.
	unfit    map[gauge][]events.ReportID
	first    sheet
	roofDoc  []byte
	buildDoc []byte
	issued   time.Time

	work   map[events.Place]*work
	panels map[events.PieceMark]*panel
	stock  map[events.MaterialID]*Movement
	metal  metal
	items  []*Item
	item   map[events.ReportID]*Item
	// earlier are items that were read back and nobody has asked for, before the others.
	earlier    string
	earlierIDs taken
	signed     map[string]Signature
	gauged     map[gauge]Gauge
	photos     map[events.ReportID][]events.PhotoDigest
	day        *events.DayStarted
	dayAt      time.Time
	days       int
	left       *Left
	heads      int
	closed     time.Time
	timing     timing
	// hasty are the steps, place/step, that were found done before their turn.
	hasty  map[string]bool
	latest time.Time
	// warnings are what the service itself said, in the order of happening.
	warnings []events.Event
	// told is nil in a state that decides.
	told *history
}

// metal is the panel metal used as cuts tell it, and when they were made; beyond is
// beyond what can be summed up.
type metal struct {
	used         quantity.Amount
	told, beyond bool
	first, last  time.Time
}

// work is what was done at one place.
type work struct {
	opened quantity.Amount
	// stripped tells that nothing of the old roof is left on a plane.
	stripped bool
	done     map[events.StepID]*progress
	// lifted are panels that came off with a part of a plane and were not set again.
	lifted  int
	covered time.Time
	claimed time.Time
	// bared is when deck was last opened, reopened when it was that had been worked on.
	bared, reopened time.Time
}

type progress struct {
	done, over quantity.Amount
	// lost was done and taken off again.
	lost        quantity.Amount
	first, last time.Time
}

// New is a job before its first event.
func New(company events.CompanyID, job events.JobID) *State {
	s := &State{
		Company: company, Job: job, drawings: new(drawings),
		withdrawn: map[events.ReportID]events.ReportID{}, pending: map[events.ReportID]uint64{},
	}
	s.now = s.empty()
	return s
}

func (s *State) empty() fold {
	f := fold{
		work: map[events.Place]*work{}, panels: map[events.PieceMark]*panel{}, stock: map[events.MaterialID]*Movement{},
		item: map[events.ReportID]*Item{}, signed: map[string]Signature{}, gauged: map[gauge]Gauge{},
		photos: map[events.ReportID][]events.PhotoDigest{}, hasty: map[string]bool{}, contradicts: map[gauge]bool{}, unfit: map[gauge][]events.ReportID{},
	}
	if !s.decides {
		f.told = new(history)
	}
	return f
}

// Add folds one more event in. An event that happened before one already known, or
// that changes what earlier ones mean, folds the job anew. An event whose documents
// cannot be read gives an error and leaves a state that holds every event as it was. A
// state that decides fails with errPast when it lacks events, and is not to be used
// after another error.
func (s *State) Add(e events.Event) error {
	if _, ok := s.ids.sequence(e.ID); ok {
		return nil
	}
	if !s.reaches(e) {
		return errPast
	}
	plain := s.isPlain(e)
	s.leave(e)
	at, _ := slices.BinarySearchFunc(s.log, e, func(a, b events.Event) int {
		if earlier(markOf(a), markOf(b)) {
			return -1
		}
		return 1
	})
	s.log = slices.Insert(s.log, at, e)
	if err := s.take(e, plain); err != nil {
		s.log = slices.Delete(s.log, at, at+1)
		if s.decides {
			return err
		}
		if again := s.refold(); again != nil {
			return fmt.Errorf("fold job %s again: %w", s.Job, again)
		}
		return err
	}
	s.note(e)
	return nil
}

func (s *State) take(e events.Event, plain bool) error {
	if plain {
		return s.now.apply(s, e)
	}
	return s.refold()
}

// note keeps which event has come.
func (s *State) note(e events.Event) {
	s.ids.add(e.ID, e.Sequence)
	s.last = max(s.last, e.Sequence)
	if m := markOf(e); s.newest == (mark{}) || earlier(s.newest, m) {
		s.newest = m
	}
	delete(s.pending, e.ID)
	if w, ok := e.Body.(events.ReportWithdrawn); ok && w.Report != e.ID {
		if _, known := s.ids.sequence(w.Report); known {
			return
		}
		if first, ok := s.pending[w.Report]; !ok || e.Sequence < first {
			s.pending[w.Report] = e.Sequence
		}
	}
}

// mark is an event's place in the order of happening.
type mark struct {
	at    time.Time
	id    events.ReportID
	opens bool
}

func markOf(e events.Event) mark {
	_, opens := e.Body.(events.JobOpened)
	return mark{e.At, e.ID, opens}
}

// earlier orders events by when they happened. What opened the job comes first
// whatever its time: the roof was there before somebody wrote it down.
func earlier(a, b mark) bool {
	if a.opens != b.opens {
		return a.opens
	}
	return events.Event{ID: a.id, At: a.at}.Before(events.Event{ID: b.id, At: b.at})
}

// refold finds anew which reports are withdrawn, and applies all the others, from the
// last footing on.
func (s *State) refold() error {
	from := &State{now: s.empty(), withdrawn: map[events.ReportID]events.ReportID{}}
	if n := len(s.footings); n > 0 {
		var err error
		if from, err = s.at(n - 1); err != nil {
			return err
		}
	}
	s.wentBack = true
	rest := s.log
	if from.last > 0 {
		rest = slices.DeleteFunc(slices.Clone(s.log), func(e events.Event) bool { return e.Sequence <= from.last })
	}
	s.withdrawn = maps.Clone(from.withdrawn)
	s.resolve(rest, from.withdrawn)
	s.now = from.now
	for _, e := range rest {
		if s.withdrawn[e.ID] != "" {
			continue
		}
		if err := s.now.apply(s, e); err != nil {
			return fmt.Errorf("event %d, %s: %w", e.Sequence, e.Type(), err)
		}
	}
	return nil
}

// resolve finds which reports are withdrawn. Later withdrawals are heard first, so
// that one withdrawn itself takes nothing back; a withdrawal reaches an earlier
// withdrawal, and any other report whatever its time. None reaches from those that are
// given to earlier ones, or there would be no footing between them; but of those of one
// report that has not come the first counts.
func (s *State) resolve(rest []events.Event, before map[events.ReportID]events.ReportID) {
	for _, e := range slices.Backward(rest) {
		w, ok := e.Body.(events.ReportWithdrawn)
		if !ok || s.withdrawn[e.ID] != "" || before[w.Report] != "" {
			continue
		}
		if target, ok := s.Event(w.Report); ok {
			if _, also := target.Body.(events.ReportWithdrawn); also && !target.Before(e) {
				continue
			}
			if _, opened := target.Body.(events.JobOpened); opened || events.Warning(target.Body) || w.Own && target.By != e.By {
				continue
			}
		}
		s.withdrawn[w.Report] = e.ID
	}
}

// Event finds an event by its report's id, among those that the state holds.
func (s *State) Event(id events.ReportID) (events.Event, bool) {
	i := slices.IndexFunc(s.log, func(e events.Event) bool { return e.ID == id })
	if i < 0 {
		return events.Event{}, false
	}
	return s.log[i], true
}

// Events are the events that the state holds in the order in which they happened; not to
// be written to.
func (s *State) Events() []events.Event { return s.log }

// Withdrawn tells by which report another was taken back; empty when it stands.
func (s *State) Withdrawn(id events.ReportID) events.ReportID { return s.withdrawn[id] }

// Last is the highest sequence that the state knows of; zero before any.
func (s *State) Last() uint64 { return s.last }

// Latest is when the latest effective event happened.
func (s *State) Latest() time.Time { return s.now.latest }

// Warnings are what the service itself warned of and took back, in the order in which
// it did; not to be written to.
func (s *State) Warnings() []events.Event { return s.now.warnings }

// Opened is the event that began the job; nil before it.
func (s *State) Opened() *events.JobOpened { return s.now.opened }

// digestOf is what two sendings of one report must agree in: what its sender wrote, not
// what the sender's role added.
func digestOf(e events.Event) ([sha256.Size]byte, error) {
	if w, ok := e.Body.(events.ReportWithdrawn); ok {
		w.Own = false
		e.Body = w
	}
	data, err := events.Encode(e.Body)
	if err != nil {
		return [sha256.Size]byte{}, err
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n", e.Type(), e.At.UTC().Format(time.RFC3339Nano), e.By)
	h.Write(data)
	return [sha256.Size]byte(h.Sum(nil)), nil
}
