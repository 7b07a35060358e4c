package tonight

// A rule is one row of what a plan must keep: the sum of its terms is at most room.
type rule struct {
	terms []term
	room  int64
	// jobs are those whose guards together make every path keep it.
	jobs []int
	// choice tells that it is about what is done, and not when.
	choice bool
}

// term is a job and how much of the room it takes when it is done by a minute.
type term struct {
	job   int
	takes int64
	by    int
}

// rules are the rows that a path through the network does not keep by itself, besides those of
// materials. That j waits for k is a row for each of some minutes: as often as j is done by
// then, k is done by the time that j must have begun.
func rules(in *instance) []rule {
	var all []rule
	for j := range in.size() {
		for _, k := range in.after[j] {
			for _, by := range in.looks() {
				all = append(all, rule{[]term{{j, 1, by}, {k, -1, by - in.minutes[j]}}, 0, []int{k, j}, by == in.limit})
			}
		}
		for _, k := range in.instead[j] {
			if k > j {
				all = append(all, rule{[]term{{j, 1, in.limit}, {k, 1, in.limit}}, 1, []int{j, k}, true})
			}
		}
		if in.dry() < in.limit {
			all = append(all, rule{[]term{{j, 1, in.limit}}, 1, []int{j}, true})
		}
	}
	return all
}

// looks are the minutes at which a path is asked whether what waits was done after what it
// waits for: when the rain begins, some later, and at the end.
func (in *instance) looks() []int {
	const most = 4
	dry := in.dry()
	n := min(most, in.limit-dry)
	all := []int{in.limit}
	for i := range n {
		all = append(all, dry+(in.limit-dry)*i/n)
	}
	return all
}

// over is by how much jobs, given with the minutes at which they are done, break the rule;
// below zero where there is room left.
func (r rule) over(done [][]int) int64 {
	sum := -r.room
	for _, t := range r.terms {
		for _, at := range done[t.job] {
			if at <= t.by {
				sum += t.takes
			}
		}
	}
	return sum
}
