package courier

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/uuid"
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

// S52: what is sent is signed by Standard Webhooks; a receiver takes it, and refuses it
// changed, under another secret, or old.
func TestSignedWebhook(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	r := receive(t, nil)
	id, secret := h.subscribe(Wish{To: r.URL + "/roofs?x=1"})
	h.report("shed", "A dent.")
	got := r.next(t)
	hook, err := standardwebhooks.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	if err := hook.Verify(got.body, got.header); err != nil {
		t.Errorf("a good message: %v", err)
	}
	if err := hook.Verify(append(slices.Clone(got.body), ' '), got.header); err == nil {
		t.Error("a changed message passes")
	}
	old := got.header.Clone()
	old.Set("webhook-timestamp", fmt.Sprint(time.Now().Add(-time.Hour).Unix()))
	if err := hook.Verify(got.body, old); err == nil {
		t.Error("an old message passes")
	}
	if !strings.HasPrefix(secret, "whsec_") || got.words != "Loose end at A: A dent (stops nothing)." || got.header.Get("User-Agent") != "bydark/test" || got.header.Get("Cookie") != "" {
		t.Errorf("got %+v", got)
	}
	// Both secrets sign while they change over.
	second, until, err := h.courier.Renew(t.Context(), h.owner, id)
	if err != nil || second == secret || !until.After(time.Now()) {
		t.Fatalf("renewed: %v until %v, %v", second != secret, until, err)
	}
	h.report("shed", "Another dent.")
	got = r.next(t)
	for _, s := range []string{secret, second} {
		if hook, err = standardwebhooks.NewWebhook(s); err != nil {
			t.Fatal(err)
		}
		if err := hook.Verify(got.body, got.header); err != nil {
			t.Errorf("while changing over: %v", err)
		}
	}
	if n := len(strings.Fields(got.header.Get("webhook-signature"))); n != 2 {
		t.Errorf("%d signatures, want 2", n)
	}
	// Afterwards only the new one does.
	s, err := h.people.Subscriber(h.owner.Company, id)
	if err != nil {
		t.Fatal(err)
	}
	late, err := h.courier.hooks.sign(s, "x", until.Add(time.Second), nil)
	if err != nil || len(strings.Fields(late)) != 1 {
		t.Errorf("a day later it is signed %q, %v", late, err)
	}
	// The log knows no secret.
	entries, err := h.log.Load(t.Context(), "door."+string(h.owner.Company), 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		for _, s := range []string{secret, second} {
			if strings.Contains(string(e.Data), strings.TrimPrefix(s, "whsec_")) {
				t.Errorf("event %d holds a secret", e.Sequence)
			}
		}
	}
}

// F40: a receiver that fails is tried again under the same id and then set aside; the
// next event goes out; what was set aside can be listed, read and sent again.
func TestFailsIsSetAsideAndSentAgain(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	var mu sync.Mutex
	well := false // guarded by mu
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, got received) {
		mu.Lock()
		defer mu.Unlock()
		if !well && strings.Contains(got.words, "first") {
			http.Error(w, "secret inside of the receiver", http.StatusInternalServerError)
		}
	})
	id, _ := h.subscribe(Wish{To: r.URL})
	event := h.report("shed", "first")
	h.report("shed", "second")
	var ids []string
	for range quick.Tries {
		got := r.next(t)
		if !strings.Contains(got.words, "first") {
			t.Fatalf("attempt %d is at %q", len(ids)+1, got.words)
		}
		ids = append(ids, got.id)
	}
	if ids = slices.Compact(ids); len(ids) != 1 || !strings.HasPrefix(ids[0], string(event)) {
		t.Errorf("attempts under the ids %q", ids)
	}
	if got := r.next(t); !strings.Contains(got.words, "second") {
		t.Fatalf("after it came %q", got.words)
	}
	list := h.undelivered()
	if len(list) != 1 || list[0].Reader != string(id) || list[0].ID != string(event) || list[0].Reason != "it answered 500" || list[0].Handler == "" || list[0].Sequence == 0 {
		t.Fatalf("set aside: %+v", list)
	}
	if f := h.courier.Figures(); f.Aside != 1 || f.Retries != uint64(quick.Tries-1) || f.Delivered > 1 {
		t.Errorf("it counts %+v", f)
	}
	if _, aside, err := h.courier.Backlog(t.Context()); err != nil || aside != 1 {
		t.Errorf("%d are said to be set aside, %v", aside, err)
	}
	letter, err := h.courier.Read(t.Context(), h.owner.Company, list[0].Number)
	if err != nil || letter.Message == nil || letter.Message.Words != "Loose end at A: first (stops nothing)." {
		t.Errorf("read: %+v, %v", letter, err)
	}
	if _, err := h.courier.Read(t.Context(), "another-company", list[0].Number); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("another company reads it: %v", err)
	}
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); events.RefusalIn(err) == nil || len(h.undelivered()) != 1 {
		t.Errorf("sent to a receiver that still fails: %v", err)
	}
	r.next(t)
	mu.Lock()
	well = true
	mu.Unlock()
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); err != nil {
		t.Fatal(err)
	}
	if got := r.next(t); got.id != ids[0] || len(h.undelivered()) != 0 {
		t.Errorf("sent again under %s, first under %s; %d left", got.id, ids[0], len(h.undelivered()))
	}
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("sent a third time: %v", err)
	}
	if f := h.courier.Figures(); f.Delivered != 2 {
		t.Errorf("it counts %+v", f)
	}
	for { // the second may still be on its way to being acknowledged
		waiting, aside, err := h.courier.Backlog(t.Context())
		if err != nil || aside != 0 {
			t.Fatalf("%d are said to be set aside, %v", aside, err)
		}
		if waiting == 0 {
			break
		}
	}
}

