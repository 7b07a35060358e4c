package projections_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/projectiontest"
	"bydark/projections/record"
)

// tally counts what a job's events say; each event is a word, or several.
type tally map[string]int

var counting = projections.Fold[tally]{
	Version: 1,
	New:     func(string, string) tally { return tally{} },
	Apply: func(n tally, e journal.Entry) (tally, error) {
		var words []string
		if err := json.Unmarshal(e.Data, &words); err != nil {
			return n, err
		}
		for _, w := range words {
			n[w]++
			if w == "panic" {
				panic("a word that must not be said")
			}
		}
		return n, nil
	},
}

const countsTable = `create table if not exists counts (company text not null, job text not null, word text not null, n bigint not null,
	often boolean not null, share double precision not null, last bigint, primary key (company, job, word))`

// counts is the view of tallies, with one row for each word.
type counts struct{ version int }

func (counts) Name() string     { return "counts" }
func (v counts) Version() int   { return v.version }
func (counts) Tables() []string { return []string{"counts"} }

func (counts) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	var rows [][]any
	for _, c := range changes {
		for word, n := range c.State {
			if word == "unwritable" {
				return fmt.Errorf("%s cannot be written", word)
			}
			if word == "twice" { // breaks the primary key
				rows = append(rows, []any{c.Company, c.Job, word, n, n > 2, 0.5, nil})
			}
			var last any
			if n > 1 {
				last = int64(n)
			}
			rows = append(rows, []any{c.Company, c.Job, word, n, n > 2, float64(n) / 3, last})
		}
	}
	slices.SortFunc(rows, func(a, b []any) int { return strings.Compare(fmt.Sprint(a...), fmt.Sprint(b...)) })
	return projections.Replace(ctx, tx, "counts", changes, []string{"company", "job", "word", "n", "often", "share", "last"}, rows)
}

// sums adds up a job's words in rows of its own, which it writes without Replace.
type sums struct{}

func (sums) Name() string     { return "sums" }
func (sums) Version() int     { return 1 }
func (sums) Tables() []string { return []string{"sums"} }

const sumsTable = `create table if not exists sums (company text not null, job text not null, words bigint not null, primary key (company, job))`

func (sums) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	for _, c := range changes {
		sum := 0
		for _, n := range c.State {
			sum += n
		}
		var words any = sum
		if c.State["null"] > 0 {
			words = nil // which the table does not take
		}
		if _, err := tx.Exec(ctx, `insert into sums (company, job, words) values (?, ?, ?)
			on conflict (company, job) do update set words = excluded.words`, c.Company, c.Job, words); err != nil {
			return err
		}
		if c.State["unsummable"] > 0 {
			return fmt.Errorf("%v cannot be summed", c.State)
		}
	}
	return nil
}

func makeTables(t testing.TB, s *projections.Store) {
	t.Helper()
	for _, command := range []string{countsTable, sumsTable} {
		if err := s.Exec(t.Context(), command); err != nil {
			t.Fatal(err)
		}
	}
}

func views() []projections.View[tally] { return []projections.View[tally]{counts{1}, sums{}} }

// said is an event of a job: words, or whatever is not a list of words.
func said(t failing, n int, job, data string) journal.Entry {
	t.Helper()
	subject, err := journal.RoofSubject("acme", job)
	if err != nil {
		t.Fatal(err)
	}
	return journal.Entry{Subject: subject, ID: fmt.Sprintf("id-%08d", n), Type: "bydark.test.said.v1", Source: "phone/1", About: "eave-1", By: "ann",
		Time: at(n), Recorded: at(n + 1), Data: []byte(data)}
}

func TestContract(t *testing.T) {
	seed := uint64(20260504)
	t.Log("seed", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	words := []string{"ridge", "hip", "größer", "a b", ""}
	for _, c := range []struct {
		name   string
		poison map[int]string // what is said instead, by number of the event
	}{
		{"sound", nil},
		{"poisoned", map[int]string{9: `{"not": "words"}`, 14: `["ridge", "panic"]`}},
		{"unwritable", map[int]string{6: `["unwritable"]`, 8: `["hip"]`, 15: `["twice"]`}},
		{"taken back", map[int]string{6: `["unsummable"]`, 9: `["hip"]`, 11: `["ridge", "null"]`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var events []journal.Entry
			for i := range 18 {
				data, err := json.Marshal([]string{words[random.IntN(len(words))], words[random.IntN(len(words))]})
				if err != nil {
					t.Fatal(err)
				}
				job := fmt.Sprint("j", random.IntN(3))
				if p, ok := c.poison[i]; ok {
					data = []byte(p)
					job = fmt.Sprint("j", i%2)
				}
				events = append(events, said(t, i, job, string(data)))
			}
			dump := projectiontest.Contract[tally]{
				Stream: journal.Roof, Fold: counting, History: record.Roof(), Views: views(), Events: events, Prepare: makeTables,
			}.Run(t)
			if n := strings.Count(dump, "\nstopped\t"); (c.poison == nil) != (n == 0) {
				t.Errorf("%d jobs are stopped:\n%s", n, dump)
			}
		})
	}
}
