package projections

import (
	"runtime/debug"
	"sync"
)

// rebuildGarbage is by how much the heap may grow while all is folded before garbage is collected, in percent of what is in use. What is
// in use then are events that wait for the rest of their jobs, so the usual 100 would look through the same events again and again. A
// limit on the memory (GOMEMLIMIT) goes before it.
const rebuildGarbage = 200

// garbage counts who wants it to be collected rarely.
var garbage struct {
	sync.Mutex
	rebuilds int
	usual    int
}

// collectRarely lets garbage lie until the returned function is called.
func collectRarely() (usually func()) {
	garbage.Lock()
	defer garbage.Unlock()
	if garbage.rebuilds++; garbage.rebuilds == 1 {
		garbage.usual = debug.SetGCPercent(rebuildGarbage)
		if garbage.usual < 0 || garbage.usual > rebuildGarbage {
			debug.SetGCPercent(garbage.usual) // somebody wants it yet more rarely
		}
	}
	return func() {
		garbage.Lock()
		defer garbage.Unlock()
		if garbage.rebuilds--; garbage.rebuilds == 0 {
			debug.SetGCPercent(garbage.usual)
		}
	}
}
