package ledger

import "strings"

// Left tells whoever closes a job what the ledger says of its material: what was ordered
// and is still to come, what should still lie at the site, of what more was used than
// came, and how many reports do not fit. All of it is to be looked at; none of it makes
// the roof less closed.
func Left(lines []Line, oddities int) []string {
	var due, lies, lacks []string
	for _, l := range lines {
		if l.OnOrder.Sign() > 0 {
			due = append(due, l.OnOrder.Shown()+" of "+l.Name)
		}
		switch l.OnHand.Sign() {
		case 1:
			lies = append(lies, l.OnHand.Shown()+" of "+l.Name)
		case -1:
			lacks = append(lacks, l.OnHand.Neg().Shown()+" of "+l.Name)
		}
	}
	var left []string
	say := func(what []string, before, after string) {
		if len(what) > 0 {
			left = append(left, before+strings.Join(what, ", ")+after)
		}
	}
	say(due, "Ordered and not received: ", ". Call it off, or wait for it.")
	say(lacks, "More was used than came, by the reports: ", ". A delivery was not reported, or a count is missing.")
	say(lies, "Should still lie at the site: ", ". Return it, move it to another roof, or count it.")
	if oddities > 0 {
		left = append(left, numbered(oddities, "report")+" of this job with something that does not fit: the ledger lists them.")
	}
	return left
}
