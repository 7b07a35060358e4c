package main

import (
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"bydark/services/access"
)

// The page on running the program, the alarms and /metrics say the same: each metric
// that is shown stands on the page, each that the page or an alarm names is shown, and
// each alarm has its paragraph.
func TestAlarmsAndPageNameWhatIsMeasured(t *testing.T) {
	t.Parallel()
	r := start(t)
	r.crew.open("barn")
	r.crew.accept("barn", tell("one", "deck-opened", 0, roofReport{"where": "A"}))
	r.crew.sendAs(access.Hand, "barn", tell("two", "deck-opened", 0, roofReport{"where": "no such place"}))
	r.crew.ask(http.MethodGet, "/readyz", "", "")
	r.told(t)
	_, text := r.crew.ask(http.MethodGet, "/metrics", r.crew.tokens[access.Owner], "")
	shown := names(t, regexp.MustCompile(`(?m)^# HELP (bydark_\w+) `), text)
	if len(shown) < 20 {
		t.Fatalf("few are shown: %v", shown)
	}
	page, rules := textOf(t, "../../deploy/RUNNING.md"), textOf(t, "../../deploy/alarms.yml")
	named := regexp.MustCompile(`\b(bydark_[a-z_]+)\b`)
	for file, text := range map[string]string{"RUNNING.md": page, "alarms.yml": rules} {
		for _, name := range names(t, named, text) {
			if !slices.Contains(shown, strings.TrimSuffix(name, "_bucket")) {
				t.Errorf("%s names %s, which is not shown", file, name)
			}
		}
	}
	table := names(t, named, page)
	for _, name := range shown {
		if !slices.Contains(table, name) {
			t.Errorf("%s is shown, and RUNNING.md does not say what it is", name)
		}
	}
	ring, told := names(t, regexp.MustCompile(`(?m)^ +- alert: (\w+)$`), rules), names(t, regexp.MustCompile(`(?m)^### (Bydark\w+)$`), page)
	if !slices.Equal(ring, told) || len(ring) == 0 {
		t.Errorf("alarms.yml has %v, RUNNING.md tells of %v", ring, told)
	}
}

// names are what a pattern finds, sorted, each once.
func names(t *testing.T, pattern *regexp.Regexp, text string) []string {
	t.Helper()
	var all []string
	for _, m := range pattern.FindAllStringSubmatch(text, -1) {
		all = append(all, m[1])
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func textOf(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
