package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// stoppedFile stands in a directory while nobody uses its log, if whoever did last closed it and all of it is durable. After a crash it is
// missing.
func stoppedFile(dir string) string { return filepath.Join(dir, "stopped") }

// stoppedClean says whether the log was closed.
func stoppedClean(dir string) (bool, error) {
	_, err := os.Stat(stoppedFile(dir))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

// notStopped says on the disk that the log is in use, before anything in it changes. forget also takes away the broker's indexes.
func notStopped(dir string, forget bool) error {
	err := os.Remove(stoppedFile(dir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := syncDir(dir); err != nil || !forget {
		return err
	}
	streams := filepath.Dir(filepath.Dir(blockDir(dir, "any")))
	stores, err := os.ReadDir(streams)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, store := range stores {
		index := filepath.Join(blockDir(dir, store.Name()), indexName)
		if err := os.Remove(index); errors.Is(err, fs.ErrNotExist) {
			continue
		} else if err != nil {
			return err
		}
		if err := syncDir(filepath.Dir(index)); err != nil {
			return err
		}
	}
	return nil
}
