package roof

import (
	"fmt"
	"math"
	"slices"
)

// patch is a plane in the making: one facet, or several that are one plane.
type patch struct {
	facets []int
	rings  [][]Point
	normal [3]float64
	middle [3]float64
}

// patches joins facets that are one plane and lie beside each other. Where the joined
// outline would pinch itself, its facets stay single.
func (m *mesh) patches(facets []facet) []patch {
	group := make([]int, len(facets))
	for i := range group {
		group[i] = i
	}
	root := func(i int) int {
		for group[i] != i {
			group[i] = group[group[i]]
			i = group[i]
		}
		return i
	}
	for s := range m.sides {
		t := m.twin(s)
		if t < 0 || t < s {
			continue
		}
		p, q := m.sides[s].plane, m.sides[t].plane
		if facets[p].left == "" && facets[q].left == "" && root(p) != root(q) && alike(&facets[p], &facets[q]) {
			group[max(root(p), root(q))] = min(root(p), root(q))
		}
	}
	members := make(map[int][]int)
	for i := range facets {
		if facets[i].left == "" {
			members[root(i)] = append(members[root(i)], i)
		}
	}
	var out []patch
	for i := range facets {
		joined := members[i]
		if joined == nil {
			continue
		}
		if rings, ok := m.join(joined); ok && allAlike(facets, joined) {
			out = append(out, newPatch(facets, joined, rings))
			continue
		}
		for _, one := range joined {
			rings, _ := m.join([]int{one})
			out = append(out, newPatch(facets, []int{one}, rings))
		}
	}
	return out
}

// allAlike guards against a chain of facets that bends little by little.
func allAlike(facets []facet, joined []int) bool {
	largest := joined[0]
	for _, i := range joined {
		if facets[i].area() > facets[largest].area() {
			largest = i
		}
	}
	for _, i := range joined {
		if i != largest && !alike(&facets[largest], &facets[i]) {
			return false
		}
	}
	return true
}

// newPatch fits the plane: the facets' area vectors added up, through their middle
// weighted by area.
func newPatch(facets []facet, joined []int, rings [][]Point) patch {
	p := patch{facets: joined, rings: rings}
	total := 0.0
	for _, i := range joined {
		f := &facets[i]
		total += f.area()
		for axis := range 3 {
			p.normal[axis] += f.normal[axis]
			p.middle[axis] += f.middle[axis] * f.area()
		}
	}
	for axis := range 3 {
		p.middle[axis] /= total
	}
	return p
}

func (m *mesh) pointRings(p int) [][]Point {
	out := make([][]Point, len(m.rings[p]))
	for r, ring := range m.rings[p] {
		for _, n := range ring {
			out[r] = append(out[r], m.nodes[n])
		}
	}
	return out
}

// join traces the border of several planes taken together, the outline first. It
// fails where the border touches itself.
func (m *mesh) join(planes []int) ([][]Point, bool) {
	if one := planes[0]; len(planes) == 1 {
		if m.tolerance > float64(Touch) {
			return m.pointRings(one), true
		}
		// Read takes points this near as one by itself: leave them where they are.
		rings := [][]Point{m.planes[one].Outline}
		for _, o := range m.planes[one].Openings {
			rings = append(rings, o.Outline)
		}
		return rings, true
	}
	next := make(map[int]int)
	for s := range m.sides {
		if !slices.Contains(planes, m.sides[s].plane) {
			continue
		}
		if t := m.twin(s); t >= 0 && slices.Contains(planes, m.sides[t].plane) {
			continue
		}
		if _, twice := next[m.sides[s].a]; twice {
			return nil, false
		}
		next[m.sides[s].a] = m.sides[s].b
	}
	var rings [][]Point
	outlines := 0
	for len(next) > 0 {
		start := math.MaxInt
		for n := range next {
			start = min(start, n)
		}
		var ring []Point
		for n := start; ; {
			to, ok := next[n]
			if !ok {
				break
			}
			delete(next, n)
			ring = append(ring, m.nodes[n])
			n = to
		}
		if twiceArea(ring).sign() > 0 {
			outlines++
			rings = slices.Insert(rings, 0, ring)
		} else {
			rings = append(rings, ring)
		}
	}
	return rings, outlines == 1
}

// walls overrules the borders against which a left-out face rises: a steep face that
// starts there, or a flat roof that lies higher.
func (m *mesh) walls(facets []facet, patches []patch) []overruleDocument {
	var out []overruleDocument
	for i := range patches {
		mark := fmt.Sprintf("P%d", i+1)
		for s := range m.sides {
			t := m.twin(s)
			if t < 0 || !slices.Contains(patches[i].facets, m.sides[s].plane) || len(out) == MaxOverrules {
				continue
			}
			own, other := &facets[m.sides[s].plane], &facets[m.sides[t].plane]
			if other.left == "" || other.left == "tiny" || run(m.ends(s)) < float64(4*Clearance) {
				continue
			}
			a, b := m.ends(s)
			if !onRing(between(a, b, 0.5), patches[i].rings[0]) {
				continue // in a hole, which has no edges while nothing fills it
			}
			low := math.Min(other.height(a)-own.height(a), other.height(b)-own.height(b))
			rises := other.left == "steep" && low > -float64(Step) && other.middle[2]*1e9 > math.Max(own.height(a), own.height(b))
			if low > float64(Step) || rises {
				out = append(out, overruleDocument{Between: []string{mark}, From: pair(a), To: pair(b), Kind: string(Wall)})
			}
		}
	}
	return out
}

func onRing(p Point, ring []Point) bool {
	for i, a := range ring {
		if nm, _ := distance(p, a, ring[(i+1)%len(ring)]); nm <= float64(2*Touch) {
			return true
		}
	}
	return false
}
