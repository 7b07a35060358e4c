package journaltest

import (
	"os"
	"strconv"
	"testing"
)

// RoundsVariable names the environment variable that sets how often tests of faults are repeated.
const RoundsVariable = "BYDARK_FAULT_ROUNDS"

// Rounds is how often a test of a fault is to be repeated: few times, unless the environment says how often. The test says so in its output.
func Rounds(t testing.TB, few int) int {
	t.Helper()
	n := few
	if said := os.Getenv(RoundsVariable); said != "" {
		var err error
		if n, err = strconv.Atoi(said); err != nil || n < 1 {
			t.Fatalf("%s is %q, want a number of rounds", RoundsVariable, said)
		}
	}
	t.Logf("%d rounds", n)
	return n
}
