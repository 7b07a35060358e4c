package roof_test

import (
	"fmt"
	"strings"
	"testing"

	"bydark/services/roof"
)

// forty is a roof of 40 planes: ten gabled houses in a row, each with a gabled wing.
func forty() []byte {
	var b strings.Builder
	b.WriteString(`{"name":"forty","planes":[`)
	for i := range 10 {
		x := 60 * i
		p := func(more int) int { return x + more }
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"mark":"S%d","outline":[["%d'","0'"],["%d'","0'"],["%d'","12'"],["%d'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"9'"},`, i, p(0), p(40), p(40), p(0))
		fmt.Fprintf(&b, `{"mark":"N%d","outline":[["%d'","12'"],["%d'","12'"],["%d'","24'"],["%d'","24'"],["%d'","18'"],["%d'","24'"],["%d'","24'"]],"pitch":"6/12","falls_deg":0},`, i, p(0), p(40), p(40), p(26), p(20), p(14), p(0))
		fmt.Fprintf(&b, `{"mark":"W%d","outline":[["%d'","24'"],["%d'","18'"],["%d'","30'"],["%d'","30'"]],"pitch":"6/12","falls_deg":270},`, i, p(14), p(20), p(20), p(14))
		fmt.Fprintf(&b, `{"mark":"E%d","outline":[["%d'","24'"],["%d'","30'"],["%d'","30'"],["%d'","18'"]],"pitch":"6/12","falls_deg":90}`, i, p(26), p(26), p(20), p(20))
	}
	b.WriteString("]}")
	return []byte(b.String())
}

func BenchmarkReadFortyPlanes(b *testing.B) {
	data := forty()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := roof.Read(data); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMapFortyPlanes(b *testing.B) {
	r, err := roof.Read(forty())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if roof.Map(r, roof.MapState{}) == "" {
			b.Fatal("no map")
		}
	}
}
