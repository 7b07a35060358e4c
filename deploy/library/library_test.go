// Package library measures a general event-sourcing library for Go beside a plain synced publish, as the program's own log is measured in
// cmd/bydark. It is a module of its own, so that what the library stands on is no part of the program's.
package library

import (
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"bydark/events/journal/journaltest"

	"github.com/hallgren/eventsourcing/core"
	store "github.com/hallgren/eventsourcing/eventstore/sql"
	_ "modernc.org/sqlite"
)

// BenchmarkLibrary is BenchmarkAppend of cmd/bydark for the library. Say how many turns: -benchtime 10x.
func BenchmarkLibrary(b *testing.B) {
	const most = 64
	plain, library := journaltest.PlainStream(b), eventLibrary(b, most)
	for _, n := range []int{1, 8, most} {
		b.Run(fmt.Sprintf("writers=%d", n), func(b *testing.B) { journaltest.Contend(b, n, plain, library) })
	}
}

// eventLibrary is a general event-sourcing library for Go on a database in a file of this process: in one transaction it looks up the stream's
// version, compares, and adds a row. SQLite syncs its write-ahead log before a commit returns (synchronous=FULL), and takes one writer at a
// time.
func eventLibrary(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	file := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.Join(b.TempDir(), "events.db")}).EscapedPath(),
		RawQuery: "_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate"}
	db, err := sql.Open("sqlite", file.String())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	db.SetMaxOpenConns(1)
	events := store.Open(db)
	if err := events.Migrate(); err != nil {
		b.Fatal(err)
	}
	versions := make([]core.Version, most)
	return journaltest.Contender{Name: "library", Write: func(w int) error {
		versions[w]++
		return events.Save([]core.Event{{
			AggregateID: fmt.Sprintf("j-%d", w), AggregateType: "job", Version: versions[w], Reason: "MeasureTaken", Timestamp: time.Now(),
			Data: journaltest.PlainData, Metadata: []byte(journaltest.PlainHead),
		}})
	}}
}
