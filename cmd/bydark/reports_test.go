package main

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/access"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

// reportCase is one type of report: what stood before it, what it does to the views,
// and why it is refused.
type reportCase struct {
	// before are the reports before it; built says that the whole roof was built too.
	before []roofReport
	built  bool
	fields roofReport
	// changed are the views that it changes, sorted; all others it leaves as they are.
	changed string
	// then are some places of the views after it.
	then map[string]string
	// refused are changes of its fields, and the code and the place with which each is
	// refused.
	refused []refusedCase
}

type refusedCase struct {
	fields      roofReport
	code, where string
}

var (
	noSuchMark = refusedCase{roofReport{"where": "valley-9"}, "unknown-mark", "/where"}
	noSuchItem = refusedCase{roofReport{"item": "7"}, "unreadable-id", "/item"}
	noReason   = refusedCase{roofReport{"reason": " "}, "empty", "/reason"}
	raised     = tell("the item", "punch-raised", 1, roofReport{"where": "eave-1", "what": "Screw through the pan", "blocks": "night"})
	theItem    = roofReport{"item": idOf("the item")}
	received   = tell("the truck", "material-received", 2, roofReport{"order": "PO-7", "lines": []any{map[string]any{"material": "felt", "amount": "4 rolls"}}})
)

func ofItem(fields roofReport) roofReport { return fields.with(theItem) }

const digest = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"

// wider is the gable 20 ft long.
func wider(t testing.TB) any {
	return docOf(t, []byte(strings.ReplaceAll(gable, "16'", "20'")))
}

