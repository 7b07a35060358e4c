package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Options say where the log is kept.
type Options struct {
	// Dir is the program's directory. With an empty URL a broker in this process keeps the log in it.
	Dir string
	// URL is the address of a NATS server, or several separated by commas, that keep the log instead.
	URL string
	// Creds is a file with credentials for URL.
	Creds string
	// Replicas is how many nodes of a cluster keep each event; 0 means 1. It is used when the streams are made.
	Replicas int
	// Log receives what an operator should know; nil means slog.Default.
	Log *slog.Logger
}

// Journal is an open log. Several goroutines may use it at once.
type Journal struct {
	log      *slog.Logger
	dir      string
	lock     *directoryLock // nil when the log is kept elsewhere
	broker   *broker        // nil when the log is kept elsewhere
	nc       *nats.Conn
	js       jetstream.JetStream
	created  map[Stream]time.Time
	replicas int
}

// Open opens the log and makes its streams if there are none yet. The directory is locked before anything in it is looked at.
//
// Fails with ErrLocked, ErrDamaged, ErrUnfit; nothing is open then, and nothing in the directory has changed but the lock file.
func Open(ctx context.Context, o Options) (*Journal, error) {
	j := &Journal{log: o.Log, dir: o.Dir, created: map[Stream]time.Time{}, replicas: 1}
	if j.log == nil {
		j.log = slog.Default()
	}
	if err := j.open(ctx, o); err != nil {
		return nil, errors.Join(fmt.Errorf("open the log: %w", err), j.Close())
	}
	return j, nil
}

// open goes up step by step. What it has reached when it fails is undone by Close.
func (j *Journal) open(ctx context.Context, o Options) (err error) {
	if o.URL == "" {
		err = j.openLocal(ctx)
	} else {
		j.nc, err = connectRemote(o)
	}
	if err != nil {
		return err
	}
	if j.js, err = jetstream.New(j.nc); err != nil {
		return err
	}
	return j.prepare(ctx, max(o.Replicas, 1))
}

func (j *Journal) openLocal(ctx context.Context) (err error) {
	if err := os.MkdirAll(j.dir, 0o700); err != nil {
		return err
	}
	if j.lock, err = lockDirectory(j.dir); err != nil {
		return err
	}
	if j.broker, err = startBroker(ctx, j.dir); err != nil {
		return err
	}
	j.nc, err = connectLocal(j.broker)
	return err
}

// connectRemote connects by URL. The client notices a dead peer within 15 s, never gives up, and keeps nothing back for later: what
// cannot be sent fails at once.
func connectRemote(o Options) (*nats.Conn, error) {
	options := []nats.Option{nats.Name("bydark journal"), nats.MaxReconnects(-1), nats.ReconnectWait(100 * time.Millisecond),
		nats.PingInterval(5 * time.Second), nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1)}
	if o.Creds != "" {
		options = append(options, nats.UserCredentials(o.Creds))
	}
	nc, err := nats.Connect(o.URL, options...)
	if err != nil {
		return nil, fmt.Errorf("connect to the broker: %w", err)
	}
	return nc, nil
}

// Created is when the stream was made, the Created of every Position in it.
func (j *Journal) Created(s Stream) time.Time { return j.created[s] }

// Close ends the connection and a broker in this process, and lets go of the directory. Calls in flight fail.
func (j *Journal) Close() error {
	if j.nc != nil {
		j.nc.Close()
	}
	if j.broker != nil {
		j.broker.stop()
	}
	if j.lock != nil {
		lock := j.lock
		j.lock = nil
		return lock.release()
	}
	return nil
}
