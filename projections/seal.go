package projections

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
)

// A seal is a file beside the database that says what the database was when it was last closed: "closed" and its SHA-256, or "damaged";
// or "open" as long as it is in use. SQLite itself would not notice a changed byte in a row, nor that its write-ahead log is gone.

const (
	open    = "open"
	closed  = "closed"
	damaged = "damaged"
)

// sealLimit is the size up to which a file is summed when it is closed; a larger one would keep the program from stopping in time. It is
// looked through like one that was not closed.
const sealLimit = 2 << 30

func sealOf(file string) string { return file + ".seal" }

// admit looks at a database before it is opened, puts it aside if it cannot be trusted, and marks it open.
func admit(ctx context.Context, file string, log *slog.Logger) error {
	reason, err := distrust(ctx, file)
	if err != nil {
		return err
	}
	if reason != "" {
		log.Warn("views cannot be trusted and are put aside; they are folded again from the log", "file", file, "reason", reason)
		if err := putAside(file); err != nil {
			return err
		}
	}
	return writeSeal(file, open)
}

// distrust says why the database must not be used, or nothing. A database that is not there is not distrusted.
func distrust(ctx context.Context, file string) (reason string, err error) {
	stat, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	said, err := os.ReadFile(sealOf(file))
	if errors.Is(err, fs.ErrNotExist) {
		return "nothing says where it comes from", nil
	}
	if err != nil {
		return "", err
	}
	switch state, sum, _ := strings.Cut(strings.TrimSpace(string(said)), " "); {
	case state == closed && sum != "":
		now, err := sumOf(file)
		if err == nil && now != sum {
			reason = "it was changed after it was closed"
		}
		return reason, err
	case state == closed:
		return quickCheck(ctx, file)
	case state == open && stat.Size() > 0:
		if _, err := os.Stat(file + "-wal"); errors.Is(err, fs.ErrNotExist) {
			return "it was not closed, and its write-ahead log is gone", nil
		}
		return quickCheck(ctx, file)
	case state == damaged:
		return "it was found damaged while it was in use", nil
	}
	return "its seal is broken", nil
}

// quickCheck lets SQLite look through the structure of a file.
func quickCheck(ctx context.Context, file string) (reason string, err error) {
	db, err := connectSQLite(file, "_txlock=immediate")
	if err != nil {
		return "", err
	}
	db.SetMaxOpenConns(1)
	defer func() { err = errors.Join(err, db.Close()) }()
	var said []string
	if err := db.SelectContext(ctx, &said, `pragma quick_check(1)`); err != nil {
		if (sqliteDialect{}).isDamage(err) {
			return err.Error(), nil
		}
		return "", fmt.Errorf("look through %s: %w", file, err)
	}
	if len(said) != 1 || said[0] != "ok" {
		return strings.Join(said, "; "), nil
	}
	return "", nil
}

// putAside keeps the last database that was found wrong, for whoever wants to know how.
func putAside(file string) error {
	if err := os.Rename(file, file+".damaged"); err != nil {
		return err
	}
	for _, rest := range []string{file + "-wal", file + "-shm", sealOf(file)} {
		if err := os.Remove(rest); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// seal marks a database as closed, or as not to be opened again.
func seal(file string, isDamaged bool) error {
	if isDamaged {
		return writeSeal(file, damaged)
	}
	stat, err := os.Stat(file)
	if err != nil {
		return err
	}
	if stat.Size() > sealLimit {
		return writeSeal(file, closed)
	}
	sum, err := sumOf(file)
	if err != nil {
		return err
	}
	return writeSeal(file, closed+" "+sum)
}

// sumOf must not run while the file is open in this process: closing it here would release SQLite's locks.
func sumOf(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer f.Close() //nolint:errcheck // read only
	h := sha256.New()
	if _, err := io.Copy(h, bufio.NewReaderSize(f, 1<<20)); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", h.Sum(nil)), nil
}

// writeSeal writes a seal that is whole after a power cut, the old or the new.
func writeSeal(file, said string) error {
	fresh := sealOf(file) + ".new"
	f, err := os.Create(fresh)
	if err != nil {
		return err
	}
	_, err = f.WriteString(said + "\n")
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(fresh, sealOf(file)); err != nil {
		return err
	}
	return syncDir(filepath.Dir(file))
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
