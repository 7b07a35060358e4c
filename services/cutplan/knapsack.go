package cutplan

import (
	"cmp"
	"slices"
)

// knapsack finds the bar worth most for given prices of the pieces: max Σ v·a with Σ w·a <= cap and 0 <= a <= b, all in
// integers. It first branches (Gilmore and Gomory, "A linear programming approach to the cutting stock problem, part
// II", 1963: lexicographic search in order of value a length) and, when that takes long, turns to lists of states that
// no other state dominates (Nemhauser and Ullmann, 1969), cut by the same bound. Neither needs an array as long as the
// bar. It is reused between calls to spare allocations; one goroutine at a time.
type knapsack struct {
	items []priced
	x     []int32
	low   []int64 // least weight from here on
	// states of the list method
	a, b  []state
	nodes []listNode
	found []found
}

type priced struct {
	w, v int64
	b    int32
	id   int32
	eff  float64 // v/w, rounded up a little, so that bounds built on it hold
}

type state struct {
	w, v int64
	node int32
}

// listNode remembers how a state was reached.
type listNode struct{ parent, item, n int32 }

// found is a bar worth more than the threshold.
type found struct {
	value int64
	item  []int32
	n     []int32
}

const (
	branchNodes = 30_000
	listNodes   = 8_000_000 // about 100 MB at most
)

// load takes the prices; sizes without value or demand are left out.
func (k *knapsack) load(w, v, d []int64, capacity int64) {
	k.items = k.items[:0]
	for i := range w {
		if v[i] <= 0 || d[i] <= 0 || w[i] > capacity {
			continue
		}
		b := min(d[i], capacity/w[i])
		eff := float64(v[i]) / float64(w[i]) * (1 + 1e-14)
		k.items = append(k.items, priced{w[i], v[i], int32(b), int32(i), eff})
	}
	slices.SortFunc(k.items, func(p, q priced) int {
		return cmp.Or(cmp.Compare(q.eff, p.eff), cmp.Compare(q.w, p.w))
	})
	n := len(k.items)
	k.x = slices.Grow(k.x[:0], n)[:n]
	k.low = slices.Grow(k.low[:0], n+1)[:n+1]
	k.low[n] = capacity + 1
	for i := n - 1; i >= 0; i-- {
		k.low[i] = min(k.low[i+1], k.items[i].w)
	}
	k.found = k.found[:0]
}

// tooRich says that the value of a bar might not fit a whole number; only absurd prices beside each other do that.
func (k *knapsack) tooRich() bool {
	sum := 0.0
	for _, it := range k.items {
		sum += float64(it.v) * float64(it.b)
	}
	return sum > 1<<62
}

// above collects bars worth more than threshold, the best last. It reports the best value, or threshold if no bar is
// worth more, and whether that is certain; it is not when stop said so.
func (k *knapsack) above(capacity, threshold int64, stop func() bool) (best int64, certain bool) {
	best, certain = k.branch(capacity, threshold, branchNodes, stop)
	if certain || best > threshold {
		return best, certain
	}
	return k.exact(capacity, threshold, stop)
}

// exact is above without the patience test.
func (k *knapsack) exact(capacity, threshold int64, stop func() bool) (best int64, certain bool) {
	best, certain, fits := k.lists(capacity, threshold, stop)
	if fits {
		return best, certain
	}
	return k.branch(capacity, threshold, 0, stop)
}

func (k *knapsack) keep(value int64) {
	f := found{value: value}
	for i, n := range k.x {
		if n > 0 {
			f.item = append(f.item, k.items[i].id)
			f.n = append(f.n, n)
		}
	}
	k.found = append(k.found, f)
}

