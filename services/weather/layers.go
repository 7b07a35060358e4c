package weather

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// layer is one quantity of an hour: its name in our documents, where it is kept, and
// what of it can be.
type layer struct {
	name   string
	unit   string // dimension and our own unit: see units
	at     func(*Hour) *Reading
	amount bool    // spread over the hours, not held
	lo, hi float64 // what weather has had, in our unit; an amount's by the hour
}

// layers are all that a forecast holds. The limits are a little wider than the records of
// the WMO archive of weather extremes (−89.2 and 56.7 °C, gust 113 m/s, 305 mm of rain in
// 42 minutes; from memory): what lies outside is a slip, not weather.
var layers = [...]layer{
	{"rain", "mm", func(h *Hour) *Reading { return &h.RainMM }, true, 0, 305},
	{"chance", "%", func(h *Hour) *Reading { return &h.ChancePct }, false, 0, 100},
	{"wind", "m/s", func(h *Hour) *Reading { return &h.WindMS }, false, 0, 110},
	{"gust", "m/s", func(h *Hour) *Reading { return &h.GustMS }, false, 0, 115},
	{"wind_from", "°", func(h *Hour) *Reading { return &h.WindFromDeg }, false, 0, 360},
	{"temp", "°C", func(h *Hour) *Reading { return &h.TempC }, false, -90, 60},
	{"dew", "°C", func(h *Hour) *Reading { return &h.DewC }, false, -100, 40},
	{"rh", "%", func(h *Hour) *Reading { return &h.RHPct }, false, 0, 100},
	{"snow", "mm", func(h *Hour) *Reading { return &h.SnowMM }, true, 0, 300},
	{"ice", "mm", func(h *Hour) *Reading { return &h.IceMM }, true, 0, 100},
	{"thunder", "%", func(h *Hour) *Reading { return &h.ThunderPct }, false, 0, 100},
	{"sky", "%", func(h *Hour) *Reading { return &h.SkyPct }, false, 0, 100},
}

func layerNamed(name string) layer {
	i := slices.IndexFunc(layers[:], func(l layer) bool { return l.name == name })
	return layers[i]
}

// interval is one value over a stretch of time, in the layer's own unit; unknown where
// the document says null.
type interval struct {
	span
	value Reading
}

// series is one layer of a document.
type series struct {
	layer
	where     string // the layer's name in the document
	intervals []interval
}

// board lays series out over hours.
type board struct {
	hours []Hour
	told  []Note
}

// newBoard makes the hours that the series reach over. It refuses a document that
// reaches over nothing, or further than any forecast.
func newBoard(all []series) (*board, error) {
	var from, to time.Time
	for _, s := range all {
		for _, i := range s.intervals {
			if from.IsZero() || i.start.Before(from) {
				from = i.start
			}
			if i.end.After(to) {
				to = i.end
			}
		}
	}
	if from.IsZero() {
		return nil, refuse(CodeNothing, "forecast", "no interval of any layer", "at least one layer with values")
	}
	from = from.UTC().Truncate(time.Hour)
	if to.Sub(from) > maxHours*time.Hour {
		return nil, refuse(CodeTooLarge, "forecast", fmt.Sprintf("%s to %s", from.Format(time.RFC3339), to.Format(time.RFC3339)), "at most 31 days")
	}
	b := &board{hours: make([]Hour, 0, maxHours)}
	for t := from; t.Before(to); t = t.Add(time.Hour) {
		b.hours = append(b.hours, Hour{Time: t})
	}
	return b, nil
}

func (b *board) tell(code, where, format string, args ...any) {
	b.told = append(b.told, Note{code, where, fmt.Sprintf(format, args...)})
}

// lay puts one series onto the hours and tells what of it was not taken.
func (b *board) lay(s series) error {
	if err := s.checkClock(); err != nil {
		return err
	}
	ordered := slices.Clone(s.intervals)
	slices.SortStableFunc(ordered, func(x, y interval) int { return x.start.Compare(y.start) })
	b.tellHoles(s.where, ordered)
	b.dropAbsurd(s, ordered)
	cells := make([]cell, len(b.hours))
	for _, i := range ordered {
		b.spread(i, cells)
	}
	for n := range cells {
		if r, ok := cells[n].reading(s.amount); ok {
			*s.at(&b.hours[n]) = r
		}
	}
	return nil
}

// cell gathers what the intervals say about one hour.
type cell struct {
	covered time.Duration // by any interval; more than an hour is a contradiction
	sum     float64       // of amounts
	known   bool
	longest time.Duration // stretch of the level that holds longest
	level   Reading
}

func (c cell) reading(amount bool) (Reading, bool) {
	switch {
	case c.covered > time.Hour:
		return Reading{}, false
	case amount:
		return Reading{c.sum, c.known}, c.known
	}
	return c.level, c.level.Known
}

// spread adds an interval's share to each hour that it touches: an amount by time, a
// level to the hour that it fills most of, the earlier one where two fill it alike.
func (b *board) spread(i interval, cells []cell) {
	first := int(i.start.Sub(b.hours[0].Time) / time.Hour)
	for n := first; n < len(cells) && b.hours[n].Time.Before(i.end); n++ {
		share := i.overlap(b.hours[n].Time, b.hours[n].Time.Add(time.Hour))
		c := &cells[n]
		c.covered += share
		if i.value.Known {
			c.sum += i.value.V * (float64(share) / float64(i.length()))
			c.known = true
		}
		if share > c.longest {
			c.longest, c.level = share, i.value
		}
	}
}

// tellHoles tells gaps and overlaps of intervals in order.
func (b *board) tellHoles(where string, ordered []interval) {
	if len(ordered) == 0 {
		return
	}
	reach := ordered[0].end
	for _, i := range ordered[1:] {
		switch {
		case i.start.After(reach):
			b.tell(NoteGap, where, "nothing is said from %s to %s", stamp(reach), stamp(i.start))
		case i.start.Before(reach):
			end := i.end
			if reach.Before(end) {
				end = reach
			}
			b.tell(NoteOverlap, where, "two intervals claim %s to %s: those hours are not taken", stamp(i.start), stamp(end))
		}
		if i.end.After(reach) {
			reach = i.end
		}
	}
}

// dropAbsurd makes unknown, in place, what no weather has.
func (b *board) dropAbsurd(s series, ordered []interval) {
	dropped, first := 0, interval{}
	for n := range ordered {
		i := &ordered[n]
		if !i.value.Known {
			continue
		}
		v := i.value.V
		if s.amount && v > 0 {
			v /= math.Max(1, i.length().Hours())
		}
		if v >= s.lo && v <= s.hi {
			continue
		}
		if dropped == 0 {
			first = *i
		}
		dropped++
		i.value = Reading{}
	}
	if dropped > 0 {
		b.tell(NoteAbsurd, s.where, "%d value(s) outside %g to %g %s, the first %g from %s: not taken",
			dropped, s.lo, s.hi, s.unit, first.value.V, stamp(first.start))
	}
}

// checkClock refuses a series whose clock changes without the hours fitting together:
// nobody can tell which side of the leap is right. A change to daylight saving time
// fits together.
func (s series) checkClock() error {
	for n := 1; n < len(s.intervals); n++ {
		before, i := s.intervals[n-1], s.intervals[n]
		_, was := before.end.Zone()
		_, is := i.start.Zone()
		if was != is && !before.end.Equal(i.start) {
			return refuse(CodeZoneLeap, s.where, i.start.Format(time.RFC3339),
				"an interval that begins when the one before ends, "+before.end.Format(time.RFC3339))
		}
	}
	return nil
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