// F40: one that hangs, and one that is not there at all, hold up nobody else.
func TestOneHangsTheOtherHears(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	release := make(chan struct{})
	hangs := receive(t, func(_ http.ResponseWriter, q *http.Request, _ received) {
		select {
		case <-release:
		case <-q.Context().Done():
		}
	})
	t.Cleanup(func() { close(release) })
	hears := receive(t, nil)
	gone := httptest.NewServer(nil)
	gone.Close()
	h.subscribe(Wish{To: hangs.URL})
	h.subscribe(Wish{To: gone.URL})
	h.subscribe(Wish{To: hears.URL})
	h.report("shed", "0")
	hangs.next(t)
	hears.next(t)
	for i := 1; i < 20; i++ {
		h.report("shed", fmt.Sprint(i))
		if got := hears.next(t); !strings.Contains(got.words, fmt.Sprintf("A: %d (", i)) {
			t.Fatalf("report %d is told as %q", i, got.words)
		}
	}
	h.stop() // does not wait for the one that hangs
}

// To one receiver all events of a job come in the order of the log, though it fails now
// and then.
func TestOrder(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	var mu sync.Mutex
	count := 0 // guarded by mu
	var taken []string
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, got received) {
		mu.Lock()
		defer mu.Unlock()
		if count++; count%3 == 0 {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		taken = append(taken, got.words)
	})
	h.openJob("barn")
	h.subscribe(Wish{To: r.URL})
	const each = 15
	for i := range each {
		h.report("shed", fmt.Sprintf("s%02d", i))
		h.report("barn", fmt.Sprintf("b%02d", i))
	}
	h.until("all are told", func() bool { mu.Lock(); defer mu.Unlock(); return len(taken) >= 2*each })
	mu.Lock()
	defer mu.Unlock()
	taken = slices.Compact(taken)
	for i, words := range taken {
		if want := fmt.Sprintf("%c%02d", "sb"[i%2], i/2); !strings.Contains(words, want) {
			t.Fatalf("message %d is %q, want %s", i, words, want)
		}
	}
}

// A receiver that answers 410 is stopped; what it was not told waits for it.
func TestGoneIsStopped(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	var mu sync.Mutex
	gone := true // guarded by mu
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, _ received) {
		mu.Lock()
		defer mu.Unlock()
		if gone {
			w.WriteHeader(http.StatusGone)
		}
	})
	id, _ := h.subscribe(Wish{To: r.URL})
	h.report("shed", "one")
	r.next(t)
	h.until("it is stopped", func() bool {
		s, err := h.people.Subscriber(h.owner.Company, id)
		return err == nil && strings.Contains(s.Stopped, "410")
	})
	h.report("shed", "two")
	h.report("shed", "three")
	mu.Lock()
	gone = false
	mu.Unlock()
	if err := h.people.ResumeSubscriber(t.Context(), h.owner, id); err != nil {
		t.Fatal(err)
	}
	for got := r.next(t); !strings.Contains(got.words, "three"); got = r.next(t) {
	}
}

// S50, S51: a redirect to this machine is not followed, and what the guard keeps is not
// connected to, whatever name or spelling leads there.
func TestRedirectIsNotFollowed(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	inside := receive(t, nil)
	r := receive(t, func(w http.ResponseWriter, q *http.Request, _ received) {
		http.Redirect(w, q, inside.URL+"/admin", http.StatusTemporaryRedirect)
	})
	h.subscribe(Wish{To: r.URL})
	h.report("shed", "one")
	h.until("it is set aside", func() bool { return len(h.undelivered()) == 1 })
	if list := h.undelivered(); !strings.Contains(list[0].Reason, "307") || !strings.Contains(list[0].Reason, "redirects are not followed") {
		t.Errorf("set aside: %+v", list)
	}
	select {
	case got := <-inside.got:
		t.Errorf("the redirect was followed: %+v", got)
	default:
	}
}

