package main

import (
	"bytes"
	"encoding/json/v2"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/access"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// claims are the reports that the state may contradict, so that what becomes of them
// depends on what is known, and the codes with which they are refused.
var claims = map[string][]string{
	"weather-tight-reached": {"not-weather-tight"},
	"job-closed":            {"not-ready-to-close"},
	"job-reopened":          {"not-closed"},
	"punch-verified":        {"unknown-item", "not-fixed", "four-eyes"},
}

// sentBy is a report and who sends it.
type sentBy struct {
	role   events.Role
	report roofReport
}

// days draws reports of facts and claims of some days on the gable. Several happen in
// one minute; withdrawals name reports before and behind them, and withdrawals too.
func days(t *rapid.T) []sentBy {
	n := rapid.IntRange(15, 40).Draw(t, "reports")
	var all []sentBy
	name := func(i int) string { return fmt.Sprintf("random %d", i) }
	some := func(label string, words ...string) string { return rapid.SampledFrom(words).Draw(t, label) }
	for i := range n {
		plane := some("plane", "A", "B")
		other := idOf(name(rapid.IntRange(0, n-1).Draw(t, "other")))
		role := rapid.SampledFrom([]events.Role{access.Manager, access.Owner}).Draw(t, "role")
		piece := some("piece", "A-01", "A-02", "B-01", "B-02")
		edge := some("edge", "eave-1", "ridge-1")
		step := map[string]string{"eave-1": "eave-trim", "ridge-1": "cap"}[edge]
		amount := some("amount", "1'", "5'", "16'")
		material := some("material", "felt", "clip", "cap")
		much := map[string]string{"felt": "2 rolls", "clip": "30 each", "cap": "20'"}[material]
		made := rapid.SampledFrom([]func() (string, roofReport){
			func() (string, roofReport) { return "deck-opened", roofReport{"where": plane, "amount": "20 sqft"} },
			func() (string, roofReport) { return "deck-opened", roofReport{"where": "roof"} },
			func() (string, roofReport) {
				return "layer-laid", roofReport{"where": plane, "step": some("layer", "felt", "slip-sheet"), "amount": "15 sqft"}
			},
			func() (string, roofReport) { return "layer-laid", roofReport{"where": plane, "step": "felt"} },
			func() (string, roofReport) {
				return "layer-laid", roofReport{"where": plane, "step": "ice-barrier", "amount": amount}
			},
			func() (string, roofReport) {
				return "panel-cut", roofReport{"piece": piece, "length": some("length", "13'", "13'-6\""), "from": map[string]string{"coil": "c1"}}
			},
			func() (string, roofReport) { return "panel-set", roofReport{"piece": piece} },
			func() (string, roofReport) {
				return "trim-installed", roofReport{"where": edge, "step": step, "amount": amount, "reason": "laps"}
			},
			func() (string, roofReport) { return "seal-made", roofReport{"where": "ridge-1", "step": "foam"} },
			func() (string, roofReport) { return "cover-placed", roofReport{"where": plane} },
			func() (string, roofReport) { return "cover-removed", roofReport{"where": plane} },
			func() (string, roofReport) {
				return "measure-taken", roofReport{"where": plane, "of": "moisture", "values": []any{some("moisture", "12", "25 %")}}
			},
			func() (string, roofReport) {
				return "material-ordered", roofReport{"order": "PO-1", "lines": []any{map[string]any{"material": material, "amount": much}}}
			},
			func() (string, roofReport) {
				return "material-received", roofReport{"order": "PO-1", "lines": []any{map[string]any{"material": material, "amount": much, "short": much}}}
			},
			func() (string, roofReport) {
				return "material-counted", roofReport{"material": material, "amount": much}
			},
			func() (string, roofReport) {
				return "material-spoiled", roofReport{"material": material, "amount": much, "reason": "rain"}
			},
			func() (string, roofReport) {
				return "material-moved", roofReport{"material": material, "amount": much, "to": "elsewhere"}
			},
			func() (string, roofReport) {
				return "punch-raised", roofReport{"where": edge, "what": "loose", "blocks": some("blocks", "night", "closeout", "nothing")}
			},
			func() (string, roofReport) { return "punch-assigned", roofReport{"item": other, "to": "Ike"} },
			func() (string, roofReport) { return "punch-fixed", roofReport{"item": other} },
			func() (string, roofReport) {
				return "punch-reopened", roofReport{"item": other, "reason": "still loose"}
			},
			func() (string, roofReport) { return "punch-waived", roofReport{"item": other, "reason": "accepted"} },
			func() (string, roofReport) { return "punch-verified", roofReport{"item": other} },
			func() (string, roofReport) {
				return "photo-attached", roofReport{"to": other, "photo": strings.Repeat(some("photo", "a", "b"), 64)}
			},
			func() (string, roofReport) { return "check-signed", roofReport{"check": plane + "/felt/laps"} },
			func() (string, roofReport) {
				return "day-started", roofReport{"heads": 3, "shift_end": "2026-06-04T20:00:00Z"}
			},
			func() (string, roofReport) {
				return "day-ended", roofReport{"left_open": []string{plane}, "accepted_by": "Ike", "reason": "dry night"}
			},
			func() (string, roofReport) { return "estimate-issued", nil },
			func() (string, roofReport) {
				return "crew-planned", roofReport{"heads": 4, "from": "2026-05-05", "shift_minutes": 480}
			},
			func() (string, roofReport) { return "weather-tight-reached", roofReport{"where": plane} },
			func() (string, roofReport) {
				return "report-withdrawn", roofReport{"report": other, "reason": "pressed by mistake"}
			},
			func() (string, roofReport) {
				return "report-withdrawn", roofReport{"report": other, "reason": "not on this roof"}
			},
		}).Draw(t, "what")
		kind, fields := made()
		all = append(all, sentBy{role, tell(name(i), kind, rapid.IntRange(0, 40).Draw(t, "minute"), fields)})
	}
	return all
}

// F29: the same reports in any order, with repeats, give the same views; only claims
// may differ, and then for a claim's reason. What the views show is what the log folds
// to, after all of it.
func TestAnyOrderGivesTheSameViews(t *testing.T) {
	t.Parallel()
	house := start(t)
	firms := 0
	rapid.Check(t, func(rt *rapid.T) {
		reports := days(rt)
		var first map[string]any
		var firstRecord []string
		var firstTaken []string
		for order := range 3 {
			firms++
			opened, err := house.people.OpenCompany(t.Context(), fmt.Sprintf("Firm %d", firms), "Owner")
			if err != nil {
				rt.Fatal(err)
			}
			firm := hire(house.crew.client, opened.Token)
			firm.open("elsewhere")
			firm.open("gable")
			sequence := slices.Clone(reports)
			if order > 0 {
				seed := rapid.Uint64().Draw(rt, "order")
				dice := rand.New(rand.NewPCG(seed, 1))
				sequence = append(sequence, sequence[dice.IntN(len(sequence))], sequence[dice.IntN(len(sequence))])
				dice.Shuffle(len(sequence), func(i, j int) { sequence[i], sequence[j] = sequence[j], sequence[i] })
			}
			taken, last := map[string]uint64{}, uint64(0)
			for _, s := range sequence {
				got := firm.sendAs(s.role, "gable", s.report)[0]
				before, again := taken[got.ID]
				switch {
				case got.Status == "refused":
					if codes := claims[s.report.kind()]; !slices.Contains(codes, got.code()) {
						rt.Fatalf("order %d: a fact was refused: %v %+v", order, s.report, got.Problem)
					}
				case again && (got.Status != "repeated" || got.Sequence != before), !again && got.Status != "accepted":
					rt.Fatalf("order %d: sent again %v: %+v, before at %d", order, again, got, before)
				default:
					taken[got.ID] = got.Sequence
					last = max(last, got.Sequence)
				}
			}
			var record, claimed []string
			for _, e := range firm.record("gable", last) {
				if claims[e.Type] != nil {
					claimed = append(claimed, e.ID)
					continue
				}
				if e.Type != "job-opened" { // its id is the company's
					record = append(record, fmt.Sprintf("%s %s, withdrawn by %s", e.ID, e.Words, e.WithdrawnBy))
				}
			}
			slices.Sort(record)
			slices.Sort(claimed)
			views := firm.views("gable", last)
			if first == nil {
				first, firstRecord, firstTaken = views, record, claimed
				continue
			}
			if diff := cmp.Diff(firstRecord, record); diff != "" {
				rt.Fatalf("order %d: the record (-first +now):\n%s", order, diff)
			}
			if !slices.Equal(claimed, firstTaken) {
				continue
			}
			if diff := cmp.Diff(first, views); diff != "" {
				rt.Fatalf("order %d (-first +now):\n%s", order, diff)
			}
		}
	})
	before := house.told(t)
	house.stop()
	if code, found := verify(t, house.dir); code != 0 || len(found.Problems) > 0 || found.Jobs != 2*firms {
		t.Errorf("verify ends with %d: %+v after %d jobs", code, found, 2*firms)
	}
	var out, errs bytes.Buffer
	if code := run([]string{"rebuild", "--dir", house.dir, "--json"}, strings.NewReader(""), &out, &errs); code != 0 {
		t.Errorf("rebuild ends with %d: %s", code, errs.String())
	}
	if after := dumpOf(t, house.dir); after != before {
		t.Errorf("rebuilt views differ (-served +rebuilt):\n%s", cmp.Diff(strings.Split(before, "\n"), strings.Split(after, "\n")))
	}
}

type verified struct {
	Events   int
	Jobs     int
	Problems []string
}

func verify(t testing.TB, dir string) (code int, found verified) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run([]string{"verify", "--dir", dir, "--json"}, strings.NewReader(""), &out, &errs)
	if err := json.Unmarshal(out.Bytes(), &found, json.MatchCaseInsensitiveNames(true)); err != nil {
		t.Fatalf("verify ends with %d, prints %q: %s", code, out.String(), errs.String())
	}
	return code, found
}

