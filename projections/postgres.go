package projections

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"net/netip"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
)

// Limits of a connection to PostgreSQL, in the order in which they should strike: the server ends a statement, or a transaction whose
// runner has gone silent; then our side gives the connection up, because a network that swallows everything is not noticed otherwise.
const (
	statementLimit = 20 * time.Second
	silenceLimit   = 8 * time.Second
	networkLimit   = 25 * time.Second
	dialLimit      = 5 * time.Second
)

// settings are given to the server for each connection, unless the address says otherwise.
var settings = map[string]string{
	"statement_timeout":                   strconv.FormatInt(statementLimit.Milliseconds(), 10),
	"idle_in_transaction_session_timeout": strconv.FormatInt(silenceLimit.Milliseconds(), 10),
	"application_name":                    "bydark",
	"timezone":                            "UTC",
}

// OpenPostgres opens the views in a PostgreSQL database, 14 or newer, and makes their tables if need be. The address is a URL or a list
// of keywords, as lib/pq takes them; beyond this machine it must say sslmode=verify-full. A pooler in between must keep a session for a
// connection. A nil log is slog.Default.
//
// Fails with ErrUnfit and ErrNewer.
func OpenPostgres(ctx context.Context, dsn string, log *slog.Logger) (*Store, error) {
	if log == nil {
		log = slog.Default()
	}
	connector, err := postgresConnector(dsn)
	if err != nil {
		return nil, fmt.Errorf("open the views: %w", err)
	}
	pool := func(most int) *sqlx.DB {
		db := sqlx.NewDb(sql.OpenDB(connector), "postgres")
		db.SetMaxOpenConns(most)
		db.SetMaxIdleConns(most)
		db.SetConnMaxLifetime(5 * time.Minute)
		return db
	}
	// Each stream has its runner, and each runner writes one transaction at a time.
	s := &Store{dialect: postgresDialect{}, log: log, columns: map[string][]column{}, write: pool(4), read: pool(16)}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the views: %w", err), s.drop())
	}
	return s, nil
}

func postgresConnector(dsn string) (*pq.Connector, error) {
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		// What the library says of it repeats pieces of the address, and a password may be among them.
		return nil, fmt.Errorf("%w: the address of the database cannot be read; want postgres://USER@HOST:PORT/NAME?sslmode=verify-full, or the same as keywords", ErrUnfit)
	}
	hosts := []string{hostOf(cfg.Host, cfg.Hostaddr)}
	for _, m := range cfg.Multi {
		hosts = append(hosts, hostOf(m.Host, m.Hostaddr))
	}
	for _, host := range hosts {
		if !isLocal(host) && cfg.SSLMode != pq.SSLModeVerifyFull {
			return nil, fmt.Errorf("%w: database at %s has sslmode=%q, want verify-full beyond this machine", ErrUnfit, host, cfg.SSLMode)
		}
	}
	all := maps.Clone(settings)
	maps.Copy(all, cfg.Runtime)
	cfg.Runtime = all
	connector, err := pq.NewConnectorConfig(cfg)
	if err != nil {
		return nil, err
	}
	connector.Dialer(dialer{network: networkLimit})
	return connector, nil
}

func hostOf(name string, address netip.Addr) string {
	if address.IsValid() {
		return address.String()
	}
	return name
}

func isLocal(host string) bool {
	if host == "" || host == "localhost" || filepath.IsAbs(host) || strings.HasPrefix(host, "@") {
		return true
	}
	address, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil && address.IsLoopback()
}

// dialer makes connections of which no single read or write lasts longer than a limit. A context cannot do that: to cancel a statement
// is itself a message to the server, which must arrive.
type dialer struct{ network time.Duration }

func (d dialer) DialContext(ctx context.Context, network, address string) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, dialLimit)
	defer cancel()
	c, err := (&net.Dialer{}).DialContext(ctx, network, address)
	if err != nil {
		return nil, err
	}
	return &impatient{Conn: c, limit: d.network}, nil
}

func (d dialer) Dial(network, address string) (net.Conn, error) {
	return d.DialContext(context.Background(), network, address)
}

func (d dialer) DialTimeout(network, address string, timeout time.Duration) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(context.Background(), timeout)
	defer cancel()
	return d.DialContext(ctx, network, address)
}