// S50: nothing of ours is connected to unless the operator allows it.
func TestGuardedAtTheDial(t *testing.T) {
	t.Parallel()
	seen := receive(t, nil)
	port := seen.URL[strings.LastIndex(seen.URL, ":"):]
	h := open(t, func(c *Config) { c.Guard = Guard{} })
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "0.0.0.0", "127.1", "2130706433", "0x7f000001", "017700000001", "[::]"} {
		err := h.courier.hooks.send(t.Context(), access.Subscriber{Company: "c", ID: "w", To: "http://" + host + port, Secrets: []access.Secret{{Key: h.courier.Keys.id}}}, Message{ID: "1", Event: events.Event{Body: events.PanelSet{}}})
		if err == nil {
			t.Errorf("%s was reached", host)
		}
	}
	select {
	case got := <-seen.got:
		t.Errorf("this machine was reached: %+v", got)
	default:
	}
	// What an address leads to is decided at the dial, so a name that answers otherwise
	// the second time (rebinding) gains nothing.
	for _, c := range []struct {
		address string
		may     bool
	}{
		{"93.184.215.14:443", true}, {"[2606:2800:21f:cb07:6820:80da:af6b:8b2c]:443", true},
		{"127.0.0.1:443", false}, {"10.1.2.3:443", false}, {"172.16.0.1:443", false}, {"172.31.255.255:443", false}, {"172.32.0.1:443", true},
		{"192.168.1.1:443", false}, {"169.254.169.254:80", false}, {"100.64.0.1:443", false}, {"100.128.0.1:443", true}, {"0.0.0.0:80", false},
		{"224.0.0.1:80", false}, {"255.255.255.255:80", false}, {"198.18.0.1:80", false}, {"192.0.0.170:80", false},
		{"[::]:80", false}, {"[::1]:80", false}, {"[::ffff:10.0.0.1]:80", false}, {"[::ffff:93.184.215.14]:80", true}, {"[fc00::1]:80", false}, {"[fd00:ec2::254]:80", false},
		{"[fe80::1%eth0]:80", false}, {"[64:ff9b::7f00:1]:80", false}, {"[64:ff9b::a00:1]:80", false}, {"[2002:7f00:1::]:80", false}, {"[2001:0:1::]:80", false},
		{"[::7f00:1]:80", false}, {"[ff02::1]:80", false}, {"nonsense", false}, {"", false},
	} {
		if err := (Guard{}).control("tcp", c.address, nil); (err == nil) != c.may {
			t.Errorf("%s: %v", c.address, err)
		}
	}
	allowed := Guard{Allow: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}}
	if allowed.control("tcp", "10.9.9.9:80", nil) != nil || allowed.control("tcp", "[::ffff:10.9.9.9]:80", nil) != nil || allowed.control("tcp", "192.168.1.1:80", nil) == nil {
		t.Error("the operator's own network is not allowed as he said")
	}
}

func TestWishesThatCannotBeKept(t *testing.T) {
	t.Parallel()
	h := open(t, func(c *Config) { c.Guard = Guard{Allow: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}} })
	for _, c := range []struct {
		w    Wish
		code string // empty: it can be kept
	}{
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/roofs"}, ""},
		{Wish{By: events.Webhook, To: "http://10.1.2.3:8080/x"}, ""},
		{Wish{By: events.Webhook, To: "http://hooks.larch.example/roofs"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://u:p@hooks.larch.example/"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/#x"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "file:///etc/passwd"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https:/x"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "gopher://10.1.2.3/"}, "unreadable-address"},
		{Wish{By: events.Webhook, To: ""}, "unreadable-address"},
		{Wish{By: events.Webhook, To: "https://127.0.0.1/"}, "kept-address"},
		{Wish{By: events.Webhook, To: "https://[::ffff:169.254.169.254]/latest"}, "kept-address"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Wants: []string{"panel-sat"}}, "unknown-event"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Wants: []string{"door"}}, "unknown-event"},
		{Wish{By: events.Webhook, To: "https://hooks.larch.example/", Role: "boss"}, "unknown-role"},
		{Wish{By: events.Mail, To: "office@larch.example"}, "no-mail"},
		{Wish{By: "pigeon", To: "x"}, "unknown-channel"},
	} {
		_, _, err := h.courier.Subscribe(t.Context(), h.owner, c.w)
		r := events.RefusalIn(err)
		if c.code == "" && err != nil || c.code != "" && (r == nil || r.Code != c.code || r.Want == "") {
			t.Errorf("%+v: %v, want %q", c.w, err, c.code)
		}
	}
}

