// Package faultfs is a file system for tests: in memory, mounted, and able to lose what was not synced, to fail a sync, and to be slow.
//
// It needs FUSE: /dev/fuse, and the right to mount. Only other processes may use what it mounts; one that serves a file system and waits
// for it can come to a stand.
package faultfs

import (
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	gofuse "github.com/hanwen/go-fuse/v2/fs"
)

// Names say when the name of a new or renamed file survives a power cut.
type Names int

const (
	// Journalling: with the next sync of any file, as ext4, XFS and btrfs do.
	Journalling Names = iota
	// Strict: only with the next sync of the directory, which is all that POSIX promises.
	Strict
)

// Survives says what a power cut leaves of that which was not synced.
type Survives int

const (
	// Nothing survives.
	Nothing Survives = iota
	// Some of it does: each sector and each name by chance, in no order.
	Some
	// All of it does: the process died and the machine did not.
	All
)

// sector is what a disk writes whole, in bytes.
const sector = 512

// FS is a mounted file system.
type FS struct {
	// Dir is where it is mounted.
	Dir   string
	names Names

	mu     sync.Mutex // guards what follows, and all nodes
	root   *node
	last   uint64 // id of the newest node
	syncs  int    // so far
	fails  int    // the sync that fails; 0 for none
	failed bool
	slow   time.Duration // each sync takes so long
	holds  int           // the sync that is held, likewise
	held   chan struct{} // closed when it is there
	let    chan struct{} // closed to let it go on
}

// Mount mounts an empty file system in a directory of its own, until the test ends.
func Mount(t testing.TB, names Names) *FS {
	t.Helper()
	f := &FS{Dir: t.TempDir(), names: names}
	f.root = f.node(true)
	options := &gofuse.Options{RootStableAttr: &gofuse.StableAttr{Ino: f.root.id}}
	options.FsName, options.Name, options.DirectMount = "faultfs", "faultfs", true
	server, err := gofuse.Mount(f.Dir, f.root, options)
	if err != nil {
		t.Fatalf("mount a file system by FUSE (deploy/test-needs says what that takes): %v", err)
	}
	t.Cleanup(func() {
		if err := server.Unmount(); err != nil {
			t.Errorf("unmount %s: %v", f.Dir, err)
		}
		server.Wait()
	})
	return f
}

// Slow makes each sync take so long.
func (f *FS) Slow(d time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.slow = d
}

// HoldSync makes the n-th sync from now wait, before anything of it is done, until release is called. The channel tells that it is there.
// A process that waits in it cannot end, not even killed, before it is released.
func (f *FS) HoldSync(n int) (held <-chan struct{}, release func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.syncs, f.holds, f.held, f.let = 0, n, make(chan struct{}), make(chan struct{})
	return f.held, sync.OnceFunc(func() { close(f.let) })
}

// FailSync makes the n-th sync from now fail with EIO. What it should have written is not on the disk, and later syncs will not bring it
// there, but the system still remembers it until it is made to forget: it takes pages that it could not write for written. 0 for none.
func (f *FS) FailSync(n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.syncs, f.fails, f.failed = 0, n, false
}

// Failed says whether the sync of FailSync has come to pass.
func (f *FS) Failed() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.failed
}

// Cut writes what a power cut at this moment would leave to a new directory, and returns it.
func (f *FS) Cut(t testing.TB, s Survives, chance *rand.Rand) string {
	t.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	image := t.TempDir()
	if err := f.root.survive(image, s, chance); err != nil {
		t.Fatal(err)
	}
	return image
}

// Load fills the file system with the content of a directory, all of it synced.
func (f *FS) Load(t testing.TB, dir string) {
	t.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.root.load(dir); err != nil {
		t.Fatal(err)
	}
}

func (n *node) load(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		child := n.f.node(e.IsDir())
		path := filepath.Join(dir, e.Name())
		if e.IsDir() {
			err = child.load(path)
		} else {
			child.data, err = os.ReadFile(path)
			child.kept = append([]byte(nil), child.data...)
		}
		if err != nil {
			return err
		}
		n.now[e.Name()] = child
	}
	n.then = maps.Clone(n.now)
	return nil
}

// synced is called when a file or a directory is synced.
func (f *FS) synced(n *node) syscall.Errno {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.slow > 0 {
		slow := f.slow
		f.mu.Unlock()
		<-time.After(slow) // a disk that is slow is not waiting for anything
		f.mu.Lock()
	}
	f.syncs++
	if f.syncs == f.holds {
		close(f.held)
		f.mu.Unlock()
		<-f.let
		f.mu.Lock()
	}
	if f.syncs == f.fails {
		f.failed = true
		n.lose()
		return syscall.EIO
	}
	n.keep()
	switch {
	case f.names == Journalling:
		f.root.keepNames(true)
	case n.now != nil:
		n.keepNames(false)
	}
	return 0
}

// node makes a node. The lock is held, or nobody else knows the file system yet.
func (f *FS) node(dir bool) *node {
	f.last++
	n := &node{f: f, id: f.last, changed: time.Now()}
	if dir {
		n.now, n.then = map[string]*node{}, map[string]*node{}
	} else {
		n.dirty = map[int]bool{}
	}
	return n
}
