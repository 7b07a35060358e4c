package courier

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"bydark/services/access"
)

const (
	// sendTimeout ends one attempt, from the name's resolution to the answer's end.
	sendTimeout = 10 * time.Second
	// mostAnswer is how much of an answer is read, so that a connection ends well; it is
	// never shown to anybody.
	mostAnswer = 64 << 10
)

// final is an error that another attempt will not change.
type final struct{ err error }

func (f *final) Error() string { return f.err.Error() }
func (f *final) Unwrap() error { return f.err }

// errGone says that a receiver answered 410: it wants nothing more.
var errGone = errors.New("it answered 410 Gone")

// webhooks sends signed messages. One connection an attempt: receivers are many and
// messages few.
type webhooks struct {
	keys   Keys
	agent  string
	now    func() time.Time
	client *http.Client
}

func newWebhooks(g Guard, keys Keys, agent string, now func() time.Time) *webhooks {
	return &webhooks{keys, agent, now, &http.Client{
		Transport: &http.Transport{
			Proxy:                  nil, // a proxy would connect where the guard does not see
			DialContext:            g.dialer().DialContext,
			DisableKeepAlives:      true,
			TLSHandshakeTimeout:    5 * time.Second,
			MaxResponseHeaderBytes: 16 << 10,
			DisableCompression:     true,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Timeout:       sendTimeout,
	}}
}

// send makes one attempt. Any answer of 2xx is success.
func (w *webhooks) send(ctx context.Context, s access.Subscriber, m Message) error {
	doc, err := m.Payload()
	if err != nil {
		return &final{err}
	}
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, s.To, bytes.NewReader(doc))
	if err != nil {
		return &final{errors.New("its address cannot be read")}
	}
	at := w.now()
	signed, err := w.sign(s, m.ID, at, doc)
	if err != nil {
		return err
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", w.agent)
	request.Header.Set(standardwebhooks.HeaderWebhookID, m.ID)
	request.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(at.Unix(), 10))
	request.Header.Set(standardwebhooks.HeaderWebhookSignature, signed)
	answer, err := w.client.Do(request)
	if err != nil {
		return unsent(err)
	}
	_, read := io.Copy(io.Discard, io.LimitReader(answer.Body, mostAnswer))
	closed := answer.Body.Close()
	switch {
	case answer.StatusCode/100 == 2:
		return nil // what it says besides is of no interest, nor whether it ended well
	case answer.StatusCode == http.StatusGone:
		return &final{errGone}
	case answer.StatusCode/100 == 3:
		return errors.Join(fmt.Errorf("it answered %d, and redirects are not followed", answer.StatusCode), read, closed)
	}
	return errors.Join(fmt.Errorf("it answered %d", answer.StatusCode), read, closed)
}

// sign signs with every secret that is good now, the present one first.
func (w *webhooks) sign(s access.Subscriber, id string, at time.Time, doc []byte) (string, error) {
	var all []string
	for i, secret := range s.Secrets {
		if i > 0 && !at.Before(secret.Until) {
			continue
		}
		key, err := w.keys.secret(s.Company, s.ID, secret)
		if err != nil {
			if i > 0 {
				continue // the one before goes out with the key that it was made with
			}
			return "", &final{err}
		}
		hook, err := standardwebhooks.NewWebhookRaw(key)
		if err != nil {
			return "", &final{err}
		}
		signature, err := hook.Sign(id, at, doc)
		if err != nil {
			return "", &final{err}
		}
		all = append(all, signature)
	}
	if len(all) == 0 {
		return "", &final{errors.New("it has no secret")}
	}
	return strings.Join(all, " "), nil
}

// unsent is why a request was not answered, without the address, which may hold what is
// nobody's business.
func unsent(err error) error {
	var kept *guarded
	if errors.As(err, &kept) {
		return &final{kept}
	}
	var asked *url.Error
	if errors.As(err, &asked) {
		err = asked.Err
	}
	return fmt.Errorf("it was not reached: %w", err)
}
