package main

import (
	"bytes"
	"context"
	"encoding/json/v2"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"
	"bydark/services/assembly"

	"github.com/google/uuid"
)

// asProgram makes this test binary the program itself, for the tests that kill it.
const asProgram = "BYDARK_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if journaltest.IsNode() {
		os.Exit(journaltest.RunNode())
	}
	if os.Getenv(asProgram) != "" {
		os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	flag.Parse()
	// Each case is a few hundred requests that sync, in three orders; for more: -rapid.checks=N.
	cases := "4"
	if n, err := strconv.Atoi(os.Getenv(journaltest.RoundsVariable)); err == nil {
		cases = strconv.Itoa(max(1, n/3))
	}
	few := map[string]string{"rapid.checks": cases, "rapid.shrinktime": "5s", "rapid.nofailfile": "true"}
	flag.Visit(func(f *flag.Flag) { delete(few, f.Name) })
	for name, value := range few {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(projectiontest.Main(m))
}

// gable is a roof of two planes, 16 ft long, twelve panels of 16 in each.
const gable = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

// morning is when the told days begin.
var morning = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// roofReport is a report as a phone sends it.
type roofReport map[string]any

// tell makes a report of what happened some minutes after the morning; its id follows
// from its name.
func tell(name, kind string, minutes int, fields roofReport) roofReport {
	r := maps.Clone(fields)
	if r == nil {
		r = roofReport{}
	}
	r["id"], r["type"], r["at"] = idOf(name), kind, morning.Add(time.Duration(minutes)*time.Minute).Format(time.RFC3339)
	return r
}

func idOf(name string) string { return uuid.NewSHA1(uuid.Nil, []byte(name)).String() }

func (r roofReport) kind() string { kind, _ := r["type"].(string); return kind }

// with is the report with some members changed; nil takes one away.
func (r roofReport) with(changed roofReport) roofReport {
	r = maps.Clone(r)
	for name, v := range changed {
		if r[name] = v; v == nil {
			delete(r, name)
		}
	}
	return r
}

// answered is one report's answer.
type answered struct {
	ID       string       `json:"id"`
	Status   string       `json:"status"`
	Sequence uint64       `json:"sequence"`
	Problem  *roofProblem `json:"problem"`
}

type roofProblem struct {
	Status  int      `json:"status"`
	Code    string   `json:"code"`
	Where   string   `json:"where"`
	Detail  string   `json:"detail"`
	Missing []string `json:"missing"`
}

func (r answered) code() string {
	if r.Problem == nil {
		return ""
	}
	return r.Problem.Code
}

// crew is a company with a token for each role.
type crew struct {
	*client
	tokens map[events.Role]string
	people map[string]string // person's id to role
}

// client asks one service.
type client struct {
	t       testing.TB
	url     string
	through *http.Client // nil: the usual one
}

// ask sends a request and gives the answer whole.
func (c *client) ask(method, path, token, body string) (int, string) {
	status, answer, err := c.try(method, path, token, body)
	if err != nil {
		c.t.Fatalf("%s %s: %v", method, path, err)
	}
	return status, answer
}

func (c *client) try(method, path, token, body string) (int, string, error) {
	request, err := http.NewRequestWithContext(c.t.Context(), method, c.url+path, strings.NewReader(body))
	if err != nil {
		return 0, "", err
	}
	request.Header.Set("Content-Type", "application/json")
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	through := c.through
	if through == nil {
		through = http.DefaultClient
	}
	answer, err := through.Do(request)
	if err != nil {
		return 0, "", err
	}
	text, err := io.ReadAll(answer.Body)
	return answer.StatusCode, string(text), errors.Join(err, answer.Body.Close())
}

// must asks for what has to be answered with a document.
func (c *client) must(method, path, token string, body, into any) {
	c.t.Helper()
	status, text := c.ask(method, path, token, written(c.t, body))
	if status/100 != 2 {
		c.t.Fatalf("%s %s: %d %s", method, path, status, text)
	}
	if err := json.Unmarshal([]byte(text), into, json.MatchCaseInsensitiveNames(true)); err != nil {
		c.t.Fatalf("%s %s: %v in %s", method, path, err, text)
	}
}

func written(t testing.TB, doc any) string {
	t.Helper()
	if doc == nil {
		return ""
	}
	text, err := json.Marshal(doc, json.Deterministic(true))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// hire makes a person for each role, the owner's token given.
func hire(c *client, owner string) *crew {
	c.t.Helper()
	all := &crew{client: c, tokens: map[events.Role]string{access.Owner: owner}, people: map[string]string{}}
	for _, role := range access.Roles() {
		if role == access.Owner {
			continue
		}
		var added struct{ Person string }
		c.must(http.MethodPost, "/v1/people", owner, map[string]string{"name": "The " + string(role), "role": string(role)}, &added)
		var issued struct{ Token, ID string }
		c.must(http.MethodPost, "/v1/people/"+added.Person+"/tokens", owner, nil, &issued)
		all.tokens[role], all.people[added.Person] = issued.Token, string(role)
	}
	var me struct{ Person string }
	if status, text := c.ask(http.MethodGet, "/v1/me", owner, ""); status != http.StatusOK || json.Unmarshal([]byte(text), &me, json.MatchCaseInsensitiveNames(true)) != nil {
		c.t.Fatalf("who am I: %d %s", status, text)
	}
	all.people[me.Person] = string(access.Owner)
	return all
}

// open opens a job of the gable.
func (c *crew) open(job string) {
	c.t.Helper()
	c.must(http.MethodPost, "/v1/jobs", c.tokens[access.Owner], map[string]any{
		"id": job, "name": "Gable", "site": map[string]any{"lat": 40, "lon": -75, "zone": "America/New_York"},
		"roof": docOf(c.t, []byte(gable)), "assembly": "flat-clip",
	}, &struct{}{})
}

func docOf(t testing.TB, text []byte) any {
	t.Helper()
	var doc any
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	return doc
}

func shipped(t testing.TB, name string) any {
	t.Helper()
	text, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	return docOf(t, text)
}

// sendAs sends reports in one request.
func (c *crew) sendAs(role events.Role, job string, reports ...roofReport) []answered {
	c.t.Helper()
	var answer struct{ Results []answered }
	c.must(http.MethodPost, "/v1/jobs/"+job+"/reports", c.tokens[role], map[string]any{"reports": reports}, &answer)
	if len(answer.Results) != len(reports) {
		c.t.Fatalf("%d reports, %d results", len(reports), len(answer.Results))
	}
	return answer.Results
}

// accept sends reports as the owner, who may send all, and wants them all taken.
func (c *crew) accept(job string, reports ...roofReport) (last uint64) {
	c.t.Helper()
	for i, got := range c.sendAs(access.Owner, job, reports...) {
		if got.Status != "accepted" {
			c.t.Fatalf("%v: %+v %+v", reports[i], got, got.Problem)
		}
		last = got.Sequence
	}
	return last
}

// views are a job's views once they have folded a sequence, without what tells of the
// log itself and not of the roof: the last event's number. People are named by their
// roles.
func (c *crew) views(job string, after uint64) map[string]any {
	c.t.Helper()
	views := map[string]any{}
	for name, path := range map[string]string{
		"board": "", "ledger": "/ledger", "exposure": "/exposure", "punch": "/punch", "checklist": "/checklist", "takeoff": "/takeoff",
	} {
		status, text := c.ask(http.MethodGet, fmt.Sprintf("/v1/jobs/%s%s?after=%d", job, path, after), c.tokens[access.Owner], "")
		if status != http.StatusOK {
			c.t.Fatalf("%s of %s: %d %s", name, job, status, text)
		}
		for person, role := range c.people {
			text = strings.ReplaceAll(text, person, role)
		}
		views[name] = docOf(c.t, []byte(text))
	}
	row, _ := views["board"].(map[string]any)
	delete(row, "latest_event")
	return views
}

// happened is one event of the record.
type happened struct {
	Sequence    uint64
	ID          string
	Type        string
	Words       string
	WithdrawnBy string `json:"withdrawn_by"`
}

// record is a job's record once the views have folded a sequence.
func (c *crew) record(job string, after uint64) []happened {
	c.t.Helper()
	var all []happened
	for cursor := uint64(0); ; {
		var page struct {
			Events []happened
			Next   uint64
		}
		status, text := c.ask(http.MethodGet, fmt.Sprintf("/v1/jobs/%s/record?after=%d&cursor=%d", job, after, cursor), c.tokens[access.Owner], "")
		if err := json.Unmarshal([]byte(text), &page, json.MatchCaseInsensitiveNames(true)); status != http.StatusOK || err != nil {
			c.t.Fatalf("record of %s: %d %s %v", job, status, text, err)
		}
		all = append(all, page.Events...)
		if cursor = page.Next; cursor == 0 {
			return all
		}
	}
}

// running is the program, served from this process.
type running struct {
	*house
	dir  string
	crew *crew
	stop func()
}

// prepare makes a company's directory and gives the owner's token.
func prepare(t testing.TB) (dir, token string) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "house")
	return dir, prepareIn(t, dir)
}

