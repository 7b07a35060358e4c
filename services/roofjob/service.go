package roofjob

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/cutplan"

	"github.com/google/uuid"
)

// Service takes reports: it loads a job's state, decides, and appends. Any number of
// goroutines and processes may, on the same log: the log's expected sequence keeps
// their decisions one after the other.
type Service struct {
	// Log is told of snapshots that cannot be used or written; nil is slog.Default. It is
	// set before the service is used.
	Log *slog.Logger

	log *journal.Journal
	now func() time.Time

	ids     *ids
	keeping keeping

	mu   sync.Mutex // guards jobs
	jobs map[string]*desk
}

// desk is where the reports of one job are decided, one at a time.
type desk struct {
	company events.CompanyID
	job     events.JobID

	subject string

	mu    sync.Mutex // guards what follows
	state *State
	tail  journal.Tail
	kept  uint64 // the last event of the job's snapshot, as far as is known
	newer int    // events since
}

// NewService takes reports into a log; now is the clock for when they are recorded,
// holder finds the job in which an id was used before.
func NewService(log *journal.Journal, now func() time.Time, holder Holder) *Service {
	return &Service{log: log, now: now, ids: newIDs(holder), keeping: newKeeping(), jobs: map[string]*desk{}}
}

// The outcomes of a report that is not refused.
const (
	Accepted = "accepted"
	Repeated = "repeated"
)

// Outcome is what became of a report: where it stands in the log, and whether it
// already stood there.
type Outcome struct {
	Status   string
	Sequence uint64
	Recorded time.Time
}

const (
	// warmJobs is how many jobs' states are kept.
	warmJobs = 2000
	// mostTries is how often a decision is made again when others write first.
	mostTries = 1000
	source    = "bydark"
)

// Take decides one report and appends what it became. A refusal is an
// *events.Refusal; journal.ErrUnknown says that the outcome is not known and the same
// report is to be sent again; journal.ErrFull that there is no room now.
func (s *Service) Take(ctx context.Context, company events.CompanyID, job events.JobID, r events.Report, who Actor) (Outcome, error) {
	// No desk is held while another is asked, so that two jobs may send to each other.
	goal := true
	if moved, ok := r.Body.(events.MaterialMoved); ok {
		var err error
		if goal, err = s.Exists(ctx, company, moved.To); err != nil {
			return Outcome{}, err
		}
	}
	return s.work(ctx, company, job, events.Event{ID: r.ID, At: r.At, Body: r.Body}, func(state *State) (events.Event, error) {
		event, err := Decide(state, r, who, s.now())
		if moved, ok := r.Body.(events.MaterialMoved); ok && err == nil && !goal {
			return events.Event{}, movedWhere(moved.To)
		}
		return event, err
	}, func(events.Event) ([32]byte, error) {
		return digestOf(events.Event{ID: r.ID, At: r.At, By: who.Person, Body: r.Body})
	})
}

// Opening is what opens a job.
type Opening struct {
	Job  events.JobID
	Body events.JobOpened
}

// jobSpace makes the ids of the reports that open jobs (UUID version 5), so that
// opening a job twice is one report sent twice.
var jobSpace = uuid.MustParse("6f2b1c1e-5a0d-5f0e-9a43-5d1f0a3a7c11")

// Open opens a job. Opening it again with the same content is answered as the first
// time; with another it is refused.
func (s *Service) Open(ctx context.Context, company events.CompanyID, o Opening, who Actor) (Outcome, error) {
	id := events.ReportID(uuid.NewSHA1(jobSpace, []byte(string(company)+"/"+string(o.Job))).String())
	now := s.now().UTC()
	return s.work(ctx, company, o.Job, events.Event{ID: id, At: now, Body: o.Body}, func(*State) (events.Event, error) {
		if err := checkOpening(o.Body); err != nil {
			return events.Event{}, err
		}
		return events.Event{ID: id, At: now, Recorded: now, By: who.Person, Body: o.Body}, nil
	}, func(was events.Event) ([32]byte, error) {
		return digestOf(events.Event{ID: id, At: was.At, By: who.Person, Body: o.Body})
	})
}

func checkOpening(b events.JobOpened) error {
	if err := first(text("/name", b.Name, true), day("/start", b.Start, false)); err != nil {
		return err
	}
	switch {
	case !(b.Site.Lat >= -90 && b.Site.Lat <= 90):
		return &events.Refusal{Code: "impossible", Where: "/site/lat", Was: fmt.Sprint(b.Site.Lat), Want: "degrees north from -90 to 90"}
	case !(b.Site.Lon >= -180 && b.Site.Lon <= 180):
		return &events.Refusal{Code: "impossible", Where: "/site/lon", Was: fmt.Sprint(b.Site.Lon), Want: "degrees east from -180 to 180"}
	}
	if _, err := time.LoadLocation(b.Site.Zone); err != nil || b.Site.Zone == "" || b.Site.Zone == "Local" {
		return &events.Refusal{Code: "unknown-zone", Where: "/site/zone", Was: clip(b.Site.Zone), Want: "the IANA name of a time zone, such as America/New_York"}
	}
	if err := sunny(b.Site); err != nil {
		return err
	}
	w, err := readDrawing(b.Roof, b.Assembly)
	if err != nil {
		return err
	}
	if err := text("/colour", b.Colour, false); err != nil {
		return err
	}
	for id, price := range b.Prices {
		_, known := w.assembly.Material(id)
		if _, err := cutplan.ParsePrice(price); err != nil || !known {
			return &events.Refusal{Code: "no-price", Where: "/prices/" + string(id), Was: clip(price), Want: "a material of the assembly and the price of one pack, such as 38.50"}
		}
	}
	for id, days := range b.LeadDays {
		if _, ok := w.assembly.Material(id); !ok || days < 0 || days > 400 {
			return &events.Refusal{Code: "bad-lead-days", Where: "/lead_days/" + string(id), Was: fmt.Sprint(days), Want: "a material of the assembly and 0 to 400 days"}
		}
	}
	return nil
}