func reportCases(t testing.TB) map[string]reportCase {
	lines := func(fields map[string]any) roofReport { return roofReport{"lines": []any{fields}} }
	return map[string]reportCase{
		"roof-drawn": {
			fields: roofReport{"roof": wider(t), "reason": "longer by measure"}, changed: "board checklist exposure ledger takeoff",
			then:    map[string]string{"exposure|places|where=eave-1|extent": "20'"},
			refused: []refusedCase{noReason, {roofReport{"roof": docOf(t, []byte(`{"name":"x","planes":[]}`))}, "no-planes", "/roof: planes"}},
		},
		"assembly-chosen": {
			fields: roofReport{"assembly": shipped(t, "raised-clip-vented"), "reason": "vented deck"}, changed: "board checklist exposure ledger takeoff",
			then:    map[string]string{"board|assembly": "raised-clip-vented"},
			refused: []refusedCase{noReason, {roofReport{"assembly": "no such"}, "", ""}},
		},
		"estimate-issued": {
			before: []roofReport{tell("wider", "roof-drawn", 0, roofReport{"roof": wider(t), "reason": "longer"})}, changed: "ledger takeoff",
			then:    map[string]string{"ledger|lines|material=cap|estimated_first": "20'"},
			refused: []refusedCase{{roofReport{"reason": strings.Repeat("x", 2001)}, "too-long", "/reason"}},
		},
		"crew-planned": {
			fields: roofReport{"heads": 5, "from": "2026-05-05", "shift_minutes": 480}, changed: "board", then: map[string]string{"board|heads": "5"},
			refused: []refusedCase{{roofReport{"heads": 201}, "impossible", "/heads"}, {roofReport{"from": "May"}, "unreadable-day", "/from"}, {roofReport{"shift_minutes": -1}, "impossible", "/shift_minutes"}},
		},
		"job-closed": {
			built: true, fields: roofReport{"reason": "done"}, changed: "board", then: map[string]string{"board|stage": "closed"},
		},
		"job-reopened": {
			built: true, before: []roofReport{tell("closed", "job-closed", 90, nil)}, fields: roofReport{"reason": "a leak"}, changed: "board",
			then: map[string]string{"board|stage": "weather-tight"}, refused: []refusedCase{noReason},
		},
		"measure-taken": {
			fields: roofReport{"where": "A", "of": "moisture", "values": []any{25, "18 %"}}, changed: "board checklist punch",
			then: map[string]string{"punch|items|where=A|by_the_log": "true", "board|punch_open": "1"},
			refused: []refusedCase{
				noSuchMark, {roofReport{"of": "colour"}, "unknown-word", "/of"}, {roofReport{"values": []any{}}, "how-many-values", "/values"},
				{roofReport{"values": []any{"120 %"}}, "unreadable-value", "/values"}, {roofReport{"of": "length", "values": []any{"12"}}, "unreadable-value", "/values"},
				{roofReport{"of": "diagonals", "values": []any{"12'"}}, "how-many-values", "/values"}, {roofReport{"metal_temp_c": 500}, "impossible", "/metal_temp_c"},
			},
		},
		"material-ordered": {
			fields:  lines(map[string]any{"material": "felt", "amount": "3 rolls", "due": "2026-05-09"}).with(roofReport{"order": "PO-7"}),
			changed: "board checklist ledger", then: map[string]string{"ledger|lines|material=felt|on_order": "648 sqft"},
			refused: []refusedCase{
				{roofReport{"order": ""}, "empty", "/order"}, {roofReport{"lines": []any{}}, "how-many-lines", "/lines"},
				{lines(map[string]any{"material": "gold", "amount": "1 each"}), "unknown-material", "/lines/0/material"},
				{lines(map[string]any{"material": "felt", "amount": "3 boxes"}), "wrong-unit", "/lines/0/amount"},
				{lines(map[string]any{"material": "felt", "amount": "0 rolls"}), "not-above-zero", "/lines/0/amount"},
				{lines(map[string]any{"material": "felt", "amount": "9000000000000000 rolls"}), "too-much", "/lines/0/amount"},
				{lines(map[string]any{"material": "clip", "amount": "9000000000000000 each"}), "impossible", "/lines/0/amount"},
				{lines(map[string]any{"material": "felt", "amount": "3 rolls", "due": "soon"}), "unreadable-day", "/lines/0/due"},
			},
		},
		"material-received": {
			fields:  lines(map[string]any{"material": "clip", "amount": "100 each", "short": "20 each", "damaged": "5 each"}).with(roofReport{"order": "PO-8"}),
			changed: "board checklist ledger",
			then:    map[string]string{"ledger|lines|material=clip|on_hand": "100 each", "ledger|lines|material=clip|short": "20 each", "ledger|lines|material=clip|damaged": "5 each", "board|oddities": "3"},
			refused: []refusedCase{
				{roofReport{"lines": []any{}}, "how-many-lines", "/lines"}, {lines(map[string]any{"material": "clip", "amount": "2 rolls"}), "wrong-unit", "/lines/0/amount"},
				{lines(map[string]any{"material": "clip", "amount": "2 each", "short": "1'"}), "wrong-unit", "/lines/0/amount"},
			},
		},
		"material-counted": {
			before: []roofReport{received}, fields: roofReport{"material": "felt", "amount": "3 rolls"}, changed: "checklist ledger",
			then:    map[string]string{"ledger|lines|material=felt|counted": "648 sqft"},
			refused: []refusedCase{{roofReport{"material": "gold"}, "unknown-material", "/material"}, {roofReport{"amount": "3 each"}, "wrong-unit", "/amount"}},
		},
		"material-spoiled": {
			before: []roofReport{received}, fields: roofReport{"material": "felt", "amount": "1 roll", "reason": "Ölfleck"}, changed: "checklist ledger",
			then:    map[string]string{"ledger|lines|material=felt|on_hand": "648 sqft"},
			refused: []refusedCase{noReason, {roofReport{"amount": "0 rolls"}, "not-above-zero", "/amount"}},
		},
		"material-returned": {
			before: []roofReport{received}, fields: roofReport{"material": "felt", "amount": "1 roll"}, changed: "checklist ledger",
			then:    map[string]string{"ledger|lines|material=felt|on_hand": "648 sqft"},
			refused: []refusedCase{{roofReport{"amount": "-1 roll"}, "not-above-zero", "/amount"}},
		},
		"material-moved": {
			before: []roofReport{received}, fields: roofReport{"material": "felt", "amount": "1 roll", "to": "elsewhere"}, changed: "checklist ledger",
			then:    map[string]string{"ledger|lines|material=felt|moved_out": "216 sqft"},
			refused: []refusedCase{{roofReport{"to": "a b"}, "moved-where", "/to"}, {roofReport{"to": ""}, "moved-where", "/to"}, {roofReport{"to": "nowhere"}, "moved-where", "/to"}},
		},
		"deck-opened": {
			fields: roofReport{"where": "A", "amount": "50 sqft"}, changed: "board exposure",
			then: map[string]string{"exposure|places|where=A|state": "open", "exposure|places|where=eave-1|open": "true", "exposure|places|where=B|state": "untouched", "board|open_planes": "1", "board|stage": "deck open"},
			refused: []refusedCase{
				noSuchMark, {roofReport{"where": "eave-1"}, "not-a-plane", "/where"}, {roofReport{"amount": "5'"}, "wrong-unit", "/amount"},
				{roofReport{"amount": "5000 sqft"}, "more-than-there-is", "/amount"}, {roofReport{"where": "roof"}, "amount-of-what", "/amount"},
			},
		},
		"layer-laid": {
			before:  []roofReport{tell("deck", "deck-opened", 0, roofReport{"where": "A"}), tell("check", "layer-laid", 1, roofReport{"where": "A", "step": "deck-check"})},
			fields:  roofReport{"where": "A", "step": "felt"},
			changed: "board checklist exposure ledger punch", then: map[string]string{"exposure|places|where=A|state": "dried-in", "punch|items|where=A|by_the_log": "true"},
			refused: []refusedCase{noSuchMark, {roofReport{"step": "panels"}, "unknown-step", "/step"}, {roofReport{"where": "roof"}, "not-a-plane", "/where"}, {roofReport{"amount": "2 rolls"}, "wrong-unit", "/amount"}},
		},
		"panel-cut": {
			fields: roofReport{"piece": "A-01", "length": "14'", "from": map[string]any{"stock": "20'"}, "offcut": "5'"}, changed: "board checklist ledger",
			then: map[string]string{"ledger|lines|material=panel|used_reported": "15'"},
			refused: []refusedCase{
				{roofReport{"piece": "A-99"}, "unknown-piece", "/piece"}, {roofReport{"length": "-1'"}, "not-above-zero", "/length"}, {roofReport{"length": "400'"}, "too-long", "/length"},
				{roofReport{"length": "16'"}, "more-than-there-is", "/length"}, {roofReport{"length": "14"}, "unreadable-length", "/length"},
				{roofReport{"from": map[string]any{}}, "cut-from-what", "/from"}, {roofReport{"from": map[string]any{"coil": "c", "stock": "20'"}}, "cut-from-what", "/from"},
			},
		},
		"panel-set": {
			before: []roofReport{tell("cut", "panel-cut", 1, roofReport{"piece": "A-01", "length": "14'", "from": map[string]any{"coil": "c"}})},
			fields: roofReport{"piece": "A-01"}, changed: "board checklist exposure ledger punch",
			then:    map[string]string{"exposure|places|where=A|state": "open", "exposure|places|where=eave-1|panelled": "true"},
			refused: []refusedCase{{roofReport{"piece": ""}, "unknown-piece", "/piece"}},
		},
		"trim-installed": {
			fields: roofReport{"where": "eave-1", "step": "eave-trim", "amount": "10'"}, changed: "board checklist exposure ledger punch",
			then: map[string]string{"exposure|places|where=eave-1|state": "open"},
			refused: []refusedCase{
				noSuchMark, {roofReport{"where": "A"}, "not-an-edge", "/where"}, {roofReport{"step": "cap"}, "unknown-step", "/step"},
				{roofReport{"amount": "3 each"}, "wrong-unit", "/amount"}, {roofReport{"amount": "40'"}, "more-than-there-is", "/amount"},
			},
		},
		"seal-made": {
			fields: roofReport{"where": "ridge-1", "step": "foam"}, changed: "board checklist exposure ledger punch", then: map[string]string{"exposure|places|where=ridge-1|state": "open"},
			refused: []refusedCase{noSuchMark, {roofReport{"step": "glue"}, "unknown-step", "/step"}},
		},
		"cover-placed": {
			before: []roofReport{tell("deck", "deck-opened", 0, roofReport{"where": "A"})}, fields: roofReport{"where": "A"}, changed: "board exposure",
			then: map[string]string{"exposure|places|where=A|state": "covered", "board|covered_places": "1"}, refused: []refusedCase{noSuchMark},
		},
		"cover-removed": {
			before: []roofReport{tell("deck", "deck-opened", 0, roofReport{"where": "A"}), tell("cover", "cover-placed", 1, roofReport{"where": "A"})},
			fields: roofReport{"where": "A"}, changed: "board exposure", then: map[string]string{"exposure|places|where=A|state": "open"}, refused: []refusedCase{noSuchMark},
		},
		"weather-tight-reached": {
			built: true, fields: roofReport{"where": "ridge-1"}, changed: "exposure",
			then: map[string]string{"exposure|places|where=ridge-1|state": "weather-tight"}, refused: []refusedCase{noSuchMark},
		},
		"day-started": {
			fields: roofReport{"heads": 4, "shift_end": "2026-05-04T22:00:00Z", "leave_by": "2026-05-04T21:30:00Z"}, changed: "board",
			then: map[string]string{"board|day_under_way": "true", "board|heads": "4", "board|lead_leave_by": "2026-05-04T21:30:00Z"},
			refused: []refusedCase{{roofReport{"heads": 0}, "impossible", "/heads"}, {roofReport{"shift_end": "2026-05-04T10:00:00Z"}, "impossible", "/shift_end"}, {roofReport{"shift_end": "late"}, "unreadable-time", "/shift_end"},
				{roofReport{"leave_by": "2026-05-04T10:00:00Z"}, "impossible", "/leave_by"}, {roofReport{"leave_by": "early"}, "unreadable-time", "/leave_by"}},
		},
		"day-ended": {
			fields: roofReport{"left_open": []any{"A"}, "accepted_by": "Ike", "reason": "dry night"}, changed: "board", then: map[string]string{"board|left_open_accepted_by": "Ike"},
			refused: []refusedCase{noReason, {roofReport{"accepted_by": ""}, "empty", "/accepted_by"}, {roofReport{"left_open": []any{"Z"}}, "unknown-mark", "/left_open"}},
		},
		"punch-raised": {
			fields: roofReport{"where": "eave-1", "what": "Screw through the pan", "blocks": "night", "photos": []any{digest}}, changed: "board checklist punch",
			then:    map[string]string{"board|punch_before_night": "1", "punch|items|where=eave-1|state": "open"},
			refused: []refusedCase{noSuchMark, {roofReport{"what": ""}, "empty", "/what"}, {roofReport{"blocks": "lunch"}, "unknown-word", "/blocks"}, {roofReport{"photos": []any{"abc"}}, "unreadable-digest", "/photos/0"}},
		},
		"punch-assigned": {
			before: []roofReport{raised}, fields: ofItem(roofReport{"to": "Ike"}), changed: "punch", then: map[string]string{"punch|items|where=eave-1|assigned": "Ike"},
			refused: []refusedCase{noSuchItem, {roofReport{"to": ""}, "empty", "/to"}},
		},
		"punch-fixed": {
			before: []roofReport{raised}, fields: ofItem(roofReport{"photos": []any{digest}}), changed: "punch",
			then: map[string]string{"punch|items|where=eave-1|state": "fixed"}, refused: []refusedCase{noSuchItem},
		},
		"punch-verified": {
			before: []roofReport{raised}, fields: theItem, changed: "board checklist punch", then: map[string]string{"punch|items|where=eave-1|state": "verified"},
			refused: []refusedCase{noSuchItem, {roofReport{"item": idOf("nobody's")}, "unknown-item", "/item"}},
		},
		"punch-reopened": {
			before: []roofReport{raised, tell("fixed", "punch-fixed", 3, theItem)}, fields: ofItem(roofReport{"reason": "leaks"}), changed: "punch",
			then: map[string]string{"punch|items|where=eave-1|state": "open", "punch|items|where=eave-1|reason": "leaks"}, refused: []refusedCase{noSuchItem, noReason},
		},
		"punch-waived": {
			before: []roofReport{raised}, fields: ofItem(roofReport{"reason": "under the cap"}), changed: "board checklist punch",
			then: map[string]string{"punch|items|where=eave-1|state": "waived", "board|punch_open": "0"}, refused: []refusedCase{noSuchItem, noReason},
		},
		"photo-attached": {
			before: []roofReport{raised}, fields: roofReport{"to": idOf("the item"), "photo": digest}, changed: "punch",
			refused: []refusedCase{{roofReport{"to": "x"}, "unreadable-id", "/to"}, {roofReport{"photo": "x"}, "unreadable-digest", "/photos/0"}},
		},
		"check-signed": {
			fields: roofReport{"check": "A/felt/laps"}, changed: "board checklist", then: map[string]string{"checklist|checks|check=A/felt/laps|done": "true"},
			refused: []refusedCase{{roofReport{"check": "A/felt"}, "unknown-check", "/check"}},
		},
		"report-withdrawn": {
			before: []roofReport{raised}, fields: roofReport{"report": idOf("the item"), "reason": "wrong roof"}, changed: "board checklist punch", then: map[string]string{"board|punch_open": "0"},
			refused: []refusedCase{noReason, {roofReport{"report": "7"}, "unreadable-id", "/report"}},
		},
	}
}

