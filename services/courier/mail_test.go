package courier

import (
	"bufio"
	"fmt"
	"io"
	"mime"
	"net"
	"net/mail"
	"strconv"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/access"
)

// postOffice is a mail server of a few lines (RFC 5321) that takes what comes and tells
// of it. Refuse, when it is not empty, is what it answers to DATA's end the first time.
type postOffice struct {
	addr string
	got  chan posted
}

type posted struct{ from, to, letter string }

func openPost(t *testing.T, refuse string) *postOffice {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &postOffice{addr: l.Addr().String(), got: make(chan posted, 100)}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			if p.talk(conn, refuse) {
				refuse = ""
			}
		}
	}()
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		<-ended
	})
	return p
}

// talk is one conversation; it tells whether it refused a letter.
func (p *postOffice) talk(conn net.Conn, refuse string) (refused bool) {
	defer conn.Close()
	lines := bufio.NewReader(conn)
	say := func(s string) { _, _ = io.WriteString(conn, s+"\r\n") } // who hung up hears nothing
	say("220 post.larch.example")
	var now posted
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			return refused
		}
		switch verb := strings.ToUpper(strings.TrimSpace(line)); {
		case strings.HasPrefix(verb, "EHLO"):
			say("250-post.larch.example")
			say("250 8BITMIME")
		case strings.HasPrefix(verb, "MAIL FROM:"):
			now = posted{from: strings.TrimSpace(line)}
			say("250 ok")
		case strings.HasPrefix(verb, "RCPT TO:"):
			now.to += strings.TrimSpace(line)
			say("250 ok")
		case verb == "DATA":
			say("354 go on")
			for {
				line, err := lines.ReadString('\n')
				if err != nil {
					return refused
				}
				if line == ".\r\n" {
					break
				}
				now.letter += line
			}
			if refuse != "" {
				refused = true
				say(refuse)
				continue
			}
			p.got <- now
			say("250 taken")
		case verb == "QUIT":
			say("221 bye")
			return refused
		default:
			say("250 ok")
		}
	}
}

func (p *postOffice) post(t *testing.T) Post {
	t.Helper()
	host, port, err := net.SplitHostPort(p.addr)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	return Post{Host: host, Port: n, From: "roofs@larch.example", Plain: true}
}

func (p *postOffice) next(t *testing.T) (posted, *mail.Message) {
	t.Helper()
	select {
	case got := <-p.got:
		letter, err := mail.ReadMessage(strings.NewReader(got.letter))
		if err != nil {
			t.Fatalf("%v in %s", err, got.letter)
		}
		return got, letter
	case <-time.After(time.Minute):
		t.Fatal("no mail came for a minute")
	}
	return posted{}, nil
}

// Mail goes out, and again when the server refused it for a while; the id is the same.
func TestMail(t *testing.T) {
	t.Parallel()
	office := openPost(t, "451 try later")
	h := open(t, func(c *Config) { c.Post = office.post(t) })
	id, secret := h.subscribe(Wish{By: events.Mail, To: "office@larch.example"})
	event := h.report("shed", "A dent in the ridge.")
	got, letter := office.next(t)
	text, err := io.ReadAll(letter.Body)
	if err != nil {
		t.Fatal(err)
	}
	if secret != "" || !strings.Contains(got.to, "<office@larch.example>") || !strings.Contains(got.from, "<roofs@larch.example>") ||
		!strings.Contains(string(text), "A dent in the ridge") || letter.Header.Get("Subject") != "shed: punch raised" ||
		!strings.Contains(letter.Header.Get("Message-ID"), string(event)) || !strings.Contains(letter.Header.Get("Message-ID"), string(id)) {
		t.Errorf("from %s to %s:\n%s", got.from, got.to, got.letter)
	}
	if len(h.undelivered()) != 0 {
		t.Errorf("set aside: %+v", h.undelivered())
	}
}

// S53: what people write cannot add a header, a receiver or a second letter.
func TestMailTakesNoOrders(t *testing.T) {
	t.Parallel()
	office := openPost(t, "")
	m := mails{office.post(t), time.Now}
	for i, words := range []string{
		"x\r\nBcc: all@larch.example\r\n\r\nPay here", "x\nSubject: other", "x\r\n.\r\nMAIL FROM:<a@b.example>\r\n", "größer \u202e thgir", "\x00\x1b[2J", strings.Repeat("long ", 2000),
		"=?utf-8?q?encoded?= (comment) \"quoted\" <a@b.example>",
	} {
		msg := Message{ID: fmt.Sprint(i), Company: "c", Job: "shed", Words: words, Event: events.Event{Body: events.PanelSet{}, Recorded: time.Now()}}
		if err := m.send(t.Context(), access.Subscriber{ID: "w", To: "office@larch.example"}, msg); err != nil {
			t.Fatalf("%q: %v", words, err)
		}
		got, letter := office.next(t)
		subject, err := new(mime.WordDecoder).DecodeHeader(letter.Header.Get("Subject"))
		if err != nil || subject != "shed: panel set" || letter.Header.Get("Bcc") != "" || len(letter.Header["Subject"]) != 1 || strings.Count(got.to, "RCPT") != 1 {
			t.Errorf("%q became\n%s", words, got.letter)
		}
	}
	for _, to := range []string{"a@b.example\r\nBcc: c@d.example", "a@b.example,c@d.example", "Name <a@b.example>", "a", ""} {
		h := Courier{Config: Config{Post: m.post}}
		if err := h.check(&Wish{By: events.Mail, To: to}); err == nil {
			t.Errorf("%q is taken for one address", to)
		}
	}
	if len(office.got) != 0 {
		t.Errorf("%d letters too many", len(office.got))
	}
}
