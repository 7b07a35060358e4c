package roof

import (
	"math"

	"bydark/events/quantity"
)

// SlopeFactor is true area over plan area, and true length over run straight up the
// slope: sqrt(1 + (rise/run)²), the "length of common rafters per foot of run" of the
// framing square's rafter table, divided by 12. It is 1 for a pitch of zero.
func SlopeFactor(p quantity.Pitch) float64 { return math.Hypot(1, p.Slope()) }

// HipFactor is the true length of a hip or valley over the run of the common rafter
// beside it, where two planes of the same pitch meet at a square corner:
// sqrt(2 + (rise/run)²), the "length of hip or valley per foot of run" of the framing
// square's rafter table, divided by 12. Other corners and unlike pitches have another
// factor: measure the Edge.
func HipFactor(p quantity.Pitch) float64 { return math.Hypot(math.Sqrt2, p.Slope()) }
