package main

import (
	"cmp"
	"database/sql"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"

	"github.com/google/uuid"
	_ "github.com/lib/pq"
	"github.com/nats-io/nats.go"
)

// What each contender writes: as many bytes as an event of the journal has in its headers, and in its data.
var (
	benchHead = string(make([]byte, 420))
	benchData = make([]byte, 500)
)

// contender writes events, each durable before write returns. Each writer has a stream of its own, and one write under way.
type contender struct {
	name  string
	write func(writer int) error
}

// turn is how long each contender writes before the next has its turn.
const turn = 300 * time.Millisecond

// BenchmarkAppend sets the log beside what it is built on and what it could have been built on, in turn, so that a busy machine slows all
// of them down alike. The figures are medians over the turns: events a second, and each but the first as a share of the first (of=plain).
// Say how many turns: -benchtime 10x.
func BenchmarkAppend(b *testing.B) {
	const most = 64
	all := []contender{plainStream(b, most), ourJournal(b, most), ourDoor(b, most), postgresTable(b, most)}
	for _, n := range []int{1, 8, most} {
		b.Run(fmt.Sprintf("writers=%d", n), func(b *testing.B) {
			rates := make([][]float64, len(all))
			for b.Loop() {
				for i, c := range all {
					rates[i] = append(rates[i], c.rate(b, n))
				}
			}
			for i, c := range all {
				b.ReportMetric(median(rates[i]), c.name+"/s")
				shares := slices.Clone(rates[i])
				for at := range shares {
					shares[at] /= rates[0][at]
				}
				b.ReportMetric(median(shares), c.name+"/plain")
			}
		})
	}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// rate is how many events a second n writers write in one turn.
func (c contender) rate(b *testing.B, n int) float64 {
	b.Helper()
	var written atomic.Int64
	var all sync.WaitGroup
	began := time.Now()
	for w := range n {
		all.Go(func() {
			for time.Since(began) < turn {
				if err := c.write(w); err != nil {
					b.Errorf("%s: %v", c.name, err)
					return
				}
				written.Add(1)
			}
		})
	}
	all.Wait()
	return float64(written.Load()) / time.Since(began).Seconds()
}

// plainStream is a stream of a broker in this process that syncs each message, and nothing of ours in between.
func plainStream(b *testing.B, _ int) contender {
	b.Helper()
	js := journaltest.Plain(b)
	return contender{"plain", func(w int) error {
		m := &nats.Msg{Subject: fmt.Sprintf("plain.j-%d", w), Header: nats.Header{"ce": {benchHead}}, Data: benchData}
		_, err := js.PublishMsg(b.Context(), m)
		return err
	}}
}

// ourJournal is the log on our own disk.
func ourJournal(b *testing.B, most int) contender {
	b.Helper()
	j := journaltest.OpenWith(b, journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
	tails, counts := make([]journal.Tail, most), make([]int, most)
	return contender{"journal", func(w int) (err error) {
		e := journaltest.Event(counts[w])
		e.Data = benchData
		counts[w]++
		tails[w], err = j.Append(b.Context(), fmt.Sprintf("roof.acme.j-%d", w), tails[w], e)
		return err
	}}
}

// ourDoor takes a report by HTTP: the sender's right, the decision, the append, and the answer. Views are folded meanwhile. Three people
// send them, because nobody alone may send so many, each with an id as a phone makes it.
func ourDoor(b *testing.B, most int) contender {
	b.Helper()
	r := start(b)
	for w := range most {
		r.crew.open(fmt.Sprintf("bench-%d", w))
	}
	// Each comes from an address of their own: one address may not ask so often either.
	doors := make([]*client, 3)
	for i := range doors {
		from := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(2+i))}}
		transport := &http.Transport{DialContext: from.DialContext, MaxIdleConnsPerHost: most}
		b.Cleanup(transport.CloseIdleConnections)
		doors[i] = &client{t: b, url: r.crew.url, through: &http.Client{Transport: transport}}
	}
	counts, senders := make([]int, most), []events.Role{access.Owner, access.Manager, access.Lead}
	return contender{"report", func(w int) error {
		counts[w]++
		id, err := uuid.NewV7()
		if err != nil {
			return err
		}
		report := tell(fmt.Sprintf("bench/%d/%d", w, counts[w]), "panel-set", counts[w], roofReport{"piece": fmt.Sprintf("A-%02d", 1+counts[w]%12)}).with(roofReport{"id": id.String()})
		status, text, err := doors[w%len(doors)].try(http.MethodPost, fmt.Sprintf("/v1/jobs/bench-%d/reports", w), r.crew.tokens[senders[w%len(senders)]],
			written(b, map[string]any{"reports": []roofReport{report}}))
		if err != nil || status != http.StatusOK {
			return cmp.Or(err, fmt.Errorf("%d %s", status, text))
		}
		return nil
	}}
}

// postgresTable is what a general event store on PostgreSQL comes down to: a row an event, unique by stream and version.
func postgresTable(b *testing.B, most int) contender {
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
	return contender{"postgres", func(w int) error {
		versions[w]++
		_, err := insert.ExecContext(b.Context(), fmt.Sprintf("j-%d", w), versions[w], []byte(benchHead), benchData)
		return err
	}}
}