// dumpOf is the dump of the views of a directory that nobody serves.
func dumpOf(t testing.TB, dir string) string {
	t.Helper()
	h := &running{house: opened(t, dir)}
	text := h.told(t)
	if err := h.close(); err != nil {
		t.Fatal(err)
	}
	return text
}

// F51: rubbish is answered with a problem that names the place, and nothing of it is kept.
func TestRubbishLeavesNothing(t *testing.T) {
	t.Parallel()
	house := start(t)
	c := house.crew
	c.open("gable")
	last := c.accept("gable", tell("deck", "deck-opened", 0, roofReport{"where": "A"}))
	before := house.told(t)
	good := written(t, tell("rubbish", "deck-opened", 1, roofReport{"where": "A"}))
	in := func(report string) string { return `{"reports":[` + report + `]}` }
	edit := func(was, now string) string {
		t.Helper()
		if !strings.Contains(good, was) {
			t.Fatalf("%s is not in %s", was, good)
		}
		return in(strings.Replace(good, was, now, 1))
	}
	deep := strings.Repeat("[", 1000) + strings.Repeat("]", 1000)
	for name, row := range map[string]struct{ body, code, where string }{
		"nothing":               {"", "no-body", "body"},
		"no JSON":               {`{"reports":[`, "unreadable", "/reports"},
		"two values":            {in(good) + "{}", "trailing-text", "byte"},
		"not a list":            {`{"reports":{}}`, "unreadable", "/reports"},
		"no reports":            {`{"reports":[]}`, "how-many-reports", "/reports"},
		"a stranger at the top": {`{"reports":[],"report":1}`, "unknown-member", "/report"},
		"too many":              {in(strings.Repeat(good+",", 500) + good), "how-many-reports", "/reports"},
		"oversized":             {in(good) + strings.Repeat(" ", 4<<20), "too-large", "body"},
		"doubled list":          {`{"reports":[],"reports":[]}`, "doubled-member", "/reports"},
		"NaN":                   {edit(`"A"`, `NaN`), "unreadable", "/reports/0"},
	} {
		status, text := c.ask(http.MethodPost, "/v1/jobs/gable/reports", c.tokens[access.Owner], row.body)
		var p roofProblem
		if err := json.Unmarshal([]byte(text), &p, json.MatchCaseInsensitiveNames(true)); err != nil || status < 400 || status > 499 || p.Code != row.code || !strings.HasPrefix(p.Where, row.where) {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	long := strings.Repeat("é", 200)
	for name, row := range map[string]struct{ body, code, where string }{
		"no report":             {in(`7`), "unreadable", ""},
		"deep":                  {edit(`"A"`, deep), "too-deep", "/where" + strings.Repeat("/0", 39)},
		"not UTF-8":             {edit(`"A"`, "\"A\xff\""), "unreadable", "/where"},
		"lone surrogate":        {edit(`"A"`, `"\ud800"`), "unreadable", "/where"},
		"NUL":                   {edit(`"A"`, `"A\u0000"`), "unreadable-text", "/where"},
		"doubled":               {edit(`"where"`, `"where":"B","where"`), "doubled-member", "/where"},
		"too long a text":       {edit(`"A"`, `"`+strings.Repeat("x", 65<<10)+`"`), "too-long-text", "/where"},
		"null":                  {in(`null`), "unreadable-id", "/id"},
		"unknown member":        {edit(`"where"`, `"colour":"red","where"`), "unknown-member", "/colour"},
		"other case":            {edit(`"where"`, `"Where"`), "unknown-member", "/Where"},
		"other case of the id":  {edit(`"id"`, `"ID"`), "unreadable-id", "/id"},
		"other case twice":      {edit(`"where"`, `"WHERE":"B","where"`), "unknown-member", "/WHERE"},
		"no id":                 {in(`{"type":"deck-opened","at":"2026-05-04T12:00:00Z","where":"A"}`), "unreadable-id", "/id"},
		"an id that is none":    {edit(idOf("rubbish"), "1"), "unreadable-id", "/id"},
		"a long id":             {edit(idOf("rubbish"), long), "unreadable-id", "/id"},
		"no time":               {in(`{"id":"` + idOf("rubbish") + `","type":"deck-opened","where":"A"}`), "unreadable-time", "/at"},
		"a time that is none":   {edit("2026-05-04T12:01:00Z", "2026-13-04T12:01:00Z"), "unreadable-time", "/at"},
		"a long time":           {edit("2026-05-04T12:01:00Z", long), "unreadable-time", "/at"},
		"1970":                  {edit("2026-05-04T12:01:00Z", "1970-01-01T00:00:00Z"), "too-long-ago", "/at"},
		"the future":            {edit("2026-05-04T12:01:00Z", "2126-05-04T12:01:00Z"), "in-the-future", "/at"},
		"unknown type":          {edit("deck-opened", "deck-closed"), "unknown-type", "/type"},
		"a long type":           {edit("deck-opened", "x"+long), "unknown-type", "/type"},
		"an internal type":      {edit("deck-opened", "job-opened"), "unknown-type", "/type"},
		"unknown mark":          {edit(`"A"`, `"valley-7"`), "unknown-mark", "/where"},
		"a long mark":           {edit(`"A"`, `"x`+long+`"`), "unknown-mark", "/where"},
		"a number for a mark":   {edit(`"A"`, `7`), "unreadable", "/where"},
		"wrong unit":            {edit(`"A"`, `"A","amount":"3 each"`), "wrong-unit", "/amount"},
		"no unit":               {edit(`"A"`, `"A","amount":"3"`), "unreadable-amount", "/amount"},
		"a number for a length": {edit(`"A"`, `"A","amount":3`), "unreadable", "/amount"},
		"a long amount":         {edit(`"A"`, `"A","amount":"`+long+`"`), "unreadable-amount", "/amount"},
		"an amount below zero":  {edit(`"A"`, `"A","amount":"-3 sqft"`), "not-above-zero", "/amount"},
		"a huge amount":         {edit(`"A"`, `"A","amount":"1e999 sqft"`), "unreadable-amount", "/amount"},
		"a long reason":         {edit(`"A"`, `"A","reason":"`+strings.Repeat("x", 2001)+`"`), "too-long", "/reason"},
		"a bell":                {edit(`"A"`, `"A","reason":"\u0007"`), "unreadable-text", "/reason"},
		"a large report":        {edit(`"A"`, `"A","reason":`+written(t, slices.Repeat([]string{strings.Repeat("x", 60<<10)}, 5))), "too-large", ""},
	} {
		status, text := c.ask(http.MethodPost, "/v1/jobs/gable/reports", c.tokens[access.Owner], row.body)
		var answer struct{ Results []answered }
		if err := json.Unmarshal([]byte(text), &answer, json.MatchCaseInsensitiveNames(true)); err != nil || status != http.StatusOK || len(answer.Results) != 1 {
			t.Errorf("%s: %d %s", name, status, text)
			continue
		}
		got := answer.Results[0]
		if got.Status != "refused" || got.Problem == nil || got.code() != row.code || got.Problem.Where != row.where || got.Problem.Status < 400 || got.Problem.Status > 499 {
			t.Errorf("%s: %+v %+v", name, got, got.Problem)
		}
	}
	if after := house.told(t); after != before {
		t.Errorf("rubbish left something (-before +after):\n%s", cmp.Diff(strings.Split(before, "\n"), strings.Split(after, "\n")))
	}
	if next := c.accept("gable", tell("next", "deck-opened", 2, roofReport{"where": "B"})); next != last+1 {
		t.Errorf("the log was at %d and the next event stands at %d", last, next)
	}
}