// build reports everything that the gable needs, in its turn.
func (c *crew) build(job string) {
	var all []roofReport
	add := func(kind string, fields roofReport) {
		all = append(all, tell(fmt.Sprintf("built %d", len(all)), kind, 10+len(all), fields))
	}
	add("deck-opened", roofReport{"where": "roof"})
	for _, step := range []string{"ice-barrier", "eave-trim"} {
		for _, eave := range []string{"eave-1", "eave-2"} {
			if step == "eave-trim" {
				add("trim-installed", roofReport{"where": eave, "step": step})
			}
		}
		if step == "ice-barrier" {
			for _, plane := range []string{"A", "B"} {
				add("layer-laid", roofReport{"where": plane, "step": step})
			}
		}
	}
	rakes := []string{"rake-1", "rake-2", "rake-3", "rake-4"}
	for _, rake := range rakes {
		add("trim-installed", roofReport{"where": rake, "step": "starter-cleat"})
	}
	for _, plane := range []string{"A", "B"} {
		for _, step := range []string{"deck-check", "felt", "slip-sheet"} {
			add("layer-laid", roofReport{"where": plane, "step": step})
		}
		for i := range 12 {
			piece := fmt.Sprintf("%s-%02d", plane, i+1)
			add("panel-cut", roofReport{"piece": piece, "length": "14'", "from": map[string]any{"coil": "c"}})
			add("panel-set", roofReport{"piece": piece})
		}
	}
	for _, eave := range []string{"eave-1", "eave-2"} {
		add("trim-installed", roofReport{"where": eave, "step": "eave-turn"})
	}
	for _, rake := range rakes {
		add("trim-installed", roofReport{"where": rake, "step": "z-closure"})
		add("trim-installed", roofReport{"where": rake, "step": "rake-trim"})
	}
	add("trim-installed", roofReport{"where": "ridge-1", "step": "closures"})
	add("seal-made", roofReport{"where": "ridge-1", "step": "foam"})
	add("trim-installed", roofReport{"where": "ridge-1", "step": "cap"})
	last := c.accept(job, all...)
	checks, _ := c.views(job, last)["checklist"].(map[string]any)
	list, _ := checks["checks"].([]any)
	var signed []roofReport
	for i, check := range list {
		row, _ := check.(map[string]any)
		signed = append(signed, tell(fmt.Sprintf("signed %d", i), "check-signed", 85, roofReport{"check": row["check"]}))
	}
	c.accept(job, signed...)
}

