package main

import (
	"encoding/json/v2"
	"net/http"
	"strings"
	"testing"

	"bydark/services/access"
	"bydark/services/assembly"
)

// An assembly that reckons felt by the piece, after felt came by the roll, stops no
// ledger: what came before is told as odd and counted anew.
func TestAnotherUnitStopsNoLedger(t *testing.T) {
	t.Parallel()
	house := start(t)
	c := house.crew
	c.open("gable")
	c.accept("gable", tell("the order", "material-ordered", 1, roofReport{"order": "PO-7", "lines": []any{map[string]any{"material": "felt", "amount": "4 rolls"}}}))
	c.accept("gable", received)
	doc, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	was := docOf(t, doc)
	tree, _ := was.(map[string]any)
	for _, m := range tree["materials"].([]any) { //nolint:forcetypeassert // a shipped document
		if row, _ := m.(map[string]any); row["id"] == "starter-cleat" {
			row["id"], row["name"] = "felt-sheet", "Felt by the sheet"
		}
	}
	text := strings.ReplaceAll(written(t, tree), `"material":"starter-cleat"`, `"material":"felt-sheet"`)
	text = strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(text, `"felt-sheet"`, `"§"`), `"felt"`, `"old-felt"`), `"§"`, `"felt"`)
	last := c.accept("gable", tell("by the length", "assembly-chosen", 5, roofReport{"assembly": docOf(t, []byte(text)), "reason": "felt by the length"}))
	views := c.views("gable", last)
	if now := seen(views, "ledger|lines|material=felt|received"); now != "0'" {
		t.Errorf("received: %s", now)
	}
	if now := seen(views, "ledger|discrepancies|where=roof|what"); !strings.Contains(now, "felt is reckoned in another unit") {
		t.Errorf("told as odd: %s", now)
	}
	last = c.accept("gable", tell("count", "material-counted", 6, roofReport{"material": "felt", "amount": "30'"}))
	if now := seen(c.views("gable", last), "ledger|lines|material=felt|on_hand"); now != "30'" {
		t.Errorf("on hand after the count: %s", now)
	}
	if status, said := c.ask(http.MethodGet, "/readyz", "", ""); status != http.StatusOK {
		t.Errorf("not ready: %s", said)
	}
}

// The most that one report may tell of a material, told many times, sums up.
func TestTheMostThatFits(t *testing.T) {
	t.Parallel()
	house := start(t)
	c := house.crew
	c.open("gable")
	var last uint64
	for _, name := range []string{"one", "two", "three"} {
		last = c.accept("gable", tell(name, "material-received", 1, roofReport{"lines": []any{
			map[string]any{"material": "clip", "amount": "10000000 each", "short": "10000000 each", "damaged": "10000000 each"},
			map[string]any{"material": "felt", "amount": "1000000 m2"}, map[string]any{"material": "cap", "amount": "100000 m"},
		}}))
	}
	if now := seen(c.views("gable", last), "ledger|lines|material=clip|received"); now != "30000000 each" {
		t.Errorf("received: %s", now)
	}
	got := c.sendAs(access.Owner, "gable", tell("more", "material-counted", 1, roofReport{"material": "cap", "amount": "100001 m"}))[0]
	if got.code() != "impossible" {
		t.Errorf("beyond: %+v %+v", got, got.Problem)
	}
}

// People's own letters come back whole.
func TestLettersOfTheWorld(t *testing.T) {
	t.Parallel()
	house := start(t)
	c := house.crew
	c.open("gable")
	last := c.accept("gable",
		tell("one", "material-spoiled", 1, roofReport{"material": "felt", "amount": "1 roll", "reason": "övre kanten blöt"}),
		tell("two", "punch-raised", 2, roofReport{"where": "roof", "what": "漏れ 🌧", "blocks": "night"}),
		tell("three", "punch-waived", 3, roofReport{"item": idOf("two"), "reason": "直した"}),
	)
	words := ""
	for _, e := range c.record("gable", last) {
		words += e.Words + "\n"
	}
	for _, want := range []string{"Övre kanten blöt.", "漏れ 🌧", "直した."} {
		if !strings.Contains(words, want) {
			t.Errorf("%q is not in the record:\n%s", want, words)
		}
	}
	text, err := json.Marshal(words)
	if err != nil {
		t.Errorf("%s: %v", text, err)
	}
}
