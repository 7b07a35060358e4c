package projectiontest

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/lib/pq"
)

// server is a PostgreSQL of this process's own: on a socket in a directory that goes with it, as the user nobody if we are root, whom it
// refuses.
type server struct {
	dir   string
	syncs bool // as one that is to keep what it has committed
	stop  func() error
	kill  func() error

	mu   sync.Mutex // above made
	made int        // databases
}

var (
	running   *server
	runningMu sync.Mutex // above running
	inMain    bool       // set before tests run
)

// Main runs a package's tests and ends the PostgreSQL that they have started. It is what TestMain calls:
//
//	func TestMain(m *testing.M) { os.Exit(projectiontest.Main(m)) }
func Main(m *testing.M) int {
	inMain = true
	code := m.Run()
	runningMu.Lock()
	defer runningMu.Unlock()
	if running != nil {
		if err := errors.Join(running.stop(), os.RemoveAll(running.dir)); err != nil {
			fmt.Fprintln(os.Stderr, "stop the temporary PostgreSQL:", err)
			return max(code, 1)
		}
	}
	return code
}

// Postgres is the address of a fresh, empty database. The first call in a process starts a server. The test fails if none is installed.
func Postgres(t testing.TB) string {
	t.Helper()
	if !inMain {
		t.Fatal("the package's TestMain must call projectiontest.Main, or nobody stops the temporary PostgreSQL")
	}
	runningMu.Lock()
	defer runningMu.Unlock()
	if running == nil {
		s, err := startServer(false)
		if err != nil {
			t.Fatal(err)
		}
		running = s
	}
	dsn, err := running.database(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return dsn
}

// database makes one more.
func (s *server) database(ctx context.Context) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	db, err := sql.Open("postgres", s.dsn("postgres"))
	if err != nil {
		return "", err
	}
	defer db.Close() // it holds nothing
	name := fmt.Sprint("test", s.made)
	s.made++
	if _, err := db.ExecContext(ctx, `create database `+pq.QuoteIdentifier(name)); err != nil {
		return "", fmt.Errorf("make a database: %w", err)
	}
	return s.dsn(name), nil
}

func (s *server) dsn(database string) string {
	q := url.Values{"host": {s.dir}, "user": {"test"}, "sslmode": {"disable"}}
	return (&url.URL{Scheme: "postgres", Path: "/" + database, RawQuery: q.Encode()}).String()
}

// binaries finds the newest PostgreSQL that Debian's packages have put on this machine.
func binaries() (string, error) {
	all, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil {
		return "", err
	}
	newest, version := "", 0
	for _, path := range all {
		dir := filepath.Dir(path)
		if v, err := strconv.Atoi(filepath.Base(filepath.Dir(dir))); err == nil && v > version {
			newest, version = dir, v
		}
	}
	if version < 14 {
		return "", errors.New("these tests need PostgreSQL 14 or newer in /usr/lib/postgresql: install the package postgresql (on Debian 12: apt-get install postgresql-15)")
	}
	return newest, nil
}

// DurablePostgres is the address of a database of a server that syncs what it commits, as PostgreSQL does unless it is told otherwise. The
// server ends with the test.
func DurablePostgres(t testing.TB) string {
	t.Helper()
	s, err := startServer(true)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(s.stop(), os.RemoveAll(s.dir)); err != nil {
			t.Error(err)
		}
	})
	dsn, err := s.database(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return dsn
}

func startServer(syncs bool) (*server, error) {
	bin, err := binaries()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "pg") // a short path: a socket's has at most 107 bytes
	if err != nil {
		return nil, err
	}
	s := &server{dir: dir, syncs: syncs}
	if err := s.start(bin); err != nil {
		return nil, errors.Join(fmt.Errorf("start a temporary PostgreSQL: %w", err), os.RemoveAll(dir))
	}
	return s, nil
}

// attr is how the server's processes run: they end with this one, and not as root.
func (s *server) attr() (*syscall.SysProcAttr, error) {
	attr := &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT}
	if os.Getuid() == 0 {
		uid, gid, err := nobody()
		if err != nil {
			return nil, err
		}
		if err := os.Chown(s.dir, uid, gid); err != nil {
			return nil, err
		}
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	return attr, nil
}

func command(dir string, attr *syscall.SysProcAttr, name string, args ...string) (*exec.Cmd, *bytes.Buffer) {
	out := &bytes.Buffer{}
	c := exec.Command(name, args...)
	c.Dir, c.Stdout, c.Stderr, c.SysProcAttr = dir, out, out, attr
	c.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
	return c, out
}

// start makes the data and starts the server on them.
func (s *server) start(bin string) error {
	attr, err := s.attr()
	if err != nil {
		return err
	}
	initdb, said := command(s.dir, attr, filepath.Join(bin, "initdb"), "--pgdata", filepath.Join(s.dir, "data"), "--username", "test", "--auth", "trust", "--no-sync", "--encoding", "UTF8")
	if err := pinned(initdb.Run); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, said)
	}
	return s.run(bin)
}

// run starts the server on its data.
func (s *server) run(bin string) error {
	attr, err := s.attr()
	if err != nil {
		return err
	}
	settings := []string{"-D", filepath.Join(s.dir, "data"), "-k", s.dir, "-c", "listen_addresses=", "-c", "max_connections=200", "-c", "shared_buffers=64MB"}
	if !s.syncs {
		settings = append(settings, "-c", "fsync=off", "-c", "full_page_writes=off", "-c", "synchronous_commit=off")
	}
	postgres, said := command(s.dir, attr, filepath.Join(bin, "postgres"), settings...)
	ended := make(chan error, 1)
	begun := make(chan error, 1)
	go func() {
		ended <- pinned(func() error {
			err := postgres.Start()
			begun <- err
			if err != nil {
				return err
			}
			return postgres.Wait()
		})
	}()
	if err := <-begun; err != nil {
		return err
	}
	s.kill = func() error { return errors.Join(postgres.Process.Kill(), (<-ended)) }
	s.stop = func() error {
		if err := postgres.Process.Signal(syscall.SIGINT); err != nil { // disconnects all and ends in order
			return err
		}
		return <-ended
	}
	return s.ready(ended, said)
}

// pinned runs f on a thread that lives as long as f: Pdeathsig strikes when the thread that started a process ends, not the process.
func pinned(f func() error) error {
	done := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		done <- f()
	}()
	return <-done
}

// ready waits until the server answers.
func (s *server) ready(ended chan error, said *bytes.Buffer) error {
	db, err := sql.Open("postgres", s.dsn("postgres"))
	if err != nil {
		return err
	}
	defer db.Close() // it holds nothing
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	late := time.NewTimer(time.Minute)
	defer late.Stop()
	for {
		if err = db.Ping(); err == nil {
			return nil
		}
		select {
		case <-tick.C:
		case err := <-ended:
			return fmt.Errorf("it ended: %w: %s", err, said)
		case <-late.C:
			return errors.Join(fmt.Errorf("it does not answer: %w", err), s.stop())
		}
	}
}

func nobody() (uid, gid int, err error) {
	u, err := user.Lookup("nobody")
	if err != nil {
		return 0, 0, err
	}
	if uid, err = strconv.Atoi(u.Uid); err != nil {
		return 0, 0, err
	}
	gid, err = strconv.Atoi(u.Gid)
	return uid, gid, err
}