// A subscriber is told what it wants and no more; a role narrows warnings only.
func TestWants(t *testing.T) {
	t.Parallel()
	warned := func(roles ...events.Role) Message {
		w := events.ExposureWarned{}
		for _, r := range roles {
			w.Told = append(w.Told, events.Told{Role: r})
		}
		return Message{Event: events.Event{Body: w}}
	}
	set := Message{Event: events.Event{Body: events.PanelSet{}}}
	for i, c := range []struct {
		m    Message
		s    access.Subscriber
		want bool
	}{
		{set, access.Subscriber{Wants: []string{Everything}}, true},
		{set, access.Subscriber{Wants: []string{"work"}}, true},
		{set, access.Subscriber{Wants: []string{"panel-set"}}, true},
		{set, access.Subscriber{Wants: []string{"warning", "panel-cut"}}, false},
		{set, access.Subscriber{Wants: []string{"work"}, Role: access.Owner}, true},
		{warned(access.Lead), access.Subscriber{Wants: []string{"warning"}}, true},
		{warned(access.Lead), access.Subscriber{Wants: []string{"warning"}, Role: access.Owner}, false},
		{warned(access.Lead, access.Owner), access.Subscriber{Wants: []string{"exposure-warned"}, Role: access.Owner}, true},
	} {
		if got := c.m.wanted(c.s); got != c.want {
			t.Errorf("row %d: %v", i, got)
		}
	}
}

// F40: an answer is read to its limit and no further, and a receiver whose certificate
// nobody vouches for is told nothing.
func TestAnswersAndCertificates(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	large := receive(t, func(w http.ResponseWriter, _ *http.Request, _ received) {
		for range 3 << 10 {
			if _, err := w.Write(make([]byte, 1<<10)); err != nil {
				return // it was read enough
			}
		}
	})
	told := make(chan struct{}, 10)
	unknown := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { told <- struct{}{} }))
	unknown.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	unknown.StartTLS()
	t.Cleanup(unknown.Close)
	loud, _ := h.subscribe(Wish{To: large.URL})
	shady, _ := h.subscribe(Wish{To: unknown.URL})
	h.report("shed", "one")
	h.report("shed", "two")
	for _, want := range []string{"one", "two"} {
		if got := large.next(t); !strings.Contains(got.words, want) {
			t.Errorf("told %q, want %s", got.words, want)
		}
	}
	h.until("both are set aside", func() bool { return len(h.undelivered()) == 2 })
	for _, a := range h.undelivered() {
		if a.Reader != string(shady) || a.Reader == string(loud) || !strings.Contains(a.Reason, "certificate") || strings.Contains(a.Reason, unknown.URL) {
			t.Errorf("set aside: %+v", a)
		}
	}
	if len(told) != 0 {
		t.Error("a receiver was told whose certificate nobody vouches for")
	}
}

// A receiver that never works is stopped after so many events in a row, and the rest
// waits in the log.
func TestStoppedAfterManyInARow(t *testing.T) {
	t.Parallel()
	h := open(t, func(c *Config) { c.Patience.InARow, c.Patience.Tries = 4, 1 })
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, _ received) { w.WriteHeader(http.StatusBadGateway) })
	id, _ := h.subscribe(Wish{To: r.URL})
	for i := range 12 {
		h.report("shed", fmt.Sprint(i))
	}
	h.until("it is stopped", func() bool {
		s, err := h.people.Subscriber(h.owner.Company, id)
		return err == nil && strings.Contains(s.Stopped, "4 events in a row")
	})
	if n := len(h.undelivered()); n < 4 || n > 5 {
		t.Errorf("%d are set aside, want 4", n)
	}
}

// Another key than the one with which a secret was made signs nothing, and says so.
func TestAnotherKey(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	one, err := OpenKeys(filepath.Join(dir, "one"), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	again, err := OpenKeys(filepath.Join(dir, "one"), rand.Reader)
	if err != nil || again.id != one.id {
		t.Fatalf("the key's file gives another key: %v", err)
	}
	two, err := OpenKeys(filepath.Join(dir, "two"), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	s := access.Secret{Salt: "salt", Key: one.id}
	a, err := one.secret("c", "w", s)
	if err != nil || len(a) != sha256.Size {
		t.Fatal(err)
	}
	b, err := one.secret("c", "v", s)
	if err != nil || string(a) == string(b) {
		t.Errorf("two subscribers have one secret, %v", err)
	}
	if _, err := two.secret("c", "w", s); err == nil {
		t.Error("another key signs")
	}
	if _, err := (Keys{}).secret("c", "w", access.Secret{}); err == nil {
		t.Error("no key signs")
	}
}

// nowhere knows of no report in another job.
func nowhere(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
