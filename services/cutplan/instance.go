package cutplan

import "slices"

// instance is the cutting problem in plain integers: piece sizes and bar capacities already carry the kerf (see
// newInstance) and are divided by their greatest common divisor.
type instance struct {
	w      []int64 // sizes, strictly falling
	d      []int64 // how many of each, at least 1
	stocks []stock
}

// stock is one kind of bar.
type stock struct {
	cap   int64
	cost  int64
	count int64 // how many there are; unlimited means as many as needed
}

const unlimited = int64(-1)

// pattern says how one bar is cut: the indices of the sizes, rising, and how often each is taken.
type pattern struct {
	stock int
	item  []int32
	n     []int32
}

// use is a pattern cut several times.
type use struct {
	pattern
	times int64
}

// packing is a whole plan: every size is covered exactly.
type packing struct {
	uses []use
	cost int64
}

func (in *instance) pieces() int64 {
	var n int64
	for _, d := range in.d {
		n += d
	}
	return n
}

func (in *instance) maxCap() int64 {
	var c int64
	for _, s := range in.stocks {
		c = max(c, s.cap)
	}
	return c
}

// filled is the length of bar the pattern takes, kerf included.
func (in *instance) filled(p pattern) int64 {
	var sum int64
	for k, i := range p.item {
		sum += in.w[i] * int64(p.n[k])
	}
	return sum
}

func (in *instance) costOf(uses []use) int64 {
	var c int64
	for _, u := range uses {
		c += in.stocks[u.stock].cost * u.times
	}
	return c
}

// trimmed takes from the uses what covers more than the demand, so that every size is cut exactly d times; bars that
// become empty vanish.
func (in *instance) trimmed(uses []use) packing {
	left := slices.Clone(in.d)
	var out []use
	for _, u := range uses {
		for u.times > 0 {
			p := pattern{stock: u.stock}
			times := u.times
			for k, i := range u.item {
				n := min(int64(u.n[k]), left[i])
				if n == 0 {
					continue
				}
				p.item = append(p.item, i)
				p.n = append(p.n, int32(n))
				times = min(times, left[i]/n)
			}
			if len(p.item) == 0 {
				break
			}
			for k, i := range p.item {
				left[i] -= int64(p.n[k]) * times
			}
			out = append(out, use{p, times})
			u.times -= times
		}
	}
	return packing{out, in.costOf(out)}
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
