package courier

import (
	"crypto/rand"
	"crypto/sha256"
	"fmt"
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
	"bydark/services/access"
)

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
