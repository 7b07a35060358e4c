//go:build unix && beside

// Needs an outside solver: make bench-cut installs it and builds this.

package cutplan

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

var sample = flag.Int("sample", 6, "how many instances of each class to give to both")

// mostArcs bounds the models that the solver is given: it would not finish reading larger ones.
const mostArcs = 150_000

// arcFlow writes the arc-flow model of Valério de Carvalho ("Exact solution of bin-packing problems using column
// generation and branch-and-bound", 1999) in LP format: a bar is a path from 0 to its length along arcs of one piece, in
// order of falling size, and at the end along arcs of waste. It gives up on more arcs than mostArcs.
func arcFlow(in *instance) (model string, ok bool) {
	type arc struct{ from, to int64 }
	c := in.stocks[0].cap
	reached := map[int64]bool{0: true}
	arcs := 0
	bySize := make([]map[arc]bool, len(in.w))
	for i, w := range in.w {
		bySize[i] = map[arc]bool{}
		starts := make([]int64, 0, len(reached))
		for u := range reached {
			starts = append(starts, u)
		}
		for _, u := range starts {
			for n := int64(0); n < in.d[i] && u+w <= c; n++ {
				bySize[i][arc{u, u + w}] = true
				u += w
				reached[u] = true
			}
		}
		if arcs += len(bySize[i]); arcs > mostArcs {
			return "", false
		}
	}
	reached[c] = true
	nodes := make([]int64, 0, len(reached))
	for u := range reached {
		nodes = append(nodes, u)
	}
	slices.Sort(nodes)
	balance := map[int64][]string{}
	var demand, names []string
	for i := range in.w {
		var sum []string
		for a := range bySize[i] {
			name := fmt.Sprintf("x%d_%d", i, a.from)
			names, sum = append(names, name), append(sum, name)
			balance[a.from] = append(balance[a.from], "- "+name)
			balance[a.to] = append(balance[a.to], "+ "+name)
		}
		slices.Sort(sum)
		demand = append(demand, fmt.Sprintf("d%d: %s >= %d", i, strings.Join(sum, " + "), in.d[i]))
	}
	for k := 1; k+1 < len(nodes); k++ {
		name := fmt.Sprintf("w%d", nodes[k])
		names = append(names, name)
		balance[nodes[k]] = append(balance[nodes[k]], "- "+name)
		balance[nodes[k+1]] = append(balance[nodes[k+1]], "+ "+name)
	}
	balance[0] = append(balance[0], "+ z")
	balance[c] = append(balance[c], "- z")
	slices.Sort(names)
	var b strings.Builder
	b.WriteString("Minimize\n obj: z\nSubject To\n")
	for _, u := range nodes {
		slices.Sort(balance[u])
		fmt.Fprintf(&b, " n%d: %s = 0\n", u, strings.Join(balance[u], "\n  "))
	}
	for _, d := range demand {
		b.WriteString(" " + strings.ReplaceAll(d, " + ", "\n  + ") + "\n")
	}
	b.WriteString("General\n z\n " + strings.Join(names, "\n ") + "\nEnd\n")
	return b.String(), true
}

// BenchmarkBesideSolver plans a sample of the open instances and gives the same ones, as arc-flow models, to the open
// solver cbc (Debian's coinor-cbc) with the same limit, on one core each. It reports how many each proves and the median
// of how many times faster ours is where both prove. Run it with -benchtime 1x.
func BenchmarkBesideSolver(b *testing.B) {
	solver, err := exec.LookPath("cbc")
	if err != nil {
		b.Fatal("needs cbc, of Debian's package coinor-cbc: ", err)
	}
	best := optima(b)
	for _, class := range []string{"falkenauer_u", "falkenauer_t", "schwerin_1", "schwerin_2", "scholl_1", "scholl_2", "scholl_3", "pm", "waescher", "hard28"} {
		ids, reqs := open(b, filepath.Join(openSet, class+".jsonl"))
		b.Run(class, func(b *testing.B) {
			var faster []float64
			var ours, theirs, tried float64
			for k := range min(*sample, len(reqs)) {
				i := k * len(reqs) / min(*sample, len(reqs))
				tried++
				start := coreTime(b)
				a, err := Plan(&coreLimited{b.Context(), b, start + *limit}, reqs[i])
				took := coreTime(b) - start
				if err != nil {
					b.Fatal(err)
				}
				if a.Proven {
					ours++
				}
				model, ok := arcFlow(newTask(&reqs[i]).in)
				if !ok {
					if *listed {
						fmt.Printf("%s: ours %v in %v, no model of %d arcs at most\n", ids[i], a.Proven, took, mostArcs)
					}
					continue
				}
				file := filepath.Join(b.TempDir(), "model.lp")
				if err := os.WriteFile(file, []byte(model), 0o600); err != nil {
					b.Fatal(err)
				}
				// It does not count its reading and its start against its limit.
				ctx, stop := context.WithTimeout(b.Context(), 3**limit+10*time.Second)
				run := exec.CommandContext(ctx, solver, file, "sec", fmt.Sprint(limit.Seconds()), "threads", "1", "solve", "quit")
				out, err := run.Output()
				stop()
				if err != nil { // it crashes on some models
					b.Log(ids[i], "cbc:", err)
				}
				took2 := run.ProcessState.UserTime() + run.ProcessState.SystemTime()
				proven := err == nil && strings.Contains(string(out), "Result - Optimal solution found")
				if *listed {
					fmt.Printf("%s: ours %v in %v, cbc %v in %v\n", ids[i], a.Proven, took, proven, took2)
				}
				if !proven {
					continue
				}
				theirs++
				words := strings.Join(strings.Fields(string(out)), " ")
				if !strings.Contains(words, fmt.Sprintf("Objective value: %d.00000000", best[ids[i]].optimum)) {
					b.Errorf("%s: cbc finds another optimum than %d", ids[i], best[ids[i]].optimum)
				}
				if a.Proven {
					faster = append(faster, float64(took2)/float64(max(took, time.Microsecond)))
				}
			}
			b.ReportMetric(tried, "instances")
			b.ReportMetric(float64(len(faster)), "both-proven")
			b.ReportMetric(ours, "ours-proven")
			b.ReportMetric(theirs, "cbc-proven")
			if len(faster) > 0 {
				slices.Sort(faster)
				b.ReportMetric(faster[len(faster)/2], "times-faster")
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}
