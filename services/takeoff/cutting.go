package takeoff

import (
	"math"
	"slices"

	"bydark/events/quantity"
	"bydark/services/assembly"
)

// Pieces are what is cut out of stock lengths or coils for this demand, in order of
// fixing; none for what comes off a roll or by the piece.
func (d *Demand) Pieces() []quantity.Length { return slices.Clone(d.pieces) }

// IsCutToLength tells whether pieces of a material are cut out of stiff lengths or coils.
// Off a roll, a tube or a spool a run goes on.
func IsCutToLength(m *assembly.Material) bool { return isCutToLength(m) }

// run is how much further up the slope the right seam side of a panel's end lies than the
// left one, as one looks up the slope; in whole marks of the rule, never overstated, so
// that what two ends share by it is there. An end of several straight cuts, or of a panel
// narrower than a whole one (whose cut is another line on the sheet), counts as square:
// its run is zero.
func (l *lay) run(lines []line, length quantity.Length) quantity.Length {
	const micrometre = 1_000 * quantity.Nanometre // the arithmetic's, not the metal's
	if len(lines) != 1 || math.Abs(lines[0].b.u-lines[0].a.u-l.cover) > hair {
		return 0
	}
	rise := nanometres(lines[0].b.v - lines[0].a.v)
	size := max(rise, -rise) + micrometre
	size -= size % Rule
	switch {
	case size >= length:
		return 0
	case rise < 0:
		return -size
	}
	return size
}
