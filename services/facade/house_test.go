package facade

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json/v2"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/checklist"
	"bydark/projections/evidence"
	"bydark/projections/exposure"
	"bydark/projections/ledger"
	"bydark/projections/punch"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/courier"
	"bydark/services/photos"
	"bydark/services/roofjob"
	"bydark/services/sky"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// house is a whole service on a port of its own, with two companies.
type house struct {
	*Server
	t       testing.TB
	url     string
	journal *journal.Journal
	feed    *feed
	logged  *logged
	a, b    firm
	picture string // company b's
	stop    func()
}

// firm is a company with a person in each role.
type firm struct {
	company events.CompanyID
	people  map[events.Role]access.Person
	tokens  map[events.Role]access.Issued
	// subscriber is company b's.
	subscriber events.SubscriberID
}

func (f firm) token(r events.Role) string { return f.tokens[r].Token }

// holderIn finds who holds an id as the program does.
func holderIn(store *projections.Store) roofjob.Holder {
	return func(ctx context.Context, company events.CompanyID, id events.ReportID) (job events.JobID) {
		_ = store.Read(ctx, func(tx *projections.Tx) error {
			found, err := record.Roof().Holder(ctx, tx, string(company), string(id))
			job = events.JobID(found)
			return err
		})
		return job
	}
}

// open serves with what the test changes in the dependencies.
func open(t testing.TB, change ...func(*Deps)) *house {
	t.Helper()
	h := &house{t: t, journal: journaltest.Open(t), feed: newFeed(), logged: &logged{}}
	people, err := access.Open(t.Context(), h.journal, rand.Reader, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(h.logged, &slog.HandlerOptions{Level: slog.LevelDebug}))
	store, err := projections.OpenSQLite(t.Context(), t.TempDir(), log)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	runner := projections.NewRunner(projections.Config[*roofjob.State]{
		Journal: h.journal, Stream: journal.Roof, Store: store, History: record.Roof(), Now: time.Now, Log: log,
		Views: []projections.View[*roofjob.State]{
			board.View, ledger.Lines, ledger.Oddities, ledger.Moves, ledger.Offcuts, exposure.View, punch.View, checklist.View, evidence.View{},
		},
		Fold: projections.Fold[*roofjob.State]{Version: roofjob.FoldVersion, Apply: roofjob.Apply, New: func(company, job string) *roofjob.State {
			return roofjob.New(events.CompanyID(company), events.JobID(job))
		}},
	})
	d := Deps{
		People: people, Log: log, Now: time.Now, Version: "test",
		Jobs: roofjob.NewService(h.journal, time.Now, holderIn(store)), Store: store, Runner: runner, Sky: sky.New(h.journal, time.Now), Photos: photos.New(h.journal),
		Metrics: prometheus.NewRegistry(), Subscribe: h.feed.subscribe,
		Ready: []Check{{"log", func(context.Context) error { return nil }}},
	}
	keys, err := courier.OpenKeys(filepath.Join(t.TempDir(), "webhooks.key"), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	d.Courier = courier.New(courier.Config{Journal: h.journal, People: people, Keys: keys, Now: time.Now, Log: log})
	for _, c := range change {
		c(&d)
	}
	if h.Server, err = New(d); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h.url = "http://" + l.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	for _, run := range []func(context.Context) error{people.Run, runner.Run, func(ctx context.Context) error { return h.Run(ctx, l) }} {
		running.Go(func() {
			if err := run(ctx); err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, journal.ErrClosed) {
				t.Errorf("ended with %v", err)
			}
		})
	}
	h.stop = sync.OnceFunc(func() {
		http.DefaultClient.CloseIdleConnections()
		cancel()
		running.Wait()
	})
	t.Cleanup(h.stop)
	h.a, h.b = h.firm("Larch"), h.firm("Aspen")
	h.built()
	return h
}

func (h *house) firm(name string) firm {
	h.t.Helper()
	o, err := h.People.OpenCompany(h.t.Context(), name, name+" owner")
	if err != nil {
		h.t.Fatal(err)
	}
	owner, err := h.People.Who(o.Token)
	if err != nil {
		h.t.Fatal(err)
	}
	f := firm{o.Company, map[events.Role]access.Person{access.Owner: owner}, map[events.Role]access.Issued{}, ""}
	for _, role := range access.Roles() {
		if role != access.Owner {
			id, err := h.People.AddPerson(h.t.Context(), owner, name+" "+string(role), role)
			if err != nil {
				h.t.Fatal(err)
			}
			f.people[role] = access.Person{Company: o.Company, ID: id, Name: name + " " + string(role), Role: role}
		}
		if f.tokens[role], err = h.People.IssueToken(h.t.Context(), owner, f.people[role].ID); err != nil {
			h.t.Fatal(err)
		}
	}
	return f
}

// shed is a roof of one plane; the marks of its edges are eave-1 and so on.
const shed = `{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"}]}`

func newShed(id string) string {
	return `{"id":"` + id + `","name":"Shed by the mill","site":{"lat":40.7,"lon":-74,"zone":"America/New_York"},"roof":` + shed + `,"assembly":"` + assembly.Shipped()[0] + `"}`
}