// Every type of report, through the door: taken, known again, refused with its reason,
// seen in the views that it changes and in no other, and gone from them when it is
// withdrawn, but for the record.
func TestEveryReport(t *testing.T) {
	t.Parallel()
	cases := reportCases(t)
	if diff := cmp.Diff(events.Reports(), slices.Sorted(maps.Keys(cases))); diff != "" {
		t.Errorf("the table and the catalogue (-catalogue +table):\n%s", diff)
	}
	for kind, row := range cases {
		t.Run(kind, func(t *testing.T) { // a house for each: ids are a company's
			start(t).crew.every(kind, kind, row)
		})
	}
}

func (c *crew) every(job, kind string, row reportCase) {
	t := c.t
	c.open("elsewhere")
	c.open(job)
	last := uint64(2)
	if row.built {
		c.build(job)
	}
	if len(row.before) > 0 {
		last = c.accept(job, row.before...)
	}
	sender := access.Owner
	if kind == "punch-verified" {
		last = c.sendAs(access.Manager, job, tell("the fix", "punch-fixed", 4, theItem))[0].Sequence
	}
	// A report of no effect on the views, at the time that the last one happens at.
	first := c.accept(job, tell("quiet", "punch-assigned", 100, roofReport{"item": idOf("nobody's"), "to": "nobody"}))
	last = max(first, last)
	before := c.views(job, last)
	report := tell("this", kind, 100, row.fields)

	// Refused.
	refuse := func(role events.Role, r roofReport, code, where string) {
		t.Helper()
		got := c.sendAs(role, job, r)[0]
		if got.Status != "refused" || got.Problem == nil || code != "" && got.code() != code || where != "" && got.Problem.Where != where || got.Problem.Status < 400 || got.Problem.Status > 499 {
			t.Errorf("%v: %+v %+v; want %s at %s", r, got, got.Problem, code, where)
		}
	}
	for _, bad := range append(row.refused,
		refusedCase{roofReport{"id": nil}, "unreadable-id", "/id"}, refusedCase{roofReport{"colour": "red"}, "unknown-member", "/colour"},
		refusedCase{roofReport{"at": "2126-05-04T12:00:00Z"}, "in-the-future", "/at"}, refusedCase{roofReport{"id": idOf("quiet"), "at": "2026-05-04T12:00:01Z"}, "id-reused", "/id"},
	) {
		refuse(sender, report.with(bad.fields), bad.code, bad.where)
	}
	for _, role := range access.Roles() {
		if !access.May(role, access.Sending(kind)) {
			refuse(role, report, "forbidden", "/type")
		}
	}
	if kind == "job-closed" || kind == "weather-tight-reached" {
		c.open(job + "-bare")
		got := c.sendAs(sender, job+"-bare", report)[0]
		if got.Status != "refused" || len(got.Problem.Missing) == 0 {
			t.Errorf("claimed of a bare roof: %+v %+v", got, got.Problem)
		}
	}
	if diff := cmp.Diff(before, c.views(job, last)); diff != "" {
		t.Errorf("what was refused changed (-before +after):\n%s", diff)
	}

	// Accepted, and repeated.
	got := c.sendAs(sender, job, report)[0]
	if got.Status != "accepted" {
		t.Fatalf("%+v %+v", got, got.Problem)
	}
	after := c.views(job, got.Sequence)
	if again := c.sendAs(sender, job, report)[0]; again.Status != "repeated" || again.Sequence != got.Sequence {
		t.Errorf("sent again: %+v, before %+v", again, got)
	}
	refuse(sender, report.with(roofReport{"at": "2026-05-04T12:00:01Z"}), "id-reused", "/id")
	var changed []string
	for _, name := range slices.Sorted(maps.Keys(after)) {
		if !cmp.Equal(before[name], after[name]) {
			changed = append(changed, name)
		}
	}
	if now := strings.Join(changed, " "); now != row.changed {
		t.Errorf("it changes %q; want %q", now, row.changed)
	}
	for place, want := range row.then {
		if now := seen(after, place); now != want {
			t.Errorf("%s is %s; want %s", place, now, want)
		}
	}

	// Withdrawn.
	taken := c.accept(job, tell("back", "report-withdrawn", 100, roofReport{"report": idOf("this"), "reason": "été"}))
	if diff := cmp.Diff(before, c.views(job, taken)); diff != "" {
		t.Errorf("withdrawn, it leaves (-before +after):\n%s", diff)
	}
	record := c.record(job, taken)
	stands := slices.IndexFunc(record, func(e happened) bool { return e.ID == idOf("this") })
	if stands < 0 || record[stands].WithdrawnBy != idOf("back") || record[stands].Type != kind || record[stands].Words == "" || record[stands].Sequence != got.Sequence {
		t.Errorf("the record says %+v", record)
	}
	// And the withdrawal taken back.
	again := c.accept(job, tell("forth", "report-withdrawn", 101, roofReport{"report": idOf("back"), "reason": "it was right"}))
	now := c.views(job, again)
	for _, views := range []map[string]any{after, now} {
		if row, ok := views["board"].(map[string]any); ok {
			delete(row, "latest_report")
		}
	}
	if diff := cmp.Diff(after, now); diff != "" {
		t.Errorf("the withdrawal withdrawn (-first +now):\n%s", diff)
	}
	if status, text := c.ask(http.MethodGet, "/readyz", "", ""); status != http.StatusOK {
		t.Errorf("not ready: %s", text)
	}
}

