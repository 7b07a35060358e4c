package journaltest

import (
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Plain is a broker in this process that syncs each message, with one stream, PLAIN of plain.>, and nothing of ours in between.
func Plain(t testing.TB) jetstream.JetStream {
	t.Helper()
	s, err := server.NewServer(&server.Options{DontListen: true, JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	nc, err := nats.Connect("", nats.InProcessServer(s))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		nc.Close()
		s.Shutdown()
		s.WaitForShutdown()
	})
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "PLAIN", Subjects: []string{"plain.>"}, AllowDirect: true}); err != nil {
		t.Fatal(err)
	}
	return js
}
