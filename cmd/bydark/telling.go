package main

import (
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"bydark/services/courier"
)

// webhookKey is the name of the key's file in a directory.
const webhookKey = "webhooks.key"

// telling says how people outside are told what happens.
type telling struct {
	WebhookKey       string         `help:"File with the key that webhooks' secrets follow from; made where there is none. Usually webhooks.key in the directory. Processes that share a broker share it; keep a copy with the backups." env:"BYDARK_WEBHOOK_KEY" type:"path"`
	WebhookAllow     []netip.Prefix `help:"Networks of your own that webhooks may reach, such as 10.1.0.0/16; else only the public internet." env:"BYDARK_WEBHOOK_ALLOW" placeholder:"PREFIX"`
	MailServer       string         `help:"Mail server that takes mail to subscribers." env:"BYDARK_MAIL_SERVER" placeholder:"HOST:PORT"`
	MailFrom         string         `help:"The sender's address." env:"BYDARK_MAIL_FROM" placeholder:"ADDRESS"`
	MailUser         string         `help:"Name to sign in to the mail server with." env:"BYDARK_MAIL_USER"`
	MailPasswordFile string         `help:"File with the password to it, which nobody else may read." env:"BYDARK_MAIL_PASSWORD_FILE" type:"path"`
	MailPlain        bool           `help:"Do without TLS where the mail server has none: for one on this machine." env:"BYDARK_MAIL_PLAIN"`
}

// courier makes what tells people outside.
func (o telling) courier(h *house, w where, p *program) (*courier.Courier, error) {
	c := courier.Config{
		Journal: h.journal, People: h.people, Guard: courier.Guard{Allow: o.WebhookAllow}, Agent: "bydark/" + version(), Now: h.now, Log: h.log,
	}
	file := o.WebhookKey
	if file == "" && w.Dir != "" {
		file = filepath.Join(w.Dir, webhookKey)
	}
	var err error
	if file != "" {
		if c.Keys, err = courier.OpenKeys(file, p.random); err != nil {
			return nil, err
		}
	}
	if c.Post, err = o.post(); err != nil {
		return nil, err
	}
	return courier.New(c), nil
}

// post reads how mail is sent.
func (o telling) post() (courier.Post, error) {
	if o.MailServer == "" {
		return courier.Post{}, nil
	}
	host, port, err := net.SplitHostPort(o.MailServer)
	if err != nil {
		return courier.Post{}, &badInput{fmt.Errorf("mail server %q: want HOST:PORT", o.MailServer)}
	}
	number, err := strconv.ParseUint(port, 10, 16)
	if err != nil || number == 0 {
		return courier.Post{}, &badInput{fmt.Errorf("mail server %q: want a port from 1 to 65535", o.MailServer)}
	}
	if o.MailFrom == "" {
		return courier.Post{}, &badInput{fmt.Errorf("mail server %q: want --mail-from too, the sender's address", o.MailServer)}
	}
	post := courier.Post{Host: host, Port: int(number), From: o.MailFrom, User: o.MailUser, Plain: o.MailPlain}
	if o.MailPasswordFile != "" {
		if err := private(o.MailPasswordFile); err != nil {
			return courier.Post{}, err
		}
		password, err := os.ReadFile(o.MailPasswordFile)
		if err != nil {
			return courier.Post{}, &badInput{err}
		}
		post.Password = strings.TrimSpace(string(password))
	}
	return post, nil
}
