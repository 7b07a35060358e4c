package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"syscall"
	"time"

	"bydark/events/journal"

	"golang.org/x/sys/unix"
)

// The hatch is a socket in the directory of a log. Through it another verb asks the process that serves the directory for what it would
// do itself if the directory were free. It opens no port; whoever may read the directory's files may ask, and nobody else: the whole log
// goes out through it, which is more than any role may read through the front door.
const hatchName = "hatch"

// hatch answers at the hatch until ctx ends. A log kept elsewhere has none. Without it the house can be served all the same.
func (h *house) hatch(ctx context.Context) error {
	if h.dir != "" {
		err := h.answer(ctx)
		if ctx.Err() == nil {
			h.log.Error("no backup can be made while this process serves", "error", err)
		}
	}
	<-ctx.Done()
	return ctx.Err()
}

func (h *house) answer(ctx context.Context) error {
	path, dir, err := hatchPath(h.dir)
	if err != nil {
		return err
	}
	defer func() { _ = dir.Close() }() // it was only read
	// What a process left that was killed. The directory is ours alone.
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("hatch: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("hatch: %w", err)
	}
	routes := http.NewServeMux()
	routes.HandleFunc("POST /backup", func(w http.ResponseWriter, r *http.Request) {
		if _, err := h.journal.Backup(r.Context(), w); err != nil {
			h.log.Error("a backup broke off", "error", err)
			panic(http.ErrAbortHandler) // so that whoever reads it knows
		}
	})
	server := &http.Server{
		Handler: routes, ReadHeaderTimeout: 5 * time.Second, BaseContext: func(net.Listener) context.Context { return ctx },
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ownOnly{l}) }()
	select {
	case err = <-ended:
		return fmt.Errorf("hatch: %w", err)
	case <-ctx.Done(): // backups under way break off by it
	}
	err = server.Shutdown(context.WithoutCancel(ctx))
	if served := <-ended; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}

// hatchPath is a short name for the socket: an address has room for 108 bytes, a directory's path may be longer. It holds while dir is open.
func hatchPath(of string) (path string, dir *os.File, err error) {
	dir, err = os.Open(of)
	if err != nil {
		return "", nil, fmt.Errorf("hatch: %w", err)
	}
	return fmt.Sprintf("/proc/self/fd/%d/%s", dir.Fd(), hatchName), dir, nil
}

// ownOnly lets in connections of our own user, and of root, whatever the rights of the directory say.
type ownOnly struct{ net.Listener }

func (o ownOnly) Accept() (net.Conn, error) {
	for {
		c, err := o.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if uid, err := peer(c); err == nil && (uid == uint32(os.Geteuid()) || uid == 0) {
			return c, nil
		}
		if err := c.Close(); err != nil {
			return nil, err
		}
	}
}

// peer is the user at the other end.
func peer(c net.Conn) (uint32, error) {
	conn, ok := c.(syscall.Conn)
	if !ok {
		return 0, errors.New("not a socket")
	}
	raw, err := conn.SyscallConn()
	if err != nil {
		return 0, err
	}
	var who *unix.Ucred
	var asked error
	if err := raw.Control(func(fd uintptr) { who, asked = unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED) }); err != nil {
		return 0, err
	}
	if asked != nil {
		return 0, asked
	}
	return who.Uid, nil
}

// askBackup has the process that serves a directory write a backup, and reads it back from the file before it believes it.
func askBackup(ctx context.Context, of string, f *os.File) (journal.Summary, error) {
	path, dir, err := hatchPath(of)
	if err != nil {
		return journal.Summary{}, err
	}
	defer func() { _ = dir.Close() }() // it was only read
	asking := &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", path)
	}}}
	defer asking.CloseIdleConnections()
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://hatch/backup", nil)
	if err != nil {
		return journal.Summary{}, err
	}
	answer, err := asking.Do(request)
	if err != nil {
		return journal.Summary{}, fmt.Errorf("ask the process that holds it (is it serving yet?): %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		said, _ := io.ReadAll(io.LimitReader(answer.Body, 500)) // whatever it says is only told
		return journal.Summary{}, fmt.Errorf("the process that serves it answers %s: %s", answer.Status, strings.TrimSpace(string(said)))
	}
	if _, err := io.Copy(f, answer.Body); err != nil {
		return journal.Summary{}, fmt.Errorf("the backup broke off; the log of the process that serves it tells why: %w", err)
	}
	return journal.ReadSummary(f)
}
