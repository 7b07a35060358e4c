package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"golang.org/x/sys/unix"
)

// leastFree is how much of a disk must stay free: the larger of 256 MB and a twentieth. The broker gives no answer when it runs out of
// disk, and stays dead afterwards, so nothing is given to it near the end.
const (
	leastFreeBytes = 256 << 20
	leastFreePart  = 20
)

// unfitFileSystems do not keep what was synced, or not the names of new files, or not a lock between machines. Numbers from statfs(2).
var unfitFileSystems = map[int64]string{
	0x6969:     "NFS",
	0xff534d42: "CIFS",
	0xfe534d42: "SMB",
	0x65735546: "FUSE",
	0x01021997: "9p",
	0x794c7630: "overlay",
}

// fitDisk fails with ErrUnfit on a file system that cannot keep a log.
func fitDisk(dir string) error {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return fmt.Errorf("file system of %s: %w", dir, err)
	}
	if name, unfit := unfitFileSystems[st.Type]; unfit {
		return fmt.Errorf("%w: %s is on a file system (%s) that does not promise to keep what was synced; choose a local disk, or say that it is fit",
			ErrUnfit, dir, name)
	}
	return nil
}

// Disk is how many bytes are free on the disk of a log in this process, and how many must stay free. Both are 0 for a log elsewhere.
func (j *Journal) Disk() (free, spare int64, err error) {
	if j.local == nil {
		return 0, 0, nil
	}
	return space(j.local.dir, j.local.spare)
}

// space is how much of a disk is free and how much must stay so. spare is the latter, 0 for the usual.
func space(dir string, spare int64) (free, must int64, err error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return 0, 0, fmt.Errorf("room in %s: %w", dir, err)
	}
	if spare == 0 {
		spare = max(leastFreeBytes, int64(st.Blocks)*st.Bsize/leastFreePart)
	}
	return int64(st.Bavail) * st.Bsize, spare, nil
}

// room fails with ErrFull when the disk has reached its watermark. spare is how much must stay free, 0 for the usual.
func room(dir string, spare int64) error {
	free, spare, err := space(dir, spare)
	if err != nil {
		return err
	}
	if free < spare {
		return fmt.Errorf("%w: %d MB of disk are free, %d MB must stay free", ErrFull, free>>20, spare>>20)
	}
	return nil
}

// makeDir makes a directory whose name is durable, if it is not there yet.
func makeDir(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return syncDir(filepath.Dir(filepath.Clean(dir)))
}

// syncDir makes the names in a directory durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// syncDirs makes the names in all directories from top down durable, and top's own.
func syncDirs(top string) error {
	err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, os.ErrNotExist) {
			return nil // the broker tidies up as it starts
		}
		if err != nil || !d.IsDir() {
			return err
		}
		if err := syncDir(path); !errors.Is(err, os.ErrNotExist) {
			return err
		}
		return nil
	})
	return errors.Join(err, syncDir(filepath.Dir(top)))
}

// writeSynced writes a new file and makes it and its name durable.
func writeSynced(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// syncFiles makes the content of all files from top down durable.
func syncFiles(top string) error {
	return eachFile(top, func(f *os.File) error { return f.Sync() })
}

// rereadFiles makes the content of all files from top down durable, and has it read from the disk the next time. After a sync that failed,
// the memory of the system may hold what the disk does not have.
func rereadFiles(top string) error {
	return eachFile(top, func(f *os.File) error {
		if err := f.Sync(); err != nil {
			return err
		}
		return unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED)
	})
}

// eachFile opens all files from top down in turn. A top that is not there has none.
func eachFile(top string, do func(*os.File) error) error {
	return filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // the broker tidies up as it starts
		}
		if err != nil || d.IsDir() {
			return err
		}
		f, err := os.Open(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		return errors.Join(do(f), f.Close())
	})
}
