package journal_test

import (
	"bytes"
	"errors"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// unfit opens a journal that must be refused in words that name what is wrong.
func unfit(t *testing.T, o journal.Options, words string) {
	t.Helper()
	j, err := journal.Open(t.Context(), o)
	if err == nil {
		t.Fatalf("it was opened (%v), want refused for %q", j.Close(), words)
	}
	if !errors.Is(err, journal.ErrUnfit) || !strings.Contains(err.Error(), words) {
		t.Errorf("%v, want unfit for %q", err, words)
	}
}

func TestUnfitBroker(t *testing.T) {
	t.Run("does not sync", func(t *testing.T) {
		s := journaltest.StartServer(t, func(o *server.Options) { o.SyncAlways = false })
		unfit(t, s.Options(), "sync_interval: always")
		unverified := s.Options()
		unverified.Monitor, unverified.DurabilityUnverified = nil, true
		journaltest.OpenWith(t, unverified)
	})
	t.Run("nothing proves that it syncs", func(t *testing.T) {
		o := journaltest.StartServer(t, nil).Options()
		o.Monitor = nil
		unfit(t, o, "monitoring page")
		o.Monitor = journaltest.StartServer(t, nil).Options().Monitor // another server's
		unfit(t, o, "nothing proves")
	})
	t.Run("small messages", func(t *testing.T) {
		unfit(t, journaltest.StartServer(t, func(o *server.Options) { o.MaxPayload = 64 << 10 }).Options(), "max_payload")
	})
}

// A stream that was made or changed by somebody else is refused when it could lose events, and not changed.
func TestUnfitStream(t *testing.T) {
	good := jetstream.StreamConfig{Name: "ROOF", Subjects: []string{"roof.*.*"}, Discard: jetstream.DiscardNew, DenyDelete: true, DenyPurge: true,
		AllowDirect: true, AllowAtomicPublish: true}
	for words, change := range map[string]func(*jetstream.StreamConfig){
		"storage":      func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"retention":    func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
		"discard":      func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld },
		"deny_delete":  func(c *jetstream.StreamConfig) { c.DenyDelete = false },
		"deny_purge":   func(c *jetstream.StreamConfig) { c.DenyPurge = false },
		"allow_direct": func(c *jetstream.StreamConfig) { c.AllowDirect = false },
		"allow_atomic": func(c *jetstream.StreamConfig) { c.AllowAtomicPublish = false },
		"allow_msg_ttl": func(c *jetstream.StreamConfig) {
			c.AllowMsgTTL = true
		},
		"persist_mode": func(c *jetstream.StreamConfig) {
			c.PersistMode, c.AllowAtomicPublish = jetstream.AsyncPersistMode, false
		},
		"max_age":              func(c *jetstream.StreamConfig) { c.MaxAge = time.Hour },
		"max_msgs":             func(c *jetstream.StreamConfig) { c.MaxMsgs = 1 },
		"max_bytes":            func(c *jetstream.StreamConfig) { c.MaxBytes = 1 << 20 },
		"max_msgs_per_subject": func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 1 },
		"max_msg_size":         func(c *jetstream.StreamConfig) { c.MaxMsgSize = 1000 },
		"subjects":             func(c *jetstream.StreamConfig) { c.Subjects = []string{"roof.>"} },
		"first sequence":       func(c *jetstream.StreamConfig) { c.FirstSeq = 100 },
	} {
		t.Run(words, func(t *testing.T) {
			s := journaltest.StartServer(t, nil)
			nc, err := nats.Connect(s.Options().URL)
			if err != nil {
				t.Fatal(err)
			}
			defer nc.Close()
			js, err := jetstream.New(nc)
			if err != nil {
				t.Fatal(err)
			}
			config := good
			change(&config)
			if _, err := js.CreateStream(t.Context(), config); err != nil {
				t.Fatal(err)
			}
			unfit(t, s.Options(), words)
		})
	}
}

// Credentials with which events could be taken away are told of, and those of deploy/broker-rights.conf are not.
func TestRightsThatNobodyNeeds(t *testing.T) {
	for name, c := range map[string]struct {
		deny []string
		want string
	}{
		"all":  {nil, `may="[delete a stream change a stream's limits empty a stream]"`},
		"one":  {[]string{"$JS.API.STREAM.DELETE.*", "$JS.API.STREAM.PURGE.*"}, `may="[change a stream's limits]"`},
		"none": {[]string{"$JS.API.STREAM.DELETE.*", "$JS.API.STREAM.UPDATE.*", "$JS.API.STREAM.PURGE.*"}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := journaltest.StartServer(t, func(o *server.Options) {
				o.Users = []*server.User{{Username: "bydark", Password: "p", Permissions: &server.Permissions{
					Publish: &server.SubjectPermission{Allow: []string{">"}, Deny: c.deny}, Subscribe: &server.SubjectPermission{Allow: []string{"_INBOX.>"}},
				}}}
			})
			o := s.Options()
			o.URL = strings.Replace(o.URL, "nats://", "nats://bydark:p@", 1)
			var said bytes.Buffer
			o.Log = slog.New(slog.NewTextHandler(&said, nil))
			journaltest.OpenWith(t, o)
			if c.want == "" && strings.Contains(said.String(), "credentials") || !strings.Contains(said.String(), c.want) {
				t.Errorf("it said %q, want %q", said.String(), c.want)
			}
		})
	}
}

// Where no monitoring page can be reached, a user of the system account hears from each node whether it syncs.
func TestSyncProvenBySystemAccount(t *testing.T) {
	start := func(t *testing.T, syncs bool) journal.Options {
		s := journaltest.StartServer(t, func(o *server.Options) {
			file := filepath.Join(t.TempDir(), "accounts.conf")
			write(t, file, []byte(`system_account: SYS
accounts {
  SYS { users: [ { user: admin, password: a } ] }
  OURS { jetstream: enabled, users: [ { user: bydark, password: b } ] }
}`))
			accounts, err := server.ProcessConfigFile(file)
			if err != nil {
				t.Fatal(err)
			}
			o.SystemAccount, o.Accounts, o.Users, o.SyncAlways = accounts.SystemAccount, accounts.Accounts, accounts.Users, syncs
		})
		o := s.Options()
		o.System, o.Monitor = strings.Replace(o.URL, "nats://", "nats://admin:a@", 1), nil
		o.URL = strings.Replace(o.URL, "nats://", "nats://bydark:b@", 1)
		return o
	}
	t.Run("it does", func(t *testing.T) { journaltest.OpenWith(t, start(t, true)) })
	t.Run("it does not", func(t *testing.T) { unfit(t, start(t, false), "sync_interval: always") })
	t.Run("nobody asks", func(t *testing.T) {
		o := start(t, true)
		o.System = ""
		unfit(t, o, "a user of the system account")
	})
}
