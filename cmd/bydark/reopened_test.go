package main

import (
	"strings"
	"testing"
)

// A finished roof, claimed and closed, of which a plane is opened again: no view says that it is closed.
func TestAFinishedRoofOpenedAgain(t *testing.T) {
	t.Parallel()
	c := start(t).crew
	c.open("gable")
	c.build("gable")
	done := c.accept("gable", tell("claimed", "weather-tight-reached", 90, roofReport{"where": "roof"}), tell("closed", "job-closed", 91, roofReport{}))
	before := c.views("gable", done)
	if got := seen(before, "board|stage"); got != "closed" {
		t.Fatalf("the finished roof is %s", got)
	}
	after := c.views("gable", c.accept("gable", tell("torn", "deck-opened", 95, roofReport{"where": "A", "amount": "100 sqft"})))
	for place, want := range map[string]string{
		"exposure|places|where=A|state": "open", "exposure|places|where=A|open": "true", "exposure|places|where=A|contradicted": "true",
		"exposure|places|where=B|state": "weather-tight", "board|open_planes": "1", "board|stage": "deck open", "board|punch_before_night": "1",
		"punch|items|where=A|by_the_log": "true", "checklist|checks|where=A|done": "false",
	} {
		if got := seen(after, place); got != want {
			t.Errorf("%s is %s; want %s", place, got, want)
		}
	}
	if got := seen(after, "punch|items|where=A|what"); !strings.Contains(got, "job was closed, and A was opened after it") {
		t.Errorf("the item says %q", got)
	}
	if was, now := seen(before, "ledger|lines|material=felt|remaining"), seen(after, "ledger|lines|material=felt|remaining"); was == now {
		t.Errorf("the felt still to be laid was %s and is %s", was, now)
	}
	if was, now := seen(before, "ledger|lines|material=felt|on_hand"), seen(after, "ledger|lines|material=felt|on_hand"); was != now {
		t.Errorf("felt that was laid lies at the site again: %s, now %s", was, now)
	}
}
