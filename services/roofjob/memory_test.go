package roofjob

import (
	"fmt"
	"runtime"
	"testing"
	"time"

	"bydark/events"
)

// BenchmarkMemory says what a job of so many events weighs in memory, with its drawing: as views are made of it, and as it decides once its
// snapshot was written. Say -benchtime 1x.
func BenchmarkMemory(b *testing.B) {
	for _, n := range []int{50, 500, 5000} {
		for _, kind := range []string{"whole", "decides", "read back"} {
			b.Run(fmt.Sprintf("%s/%d", kind, n), func(b *testing.B) {
				for b.Loop() {
					before := heap()
					kept := make([]*State, 20)
					for i := range kept {
						kept[i] = jobOf(b, kind, n)
					}
					b.ReportMetric(float64(heap()-before)/float64(len(kept))/1024, "kB/job")
					runtime.KeepAlive(kept)
				}
			})
		}
	}
}

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func jobOf(b *testing.B, kind string, n int) *State {
	s := New("firm", "gable")
	if kind != "whole" {
		s = deciding("firm", "gable")
	}
	var last events.Event
	for i := range n {
		e := events.Event{ID: numbered(i), At: dawn.Add(time.Duration(i) * time.Minute), By: "lead", Sequence: uint64(i + 1)}
		switch {
		case i == 0:
			e.Body = events.JobOpened{Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: twoPlanes(16), Assembly: document("flat-clip")}
		case i%5 == 0:
			e.Body = events.PunchRaised{Where: "A", What: "a dent beside the third seam", Blocks: events.BlocksCloseout}
		default:
			e.Body = events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`20"`}}
		}
		if err := s.Add(e); err != nil {
			b.Fatal(err)
		}
		if last = e; i%64 == 63 && s.decides {
			if err := s.settle(tailOf(e)); err != nil {
				b.Fatal(err)
			}
		}
	}
	if kind == "read back" {
		data, err := s.snapshot(tailOf(last))
		if err != nil {
			b.Fatal(err)
		}
		if s, _, err = readSnapshot(data, "firm", "gable"); err != nil {
			b.Fatal(err)
		}
	}
	return s
}