// prepareIn is prepare in a directory of the caller's.
func prepareIn(t testing.TB, dir string) (token string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run([]string{"init", "--dir", dir, "--company", "Larch Roofs", "--json"}, strings.NewReader(""), &out, &errs); code != 0 {
		t.Fatalf("init ends with %d: %s", code, errs.String())
	}
	var made struct{ Company, Token string }
	if err := json.Unmarshal(out.Bytes(), &made, json.MatchCaseInsensitiveNames(true)); err != nil || made.Token == "" {
		t.Fatalf("init answers %s: %v", out.String(), err)
	}
	return made.Token
}

// opened is a directory's house, for its caller to close.
func opened(t testing.TB, dir string) *house { return openedAt(t, dir, time.Now) }

// openedAt is a directory's house with a clock of the test's.
func openedAt(t testing.TB, dir string, now func() time.Time) *house {
	t.Helper()
	return openedIn(t, where{Dir: dir}, now)
}

// openedIn is a house, wherever its parts are.
func openedIn(t testing.TB, w where, now func() time.Time) *house {
	t.Helper()
	p := &program{ctx: t.Context(), now: now, out: io.Discard, err: io.Discard, random: randomness, log: slog.New(slog.DiscardHandler)}
	h, err := openHouse(t.Context(), w, p)
	if err != nil {
		t.Fatal(err)
	}
	if h.courier, err = (telling{WebhookAllow: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}}).courier(h, w, p); err != nil {
		t.Fatal(errors.Join(err, h.close()))
	}
	return h
}

