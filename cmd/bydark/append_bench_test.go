package main

import (
	"database/sql"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"

	_ "github.com/lib/pq"
)

// BenchmarkAppend sets the log, and the whole way of a report, beside what they are built on and what they could have been built on; see
// journaltest.Contend. The processor's time is without PostgreSQL's own. Say how many turns: -benchtime 10x.
func BenchmarkAppend(b *testing.B) {
	const most = 64
	all := []journaltest.Contender{
		journaltest.PlainStream(b), ourJournal(b, most), emptyDoor(b, most), plainDoor(b, most), ourDoor(b, most), postgresTable(b, most),
	}
	for _, n := range []int{1, 8, most} {
		b.Run(fmt.Sprintf("writers=%d", n), func(b *testing.B) { journaltest.Contend(b, n, all...) })
	}
}

// emptyDoor answers reports and does nothing: what HTTP costs by itself.
func emptyDoor(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	from := senders(b, most, bareServer(b, func(*http.Request) error { return nil }), "x")
	return journaltest.Contender{Name: "http", Write: func(w int) error { return from[w].send() }}
}

// plainDoor answers reports after a plain synced publish: what no way of a report through this can be faster than, if it syncs alone.
func plainDoor(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	js := journaltest.Plain(b)
	from := senders(b, most, bareServer(b, func(r *http.Request) error {
		return journaltest.PlainWrite(r.Context(), js, "plain."+strings.ReplaceAll(r.URL.Path[1:], "/", "-"))
	}), "x")
	return journaltest.Contender{Name: "http+plain", Write: func(w int) error { return from[w].send() }}
}

// ourJournal is the log on our own disk.
func ourJournal(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	j := journaltest.OpenWith(b, journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
	tails, counts := make([]journal.Tail, most), make([]int, most)
	return journaltest.Contender{Name: "journal", Write: func(w int) (err error) {
		e := journaltest.Event(counts[w])
		e.Data = journaltest.PlainData
		counts[w]++
		tails[w], err = j.Append(b.Context(), fmt.Sprintf("roof.acme.j-%d", w), tails[w], e)
		return err
	}}
}

// ourDoor takes a report by HTTP: the sender's right, the decision, the append, and the answer. Views are folded meanwhile. Ids
// are as phones make them.
func ourDoor(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	r := start(b)
	for w := range most {
		r.crew.open(fmt.Sprintf("bench-%d", w))
	}
	address := strings.TrimPrefix(r.crew.url, "http://")
	from := senders(b, most, address, r.crew.tokens[access.Owner], r.crew.tokens[access.Manager], r.crew.tokens[access.Lead], r.crew.tokens[access.Hand])
	return journaltest.Contender{Name: "report", Write: func(w int) error { return from[w].send() }, Rest: func() error {
		end, err := r.journal.End(b.Context(), journal.Roof)
		if err != nil {
			return err
		}
		return r.runner.Wait(b.Context(), end.Sequence)
	}}
}

// postgresTable is what a general event store on PostgreSQL comes down to: a row an event, unique by stream and version.
func postgresTable(b *testing.B, most int) journaltest.Contender {
	b.Helper()
	db, err := sql.Open("postgres", projectiontest.DurablePostgres(b))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	db.SetMaxOpenConns(most)
	db.SetMaxIdleConns(most)
	_, err = db.ExecContext(b.Context(), `create table event (position bigserial primary key, stream text not null, version bigint not null,
		head bytea not null, data bytea not null, unique (stream, version))`)
	if err != nil {
		b.Fatal(err)
	}
	insert, err := db.PrepareContext(b.Context(), `insert into event (stream, version, head, data) values ($1, $2, $3, $4)`)
	if err != nil {
		b.Fatal(err)
	}
	versions := make([]int, most)
	return journaltest.Contender{Name: "postgres", Write: func(w int) error {
		versions[w]++
		_, err := insert.ExecContext(b.Context(), fmt.Sprintf("j-%d", w), versions[w], []byte(journaltest.PlainHead), journaltest.PlainData)
		return err
	}}
}
