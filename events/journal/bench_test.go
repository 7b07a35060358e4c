package journal_test

import (
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// body is what a report weighs.
var body = make([]byte, 500)

// writers runs b.N writes shared by n writers.
func writers(b *testing.B, n int, write func(writer, i int) error) {
	b.Helper()
	b.ResetTimer()
	var group sync.WaitGroup
	for w := range n {
		group.Go(func() {
			for i := w; i < b.N; i += n {
				if err := write(w, i); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	group.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "events/s")
}

func BenchmarkAppend(b *testing.B) {
	for _, n := range []int{1, 8, 64} {
		b.Run(fmt.Sprintf("writers=%d/plain", n), func(b *testing.B) {
			js := journaltest.Plain(b)
			writers(b, n, func(w, _ int) error {
				// As many bytes as the journal's headers and data have.
				_, err := js.PublishMsg(b.Context(), &nats.Msg{Subject: fmt.Sprintf("plain.j-%d", w),
					Header: nats.Header{"ce": {string(make([]byte, 420))}}, Data: body})
				return err
			})
		})
		b.Run(fmt.Sprintf("writers=%d/journal", n), func(b *testing.B) {
			j := journaltest.OpenWith(b, journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
			tails := make([]journal.Tail, n)
			writers(b, n, func(w, i int) (err error) {
				e := journaltest.Event(i)
				e.Data = body
				tails[w], err = j.Append(b.Context(), fmt.Sprintf("roof.acme.j-%d", w), tails[w], e)
				return err
			})
		})
	}
}

// BenchmarkRead reads 100,000 events, as a rebuild does.
func BenchmarkRead(b *testing.B) {
	const events = 100_000
	b.Run("plain", func(b *testing.B) {
		js := journaltest.Plain(b)
		for i := range events {
			m := &nats.Msg{Subject: fmt.Sprintf("plain.j-%d", i%100), Header: nats.Header{"ce": {string(make([]byte, 420))}}, Data: body}
			if _, err := js.PublishMsgAsync(m, jetstream.WithStallWait(time.Minute)); err != nil {
				b.Fatal(err)
			}
		}
		<-js.PublishAsyncComplete()
		for b.Loop() {
			c, err := js.CreateConsumer(b.Context(), "PLAIN", jetstream.ConsumerConfig{AckPolicy: jetstream.AckNonePolicy, MemoryStorage: true})
			if err != nil {
				b.Fatal(err)
			}
			done := make(chan bool)
			n := 0
			consuming, err := c.Consume(func(jetstream.Msg) {
				if n++; n == events {
					close(done)
				}
			})
			if err != nil {
				b.Fatal(err)
			}
			<-done
			consuming.Stop()
		}
		b.ReportMetric(float64(b.N*events)/b.Elapsed().Seconds(), "events/s")
	})
	b.Run("journal", func(b *testing.B) {
		j := journaltest.OpenWith(b, journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
		const subjects = 64
		var group sync.WaitGroup
		for w := range subjects {
			group.Go(func() {
				var tail journal.Tail
				for i := w; i < events; i += subjects {
					e := journaltest.Event(i)
					e.Data = body
					tail = journaltest.Append(b, j, fmt.Sprintf("roof.acme.j-%d", w), tail, e)
				}
			})
		}
		group.Wait()
		for b.Loop() {
			got, err := journaltest.Read(b.Context(), j, journal.Roof, journal.Position{}, events)
			if err != nil || len(got) != events {
				b.Fatal(len(got), err)
			}
		}
		b.ReportMetric(float64(b.N*events)/b.Elapsed().Seconds(), "events/s")
	})
}
