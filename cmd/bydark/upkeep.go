package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"

	"bydark/events/journal"
)

// alone says what to do about a directory that another process holds.
func alone(err error, verb, instead string) error {
	if errors.Is(err, journal.ErrLocked) {
		return fmt.Errorf("%w; %s needs the directory for itself: %s", err, verb, instead)
	}
	return err
}

type rebuildVerb struct {
	where
	JSON bool `help:"Print one JSON document."`
}

func (v rebuildVerb) Run(p *program) error {
	if err := v.prepared(); err != nil {
		return err
	}
	h, err := openHouse(p.ctx, v.where, p)
	if err != nil {
		return alone(err, "rebuild", "stop it, rebuild, and start it again; a new release folds anew by itself while it serves")
	}
	made, err := h.runner.Rebuild(p.ctx)
	if err := errors.Join(err, h.close()); err != nil {
		return err
	}
	if v.JSON {
		return p.print(map[string]any{"events": made.Events, "seconds": made.Took.Seconds()})
	}
	_, err = fmt.Fprintf(p.out, "%d events of jobs folded in %.3f seconds.\n", made.Events, made.Took.Seconds())
	return err
}

type verifyVerb struct {
	where
	JSON bool `help:"Print one JSON document."`
}

// Run checks the chain of every stream, and that the views are what the log folds to.
func (v verifyVerb) Run(p *program) error {
	if err := v.prepared(); err != nil {
		return err
	}
	h, err := openHouse(p.ctx, v.where, p)
	if err != nil {
		return alone(err, "verify", "stop it first, or look at a copy while it serves: backup, restore into a new directory, verify that")
	}
	found := struct {
		Events int `json:"events"`
		Jobs   int `json:"jobs"`
		// Log is how many events all streams hold, as backup and restore count them.
		Log      int      `json:"log_events"`
		Problems []string `json:"problems"`
	}{Problems: []string{}}
	tell := func(problem string) { found.Problems = append(found.Problems, problem) }
	err = func() error {
		for _, stream := range []journal.Stream{journal.Roof, journal.Sky, journal.Door} {
			events, subjects, err := h.journal.Verify(p.ctx, stream, tell)
			if err != nil {
				return err
			}
			found.Log += events
			if stream == journal.Roof {
				found.Events, found.Jobs = events, subjects
			}
		}
		return compareViews(p, h, tell)
	}()
	if err := errors.Join(err, h.close()); err != nil {
		return err
	}
	if v.JSON {
		err = p.print(found)
	} else {
		_, err = fmt.Fprintf(p.out, "%d events of the log, %d of them of %d jobs; %d problems.\n", found.Log, found.Events, found.Jobs, len(found.Problems))
		for _, problem := range found.Problems {
			_, e := fmt.Fprintln(p.out, problem)
			err = errors.Join(err, e)
		}
	}
	if err == nil && len(found.Problems) > 0 {
		err = fmt.Errorf("%d problems found", len(found.Problems))
	}
	return err
}

// compareViews catches the views up, dumps them, folds them again and dumps them.
func compareViews(p *program, h *house, tell func(string)) error {
	if err := h.runner.CatchUp(p.ctx); err != nil {
		return err
	}
	before, err := dump(p, h.runner.Dump)
	if err != nil {
		return err
	}
	if _, err := h.runner.Rebuild(p.ctx); err != nil {
		return err
	}
	after, err := dump(p, h.runner.Dump)
	if err != nil {
		return err
	}
	if before != after {
		tell("the views were not what the log folds to; they have been folded again")
	}
	for _, s := range h.runner.Status().Stopped {
		tell(fmt.Sprintf("job %s.%s stands still at event %d (%s): %s", s.Company, s.Job, s.Sequence, s.Type, s.Reason))
	}
	return nil
}

// dump is the digest of the views in their canonical form.
func dump(p *program, write func(context.Context, io.Writer) error) ([sha256.Size]byte, error) {
	h := sha256.New()
	if err := write(p.ctx, h); err != nil {
		return [sha256.Size]byte{}, err
	}
	return [sha256.Size]byte(h.Sum(nil)), nil
}

type backupVerb struct {
	where
	File string `arg:"" help:"The file to write; it must not exist." type:"path"`
}

// Run writes beside the file first and names it at the end, so that a backup that broke
// off is never taken for a whole one.
func (v backupVerb) Run(p *program) error {
	if err := v.prepared(); err != nil {
		return err
	}
	if _, err := os.Stat(v.File); err == nil {
		return &badInput{fmt.Errorf("%s: exists; want a new file", v.File)}
	}
	f, err := openPart(v.File + ".part")
	if err != nil {
		return &badInput{err}
	}
	made, err := v.write(p, f)
	if err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = os.Rename(f.Name(), v.File)
	}
	if err == nil {
		err = syncDir(filepath.Dir(v.File)) // or a power cut takes the name
	}
	if err != nil {
		err = errors.Join(fmt.Errorf("backup of %s: %w", v.Dir, err), os.Remove(f.Name()))
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.out, "%s holds %d events of the log and %d pictures and documents.\n", v.File, made.Events, made.Objects)
	if key := filepath.Join(v.Dir, webhookKey); err == nil && v.Nats == "" {
		if _, missing := os.Stat(key); missing == nil {
			_, err = fmt.Fprintf(p.out, "The key that signs webhooks is not in it, so that whoever has the backup cannot sign: keep a copy of %s apart.\n", key)
		}
	}
	return err
}

// syncDir makes the names in a directory durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// openPart opens the file that a backup is written to, perhaps over one that broke off. Its lock says
// that nobody else is writing it.
func openPart(part string) (_ *os.File, err error) {
	f, err := os.OpenFile(part, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close())
		}
	}()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, fmt.Errorf("%s: another backup is writing it (%w); want another name, or wait", part, err)
	}
	// Whoever held it may have given it its name meanwhile.
	ours, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if now, err := os.Stat(part); err != nil || !os.SameFile(ours, now) {
		return nil, fmt.Errorf("%s: another backup has just written it; want another name", part)
	}
	return f, f.Truncate(0)
}

// write opens the log, or asks the process that serves it.
func (v backupVerb) write(p *program, f *os.File) (journal.Summary, error) {
	log, err := journal.Open(p.ctx, v.options(p))
	if errors.Is(err, journal.ErrLocked) {
		made, asked := askBackup(p.ctx, v.Dir, f)
		if asked != nil {
			return made, errors.Join(err, asked)
		}
		return made, nil
	}
	if err != nil {
		return journal.Summary{}, err
	}
	made, err := log.Backup(p.ctx, f)
	return made, errors.Join(err, log.Close())
}

type restoreVerb struct {
	File string `arg:"" help:"The backup." type:"existingfile"`
	Dir  string `help:"An empty or new directory." required:"" type:"path"`
}

func (v restoreVerb) Run(p *program) error {
	if err := emptyDir(v.Dir); err != nil {
		return err
	}
	f, err := os.Open(v.File)
	if err != nil {
		return &badInput{err}
	}
	made, err := journal.Restore(p.ctx, journal.Options{Dir: v.Dir, Log: p.log}, f)
	err = errors.Join(err, f.Close())
	switch {
	case errors.Is(err, journal.ErrNoBackup):
		return &badInput{fmt.Errorf("%s: %w; want a file that bydark backup has written", v.File, err)}
	case err != nil:
		return fmt.Errorf("restore %s: %w", v.File, err)
	}
	_, err = fmt.Fprintf(p.out, "%s holds %d events of the log and %d pictures and documents; the views are folded when it is served.\n", v.Dir, made.Events, made.Objects)
	return err
}
