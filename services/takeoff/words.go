package takeoff

import (
	"fmt"
	"math"
	"strings"
)

// words say how a panel's end is cut, from left to right as one looks up the slope:
// "square", or the angle off square and which corner is long.
func words(lines []line, low bool) string {
	if len(lines) > 1 {
		lines = straight(lines)
	}
	if len(lines) == 1 {
		return oneCut(lines[0], low)
	}
	parts := make([]string, len(lines))
	for i, l := range lines {
		parts[i] = nanometres(l.b.u-l.a.u).Nearest(16) + " " + oneCut(l, low)
		if i > 0 {
			if step := l.a.v - lines[i-1].b.v; math.Abs(step) > hair {
				way := "up"
				if step < 0 {
					way = "down"
				}
				parts[i] = fmt.Sprintf("a notch %s %s, ", nanometres(math.Abs(step)).Nearest(16), way) + parts[i]
			}
		}
	}
	return "from the left " + strings.Join(parts, ", then ")
}

// straight joins cuts that run on in one line, and leaves out what is a hair wide.
func straight(lines []line) []line {
	var out []line
	for _, l := range lines {
		if n := len(out); n > 0 && math.Abs(out[n-1].b.v-l.a.v) <= hair {
			whole := line{out[n-1].a, l.b, l.side}
			if math.Abs(whole.at(l.a.u)-l.a.v) <= hair {
				out[n-1] = whole
				continue
			}
		}
		out = append(out, l)
	}
	return out
}

func (l line) at(u float64) float64 {
	if l.b.u == l.a.u {
		return l.a.v
	}
	return l.a.v + (u-l.a.u)/(l.b.u-l.a.u)*(l.b.v-l.a.v)
}

func oneCut(l line, low bool) string {
	rise := l.b.v - l.a.v
	if math.Abs(rise) <= hair {
		return "square"
	}
	// A panel is long where its high end is high or its low end is low.
	long := "left"
	if (rise > 0) != low {
		long = "right"
	}
	return fmt.Sprintf("angled %.1f°, long at the %s", math.Atan2(math.Abs(rise), l.b.u-l.a.u)*180/math.Pi, long)
}
