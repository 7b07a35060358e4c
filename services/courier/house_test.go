package courier

import (
	"context"
	"crypto/rand"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

const shed = `{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"}]}`

// loopback is the flag with which an operator allows receivers on this machine.
var loopback = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}

// quick is a patience for tests: three attempts, one after the other.
var quick = Patience{Tries: 3, First: time.Millisecond, Longest: 2 * time.Millisecond, Wait: 5 * time.Second, InARow: 20}

// house is a log with a company, a job, and a courier that runs.
type house struct {
	t       *testing.T
	log     *journal.Journal
	people  *access.Directory
	owner   access.Person
	jobs    *roofjob.Service
	courier *Courier
	stop    func()
}

func open(t *testing.T, change func(*Config)) *house {
	t.Helper()
	log, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	})
	return over(t, log, change)
}

// over is a house over a log.
func over(t *testing.T, log *journal.Journal, change func(*Config)) *house {
	t.Helper()
	people, err := access.Open(t.Context(), log, rand.Reader, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	h := &house{t: t, log: log, people: people, jobs: roofjob.NewService(log, time.Now, nowhere)}
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() {
		if err := people.Run(ctx); ctx.Err() == nil {
			t.Error(err)
		}
	})
	opened, err := people.OpenCompany(t.Context(), "Larch Roofs", "The owner")
	if err != nil {
		t.Fatal(err)
	}
	if h.owner, err = people.Who(opened.Token); err != nil {
		t.Fatal(err)
	}
	keys, err := OpenKeys(filepath.Join(t.TempDir(), "webhooks.key"), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	config := Config{Journal: log, People: people, Keys: keys, Guard: Guard{Allow: loopback}, Agent: "bydark/test", Patience: quick, Now: time.Now, Log: slog.New(slog.DiscardHandler)}
	if change != nil {
		change(&config)
	}
	h.courier = New(config)
	running.Go(func() {
		if err := h.courier.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	h.stop = sync.OnceFunc(func() { cancel(); running.Wait() })
	t.Cleanup(h.stop)
	h.openJob("shed")
	return h
}

func (h *house) openJob(job events.JobID) {
	h.t.Helper()
	doc, err := assembly.Document("flat-clip")
	if err != nil {
		h.t.Fatal(err)
	}
	if _, err = h.jobs.Open(h.t.Context(), h.owner.Company, roofjob.Opening{Job: job, Body: events.JobOpened{
		Name: "Shed", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: jsontext.Value(shed), Assembly: doc,
	}}, roofjob.Actor{Person: h.owner.ID}); err != nil {
		h.t.Fatal(err)
	}
}

// report has something happen; the note makes it tell-tale.
func (h *house) report(job events.JobID, note string) events.ReportID {
	h.t.Helper()
	id := events.ReportID(uuid.NewString())
	_, err := h.jobs.Take(h.t.Context(), h.owner.Company, job, events.Report{
		ID: id, At: time.Now().UTC(), Body: events.PunchRaised{Where: "A", What: note, Blocks: events.BlocksNothing},
	}, roofjob.Actor{Person: h.owner.ID, OthersReports: true})
	if err != nil {
		h.t.Fatal(err)
	}
	return id
}

func (h *house) subscribe(w Wish) (events.SubscriberID, string) {
	h.t.Helper()
	if w.By == "" {
		w.By = events.Webhook
	}
	if w.Wants == nil {
		w.Wants = []string{Everything}
	}
	id, secret, err := h.courier.Subscribe(h.t.Context(), h.owner, w)
	if err != nil {
		h.t.Fatal(err)
	}
	return id, secret
}

// received is one request that a receiver got.
type received struct {
	id, words string
	header    http.Header
	body      []byte
}

// receiver is a real HTTP server that tells of each request; answer says what it does.
type receiver struct {
	*httptest.Server
	got chan received
}

func receive(t *testing.T, answer func(http.ResponseWriter, *http.Request, received)) *receiver {
	t.Helper()
	r := &receiver{got: make(chan received, 1000)}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, err := io.ReadAll(q.Body)
		if err != nil {
			return // the sender went away
		}
		var doc struct {
			Data struct{ Words string } `json:"data"`
		}
		if err := json.Unmarshal(body, &doc, json.MatchCaseInsensitiveNames(true)); err != nil {
			t.Errorf("%s: %v", body, err)
		}
		got := received{q.Header.Get("webhook-id"), doc.Data.Words, q.Header.Clone(), body}
		r.got <- got
		if answer != nil {
			answer(w, q, got)
		}
	}))
	t.Cleanup(r.Close)
	return r
}

// next waits for the next request.
func (r *receiver) next(t *testing.T) received {
	t.Helper()
	select {
	case got := <-r.got:
		return got
	case <-t.Context().Done():
		t.Fatal("nothing came")
	case <-time.After(time.Minute):
		t.Fatal("nothing came for a minute")
	}
	return received{}
}

func (h *house) undelivered() []journal.Aside {
	h.t.Helper()
	list, err := h.courier.Undelivered(h.t.Context(), h.owner.Company, 0, 1000)
	if err != nil {
		h.t.Fatal(err)
	}
	return list
}

// until asks until it is so; each question goes to the log and takes its time.
func (h *house) until(what string, so func() bool) {
	h.t.Helper()
	for ctx, cancel := context.WithTimeout(h.t.Context(), time.Minute); ; {
		if so() {
			cancel()
			return
		}
		if ctx.Err() != nil {
			cancel()
			h.t.Fatalf("it never came to be that %s", what)
		}
		pause(ctx, 5*time.Millisecond)
	}
}

// nowhere knows of no report in another job.
func nowhere(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
