package roofjob

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/takeoff"
)

// State is one job as its events tell it, folded in the order in which things
// happened, not in which they were heard of. It is not safe for several goroutines.
type State struct {
	Company events.CompanyID
	Job     events.JobID

	drawings *drawings
	// log holds every event, in the order of happening.
	log []events.Event
	// known holds the sequence of each event by its report's id.
	known map[events.ReportID]uint64
	// withdrawn holds the reports whose effect is taken back, and by which report.
	withdrawn map[events.ReportID]events.ReportID
	// last is the highest sequence that was added.
	last uint64

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
	first    *takeoff.Estimate
	roofDoc  []byte
	buildDoc []byte
	issued   time.Time

	work    map[events.Place]*work
	panels  map[events.PieceMark]*panel
	cuts    []Cut
	stock   map[events.MaterialID]*Movement
	moves   []Move
	offcuts []OffcutTurn
	orders  []Order
	// receipts are the lines of what came.
	receipts []receipt
	items    []*Item
	item     map[events.ReportID]*Item
	signed   map[string]Signature
	gauged   map[gauge]Gauge
	photos   map[events.ReportID][]events.PhotoDigest
	day      *events.DayStarted
	dayAt    time.Time
	days     int
	left     *Left
	heads    int
	closed   time.Time
	oddness  []Oddness
	worked   []worked
	// hasty are the steps, place/step, that were found done before their turn.
	hasty  map[string]bool
	latest time.Time
	// warnings are what the service itself said, in the order of happening.
	warnings []events.Event
}

// work is what was done at one place.
type work struct {
	opened  quantity.Amount
	done    map[events.StepID]*progress
	covered time.Time
	claimed time.Time
}

type progress struct {
	done, over  quantity.Amount
	first, last time.Time
}

// New is a job before its first event.
func New(company events.CompanyID, job events.JobID) *State {
	s := &State{
		Company: company, Job: job, drawings: new(drawings),
		known: map[events.ReportID]uint64{}, withdrawn: map[events.ReportID]events.ReportID{},
	}
	s.now = s.empty()
	return s
}

func (s *State) empty() fold {
	return fold{
		work: map[events.Place]*work{}, panels: map[events.PieceMark]*panel{}, stock: map[events.MaterialID]*Movement{},
		item: map[events.ReportID]*Item{}, signed: map[string]Signature{}, gauged: map[gauge]Gauge{},
		photos: map[events.ReportID][]events.PhotoDigest{}, hasty: map[string]bool{}, contradicts: map[gauge]bool{}, unfit: map[gauge][]events.ReportID{},
	}
}

// Add folds one more event in. An event that happened before one already known, or
// that changes what earlier ones mean, folds the job anew. An event whose documents
// cannot be read gives an error and leaves the state as it was.
func (s *State) Add(e events.Event) error {
	if _, ok := s.known[e.ID]; ok {
		return nil
	}
	at, _ := slices.BinarySearchFunc(s.log, e, func(a, b events.Event) int {
		if earlier(a, b) {
			return -1
		}
		return 1
	})
	s.log = slices.Insert(s.log, at, e)
	var err error
	_, correction := e.Body.(events.ReportWithdrawn)
	if at == len(s.log)-1 && !correction && s.withdrawn[e.ID] == "" {
		err = s.now.apply(s, e)
	} else {
		s.resolve()
		err = s.refold()
	}
	if err != nil {
		s.log = slices.Delete(s.log, at, at+1)
		s.resolve()
		if again := s.refold(); again != nil {
			return fmt.Errorf("fold job %s again: %w", s.Job, again)
		}
		return err
	}
	s.known[e.ID] = e.Sequence
	s.last = max(s.last, e.Sequence)
	return nil
}

// earlier orders events by when they happened. What opened the job comes first
// whatever its time: the roof was there before somebody wrote it down.
func earlier(a, b events.Event) bool {
	_, opensA := a.Body.(events.JobOpened)
	_, opensB := b.Body.(events.JobOpened)
	if opensA != opensB {
		return opensA
	}
	return a.Before(b)
}

// refold applies every effective event anew.
func (s *State) refold() error {
	s.now = s.empty()
	for _, e := range s.log {
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
// withdrawal, and any other report whatever its time.
func (s *State) resolve() {
	clear(s.withdrawn)
	for _, e := range slices.Backward(s.log) {
		w, ok := e.Body.(events.ReportWithdrawn)
		if !ok || s.withdrawn[e.ID] != "" {
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

// Event finds an event by its report's id.
func (s *State) Event(id events.ReportID) (events.Event, bool) {
	i := slices.IndexFunc(s.log, func(e events.Event) bool { return e.ID == id })
	if i < 0 {
		return events.Event{}, false
	}
	return s.log[i], true
}

// Events are all events in the order in which they happened; not to be written to.
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
