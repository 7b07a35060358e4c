package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// broker is the NATS server inside this process. It opens no port.
type broker struct {
	dir string // the store, DIR/broker
	log *slog.Logger

	troubled chan struct{} // holds one signal when the broker has reported an error

	mu     sync.Mutex // guards server
	server *server.Server
}

// startTimeout allows for a start after a crash, when the broker reads all blocks: 3 s for 500 MB, measured.
const startTimeout = 5 * time.Minute

func storeDir(dir string) string { return filepath.Join(dir, "broker") }

// blockDir is where the broker keeps a stream's block files.
func blockDir(dir string, stream string) string {
	return filepath.Join(storeDir(dir), server.JetStreamStoreDir, server.DEFAULT_GLOBAL_ACCOUNT, "streams", stream, "msgs")
}

func startBroker(ctx context.Context, dir string, log *slog.Logger) (*broker, error) {
	b := &broker{dir: storeDir(dir), log: log, troubled: make(chan struct{}, 1)}
	return b, b.start(ctx)
}

// start runs a new server on the store.
func (b *broker) start(ctx context.Context) error {
	s, err := server.NewServer(&server.Options{
		ServerName: "bydark",
		DontListen: true,
		JetStream:  true,
		StoreDir:   b.dir,
		// It writes before it acknowledges and leaves the syncing to us, all of it: a failure to sync is told only once, and must be told
		// to those who wait for that sync.
		SyncAlways:   false,
		SyncInterval: 10 * 365 * 24 * time.Hour,
		// Its only client is this process. To cut a reader off that lags would cut off all who append, on the same connection: the usual
		// limits, 64 MB and 10 s, are within reach of large events on a busy machine.
		MaxPending:    1 << 30,
		WriteDeadline: time.Minute,
		NoSigs:        true,
		NoLog:         true,
	})
	if err != nil {
		return fmt.Errorf("broker in %s: %w", b.dir, err)
	}
	s.SetLoggerV2(brokerLog{b.log, b.trouble}, false, false, false)
	started := make(chan struct{})
	go func() { // ends with the start; the server's own goroutines end with its shutdown
		defer close(started)
		s.Start()
	}()
	limit := time.NewTimer(startTimeout)
	defer limit.Stop()
	select {
	case <-started:
	case <-ctx.Done():
		err = ctx.Err()
	case <-limit.C:
		err = errors.New("did not start in time")
	}
	if err == nil && !s.JetStreamEnabled() {
		err = errors.New("did not open its store")
	}
	if err != nil {
		<-started
		s.Shutdown()
		s.WaitForShutdown()
		return fmt.Errorf("broker in %s: %w", b.dir, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.server = s
	return nil
}

// InProcessConn connects to the present server, whichever that is: a client that reconnects finds the one that was started anew.
func (b *broker) InProcessConn() (net.Conn, error) {
	b.mu.Lock()
	s := b.server
	b.mu.Unlock()
	if s == nil {
		return nil, errors.New("broker is down")
	}
	return s.InProcessConn()
}

func (b *broker) stop() {
	b.mu.Lock()
	s := b.server
	b.server = nil
	b.mu.Unlock()
	if s != nil {
		s.Shutdown()
		s.WaitForShutdown()
	}
}

// trouble asks whoever watches the broker to look after it.
func (b *broker) trouble() {
	select {
	case b.troubled <- struct{}{}:
	default: // asked already
	}
}
