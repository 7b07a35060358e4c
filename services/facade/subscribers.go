package facade

import (
	"context"
	"encoding/json/jsontext"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
	"bydark/services/courier"
)

type newSubscriber struct {
	Body struct {
		Channel events.Channel `json:"channel" enum:"webhook,mail"`
		To      string         `json:"to" minLength:"1" maxLength:"2000" example:"https://hooks.larch.example/roofs"`
		Wants   []string       `json:"wants,omitempty" maxItems:"60" doc:"Families of events, names of reports, or everything; warnings when it is left out"`
		Role    events.Role    `json:"role,omitempty" doc:"Narrows warnings to those that this role is told"`
	}
}

type addedSubscriber struct {
	Subscriber events.SubscriberID `json:"subscriber"`
	Secret     string              `json:"secret,omitempty" doc:"What webhooks are signed with, shown this once; mail has none"`
}

type subscriberRow struct {
	Subscriber events.SubscriberID `json:"subscriber"`
	Channel    events.Channel      `json:"channel"`
	To         string              `json:"to"`
	Wants      []string            `json:"wants"`
	Role       events.Role         `json:"role,omitempty"`
	// Changing is until when the secret before the present one still signs.
	Changing time.Time `json:"former_secret_until,omitzero"`
	Stopped  string    `json:"stopped,omitempty" doc:"Why it is told nothing now"`
}

type subscriberList struct {
	Subscribers []subscriberRow `json:"subscribers"`
}

func (s *Server) listSubscribers(_ context.Context, by access.Person, _ *struct{}) (subscriberList, error) {
	out := subscriberList{Subscribers: []subscriberRow{}}
	for _, sub := range s.People.Subscribers(by.Company) {
		row := subscriberRow{Subscriber: sub.ID, Channel: sub.By, To: sub.To, Wants: sub.Wants, Role: sub.Role, Stopped: sub.Stopped}
		if len(sub.Secrets) > 1 && s.Now().Before(sub.Secrets[1].Until) {
			row.Changing = sub.Secrets[1].Until
		}
		out.Subscribers = append(out.Subscribers, row)
	}
	return out, nil
}

func (s *Server) addSubscriber(ctx context.Context, by access.Person, in *newSubscriber) (addedSubscriber, error) {
	id, secret, err := s.Courier.Subscribe(ctx, by, courier.Wish{By: in.Body.Channel, To: in.Body.To, Wants: in.Body.Wants, Role: in.Body.Role})
	return addedSubscriber{id, secret}, err
}

type oneSubscriber struct {
	Subscriber events.SubscriberID `path:"subscriber" maxLength:"64"`
}

type renewedSecret struct {
	Secret string    `json:"secret" doc:"Shown this once"`
	Until  time.Time `json:"former_until" doc:"Until when the one before signs beside it"`
}

func (s *Server) renewSecret(ctx context.Context, by access.Person, in *oneSubscriber) (renewedSecret, error) {
	secret, until, err := s.Courier.Renew(ctx, by, in.Subscriber)
	return renewedSecret{secret, until}, err
}

func (s *Server) stopSubscriber(ctx context.Context, by access.Person, in *oneSubscriber) (nothing, error) {
	return nothing{}, s.People.StopSubscriber(ctx, by.Company, by.ID, in.Subscriber, "Stopped by "+by.Name+".")
}

func (s *Server) resumeSubscriber(ctx context.Context, by access.Person, in *oneSubscriber) (nothing, error) {
	return nothing{}, s.People.ResumeSubscriber(ctx, by, in.Subscriber)
}

func (s *Server) removeSubscriber(ctx context.Context, by access.Person, in *oneSubscriber) (nothing, error) {
	return nothing{}, s.Courier.Unsubscribe(ctx, by, in.Subscriber)
}

type undeliveredRow struct {
	Number     uint64              `json:"number"`
	Subscriber events.SubscriberID `json:"subscriber"`
	Job        events.JobID        `json:"job"`
	Sequence   uint64              `json:"sequence" doc:"The event's place in the log"`
	ID         string              `json:"id"`
	Type       string              `json:"type"`
	Reason     string              `json:"reason"`
	Handler    string              `json:"handler"`
	Set        time.Time           `json:"set_aside"`
}

type undeliveredList struct {
	Undelivered []undeliveredRow `json:"undelivered"`
	// Next is the cursor of the next page; zero when there is none.
	Next uint64 `json:"next"`
}

type undeliveredIn struct {
	Cursor uint64 `query:"cursor" doc:"next of the page before"`
}

func (s *Server) listUndelivered(ctx context.Context, by access.Person, in *undeliveredIn) (undeliveredList, error) {
	const page = 200
	out := undeliveredList{Undelivered: []undeliveredRow{}}
	list, err := s.Courier.Undelivered(ctx, by.Company, in.Cursor, page)
	for _, a := range list {
		out.Undelivered = append(out.Undelivered, undeliveredOf(a))
	}
	if len(list) == page {
		out.Next = list[page-1].Number
	}
	return out, err
}

func undeliveredOf(a journal.Aside) undeliveredRow {
	return undeliveredRow{
		Number: a.Number, Subscriber: events.SubscriberID(a.Reader), Job: jobIn(a.Subject), Sequence: a.Sequence, ID: a.ID, Type: a.Type,
		Reason: a.Reason, Handler: a.Handler, Set: a.Set,
	}
}

// jobIn is the job in a subject of the log.
func jobIn(subject string) events.JobID {
	return events.JobID(subject[strings.LastIndex(subject, ".")+1:])
}

type oneUndelivered struct {
	Number uint64 `path:"number"`
}

type undeliveredDoc struct {
	Row     undeliveredRow `json:"undelivered"`
	Words   string         `json:"words,omitempty"`
	Payload jsontext.Value `json:"payload,omitempty" doc:"What a webhook is sent; absent where the event cannot be read"`
}

func (s *Server) readUndelivered(ctx context.Context, by access.Person, in *oneUndelivered) (undeliveredDoc, error) {
	letter, err := s.Courier.Read(ctx, by.Company, in.Number)
	if err != nil {
		return undeliveredDoc{}, err
	}
	doc := undeliveredDoc{Row: undeliveredOf(letter.Aside)}
	if letter.Message != nil {
		doc.Words = letter.Message.Words
		if doc.Payload, err = letter.Message.Payload(); err != nil {
			return undeliveredDoc{}, err
		}
	}
	return doc, nil
}

func (s *Server) sendAgain(ctx context.Context, by access.Person, in *oneUndelivered) (nothing, error) {
	return nothing{}, s.Courier.SendAgain(ctx, by.Company, in.Number)
}

func (s *Server) dropUndelivered(ctx context.Context, by access.Person, in *oneUndelivered) (nothing, error) {
	return nothing{}, s.Courier.Drop(ctx, by.Company, in.Number)
}
