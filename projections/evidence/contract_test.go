package evidence_test

import (
	"encoding/json/jsontext"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/checklist"
	"bydark/projections/evidence"
	"bydark/projections/exposure"
	"bydark/projections/ledger"
	"bydark/projections/projectiontest"
	"bydark/projections/punch"
	"bydark/projections/record"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

func TestMain(m *testing.M) { os.Exit(projectiontest.Main(m)) }

const gable = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

// Every view of the program keeps the contract: live rows equal rebuilt ones, wherever
// the fold is cut, whoever folds, on SQLite and on PostgreSQL.
func TestViewsKeepTheContract(t *testing.T) {
	dump := projectiontest.Contract[*roofjob.State]{
		Stream: journal.Roof, History: record.Roof(), Views: []projections.View[*roofjob.State]{
			board.View, ledger.Lines, ledger.Oddities, ledger.Moves, ledger.Offcuts, exposure.View, punch.View, checklist.View, evidence.View{},
		},
		Fold: projections.Fold[*roofjob.State]{Version: roofjob.FoldVersion, New: func(company, job string) *roofjob.State {
			return roofjob.New(events.CompanyID(company), events.JobID(job))
		}, Apply: roofjob.Apply, ApplyAll: roofjob.ApplyAll},
		Events: threeJobs(t),
	}.Run(t)
	for _, table := range []string{"board", "ledger", "oddities", "moves", "exposure", "punch", "checklist", "photo"} {
		if n := strings.Count(dump, "\n"); n < 30 || !strings.Contains(dump, table) {
			t.Errorf("the dump of %d lines says nothing of %s", n, table)
		}
	}
}

// threeJobs are three small jobs told in turns, with what makes folding hard: late
// reports, withdrawals before and after what they take back, moves and counts.
func threeJobs(t *testing.T) []journal.Entry {
	t.Helper()
	how, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	amount := func(s string) quantity.Amount {
		a, err := quantity.ParseAmount(s)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	id := func(job string, n int) events.ReportID {
		return events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%s/%d", job, n)).String())
	}
	start := time.Date(2026, 5, 4, 11, 0, 0, 0, time.UTC)
	var all []journal.Entry
	tell := func(job string, n int, after time.Duration, body events.Body) {
		data, err := events.Encode(body)
		if err != nil {
			t.Fatal(err)
		}
		subject, err := journal.RoofSubject("firm", job)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, journal.Entry{
			ID: string(id(job, n)), Type: (events.Event{Body: body}).Type(), Source: "test", About: job, Subject: subject,
			Time: start.Add(after), Recorded: start.Add(time.Duration(len(all)) * time.Second), By: "lead", Data: data,
		})
	}
	photo := events.PhotoDigest(strings.Repeat("ab", 32))
	for i, job := range []string{"one", "two", "three"} {
		tell(job, 0, time.Duration(i)*time.Minute, events.JobOpened{
			Name: job, Site: events.Site{Lat: 41, Lon: -74, Zone: "America/New_York"}, Roof: jsontext.Value(gable), Assembly: how,
		})
	}
	for _, job := range []string{"one", "two"} {
		part := amount("50 sqft")
		tell(job, 1, time.Hour, events.DeckOpened{Where: "A"})
		tell(job, 2, 3*time.Hour, events.LayerLaid{Where: "A", Step: "felt", Amount: &part})
		tell(job, 3, 2*time.Hour, events.LayerLaid{Where: "A", Step: "ice-barrier"}) // late
		tell(job, 4, 4*time.Hour, events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`30"`}})
		tell(job, 5, 4*time.Hour, events.PunchRaised{Where: "ridge-1", What: "dent", Blocks: events.BlocksNight, Photos: []events.PhotoDigest{photo}})
		tell(job, 6, 5*time.Hour, events.ReportWithdrawn{Report: id(job, 7), Reason: "before it came"})
		tell(job, 7, 4*time.Hour, events.DeckOpened{Where: "B"})
		tell(job, 8, 6*time.Hour, events.MaterialReceived{Order: "7", Lines: []events.ReceivedLine{{Material: "felt", Amount: amount("3 rolls")}}})
		tell(job, 9, 7*time.Hour, events.MaterialMoved{Material: "felt", Amount: amount("1 roll"), To: "three"})
		tell(job, 10, 8*time.Hour, events.MaterialCounted{Material: "felt", Amount: amount("1 roll")})
		tell(job, 11, 9*time.Hour, events.PanelCut{Piece: "A-01", Length: 13 * quantity.Foot, From: events.CutFrom{Coil: "c"}})
		tell(job, 12, 9*time.Hour, events.PanelSet{Piece: "A-01"})
		tell(job, 13, 10*time.Hour, events.ReportWithdrawn{Report: id(job, 12), Reason: "other roof"})
		tell(job, 14, 10*time.Hour, events.CheckSigned{Check: "A/deck-check/sound"})
	}
	return all
}
