package main

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
	"bydark/services/access"

	_ "github.com/lib/pq"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
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
	// rest, if any, returns when what the writes left to do is done: it costs the machine, but nobody waits for it.
	rest func() error
}

// turn is how long each contender writes before the next has its turn.
const turn = 300 * time.Millisecond

// BenchmarkAppend sets the log, and the whole way of a report, beside what they are built on and what they could have been built on, in
// turn, so that a busy machine slows all of them down alike. The figures are medians over the turns: events a second, the same as a share
// of the first (/plain), and the processor's time for one in microseconds (cpu-), of this process, so without PostgreSQL's own.
// Say how many turns: -benchtime 10x.
func BenchmarkAppend(b *testing.B) {
	const most = 64
	all := []contender{plainStream(b, most), ourJournal(b, most), emptyDoor(b, most), plainDoor(b, most), ourDoor(b, most), postgresTable(b, most)}
	for _, n := range []int{1, 8, most} {
		b.Run(fmt.Sprintf("writers=%d", n), func(b *testing.B) {
			rates, costs := make([][]float64, len(all)), make([][]float64, len(all))
			for b.Loop() {
				for i, c := range all {
					rate, cost := c.rate(b, n)
					rates[i], costs[i] = append(rates[i], rate), append(costs[i], cost)
				}
			}
			for i, c := range all {
				b.ReportMetric(median(rates[i]), c.name+"/s")
				b.ReportMetric(median(costs[i]), "cpu-"+c.name)
				shares := slices.Clone(rates[i])
				for at := range shares {
					shares[at] /= rates[0][at]
				}
				b.ReportMetric(median(shares), c.name+"/plain")
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// rate is how many events a second n writers write in one turn, and what one costs the processor, in microseconds.
func (c contender) rate(b *testing.B, n int) (rate, cost float64) {
	b.Helper()
	var written atomic.Int64
	var all sync.WaitGroup
	spent, began := processorTime(b), time.Now()
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
	took := time.Since(began)
	if c.rest != nil {
		if err := c.rest(); err != nil {
			b.Errorf("%s: %v", c.name, err)
		}
	}
	count := float64(written.Load())
	return count / took.Seconds(), float64((processorTime(b) - spent).Microseconds()) / count
}

// processorTime is what this process has had of the processors.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// plainStream is a stream of a broker in this process that syncs each message, and nothing of ours in between.
func plainStream(b *testing.B, _ int) contender {
	b.Helper()
	js := journaltest.Plain(b)
	return contender{name: "plain", write: func(w int) error { return plainWrite(b.Context(), js, fmt.Sprintf("plain.j-%d", w)) }}
}

func plainWrite(ctx context.Context, js jetstream.JetStream, subject string) error {
	_, err := js.PublishMsg(ctx, &nats.Msg{Subject: subject, Header: nats.Header{"ce": {benchHead}}, Data: benchData})
	return err
}

// emptyDoor answers reports and does nothing: what HTTP costs by itself.
func emptyDoor(b *testing.B, most int) contender {
	b.Helper()
	from := senders(b, most, bareServer(b, func(*http.Request) error { return nil }), "x")
	return contender{name: "http", write: func(w int) error { return from[w].send() }}
}

// plainDoor answers reports after a plain synced publish: what no way of a report through this can be faster than, if it syncs alone.
func plainDoor(b *testing.B, most int) contender {
	b.Helper()
	js := journaltest.Plain(b)
	from := senders(b, most, bareServer(b, func(r *http.Request) error {
		return plainWrite(r.Context(), js, "plain."+strings.ReplaceAll(r.URL.Path[1:], "/", "-"))
	}), "x")
	return contender{name: "http+plain", write: func(w int) error { return from[w].send() }}
}

// ourJournal is the log on our own disk.
func ourJournal(b *testing.B, most int) contender {
	b.Helper()
	j := journaltest.OpenWith(b, journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
	tails, counts := make([]journal.Tail, most), make([]int, most)
	return contender{name: "journal", write: func(w int) (err error) {
		e := journaltest.Event(counts[w])
		e.Data = benchData
		counts[w]++
		tails[w], err = j.Append(b.Context(), fmt.Sprintf("roof.acme.j-%d", w), tails[w], e)
		return err
	}}
}

// ourDoor takes a report by HTTP: the sender's right, the decision, the append, and the answer. Views are folded meanwhile. Ids
// are as phones make them.
func ourDoor(b *testing.B, most int) contender {
	b.Helper()
	r := start(b)
	for w := range most {
		r.crew.open(fmt.Sprintf("bench-%d", w))
	}
	address := strings.TrimPrefix(r.crew.url, "http://")
	from := senders(b, most, address, r.crew.tokens[access.Owner], r.crew.tokens[access.Manager], r.crew.tokens[access.Lead], r.crew.tokens[access.Hand])
	return contender{name: "report", write: func(w int) error { return from[w].send() }, rest: func() error {
		end, err := r.journal.End(b.Context(), journal.Roof)
		if err != nil {
			return err
		}
		return r.runner.Wait(b.Context(), end.Sequence)
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
	return contender{name: "postgres", write: func(w int) error {
		versions[w]++
		_, err := insert.ExecContext(b.Context(), fmt.Sprintf("j-%d", w), versions[w], []byte(benchHead), benchData)
		return err
	}}
}