// built gives company b a job with a report that names a picture.
func (h *house) built() {
	h.t.Helper()
	if got := h.ask(post, "/v1/jobs", h.b.token(access.Owner), newShed("theirs")); got.status != http.StatusCreated {
		h.t.Fatalf("open a job: %d %s", got.status, got.body)
	}
	got := h.ask(post, "/v1/photos", h.b.token(access.Owner), picture(), header("Content-Type", "image/png"))
	var kept keptPhoto
	if err := json.Unmarshal([]byte(got.body), &kept); err != nil || got.status != http.StatusCreated {
		h.t.Fatalf("keep a picture: %d %s, %v", got.status, got.body, err)
	}
	h.picture = string(kept.Photo)
	h.send1(h.b, "theirs", `"type":"punch-raised","where":"A","what":"loose","blocks":"night","photos":["`+h.picture+`"]`)
	var err error
	if h.b.subscriber, _, err = h.Courier.Subscribe(h.t.Context(), h.b.people[access.Owner], courier.Wish{By: events.Webhook, To: "https://hooks.aspen.example/"}); err != nil {
		h.t.Fatal(err)
	}
	if err := h.journal.SetAside(h.t.Context(), journal.Aside{
		Company: string(h.b.company), Reader: string(h.b.subscriber), Sequence: 1, Subject: "roof." + string(h.b.company) + ".theirs", Reason: "it answered 500", Set: time.Now(),
	}); err != nil {
		h.t.Fatal(err)
	}
}

// picture is a small one.
func picture() string {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		panic(err)
	}
	return b.String()
}

// send1 sends the owner's report and waits until the views have it.
func (h *house) send1(f firm, job, members string) {
	h.t.Helper()
	body := `{"reports":[{"id":"` + uuid.NewString() + `","at":"` + time.Now().UTC().Add(-time.Second).Format(time.RFC3339Nano) + `",` + members + `}]}`
	got := h.ask(post, "/v1/jobs/"+job+"/reports", f.token(access.Owner), body)
	var out resultsDoc
	if err := json.Unmarshal([]byte(got.body), &out); err != nil || len(out.Results) != 1 || out.Results[0].Status != "accepted" {
		h.t.Fatalf("send a report: %d %s, %v", got.status, got.body, err)
	}
	if got := h.ask(get, fmt.Sprintf("/v1/jobs/%s?after=%d", job, out.Results[0].Sequence), f.token(access.Owner), ""); got.status != http.StatusOK {
		h.t.Fatalf("look at the job: %d %s", got.status, got.body)
	}
}

// reply is a whole answer.
type reply struct {
	status int
	header http.Header
	body   string
}

// problem reads a problem document out of the answer.
func (r reply) problem(t testing.TB) problem {
	t.Helper()
	var p problem
	if err := json.Unmarshal([]byte(r.body), &p, json.RejectUnknownMembers(true)); err != nil || r.header.Get("Content-Type") != problemType || p.Status != r.status {
		t.Errorf("%d %s %q is no problem document: %v", r.status, r.header.Get("Content-Type"), r.body, err)
	}
	return p
}

// ask sends a request; edits change it before.
func (h *house) ask(method, path, token, body string, edits ...func(*http.Request)) reply {
	h.t.Helper()
	r, err := http.NewRequestWithContext(h.t.Context(), method, h.url+path, strings.NewReader(body))
	if err != nil {
		h.t.Fatal(err)
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for _, edit := range edits {
		edit(r)
	}
	return h.send(r)
}

func (h *house) send(r *http.Request) reply {
	h.t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	a, err := client.Do(r)
	if err != nil {
		h.t.Fatal(err)
	}
	defer func() { _ = a.Body.Close() }() // it was read
	if a.Header.Get("Content-Type") == "text/event-stream" {
		return reply{a.StatusCode, a.Header, ""} // it has no end
	}
	data, err := io.ReadAll(a.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return reply{a.StatusCode, a.Header, string(data)}
}

// header is an edit that sets a header.
func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

// written is where the log's streams end.
func (h *house) written() [3]uint64 {
	h.t.Helper()
	var ends [3]uint64
	for i, s := range journal.Streams() {
		end, err := h.journal.End(h.t.Context(), s)
		if err != nil {
			h.t.Fatal(err)
		}
		ends[i] = end.Sequence
	}
	return ends
}

// logged keeps what the service logs.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// feed is a source of changes that the test drives.
type feed struct {
	mu   sync.Mutex
	to   map[*subscriber]bool
	fail error
}

type subscriber struct {
	from *feed
	c    chan []projections.Changed
}

func newFeed() *feed { return &feed{to: map[*subscriber]bool{}} }

func (f *feed) subscribe() Subscription {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := &subscriber{f, make(chan []projections.Changed, 1000)}
	f.to[s] = true
	return s
}

func (f *feed) tell(changed ...projections.Changed) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for s := range f.to {
		s.c <- changed
	}
}

func (f *feed) open() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.to)
}

func (s *subscriber) Next(ctx context.Context) ([]projections.Changed, error) {
	select {
	case c, ok := <-s.c:
		if !ok {
			return nil, s.from.fail
		}
		return c, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *subscriber) Close() {
	s.from.mu.Lock()
	defer s.from.mu.Unlock()
	delete(s.from.to, s)
}
