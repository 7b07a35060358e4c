package courier

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/roofjob"
)

// Message is one event as it is told to somebody outside.
type Message struct {
	// ID is the same however often the event is told: receivers drop repeats by it.
	ID      string
	Company events.CompanyID
	Job     events.JobID
	Event   events.Event
	Words   string
	raw     jsontext.Value
}

// mostBody is the largest event that goes out whole; of a larger one (a drawing) the
// receiver is told where to read it.
const mostBody = 64 << 10

// messageOf reads an event of the log. It fails on one that this release cannot read.
func messageOf(e journal.Entry) (Message, error) {
	event, err := roofjob.EventOf(e)
	if err != nil {
		return Message{}, err
	}
	parts := strings.Split(e.Subject, ".")
	if len(parts) != 3 {
		return Message{}, fmt.Errorf("event %d stands under %q", e.Sequence, e.Subject)
	}
	// What goes outside is told by ids: it is made of this event alone, the same at every attempt.
	bare := record.Teller{State: roofjob.New(events.CompanyID(parts[1]), events.JobID(parts[2]))}
	return Message{
		ID: fmt.Sprintf("%s-%d", e.ID, e.Sequence), Company: events.CompanyID(parts[1]), Job: events.JobID(parts[2]), Event: event,
		Words: bare.Words(event), raw: jsontext.Value(e.Data),
	}, nil
}

// payload is the document of a webhook: type, timestamp and data, by Standard Webhooks.
type payload struct {
	Type      string    `json:"type"`
	Timestamp time.Time `json:"timestamp"`
	Data      data      `json:"data"`
}

// data is the event. Company, job, sequence and id say which it is; Event is its body as
// the log holds it, absent when it is too large, and then LeftOut says where it is.
type data struct {
	Company  events.CompanyID `json:"company"`
	Job      events.JobID     `json:"job"`
	Sequence uint64           `json:"sequence"`
	ID       events.ReportID  `json:"id"`
	Report   string           `json:"report"`
	At       time.Time        `json:"at"`
	Recorded time.Time        `json:"recorded"`
	By       events.PersonID  `json:"by"`
	Words    string           `json:"words"`
	Event    jsontext.Value   `json:"event,omitempty"`
	LeftOut  string           `json:"left_out,omitempty"`
}

// Payload is the message as JSON.
func (m Message) Payload() ([]byte, error) {
	e := m.Event
	p := payload{e.Type(), e.Recorded, data{
		Company: m.Company, Job: m.Job, Sequence: e.Sequence, ID: e.ID, Report: e.Report(), At: e.At, Recorded: e.Recorded, By: e.By, Words: m.Words,
	}}
	if len(m.raw) <= mostBody {
		p.Data.Event = m.raw
	} else {
		p.Data.LeftOut = fmt.Sprintf("%d bytes: read the job at /v1/jobs/%s", len(m.raw), m.Job)
	}
	doc, err := json.Marshal(p, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("write event %d to tell it: %w", e.Sequence, err)
	}
	return doc, nil
}

// wanted tells whether a subscriber is to be told.
func (m Message) wanted(s access.Subscriber) bool {
	if !slices.Contains(s.Wants, Everything) && !slices.Contains(s.Wants, m.Event.Report()) && !slices.Contains(s.Wants, m.Event.Family()) {
		return false
	}
	return s.Role == "" || !events.Warning(m.Event.Body) || toldTo(m.Event.Body, s.Role)
}

// toldTo tells whether a warning was for a role.
func toldTo(b events.Body, role events.Role) bool {
	var told []events.Told
	switch b := b.(type) {
	case events.ExposureWarned:
		told = b.Told
	case events.ExposureCleared:
		told = b.Told
	case events.ShortageWarned:
		told = b.Told
	}
	return slices.ContainsFunc(told, func(t events.Told) bool { return t.Role == role })
}
