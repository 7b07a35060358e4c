package main

import (
	"fmt"
	"testing"

	"bydark/events/journal/journaltest"

	"github.com/google/go-cmp/cmp"
)

// F39: a report that happened ninety days before it comes, into a job that went on meanwhile and whose state was written down, changes the
// views as if it had come in time; the decisions after it too; a process that begins again decides and shows the same; other jobs go on.
func TestNinetyDaysLate(t *testing.T) {
	t.Parallel()
	r := start(t)
	const day = 24 * 60
	n := 60 * journaltest.Rounds(t, 5)
	story := []roofReport{tell("first", "deck-opened", 1, roofReport{"where": "A", "amount": "20 sqft"})}
	for i := range n {
		spacing := `20"`
		if i%9 == 0 {
			spacing = `30"`
		}
		story = append(story, tell(fmt.Sprint("measure ", i), "measure-taken", 2+i*90*day/n, roofReport{"where": "eave-1", "of": "spacing", "values": []string{spacing}}))
	}
	story = append(story, tell("last", "layer-laid", 91*day, roofReport{"where": "A", "step": "felt", "amount": "15 sqft"}))
	views := map[string]map[string]any{}
	for _, firm := range []string{"In time", "Late"} {
		opened, err := r.people.OpenCompany(t.Context(), firm, "Owner")
		if err != nil {
			t.Fatal(err)
		}
		c := hire(r.crew.client, opened.Token)
		c.open("gable")
		c.open("other")
		told := story
		if firm == "Late" {
			told = append(append([]roofReport{}, story[1:]...), story[0])
		}
		for len(told) > 0 {
			some := told[:min(50, len(told))]
			told = told[len(some):]
			c.accept("gable", some...)
		}
		last := c.accept("other", tell("another", "deck-opened", 5, roofReport{"where": "B"}))
		if got := c.sendAs("owner", "gable", story[0])[0]; got.Status != "repeated" {
			t.Errorf("%s: sent again it is %s", firm, got.Status)
		}
		c.isFolded("other", last)
		views[firm] = c.views("gable", last)
	}
	if diff := cmp.Diff(views["In time"], views["Late"]); diff != "" {
		t.Errorf("views (-in time +late):\n%s", diff)
	}
	r.stop()
	if code, found := verify(t, r.dir); code != 0 || len(found.Problems) > 0 {
		t.Errorf("verify ends with %d: %+v", code, found)
	}
}
