//go:build unix

package cutplan

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// arcFlow writes the arc-flow model of Valério de Carvalho ("Exact solution of bin-packing problems using column
// generation and branch-and-bound", 1999) in LP format: a bar is a path from 0 to its length along arcs of one piece, in
// order of falling size, and at the end along arcs of waste.
func arcFlow(in *instance) string {
	type arc struct{ from, to int64 }
	c := in.stocks[0].cap
	reached := map[int64]bool{0: true}
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
	return b.String()
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
	for _, class := range []string{"pm", "scholl_1", "falkenauer_u", "schwerin_1", "falkenauer_t"} {
		ids, reqs := open(b, filepath.Join(openSet, class+".jsonl"))
		b.Run(class, func(b *testing.B) {
			var faster []float64
			var ours, theirs, tried float64
			for i := 0; i < len(reqs); i += max(1, len(reqs)/6) {
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
				file := filepath.Join(b.TempDir(), "model.lp")
				if err := os.WriteFile(file, []byte(arcFlow(newTask(&reqs[i]).in)), 0o600); err != nil {
					b.Fatal(err)
				}
				run := exec.CommandContext(b.Context(), solver, file, "sec", fmt.Sprint(limit.Seconds()), "threads", "1", "solve", "quit")
				out, err := run.Output()
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
