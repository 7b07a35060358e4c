package record_test

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/projectiontest"
	"bydark/projections/record"
)

func TestMain(m *testing.M) { os.Exit(projectiontest.Main(m)) }

// fixture keeps what is reported in a record.
type fixture struct {
	log    *journal.Journal
	store  *projections.Store
	runner *projections.Runner[int]
	*commander
}

func eachStore(t *testing.T, f func(t *testing.T, x fixture)) {
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := j.Close(); err != nil {
				t.Error(err)
			}
		})
		c := new(commander)
		f(t, fixture{log: j, store: s, commander: c, runner: projections.NewRunner(projections.Config[int]{
			Views:   []projections.View[int]{c},
			Journal: j, Stream: journal.Roof, Store: s, History: record.Roof(), Log: slog.New(slog.DiscardHandler),
			Now: func() time.Time { return time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC) },
			Fold: projections.Fold[int]{
				New:   func(string, string) int { return 0 },
				Apply: func(n int, _ journal.Entry) (int, error) { return n + 1, nil },
			},
		})})
	})
}

// entries asks twice: for many sheets at once, and for two.
func (x fixture) entries(t *rapid.T, q record.Query) []journal.Entry {
	var all, slowly []journal.Entry
	if err := x.store.Read(context.Background(), func(tx *projections.Tx) (err error) {
		if all, err = record.Roof().Entries(context.Background(), tx, q); err != nil {
			return err
		}
		slowly, err = record.Roof().AtOnce(2).Entries(context.Background(), tx, q)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(said(all), said(slowly)); diff != "" {
		t.Fatal(diff)
	}
	return all
}

// moments are times with odd parts, in odd zones, at the edges of what the log takes.
var moments = rapid.Custom(func(t *rapid.T) time.Time {
	seconds := rapid.OneOf(rapid.Int64Range(1_770_000_000, 1_770_000_100), rapid.Int64Range(-62_135_510_000, 253_402_200_000),
		rapid.SampledFrom([]int64{-1, 0, 253_402_300_799})).Draw(t, "seconds")
	nanos := rapid.OneOf(rapid.SampledFrom([]int64{0, 1, 999_999_999, 500_000_000}), rapid.Int64Range(0, 999_999_999)).Draw(t, "nanoseconds")
	offset := rapid.SampledFrom([]int{0, 60, -330 * 60, 345 * 60, -12 * 3600}).Draw(t, "offset")
	return time.Unix(seconds, nanos).In(time.FixedZone("", offset))
})

// texts hold what people and what faults put into them.
var texts = rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", `\`, `\00`, "a\x00b", "\xff\xfe", `C:\5C`, "größer", "'; --"}),
	rapid.Map(rapid.SliceOfN(rapid.Byte(), 0, 8), func(b []byte) string { return string(b) }))

// Whatever the log takes comes back as the log gives it, and what is asked for by time and sequence is what a look at each event finds.
func TestRecordBesideLog(t *testing.T) {
	eachStore(t, func(t *testing.T, x fixture) {
		run := 0
		rapid.Check(t, func(t *rapid.T) {
			run++
			job := fmt.Sprint("j", run)
			subject, err := journal.RoofSubject("acme", job)
			if err != nil {
				t.Fatal(err)
			}
			var tail journal.Tail
			for i := range rapid.IntRange(1, 8).Draw(t, "events") {
				e := journal.Entry{
					ID: fmt.Sprint(i, texts.Draw(t, "id")), Type: "t" + texts.Draw(t, "type"), Source: texts.Draw(t, "source"),
					About: texts.Draw(t, "about"), By: texts.Draw(t, "by"), Time: moments.Draw(t, "time"), Recorded: moments.Draw(t, "recorded"),
					Data: rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "data"),
				}
				next, err := x.log.Append(context.Background(), subject, tail, e)
				if err != nil {
					continue // the log does not take it
				}
				tail = next
				if rapid.Bool().Draw(t, "a sheet ends") {
					if err := x.runner.CatchUp(context.Background()); err != nil {
						t.Fatal(err)
					}
				}
			}
			if err := x.runner.CatchUp(context.Background()); err != nil {
				t.Fatal(err)
			}
			if rapid.IntRange(0, 9).Draw(t, "all is folded anew") == 0 {
				if _, err := x.runner.Rebuild(context.Background()); err != nil {
					t.Fatal(err)
				}
			}
			want, err := x.log.Load(context.Background(), subject, 0)
			if err != nil {
				t.Fatal(err)
			}
			got := x.entries(t, record.Query{Company: "acme", Job: job})
			if diff := cmp.Diff(said(want), said(got)); diff != "" {
				t.Fatal(diff)
			}
			at, known := moments.Draw(t, "at"), moments.Draw(t, "known")
			after := rapid.Uint64Range(0, tail.Sequence+1).Draw(t, "after")
			upto := rapid.Uint64Range(1, tail.Sequence+1).Draw(t, "upto")
			var wanted []journal.Entry
			for _, e := range want {
				if !e.Time.After(at) && !e.Recorded.After(known) && e.Sequence > after && e.Sequence <= upto {
					wanted = append(wanted, e)
				}
			}
			got = x.entries(t, record.Query{Company: "acme", Job: job, At: at, Known: known, After: after, Upto: upto})
			if diff := cmp.Diff(said(wanted), said(got)); diff != "" {
				t.Fatal(diff)
			}
			got = nil
			for page := x.entries(t, record.Query{Company: "acme", Job: job, Limit: 3}); len(page) > 0; {
				got = append(got, page...)
				page = x.entries(t, record.Query{Company: "acme", Job: job, Limit: 3, After: page[len(page)-1].Sequence})
			}
			if diff := cmp.Diff(said(want), said(got)); diff != "" {
				t.Fatal(diff)
			}
		})
		if stopped := x.runner.Status().Stopped; len(stopped) > 0 {
			t.Errorf("stopped: %+v", stopped)
		}
	})
}

// said writes events with all that their digests are made of.
func said(entries []journal.Entry) []string {
	var all []string
	for _, e := range entries {
		all = append(all, fmt.Sprintf("%s %d %q %q %q %q %q %s %s %x %s %s", e.Subject, e.Sequence, e.ID, e.Type, e.Source, e.About, e.By,
			e.Time.Format(time.RFC3339Nano), e.Recorded.Format(time.RFC3339Nano), e.Data, e.Digest, e.Prev))
	}
	return all
}