// An id is one report's in its company, whoever sends it and into whichever job (F27).
func TestIDsAreUsedOnce(t *testing.T) {
	t.Parallel()
	c := start(t).crew
	c.open("north")
	c.open("south")
	fresh := func(age time.Duration) string {
		id, err := uuid.NewV7()
		if err != nil {
			t.Fatal(err)
		}
		ms := uint64(time.Now().Add(-age).UnixMilli())
		for i := range 6 {
			id[i] = byte(ms >> (40 - 8*i))
		}
		return id.String()
	}
	for _, id := range []string{fresh(0), fresh(time.Hour), idOf("made otherwise")} {
		report := tell("", "deck-opened", 0, roofReport{"where": "A"}).with(roofReport{"id": id})
		stored := c.sendAs(access.Lead, "north", report)[0]
		if stored.Status != "accepted" {
			t.Fatalf("%+v %+v", stored, stored.Problem)
		}
		before := c.views("north", stored.Sequence)
		for name, got := range map[string]answered{
			"in another job":    c.sendAs(access.Lead, "south", report)[0],
			"by another person": c.sendAs(access.Manager, "north", report)[0],
			"with another body": c.sendAs(access.Lead, "north", report.with(roofReport{"where": "B"}))[0],
		} {
			if got.Status != "refused" || got.code() != "id-reused" || got.Problem.Where != "/id" {
				t.Errorf("%s: %+v %+v", name, got, got.Problem)
			}
		}
		if diff := cmp.Diff(before, c.views("north", stored.Sequence)); diff != "" {
			t.Errorf("the first is not what it was:\n%s", diff)
		}
		if again := c.sendAs(access.Lead, "north", report)[0]; again.Status != "repeated" || again.Sequence != stored.Sequence {
			t.Errorf("the first again: %+v", again)
		}
	}
}

// seen is what stands at a place of the views, in words: names of members, and for a list
// the member and value of the row.
func seen(doc any, place string) string {
	for _, part := range strings.Split(place, "|") {
		switch v := doc.(type) {
		case map[string]any:
			doc = v[part]
		case []any:
			member, value, _ := strings.Cut(part, "=")
			i := slices.IndexFunc(v, func(row any) bool { m, _ := row.(map[string]any); return m[member] == value })
			if i < 0 {
				return "nowhere"
			}
			doc = v[i]
		default:
			return "nowhere"
		}
	}
	return fmt.Sprint(doc)
}