// branch searches depth first; limit 0 means to the end.
func (k *knapsack) branch(capacity, threshold int64, limit int, stop func() bool) (best int64, certain bool) {
	best = threshold
	n := len(k.items)
	clear(k.x)
	rem, v := capacity, int64(0)
	i, nodes := 0, 0
	for {
		for i < n && rem >= k.low[i] {
			it := &k.items[i]
			if v+int64(float64(rem)*it.eff)+1 <= best {
				break
			}
			t := int64(it.b)
			if it.w*t > rem {
				t = rem / it.w
			}
			k.x[i] = int32(t)
			rem -= t * it.w
			v += t * it.v
			i++
			nodes++
		}
		if v > best {
			best = v
			for j := i; j < n; j++ {
				k.x[j] = 0
			}
			k.keep(v)
		}
		if limit > 0 && nodes > limit {
			return best, false
		}
		if nodes&0xfff == 0 && stop != nil && stop() {
			return best, false
		}
		nodes++
		// Step back to the last size of which one copy less may still pay.
		for {
			i--
			if i < 0 {
				return best, true
			}
			if k.x[i] == 0 {
				continue
			}
			it := &k.items[i]
			rem += it.w
			v -= it.v
			k.x[i]--
			if i+1 < n && v+int64(float64(rem)*k.items[i+1].eff)+1 > best {
				i++
				break
			}
			rem += it.w * int64(k.x[i])
			v -= it.v * int64(k.x[i])
			k.x[i] = 0
		}
	}
}

// lists runs through the sizes and keeps the states (length used, value) that no other dominates and that may still end
// above the threshold. fits is false when that took too much room.
func (k *knapsack) lists(capacity, threshold int64, stop func() bool) (best int64, certain, fits bool) {
	k.nodes = append(k.nodes[:0], listNode{-1, -1, 0})
	k.a = append(k.a[:0], state{0, 0, 0})
	n := len(k.items)
	for i := range k.items {
		it := &k.items[i]
		next := 0.0
		if i+1 < n {
			next = k.items[i+1].eff
		}
		for left, step := it.b, int32(1); left > 0; left, step = left-step, step*2 {
			step = min(step, left)
			eff := next
			if left > step {
				eff = it.eff
			}
			k.merge(it, int32(i), step, capacity, threshold, eff)
			if len(k.nodes) > listNodes {
				return threshold, false, false
			}
		}
		if stop != nil && stop() {
			return threshold, false, true
		}
	}
	best = threshold
	var top []state
	for _, s := range k.a {
		if s.v > threshold {
			top = append(top, s)
		}
	}
	slices.SortFunc(top, func(p, q state) int { return cmp.Compare(p.v, q.v) })
	if len(top) > 8 {
		top = top[len(top)-8:]
	}
	for _, s := range top {
		best = s.v
		k.keepNode(s)
	}
	return best, true, true
}

func (k *knapsack) keepNode(s state) {
	clear(k.x)
	for at := s.node; at > 0; at = k.nodes[at].parent {
		k.x[k.nodes[at].item] += k.nodes[at].n
	}
	k.keep(s.v)
}

// merge adds step copies of the size to every state and drops what is dominated or hopeless.
func (k *knapsack) merge(it *priced, item, step int32, capacity, threshold int64, eff float64) {
	dw, dv := it.w*int64(step), it.v*int64(step)
	out := k.b[:0]
	a := k.a
	last := int64(-1)
	i, j := 0, 0
	for i < len(a) || j < len(a) {
		var s state
		moved := false
		switch {
		case j >= len(a) || a[j].w+dw > capacity:
			if i >= len(a) {
				j = len(a)
				continue
			}
			j = len(a)
			s = a[i]
			i++
		case i < len(a) && (a[i].w < a[j].w+dw || a[i].w == a[j].w+dw && a[i].v >= a[j].v+dv):
			s = a[i]
			i++
		default:
			s = state{a[j].w + dw, a[j].v + dv, a[j].node}
			moved = true
			j++
		}
		if s.v <= last || s.v+int64(float64(capacity-s.w)*eff)+1 <= threshold {
			continue
		}
		last = s.v
		if moved {
			k.nodes = append(k.nodes, listNode{s.node, item, step})
			s.node = int32(len(k.nodes) - 1)
		}
		out = append(out, s)
	}
	k.a, k.b = out, a
}
