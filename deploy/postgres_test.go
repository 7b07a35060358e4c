package deploy_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/lib/pq"

	"bydark/projections"
)

// database is a PostgreSQL that is set up as this folder says.
type database struct {
	bin, dir string
	port     int
	attr     *syscall.SysProcAttr
}

// command is a program of PostgreSQL's, run as the user whom the server runs as: root is
// refused.
func (d *database) command(t *testing.T, name string, args ...string) *exec.Cmd {
	t.Helper()
	c := exec.CommandContext(context.WithoutCancel(t.Context()), filepath.Join(d.bin, name), args...)
	c.Dir, c.SysProcAttr = d.dir, d.attr
	c.Env = append(os.Environ(), "LC_ALL=C", "HOME="+d.dir)
	return c
}

func (d *database) do(t *testing.T, name string, args ...string) {
	t.Helper()
	if out, err := d.command(t, name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
}

// postgres starts one with postgresql.conf, pg_hba.conf and roles.sql.
func postgres(t *testing.T, cert, key string) *database {
	t.Helper()
	all, err := filepath.Glob("/usr/lib/postgresql/*/bin")
	if err != nil || len(all) == 0 {
		t.Fatalf("no PostgreSQL in /usr/lib/postgresql (%v): run deploy/test-needs", err)
	}
	dir, err := os.MkdirTemp("", "pg") // a socket's path has at most 107 bytes
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	d := &database{bin: slices.Max(all), dir: dir, port: freePorts(t, 1)[0], attr: &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT}}
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	if os.Getuid() == 0 {
		if me, err = user.Lookup("nobody"); err != nil {
			t.Fatal(err)
		}
		uid, gid := number(t, me.Uid), number(t, me.Gid)
		d.attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		own(t, dir, uid, gid)
		defer own(t, filepath.Join(dir, "cert.pem"), uid, gid)
	}
	data := filepath.Join(dir, "data")
	d.do(t, "initdb", "--pgdata", data, "--username", me.Username, "--auth", "peer", "--no-sync", "--encoding", "UTF8")
	settings, err := os.ReadFile("postgresql.conf")
	if err != nil {
		t.Fatal(err)
	}
	more := fmt.Sprintf("\nport = %d\nunix_socket_directories = '%s'\nfsync = off\nssl_cert_file = '%s/cert.pem'\nssl_key_file = '%s/key.pem'\n", d.port, dir, dir, dir)
	for to, text := range map[string][]byte{
		"data/postgresql.conf": append(settings, more...), "data/pg_hba.conf": read(t, "pg_hba.conf"), "roles.sql": read(t, "roles.sql"),
		"cert.pem": read(t, cert), "key.pem": read(t, key),
	} {
		file := filepath.Join(dir, to)
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		if c := d.attr.Credential; c != nil {
			own(t, file, int(c.Uid), int(c.Gid))
		}
	}
	serving := d.command(t, "postgres", "-D", data)
	var said bytes.Buffer
	serving.Stderr = &said
	if err := serving.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- serving.Wait() }()
	t.Cleanup(func() {
		if err := errors.Join(serving.Process.Signal(syscall.SIGINT), <-ended); err != nil {
			t.Errorf("PostgreSQL ends with %v: %s", err, said.String())
		}
	})
	for {
		select {
		case err := <-ended:
			ended <- err
			t.Fatalf("PostgreSQL does not start: %v\n%s", err, said.String())
		default:
		}
		if d.command(t, "pg_isready", "-h", dir, "-p", strconv.Itoa(d.port)).Run() == nil {
			break
		}
	}
	d.do(t, "psql", "-h", dir, "-p", strconv.Itoa(d.port), "-d", "postgres", "-v", "ON_ERROR_STOP=1", "-v", "password="+brokerPassword, "-f", "roles.sql")
	return d
}

func own(t *testing.T, file string, uid, gid int) {
	t.Helper()
	if err := os.Chown(file, uid, gid); err != nil {
		t.Fatal(err)
	}
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// S57: PostgreSQL starts with the settings of this folder; the program's role keeps its
// views there over verified TLS, is turned away in the clear, and is no administrator.
func TestPostgres(t *testing.T) {
	authority, cert, key := certified(t)
	d := postgres(t, cert, key)
	at := func(database, sslmode, password string) string {
		return fmt.Sprintf("host=127.0.0.1 port=%d dbname=%s user=bydark password=%s sslmode=%s sslrootcert=%s connect_timeout=30", d.port, database, password, sslmode, authority)
	}
	store, err := projections.OpenPostgres(t.Context(), at("bydark", "verify-full", brokerPassword), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Error(err)
	}
	for what, dsn := range map[string]string{
		"in the clear":       at("bydark", "disable", brokerPassword),
		"a wrong password":   at("bydark", "verify-full", "wrong"),
		"another database":   at("postgres", "verify-full", brokerPassword),
		"beyond the machine": "host=database.example dbname=bydark user=bydark sslmode=require",
	} {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		if _, err := projections.OpenPostgres(ctx, dsn, slog.New(slog.DiscardHandler)); err == nil || strings.Contains(err.Error(), brokerPassword) {
			t.Errorf("%s: %v", what, err)
		}
		cancel()
	}
	db, err := sql.Open("postgres", at("bydark", "verify-full", brokerPassword))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, forbidden := range []string{
		`create role other`, `create database other`, `alter role bydark superuser`, `create extension file_fdw`,
		`select pg_read_file('/etc/passwd')`, `copy (select 1) to program 'true'`, `alter system set fsync = off`,
	} {
		_, err := db.ExecContext(t.Context(), forbidden)
		if told, ok := errors.AsType[*pq.Error](err); !ok || told.Code != "42501" {
			t.Errorf("%s: %v", forbidden, err)
		}
	}
}
