package faultfs

import (
	"context"
	"maps"
	"slices"
	"syscall"

	gofuse "github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// handle is an open file.
type handle struct{ always bool } // each write is a sync

func (n *node) mode() uint32 {
	if n.now != nil {
		return fuse.S_IFDIR | 0o700
	}
	return fuse.S_IFREG | 0o600
}

// fill writes what stat says. The lock is held.
func (n *node) fill(a *fuse.Attr) {
	a.Ino, a.Mode, a.Nlink, a.Size, a.Blksize = n.id, n.mode(), 1, uint64(len(n.data)), 4096
	a.SetTimes(nil, &n.changed, &n.changed)
}

// entry makes the kernel know a child. The lock is held.
func (n *node) entry(ctx context.Context, child *node, out *fuse.EntryOut) *gofuse.Inode {
	child.fill(&out.Attr)
	return n.NewInode(ctx, child, gofuse.StableAttr{Mode: child.mode(), Ino: child.id})
}

// Lookup finds a name.
func (n *node) Lookup(ctx context.Context, name string, out *fuse.EntryOut) (*gofuse.Inode, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	child := n.now[name]
	if child == nil {
		return nil, syscall.ENOENT
	}
	return n.entry(ctx, child, out), 0
}

// Mkdir makes a directory.
func (n *node) Mkdir(ctx context.Context, name string, _ uint32, out *fuse.EntryOut) (*gofuse.Inode, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	child := n.f.node(true)
	n.now[name] = child
	return n.entry(ctx, child, out), 0
}

// Create makes a file, or empties the one that is there.
func (n *node) Create(ctx context.Context, name string, flags, _ uint32, out *fuse.EntryOut) (*gofuse.Inode, gofuse.FileHandle, uint32, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	child := n.f.node(false)
	n.now[name] = child
	return n.entry(ctx, child, out), opened(flags), fuse.FOPEN_KEEP_CACHE, 0
}

func opened(flags uint32) handle {
	return handle{always: flags&syscall.O_DSYNC != 0}
}

// Open opens a file. The kernel keeps what it knows of its content, as it does with a disk.
func (n *node) Open(_ context.Context, flags uint32) (gofuse.FileHandle, uint32, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	if flags&syscall.O_TRUNC != 0 {
		n.resize(0)
	}
	return opened(flags), fuse.FOPEN_KEEP_CACHE, 0
}

// Read reads from a file.
func (n *node) Read(_ context.Context, _ gofuse.FileHandle, into []byte, at int64) (fuse.ReadResult, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	from := min(int(at), len(n.data))
	return fuse.ReadResultData(slices.Clone(n.data[from:min(from+len(into), len(n.data))])), 0
}

// Write writes to a file.
func (n *node) Write(_ context.Context, h gofuse.FileHandle, b []byte, at int64) (uint32, syscall.Errno) {
	n.f.mu.Lock()
	n.write(b, int(at))
	n.f.mu.Unlock()
	if h, ok := h.(handle); ok && h.always {
		if e := n.f.synced(n); e != 0 {
			return 0, e
		}
	}
	return uint32(len(b)), 0
}

// Fsync syncs a file or a directory.
func (n *node) Fsync(context.Context, gofuse.FileHandle, uint32) syscall.Errno { return n.f.synced(n) }

// Getattr is stat.
func (n *node) Getattr(_ context.Context, _ gofuse.FileHandle, out *fuse.AttrOut) syscall.Errno {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	n.fill(&out.Attr)
	return 0
}

// Setattr resizes a file. Owners and modes are not kept.
func (n *node) Setattr(_ context.Context, _ gofuse.FileHandle, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	if size, ok := in.GetSize(); ok && n.now == nil {
		n.resize(int(size))
	}
	n.fill(&out.Attr)
	return 0
}

// Unlink takes a name away.
func (n *node) Unlink(_ context.Context, name string) syscall.Errno {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	if n.now[name] == nil {
		return syscall.ENOENT
	}
	delete(n.now, name)
	return 0
}

// Rmdir takes an empty directory away.
func (n *node) Rmdir(_ context.Context, name string) syscall.Errno {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	if child := n.now[name]; child != nil && len(child.now) > 0 {
		return syscall.ENOTEMPTY
	}
	delete(n.now, name)
	return 0
}

// Rename gives a file another name, and replaces what had it.
func (n *node) Rename(_ context.Context, name string, parent gofuse.InodeEmbedder, to string, flags uint32) syscall.Errno {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	into, ok := parent.(*node)
	if !ok || flags != 0 {
		return syscall.EINVAL
	}
	into.now[to] = n.now[name]
	delete(n.now, name)
	return 0
}

// Readdir lists a directory.
func (n *node) Readdir(context.Context) (gofuse.DirStream, syscall.Errno) {
	n.f.mu.Lock()
	defer n.f.mu.Unlock()
	var entries []fuse.DirEntry
	for _, name := range slices.Sorted(maps.Keys(n.now)) {
		entries = append(entries, fuse.DirEntry{Name: name, Ino: n.now[name].id, Mode: n.now[name].mode()})
	}
	return gofuse.NewListDirStream(entries), 0
}

// Statfs says that there is room for everything.
func (n *node) Statfs(_ context.Context, out *fuse.StatfsOut) syscall.Errno {
	const blocks = 1 << 28
	*out = fuse.StatfsOut{Blocks: blocks, Bfree: blocks, Bavail: blocks, Files: blocks, Ffree: blocks, Bsize: 4096, Frsize: 4096, NameLen: 255}
	return 0
}
