package journaltest

import (
	"os"
	"strconv"
	"testing"
)

// RoundsVariable names the environment variable that sets how often tests of faults are repeated.
const RoundsVariable = "BYDARK_FAULT_ROUNDS"

// Rounds is how often a test of a fault is to be repeated: few times, unless the environment says how often.
func Rounds(t testing.TB, few int) int {
	t.Helper()
	said := os.Getenv(RoundsVariable)
	if said == "" {
		return few
	}
	n, err := strconv.Atoi(said)
	if err != nil || n < 1 {
		t.Fatalf("%s is %q, want a number of rounds", RoundsVariable, said)
	}
	return n
}
