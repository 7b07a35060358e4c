package main

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Every number stands in the table once, with tests that exist and name it, or with the
// reason why there is none.
func TestTableNamesTestsThatExist(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	found, err := testsIn("../..")
	if err != nil {
		t.Fatal(err)
	}
	rows := rowsOf(text)
	var numbers []string
	for _, r := range rows {
		numbers = append(numbers, r.number)
		tests, reason, _ := strings.Cut(r.tests, "; not: ")
		named := regexp.MustCompile("`(Test\\w+|\\w+\\.Fuzz\\w+)`").FindAllStringSubmatch(tests, -1)
		for _, m := range named {
			if !slices.ContainsFunc(found, func(f test) bool { return f.called() == m[1] && slices.Contains(f.numbers, r.number) }) {
				t.Errorf("%s: there is no test %s that names it", r.number, m[1])
			}
		}
		if why, ok := strings.CutPrefix(r.tests, "no: "); len(named) == 0 && (!ok || len(why) < 20) || len(named) > 0 && reason != "" && len(reason) < 20 {
			t.Errorf("%s has neither a test nor a reason (no: ...): %q", r.number, r.tests)
		}
	}
	for _, r := range rows {
		ours := func(f test) bool { return slices.Contains(f.numbers, r.number) }
		if r.rounds != "" && slices.ContainsFunc(found, ours) && !slices.ContainsFunc(found, func(f test) bool { return ours(f) && f.repeats }) {
			t.Errorf("%s wants %s rounds, and no test of it runs more than one", r.number, r.rounds)
		}
	}
	var want []string
	for family, last := range map[string]int{"F": 56, "S": 60} {
		for n := range last {
			want = append(want, fmt.Sprintf("%s%02d", family, n+1))
		}
	}
	slices.Sort(want)
	slices.Sort(numbers)
	if !slices.Equal(numbers, want) {
		t.Errorf("the table has %v", numbers)
	}
}

func TestNumbersInComments(t *testing.T) {
	t.Parallel()
	for comment, want := range map[string][]string{
		"F01, F02: killed": {"F01", "F02"}, "S12: x": {"S12"}, "F08-F11: y": {"F08", "F09", "F10", "F11"}, "F12-16 z": {"F12", "F13", "F14", "F15", "F16"},
		"S16.5.3: somebody else's": nil, "F43 to F46: nodes": {"F43", "F44", "F45", "F46"}, "nothing": nil, "S16: ends. S17 too.": {"S16", "S17"},
	} {
		if got := numbersIn(comment); !slices.Equal(got, want) {
			t.Errorf("%q: %v, want %v", comment, got, want)
		}
	}
}