// sunny refuses a longitude whose noon is more than four hours off noon by the zone's
// standard time: its minus is missing, or the zone is another place's. Zones themselves are
// at most some three hours off (the west of China). Noon is the mean sun's, 15° an hour.
func sunny(site events.Site) error {
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		return fmt.Errorf("zone of the site: %w", err)
	}
	const day, most = 24 * 60, 4 * 60 // minutes
	_, winter := time.Date(2026, 1, 1, 12, 0, 0, 0, zone).Zone()
	_, summer := time.Date(2026, 7, 1, 12, 0, 0, 0, zone).Zone()
	noon := ((day/2+min(winter, summer)/60-int(math.Round(4*site.Lon)))%day + day) % day
	if off := noon - day/2; off >= -most && off <= most {
		return nil
	}
	at := fmt.Sprintf("%g° east", site.Lon)
	if site.Lon < 0 {
		at = fmt.Sprintf("%g° west", -site.Lon)
	}
	return &events.Refusal{
		Code: "impossible", Where: "/site/lon", Was: fmt.Sprintf("at %s noon is at %02d:%02d of %s", at, noon/60, noon%60, site.Zone),
		Want: "degrees east of a place in the zone: is a minus missing?",
	}
}

// work is the loop of every write: load, look for our own id, decide, append; when
// somebody wrote first, or no answer came, load and look again.
func (s *Service) work(
	ctx context.Context, company events.CompanyID, job events.JobID,
	probe events.Event, decide func(*State) (events.Event, error), digest func(was events.Event) ([32]byte, error),
) (Outcome, error) {
	subject, err := journal.RoofSubject(string(company), string(job))
	if err != nil {
		return Outcome{}, &events.Refusal{Code: "unreadable-id", Was: clip(string(job)), Want: "a job id of letters, digits, hyphens and underlines, at most 64"}
	}
	d := s.desk(subject, company, job)
	d.mu.Lock()
	defer d.mu.Unlock()
	id := probe.ID
	ours := false // an append of ours has an unknown end
	for try := 0; ; try++ {
		if d.state.Last() == 0 || try > 0 {
			if err := s.load(ctx, d); err != nil {
				return Outcome{}, err
			}
		}
		if err := d.reach(ctx, s.log, probe); err != nil {
			return Outcome{}, err
		}
		if sequence, ok := d.state.ids.sequence(id); ok {
			was, err := d.taken(ctx, s.log, id, sequence)
			if err != nil {
				return Outcome{}, err
			}
			return repeated(was, ours, digest)
		}
		event, err := decide(d.state)
		if err != nil {
			return Outcome{}, err
		}
		if other := s.ids.elsewhere(ctx, company, job, id, s.now()); other != "" {
			return Outcome{}, &events.Refusal{
				Code: "id-reused", Where: "/id", Was: string(id), Want: "a new id for a new report",
				Missing: []string{"job " + string(other) + " has a report of this id"},
			}
		}
		tail, err := s.append(ctx, subject, d.tail, event, company)
		if err == nil {
			event.Sequence, event.Recorded = tail.Sequence, tail.Recorded
			d.tail = tail
			if err := d.state.Add(event); err != nil {
				// It is in the log, so it counts; the state is read anew next time.
				s.forget(subject)
			} else {
				d.newer++
				s.keepSoon(d)
			}
			return Outcome{Accepted, tail.Sequence, tail.Recorded}, nil
		}
		ours = ours || errors.Is(err, journal.ErrUnknown)
		if !errors.Is(err, journal.ErrConflict) && !errors.Is(err, journal.ErrUnknown) || try == mostTries || ctx.Err() != nil {
			s.forget(subject)
			return Outcome{}, fmt.Errorf("append to %s after %d: %w", subject, d.tail.Sequence, err)
		}
	}
}

// taken is an event that the log already holds.
func (d *desk) taken(ctx context.Context, log *journal.Journal, id events.ReportID, sequence uint64) (events.Event, error) {
	if was, ok := d.state.Event(id); ok {
		return was, nil
	}
	entry, err := log.Event(ctx, journal.Roof, sequence)
	if err != nil {
		return events.Event{}, fmt.Errorf("read event %d, which has the id %s: %w", sequence, id, err)
	}
	if entry.ID != string(id) {
		return events.Event{}, fmt.Errorf("event %d has the id %s, not %s", sequence, entry.ID, id)
	}
	return EventOf(entry)
}

