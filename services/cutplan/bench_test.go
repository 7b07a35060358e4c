//go:build unix

package cutplan

import (
	"context"
	"flag"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

var (
	limit  = flag.Duration("limit", time.Second, "time on one core for each open instance in BenchmarkOpenInstances")
	listed = flag.Bool("unproven", false, "print the open instances that were not proven or took longer than -slow")
	slow   = flag.Duration("slow", time.Second/2, "what takes longer is printed with -unproven")
)

// BenchmarkOpenInstances plans every open instance of a class and reports how many were proven within 0.1 s, 1 s and the
// limit, in time of one core, and how many were packed at the known optimum. Run it with -benchtime 1x.
func BenchmarkOpenInstances(b *testing.B) {
	best := optima(b)
	files, err := filepath.Glob(filepath.Join(openSet, "*.jsonl"))
	if err != nil {
		b.Fatal(err)
	}
	for _, file := range files {
		ids, reqs := open(b, file)
		b.Run(strings.TrimSuffix(filepath.Base(file), ".jsonl"), func(b *testing.B) {
			var tenth, second, proven, optimal float64
			worst := time.Duration(0)
			for i, q := range reqs {
				start := coreTime(b)
				a, err := Plan(&coreLimited{b.Context(), b, start + *limit}, q)
				took := coreTime(b) - start
				if err != nil {
					b.Fatal(ids[i], err)
				}
				if err := inspect(q, a); err != nil {
					b.Fatal(ids[i], err)
				}
				worst = max(worst, took)
				k := best[ids[i]]
				if a.LowerBound > k.optimum || a.Used < k.optimum {
					b.Errorf("%s: used %d, lower bound %d; the optimum is %d", ids[i], a.Used, a.LowerBound, k.optimum)
				}
				if a.Used == k.optimum {
					optimal++
				}
				if *listed && (!a.Proven || took > *slow) {
					fmt.Printf("%s: used %d, lower bound %d, optimum %d, %v\n", ids[i], a.Used, a.LowerBound, k.optimum, took)
				}
				if !a.Proven {
					continue
				}
				proven++
				if took <= time.Second {
					second++
				}
				if took <= time.Second/10 {
					tenth++
				}
			}
			b.ReportMetric(float64(len(reqs)), "instances")
			b.ReportMetric(tenth, "proven<0.1s")
			b.ReportMetric(second, "proven<1s")
			b.ReportMetric(proven, "proven")
			b.ReportMetric(optimal, "optimal")
			b.ReportMetric(float64(worst.Milliseconds()), "worst-ms")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// coreTime is the time that this process has had on the cores so far: what counts on a machine that others use too.
func coreTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// coreLimited is a context that ends when the process has had so much time on the cores.
type coreLimited struct {
	context.Context
	b   *testing.B
	end time.Duration
}

func (c *coreLimited) Err() error {
	if coreTime(c.b) > c.end {
		return context.DeadlineExceeded
	}
	return c.Context.Err()
}

// BenchmarkManyPieces plans 5,000 pieces of 60 lengths.
func BenchmarkManyPieces(b *testing.B) {
	for _, start := range []int64{1, 2, 3} {
		b.Run(fmt.Sprint(start), func(b *testing.B) {
			q := manyPieces(start)
			for b.Loop() {
				a, err := Plan(b.Context(), q)
				if err != nil || !a.Proven {
					b.Fatal(err, a)
				}
			}
		})
	}
}

// manyPieces draws 60 lengths for bars of 6 m, in millimetres, and 5,000 pieces of them.
func manyPieces(start int64) Request {
	q := Request{Plain: true, Stock: []Stock{{Length: 6000}}, Kerf: 3}
	x := uint64(start)
	next := func(n uint64) int64 { // Knuth's MMIX multiplier
		x = x*6364136223846793005 + 1442695040888963407
		return int64(x >> 33 % n)
	}
	seen := map[int64]bool{}
	left := int64(5000)
	for len(q.Pieces) < 60 {
		l := 200 + next(3800)
		if seen[l] {
			continue
		}
		seen[l] = true
		n := 40 + next(80)
		if len(q.Pieces) == 59 {
			n = left
		}
		left -= n
		q.Pieces = append(q.Pieces, Piece{Length: l, Count: n})
	}
	return q
}

// BenchmarkStops cancels the hardest plans at moments spread over their first second and
// reports by how much core time the answer came late at worst.
func BenchmarkStops(b *testing.B) {
	_, reqs := open(b, filepath.Join(openSet, "hard28.jsonl"))
	_, more := open(b, filepath.Join(openSet, "scholl_3.jsonl"))
	many := Request{Plain: true, Stock: []Stock{{Length: 1_000_000}}}
	for i := range int64(4900) {
		many.Pieces = append(many.Pieces, Piece{Length: 100_000 + 7*i, Count: 20})
	}
	reqs = append(append(reqs, more...), many)
	worst := time.Duration(0)
	for b.Loop() {
		for i, q := range reqs {
			for k := range 5 {
				end := coreTime(b) + time.Duration(i*37%100+k*200)*time.Millisecond
				if _, err := Plan(&coreLimited{b.Context(), b, end}, q); err != nil {
					b.Fatal(err)
				}
				worst = max(worst, coreTime(b)-end)
			}
		}
	}
	b.ReportMetric(float64(worst.Microseconds())/1000, "worst-ms-late")
}
