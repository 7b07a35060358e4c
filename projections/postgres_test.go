package projections_test

import (
	"context"
	"errors"
	"net"
	"os"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"bydark/projections"
	"bydark/projections/projectiontest"
)

// P4: a connection that leaves the machine must know whom it talks to.
func TestAddresses(t *testing.T) {
	for dsn, fit := range map[string]bool{
		"postgres:///x?host=/var/run/postgresql":                          true,
		"postgres://localhost/x?sslmode=disable":                          true,
		"postgres://127.0.0.1/x?sslmode=disable":                          true,
		"postgres://[::1]/x":                                              true,
		"postgres://db.example/x?sslmode=verify-full":                     true,
		"postgres://db.example/x":                                         false,
		"postgres://db.example/x?sslmode=require":                         false,
		"postgres://db.example/x?sslmode=verify-ca":                       false,
		"host=localhost,db.example dbname=x sslmode=disable":              false,
		"host=localhost hostaddr=192.0.2.7 dbname=x sslmode=disable":      false,
		"host=db.example hostaddr=192.0.2.7 dbname=x sslmode=verify-full": true,
		"postgres://db.example/x?sslmode=nonsense":                        false,
		"postgres://localhost/x?sslmode=disable&statement_timeout=1000":   true,
		"postgres://localhost:port/x":                                     false,
	} {
		if err := projections.CheckDSN(dsn); (err == nil) != fit || err != nil && !errors.Is(err, projections.ErrUnfit) {
			t.Errorf("%s: %v, want fit: %v", dsn, err, fit)
		}
	}
}

// F48: P1: a network that swallows everything is given up after the limit, context or not.
func TestSilentNetwork(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() // nothing depends on it
	c, err := projections.Dial(context.Background(), "tcp", l.Addr().String(), 50*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close() // given up
	if _, err := c.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("reading gives %v", err)
	}
	if _, err := c.Write(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("writing after that gives %v", err)
	}
	c, err = projections.Dial(context.Background(), "tcp", l.Addr().String(), 50*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()  // given up
	for err == nil { // until the buffers of both sides are full
		_, err = c.Write(make([]byte, 1<<20))
	}
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("writing gives %v", err)
	}
}

// The server is told the limits, and what the address says goes first.
func TestSettings(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	for extra, want := range map[string]string{"": "20s", "&statement_timeout=1500": "1500ms"} {
		s, err := projections.OpenPostgres(t.Context(), dsn+extra, nil)
		if err != nil {
			t.Fatal(err)
		}
		defer closeStore(t, s)
		if err := s.Read(t.Context(), func(tx *projections.Tx) error {
			var statement, silence string
			if err := tx.One(t.Context(), &statement, `show statement_timeout`); err != nil {
				return err
			}
			if err := tx.One(t.Context(), &silence, `show idle_in_transaction_session_timeout`); err != nil {
				return err
			}
			if statement != want || silence != "8s" {
				t.Errorf("with %q: %s and %s, want %s and 8s", extra, statement, silence, want)
			}
			return nil
		}); err != nil {
			t.Error(err)
		}
	}
}

// Several processes start at once on an empty database: one lays it out, the others wait.
func TestMigratedAtOnce(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	var all errgroup.Group
	for range 3 {
		all.Go(func() error {
			s, err := projections.OpenPostgres(t.Context(), dsn, nil)
			if err != nil {
				return err
			}
			return s.Close()
		})
	}
	if err := all.Wait(); err != nil {
		t.Error(err)
	}
}
