package main

import (
	"fmt"
	"io/fs"
	"log/slog"
	"net/netip"
	"os"
)

// front says by which names the service is reached, and through what.
type front struct {
	Public string         `help:"How people reach the service, such as https://roofs.example. With https a proxy speaks TLS, and cookies are secure." env:"BYDARK_PUBLIC" placeholder:"URL"`
	Host   []string       `help:"Further host names to answer to, without a port." env:"BYDARK_HOST" placeholder:"NAME"`
	Proxy  []netip.Prefix `help:"Addresses of proxies whose X-Forwarded-For is believed, such as 10.0.0.0/8." env:"BYDARK_PROXY" placeholder:"PREFIX"`
}

// logging says what of the program's own doings is written to standard error.
type logging struct {
	LogLevel  slog.Level `help:"The least weight that is logged: debug, info, warn or error." default:"info" env:"BYDARK_LOG_LEVEL"`
	LogFormat string     `help:"How: text or json, one line each." enum:"text,json" default:"text" env:"BYDARK_LOG_FORMAT"`
}

// to makes the program log so.
func (l logging) to(p *program) {
	options := &slog.HandlerOptions{Level: l.LogLevel}
	if l.LogFormat == "json" {
		p.log = slog.New(slog.NewJSONHandler(p.err, options))
		return
	}
	p.log = slog.New(slog.NewTextHandler(p.err, options))
}

// private refuses a file with a secret in it that everybody on the machine may read.
// An empty name is none.
func private(file string) error {
	if file == "" {
		return nil
	}
	stat, err := os.Stat(file)
	if err != nil {
		return &badInput{err}
	}
	const others fs.FileMode = 0o007
	if mode := stat.Mode().Perm(); mode&others != 0 {
		return &badInput{fmt.Errorf("%s: mode %04o lets everybody on this machine at a secret; want 0600, or 0640 with a group of its own", file, mode)}
	}
	return nil
}
