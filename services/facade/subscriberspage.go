package facade

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/courier"
)

// mostWish is how large the form of a subscriber may be.
const mostWish = 16 << 10

// subscribersBody is what the page of subscribers shows. Secret is one that was just
// made; it is on this page and nowhere else.
type subscribersBody struct {
	Subscribers []subscriberRow
	Undelivered []undeliveredRow
	More        bool
	Secret      string
	SecretOf    events.SubscriberID
	Refused     *events.Refusal
	Wish        courier.Wish
	Families    []string
	Roles       []events.Role
}

func (s *Server) subscribersPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	return s.showSubscribers(w, r, who, subscribersBody{})
}

func (s *Server) showSubscribers(w http.ResponseWriter, r *http.Request, who access.Person, body subscribersBody) error {
	subscribers, err := s.listSubscribers(r.Context(), who, nil)
	if err != nil {
		return err
	}
	undelivered, err := s.listUndelivered(r.Context(), who, &undeliveredIn{})
	if err != nil {
		return err
	}
	body.Subscribers, body.Undelivered, body.More = subscribers.Subscribers, undelivered.Undelivered, undelivered.Next != 0
	body.Families, body.Roles = events.Families(), access.Roles()
	if body.Wish.By == "" {
		body.Wish = courier.Wish{By: events.Webhook, Wants: []string{"warning"}}
	}
	return s.show(w, "subscribers.html", sheet{Title: "Subscribers", Who: who, Body: body})
}

func (s *Server) addSubscriberForm(w http.ResponseWriter, r *http.Request, who access.Person) error {
	sent, err := receive(w, r, formType, mostWish)
	if err != nil {
		return err
	}
	form, err := url.ParseQuery(string(sent))
	if err != nil {
		return &events.Refusal{Code: "unreadable-form", Where: "body", Want: "fields of a form, URL-encoded"}
	}
	wish := courier.Wish{
		By: events.Channel(form.Get("channel")), To: strings.TrimSpace(form.Get("to")), Wants: form["wants"], Role: events.Role(form.Get("role")),
	}
	id, secret, err := s.Courier.Subscribe(r.Context(), who, wish)
	if refused := refusalIn(err); refused != nil {
		return s.showSubscribers(w, r, who, subscribersBody{Refused: refused, Wish: wish})
	}
	if err != nil {
		return err
	}
	if secret == "" {
		http.Redirect(w, r, "/subscribers", http.StatusSeeOther)
		return nil
	}
	return s.showSubscribers(w, r, who, subscribersBody{Secret: secret, SecretOf: id})
}

// changeSubscriber does what a button of the page says.
func (s *Server) changeSubscriber(w http.ResponseWriter, r *http.Request, who access.Person) error {
	in := &oneSubscriber{events.SubscriberID(r.PathValue("subscriber"))}
	var err error
	switch r.PathValue("act") {
	case "renew":
		var renewed renewedSecret
		if renewed, err = s.renewSecret(r.Context(), who, in); err == nil {
			return s.showSubscribers(w, r, who, subscribersBody{Secret: renewed.Secret, SecretOf: in.Subscriber})
		}
	case "stop":
		_, err = s.stopSubscriber(r.Context(), who, in)
	case "resume":
		_, err = s.resumeSubscriber(r.Context(), who, in)
	case "remove":
		_, err = s.removeSubscriber(r.Context(), who, in)
	default:
		err = access.ErrNotFound
	}
	return s.backToSubscribers(w, r, who, err)
}

// changeUndelivered does what a button of the page says.
func (s *Server) changeUndelivered(w http.ResponseWriter, r *http.Request, who access.Person) error {
	number, err := strconv.ParseUint(r.PathValue("number"), 10, 64)
	if err != nil {
		return access.ErrNotFound
	}
	in := &oneUndelivered{number}
	switch r.PathValue("act") {
	case "send":
		_, err = s.sendAgain(r.Context(), who, in)
	case "drop":
		_, err = s.dropUndelivered(r.Context(), who, in)
	default:
		err = access.ErrNotFound
	}
	return s.backToSubscribers(w, r, who, err)
}

// backToSubscribers shows the page again, with the refusal when there is one.
func (s *Server) backToSubscribers(w http.ResponseWriter, r *http.Request, who access.Person, err error) error {
	if refused := refusalIn(err); refused != nil {
		return s.showSubscribers(w, r, who, subscribersBody{Refused: refused})
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/subscribers", http.StatusSeeOther)
	return nil
}
