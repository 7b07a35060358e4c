package courier

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"bydark/services/access"
)

// Post is the mail server that the operator gave. The zero value sends no mail.
type Post struct {
	Host string
	Port int
	// From is the sender's address.
	From string
	// User and Password sign in, when User is not empty.
	User, Password string
	// Plain allows a connection without TLS, for a server on this machine.
	Plain bool
}

// mails sends messages by mail.
type mails struct {
	post Post
	now  func() time.Time
}

func (m *mails) send(ctx context.Context, s access.Subscriber, msg Message) error {
	if m.post.Host == "" {
		return fmt.Errorf("no mail server is set up")
	}
	letter, err := m.letter(s, msg)
	if err != nil {
		return &final{err}
	}
	options := []mail.Option{mail.WithPort(m.post.Port), mail.WithTimeout(sendTimeout), mail.WithTLSPolicy(mail.TLSMandatory)}
	if m.post.Plain {
		options = append(options, mail.WithTLSPolicy(mail.TLSOpportunistic))
	}
	if m.post.User != "" {
		options = append(options, mail.WithUsername(m.post.User), mail.WithPassword(m.post.Password), mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover))
	}
	client, err := mail.NewClient(m.post.Host, options...)
	if err != nil {
		return &final{fmt.Errorf("mail server: %w", err)}
	}
	ctx, cancel := context.WithTimeout(ctx, 3*sendTimeout)
	defer cancel()
	if err := client.DialAndSendWithContext(ctx, letter); err != nil {
		return fmt.Errorf("mail was not taken: %w", err)
	}
	return nil
}

// letter writes a message as mail: plain text, and an id that is the same however often
// it is sent.
func (m *mails) letter(s access.Subscriber, msg Message) (*mail.Msg, error) {
	letter := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := letter.From(m.post.From); err != nil {
		return nil, fmt.Errorf("sender of mail: %w", err)
	}
	if err := letter.To(s.To); err != nil {
		return nil, fmt.Errorf("receiver of mail: %w", err)
	}
	e := msg.Event
	letter.Subject(oneLine(fmt.Sprintf("%s: %s", msg.Job, strings.ReplaceAll(e.Report(), "-", " "))))
	letter.SetMessageIDWithValue(fmt.Sprintf("%s.%s@bydark.invalid", msg.ID, s.ID))
	letter.SetDateWithValue(m.now())
	letter.SetBodyString(mail.TypeTextPlain, fmt.Sprintf(
		"%s\r\n\r\nJob %s, event %d, %s.\r\n\r\nThis tells what the log holds; it is an aid and no permission.\r\n",
		oneLine(msg.Words), msg.Job, e.Sequence, e.Recorded.UTC().Format("2006-01-02 15:04 MST")))
	return letter, nil
}

// oneLine makes one line of what people wrote, without anything that is not seen.
func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == 0x2028 || r == 0x2029 || r == 0x85 }), " ")
}
