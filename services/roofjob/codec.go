package roofjob

import (
	"encoding/binary"
	"errors"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
)

// codec writes values one after the other, or reads them back in the same order: one
// function tells how a thing is laid out, for both. What is read is never believed to be
// whole; after the first fault all that is read is nothing. Strings share the memory of
// what is read.
type codec struct {
	writes bool
	out    []byte
	in     string
	papers *papers
	err    error
}

var errCut = errors.New("it ends early or says what cannot be")

// papers are the documents that what is laid out names by their number. Documents are
// added and never taken off.
type papers struct{ all [][]byte }

func (c *codec) take(n int) string {
	if n < 0 || n > len(c.in) {
		c.err, c.in = errCut, ""
		return ""
	}
	part := c.in[:n]
	c.in = c.in[n:]
	return part
}

func (c *codec) uint(v *uint64) {
	if c.writes {
		c.out = binary.AppendUvarint(c.out, *v)
		return
	}
	*v = 0
	for shift, i := uint(0), 0; i < len(c.in) && i < binary.MaxVarintLen64; i++ {
		*v |= uint64(c.in[i]&0x7f) << shift
		if c.in[i] < 0x80 {
			c.in = c.in[i+1:]
			return
		}
		shift += 7
	}
	*v, c.err, c.in = 0, errCut, ""
}

func (c *codec) int(v *int64) {
	u := uint64(*v)<<1 ^ uint64(*v>>63)
	if c.uint(&u); !c.writes {
		*v = int64(u>>1) ^ -int64(u&1)
	}
}

func (c *codec) number(v *int) {
	n := int64(*v)
	if c.int(&n); !c.writes {
		*v = int(n)
	}
}

func (c *codec) bool(v *bool) {
	n := uint64(0)
	if *v {
		n = 1
	}
	c.uint(&n)
	*v = n == 1
}

func (c *codec) float(v *float64) {
	bits := math.Float64bits(*v)
	if c.uint(&bits); !c.writes {
		*v = math.Float64frombits(bits)
	}
}

// length is how many of something follow, each of at least a byte.
func (c *codec) length(n int) int {
	u := uint64(n)
	if c.uint(&u); c.writes {
		return n
	}
	if u > uint64(len(c.in)) {
		c.err, c.in = errCut, ""
		return 0
	}
	return int(u)
}

func words[T ~string](c *codec, v *T) {
	n := c.length(len(*v))
	if c.writes {
		c.out = append(c.out, *v...)
		return
	}
	*v = T(c.take(n))
}

func (c *codec) bytes(v *[]byte) {
	n := c.length(len(*v))
	if c.writes {
		c.out = append(c.out, *v...)
		return
	}
	*v = []byte(c.take(n))
}

// paper is a document.
func paper[T ~[]byte](c *codec, v *T) {
	number := uint64(0)
	if c.writes && len(*v) > 0 {
		i := slices.IndexFunc(c.papers.all, func(known []byte) bool { return string(known) == string(*v) })
		if i < 0 {
			i = len(c.papers.all)
			c.papers.all = append(c.papers.all, *v)
		}
		number = uint64(i) + 1
	}
	c.uint(&number)
	switch {
	case c.writes:
	case number == 0:
		*v = nil
	case number > uint64(len(c.papers.all)):
		c.err, c.in = errCut, ""
	default:
		*v = T(c.papers.all[number-1])
	}
}

// time keeps the instant and its offset.
func (c *codec) time(v *time.Time) {
	if c.writes && v.IsZero() {
		c.out = append(c.out, 0)
		return
	}
	if !c.writes && strings.HasPrefix(c.in, "\x00") {
		*v, c.in = time.Time{}, c.in[1:]
		return
	}
	there, sec, nsec := uint64(1), v.Unix(), v.Nanosecond()
	_, offset := v.Zone()
	c.uint(&there)
	c.int(&sec)
	c.number(&nsec)
	c.number(&offset)
	if c.writes {
		return
	}
	if *v = time.Unix(sec, int64(nsec)).UTC(); offset != 0 {
		*v = v.In(time.FixedZone("", offset))
	}
}

func (c *codec) amount(v *quantity.Amount) {
	kind, n, noun := int(v.Kind()), v.Smallest(), v.Noun()
	c.number(&kind)
	c.int(&n)
	words(c, &noun)
	if c.writes {
		return
	}
	*v = quantity.OfSmallest(quantity.Kind(kind), n, noun)
}

// body is a fact as the log has it.
func (c *codec) body(v *events.Body) {
	var wire string
	var data []byte
	if c.writes {
		wire = events.Event{Body: *v}.Type()
		data, c.err = events.Encode(*v)
	}
	words(c, &wire)
	c.bytes(&data)
	if !c.writes && c.err == nil {
		*v, c.err = events.Decode(wire, data)
	}
}

// fact is a body of one type.
func fact[T events.Body](c *codec, v *T) {
	body := events.Body(*v)
	c.body(&body)
	if c.writes || c.err != nil {
		return
	}
	read, ok := body.(T)
	if !ok {
		c.err, c.in = errCut, ""
		return
	}
	*v = read
}

func (c *codec) event(e *events.Event) {
	words(c, &e.ID)
	c.time(&e.At)
	c.time(&e.Recorded)
	words(c, &e.By)
	c.uint(&e.Sequence)
	c.body(&e.Body)
}

// list reads no elements as none at all.
func list[T any](c *codec, all *[]T, one func(*codec, *T)) {
	n := c.length(len(*all))
	if !c.writes {
		*all = nil
		if n > 0 {
			*all = make([]T, n)
		}
	}
	for i := range *all {
		if c.err != nil {
			return
		}
		one(c, &(*all)[i])
	}
}

func wordlist[T ~string](c *codec, all *[]T) { list(c, all, words[T]) }

// table is written in the order of its keys.
func table[K comparable, V any](c *codec, all map[K]V, compare func(a, b K) int, key func(*codec, *K), value func(*codec, *V)) {
	n := c.length(len(all))
	if c.writes {
		for _, k := range slices.SortedFunc(maps.Keys(all), compare) {
			v := all[k]
			key(c, &k)
			value(c, &v)
		}
		return
	}
	for range n {
		var k K
		var v V
		key(c, &k)
		value(c, &v)
		if c.err != nil {
			return
		}
		all[k] = v
	}
}

// named is a table of names.
func named[K ~string, V any](c *codec, all map[K]V, value func(*codec, *V)) {
	table(c, all, compareText[K], words[K], value)
}

// pointed lays out what a pointer points to, and makes it when it is read.
func pointed[T any](one func(*codec, *T)) func(*codec, **T) {
	return func(c *codec, v **T) {
		if !c.writes {
			*v = new(T)
		}
		one(c, *v)
	}
}

// maybe lays out what is there or not.
func maybe[T any](c *codec, v **T, one func(*codec, *T)) {
	there := *v != nil
	if c.bool(&there); !there {
		*v = nil
		return
	}
	pointed(one)(c, v)
}
