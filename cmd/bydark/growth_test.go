package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// BenchmarkGrowth serves a log of BYDARK_BENCH_EVENTS events (20,000) in jobs of some 500,
// days of work told again and again, in a process of its own on SQLite, and measures what
// grows with it: disk, the first start, which folds all, and a later one, memory, the
// time of a report and of the board. Say -benchtime 1x, and give one size a run. A large
// log takes long to fill: BYDARK_BENCH_KEEP names a directory where a filled one is kept and found again.
func BenchmarkGrowth(b *testing.B) {
	n := benchNumber(b, "BYDARK_BENCH_EVENTS", 20_000)
	dir, token := filled(b, n)
	for b.Loop() {
		if err := os.RemoveAll(filepath.Join(dir, "views")); err != nil {
			b.Fatal(err)
		}
		logBytes := weight(b, filepath.Join(dir, "broker"))
		p, first := readied(b, dir)
		p.kill()
		p, again := readied(b, dir)
		idle := resident(b, p, "VmRSS")
		c := hire(&client{t: b, url: p.url}, token)
		job := fmt.Sprintf("newest-%d", time.Now().UnixNano())
		c.open(job)
		var reports, boards []time.Duration
		for i := range 500 {
			report := tell(fmt.Sprintf("%s-%d", job, i), "panel-set", i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)})
			begun := time.Now()
			c.accept(job, report)
			reports = append(reports, time.Since(begun))
		}
		rows := 0
		for range 20 {
			begun := time.Now()
			status, text := c.ask(http.MethodGet, "/v1/jobs", token, "")
			boards = append(boards, time.Since(begun))
			if status != http.StatusOK {
				b.Fatalf("the board: %d %s", status, text)
			}
			rows = strings.Count(text, `"latest_event"`)
		}
		peak := resident(b, p, "VmHWM")
		p.kill()
		http.DefaultClient.CloseIdleConnections()
		b.Logf("| %d | %d | %.1f | %.1f | %.1f | %.2f | %.0f | %.0f | %.1f | %.1f | %.0f |", n, rows,
			float64(logBytes)/float64(n), float64(weight(b, filepath.Join(dir, "views")))/float64(n), first.Seconds(), again.Seconds(), idle, peak,
			ms(share(reports, 0.5)), ms(share(reports, 0.99)), ms(share(boards, 0.5)))
	}
	b.ReportMetric(0, "ns/op")
}

// filled is a house with a log of n events, and its owner's key.
func filled(b *testing.B, n int) (dir, token string) {
	b.Helper()
	keep := os.Getenv("BYDARK_BENCH_KEEP")
	if keep == "" {
		dir, token = prepare(b)
		fillHouse(b, dir, n)
		return dir, token
	}
	keep = filepath.Join(keep, strconv.Itoa(n))
	dir, key := filepath.Join(keep, "house"), filepath.Join(keep, "owner")
	found, err := os.ReadFile(key)
	switch {
	case err == nil:
		return dir, string(found)
	case !errors.Is(err, fs.ErrNotExist):
		b.Fatal(err)
	}
	token = prepareIn(b, dir)
	fillHouse(b, dir, n)
	if err := os.WriteFile(key, []byte(token), 0o600); err != nil {
		b.Fatal(err)
	}
	return dir, token
}

// readied starts the program and says how long it took until it was ready.
func readied(b *testing.B, dir string) (*process, time.Duration) {
	b.Helper()
	begun := time.Now()
	p := launch(b, dir)
	c := client{t: b, url: p.url}
	for {
		if status, _ := c.ask(http.MethodGet, "/readyz", "", ""); status == http.StatusOK {
			return p, time.Since(begun)
		}
	}
}

// weight is what a directory holds, in bytes.
func weight(b *testing.B, dir string) (bytes int64) {
	b.Helper()
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			bytes += info.Size()
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return bytes
}

// resident is a process's memory in MB: VmRSS now, VmHWM at most.
func resident(b *testing.B, p *process, what string) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	found := regexp.MustCompile(what + `:\s+(\d+) kB`).FindSubmatch(text)
	if found == nil {
		b.Fatalf("no %s in %s", what, text)
	}
	kb, err := strconv.Atoi(string(found[1]))
	if err != nil {
		b.Fatal(err)
	}
	return float64(kb) / 1024
}

// share is the time within which a share of all lies.
func share(times []time.Duration, of float64) time.Duration {
	sorted := slices.Sorted(slices.Values(times))
	return sorted[min(len(sorted)-1, int(of*float64(len(sorted))))]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