// start serves a new company's directory.
func start(t testing.TB) *running { return startAt(t, time.Now) }

// startAt serves a new company's directory with a clock of the test's.
func startAt(t testing.TB, now func() time.Time) *running {
	t.Helper()
	return startIn(t, elsewhere{}, now)
}

// startIn serves a new company's directory, with its views perhaps elsewhere.
func startIn(t testing.TB, e elsewhere, now func() time.Time) *running {
	t.Helper()
	dir, token := prepare(t)
	h := openedIn(t, where{dir, e}, now)
	ctx, cancel := context.WithCancel(context.Background())
	door, err := h.door(front{}, roles{Take: true, Fold: true})
	if err != nil {
		cancel()
		t.Fatal(errors.Join(err, h.close()))
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		cancel()
		t.Fatal(errors.Join(err, h.close()))
	}
	ended := make(chan error, 1)
	go func() { ended <- h.serve(ctx, l, door, roles{Take: true, Fold: true}) }()
	r := &running{house: h, dir: dir, stop: sync.OnceFunc(func() {
		http.DefaultClient.CloseIdleConnections()
		cancel()
		if err := errors.Join(<-ended, h.close()); err != nil {
			t.Errorf("the house ends with %v", err)
		}
	})}
	t.Cleanup(r.stop)
	r.crew = hire(&client{t: t, url: "http://" + l.Addr().String()}, token)
	return r
}

// told is the dump of the views, caught up.
func (r *running) told(t testing.TB) string {
	t.Helper()
	if err := r.runner.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	var dumped bytes.Buffer
	if err := r.runner.Dump(t.Context(), &dumped); err != nil {
		t.Fatal(err)
	}
	return dumped.String()
}
