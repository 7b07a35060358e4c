package takeoff_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"bydark/services/takeoff"
)

// fortyPlanes is ten hipped houses side by side, 40 ft by 24 ft, with a chimney each.
func fortyPlanes() string {
	var planes []string
	for i := range 10 {
		x := i * 50
		at := func(px, py int) string { return fmt.Sprintf(`["%d'","%d'"]`, x+px, py) }
		ring := func(points ...string) string { return "[" + strings.Join(points, ",") + "]" }
		plane := func(side string, falls int, more string, points ...string) {
			planes = append(planes, fmt.Sprintf(`{"mark":"%s%d","outline":%s,"pitch":"9/12","falls_deg":%d%s}`, side, i, ring(points...), falls, more))
		}
		plane("S", 180, `,"openings":[`+ring(at(18, 4), at(20, 4), at(20, 7), at(18, 7))+`]`, at(0, 0), at(40, 0), at(28, 12), at(12, 12))
		plane("E", 90, "", at(40, 0), at(40, 24), at(28, 12))
		plane("N", 0, "", at(40, 24), at(0, 24), at(12, 12), at(28, 12))
		plane("W", 270, "", at(0, 24), at(0, 0), at(12, 12))
	}
	return `{"name":"forty planes","planes":[` + strings.Join(planes, ",") + `]}`
}

func BenchmarkFortyPlanes(b *testing.B) {
	r, a := read(b, fortyPlanes()), shipped(b, "flat-clip")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := takeoff.Of(r, a); err != nil {
			b.Fatal(err)
		}
	}
}

// Ten thousand roofs in a row leave no memory behind.
func BenchmarkTenThousandRoofs(b *testing.B) {
	r, a := read(b, rectangle("40'", "15'", "6/12", "")), shipped(b, "flat-clip")
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for b.Loop() {
		for range 10_000 {
			if _, err := takeoff.Of(r, a); err != nil {
				b.Fatal(err)
			}
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(after.HeapAlloc)-float64(before.HeapAlloc), "B-kept")
}
