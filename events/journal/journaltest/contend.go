package journaltest

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// What each contender writes: as many bytes as an event of the journal has in its headers, and in its data.
var (
	PlainHead = string(make([]byte, 420))
	PlainData = make([]byte, 500)
)

// Contender writes events, each durable before Write returns. Each writer has a stream of its own, and one write under way.
type Contender struct {
	Name  string
	Write func(writer int) error
	// Rest, if any, returns when what the writes left to do is done: it costs the machine, but nobody waits for it.
	Rest func() error
}

// turn is how long each contender writes before the next has its turn.
const turn = 300 * time.Millisecond

// Contend lets n writers write by each contender in turn, so that a busy machine slows all of them down alike. It reports medians over the
// turns: events a second, the same as a share of the first contender's (/plain), and the processor's time for one event in microseconds
// (cpu-), of this process alone.
func Contend(b *testing.B, n int, all ...Contender) {
	b.Helper()
	rates, costs := make([][]float64, len(all)), make([][]float64, len(all))
	for b.Loop() {
		for i, c := range all {
			rate, cost := c.rate(b, n)
			rates[i], costs[i] = append(rates[i], rate), append(costs[i], cost)
		}
	}
	for i, c := range all {
		b.ReportMetric(median(rates[i]), c.Name+"/s")
		b.ReportMetric(median(costs[i]), "cpu-"+c.Name)
		shares := slices.Clone(rates[i])
		for at := range shares {
			shares[at] /= rates[0][at]
		}
		b.ReportMetric(median(shares), c.Name+"/"+all[0].Name)
	}
	b.ReportMetric(0, "ns/op")
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// rate is how many events a second n writers write in one turn, and what one costs the processor, in microseconds.
func (c Contender) rate(b *testing.B, n int) (rate, cost float64) {
	b.Helper()
	var written atomic.Int64
	var all sync.WaitGroup
	spent, began := processorTime(b), time.Now()
	for w := range n {
		all.Go(func() {
			for time.Since(began) < turn {
				if err := c.Write(w); err != nil {
					b.Errorf("%s: %v", c.Name, err)
					return
				}
				written.Add(1)
			}
		})
	}
	all.Wait()
	took := time.Since(began)
	if c.Rest != nil {
		if err := c.Rest(); err != nil {
			b.Errorf("%s: %v", c.Name, err)
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

// PlainStream publishes to a broker in this process that syncs each message, with nothing of ours in between.
func PlainStream(b *testing.B) Contender {
	b.Helper()
	js := Plain(b)
	return Contender{Name: "plain", Write: func(w int) error { return PlainWrite(b.Context(), js, fmt.Sprintf("plain.j-%d", w)) }}
}

// PlainWrite publishes one message with the contenders' bytes.
func PlainWrite(ctx context.Context, js jetstream.JetStream, subject string) error {
	_, err := js.PublishMsg(ctx, &nats.Msg{Subject: subject, Header: nats.Header{"ce": {PlainHead}}, Data: PlainData})
	return err
}