// repeated answers a report that the log already holds.
func repeated(was events.Event, ours bool, digest func(events.Event) ([32]byte, error)) (Outcome, error) {
	before, err := digestOf(was)
	if err != nil {
		return Outcome{}, err
	}
	now, err := digest(was)
	if err != nil {
		return Outcome{}, err
	}
	if now != before {
		return Outcome{}, &events.Refusal{
			Code: "id-reused", Where: "/id", Was: string(was.ID), Want: "a new id for a new report, or the same report unchanged",
			Missing: []string{fmt.Sprintf("event %d of the log has this id", was.Sequence)},
		}
	}
	status := Repeated
	if ours {
		status = Accepted
	}
	return Outcome{status, was.Sequence, was.Recorded}, nil
}

func (s *Service) append(ctx context.Context, subject string, tail journal.Tail, e events.Event, company events.CompanyID) (journal.Tail, error) {
	data, err := events.Encode(e.Body)
	if err != nil {
		return journal.Tail{}, err
	}
	return s.log.Append(ctx, subject, tail, journal.Entry{
		ID: string(e.ID), Type: e.Type(), Source: source + "/" + string(company), About: strings.TrimPrefix(subject, "roof."),
		Time: e.At, Recorded: e.Recorded, By: string(e.By), Data: data,
	})
}

// errFold says that the job's events could not be folded.
var errFold = errors.New("fold")

// reach goes back as far as an event needs that is to be decided, and loads what happened since.
func (d *desk) reach(ctx context.Context, log *journal.Journal, e events.Event) error {
	if d.state.reaches(e) {
		return nil
	}
	if err := d.goBack(e); err != nil {
		return err
	}
	return d.catchUp(ctx, log)
}

func (d *desk) goBack(e events.Event) (err error) {
	if d.state, d.tail, err = d.state.backTo(e); err != nil {
		d.state, d.tail = deciding(d.company, d.job), journal.Tail{}
		return fmt.Errorf("go back to before %s: %w", e.At.Format(time.RFC3339), err)
	}
	return nil
}

// catchUp adds what the log has after the desk's tail.
func (d *desk) catchUp(ctx context.Context, log *journal.Journal) error {
	for {
		entries, err := log.LoadAfter(ctx, d.subject, d.tail)
		if err != nil {
			return fmt.Errorf("load %s after %d: %w", d.subject, d.tail.Sequence, err)
		}
		past, err := d.add(entries)
		if err != nil {
			after := d.tail.Sequence
			d.state, d.tail = deciding(d.company, d.job), journal.Tail{} // half of it may be in
			return fmt.Errorf("%w %s after %d: %w", errFold, d.subject, after, err)
		}
		if past == nil {
			return nil
		}
		if err := d.goBack(*past); err != nil {
			return err
		}
	}
}

// add adds entries of the log up to one that needs earlier events, which it answers.
func (d *desk) add(entries []journal.Entry) (past *events.Event, err error) {
	all := make([]events.Event, len(entries))
	for i, e := range entries {
		if all[i], err = EventOf(e); err != nil {
			return nil, err
		}
	}
	switch err := d.state.AddAll(all); {
	case errors.Is(err, errPast):
		i := slices.IndexFunc(all, func(e events.Event) bool { return !d.state.reaches(e) })
		return &all[i], nil
	case err != nil:
		return nil, err
	}
	if n := len(entries); n > 0 {
		d.tail = entries[n-1].Tail()
		d.newer += n
	}
	return nil, nil
}

func (s *Service) desk(subject string, company events.CompanyID, job events.JobID) *desk {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := s.jobs[subject]
	if d == nil {
		for other := range s.jobs {
			if len(s.jobs) < warmJobs {
				break
			}
			delete(s.jobs, other)
		}
		d = &desk{company: company, job: job, subject: subject, state: deciding(company, job)}
		s.jobs[subject] = d
	}
	return d
}

// forget drops a job's state, which the next report loads anew.
func (s *Service) forget(subject string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.jobs, subject)
}

// Exists tells whether a company has a job.
func (s *Service) Exists(ctx context.Context, company events.CompanyID, job events.JobID) (bool, error) {
	_, known, err := s.Site(ctx, company, job)
	return known, err
}

// Site is where a company's job stands, by the log and not by a view that may lag behind it;
// false when there is no such job.
func (s *Service) Site(ctx context.Context, company events.CompanyID, job events.JobID) (events.Site, bool, error) {
	subject, err := journal.RoofSubject(string(company), string(job))
	if err != nil {
		return events.Site{}, false, nil
	}
	d := s.desk(subject, company, job)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state.Opened() == nil {
		if err := s.load(ctx, d); err != nil {
			return events.Site{}, false, err
		}
	}
	opened := d.state.Opened()
	if opened == nil {
		s.forget(subject)
		return events.Site{}, false, nil
	}
	return opened.Site, true, nil
}
