// Package events is the vocabulary of bydark: every event that a report can become,
// with its fields, its name on the wire and its codec. It is pure; where events are
// kept is package journal's matter, what they mean together is package roofjob's.
package events

import (
	"time"
)

// Identities are types of their own, so that one cannot stand where another belongs.
type (
	// CompanyID names a company, CompanyToken's alphabet.
	CompanyID string
	// JobID names a job within its company.
	JobID string
	// PersonID names a person within a company.
	PersonID string
	// ReportID is the UUID that the sender gave a report; an event keeps it.
	ReportID string
	// Place is a mark on a job's roof: a plane's, an edge's, or WholeRoof.
	Place string
	// StepID names a step of an assembly.
	StepID string
	// MaterialID names a material of an assembly.
	MaterialID string
	// PieceMark names a panel of the takeoff: A-01.
	PieceMark string
	// PhotoDigest is the SHA-256 of a stored picture in hexadecimal.
	PhotoDigest string
)

// WholeRoof is the place that is not a plane or an edge.
const WholeRoof Place = "roof"

// Self is who the service's own events are by.
const Self PersonID = "bydark"

// Event is a report that the log accepted, or is about to: it never changes.
type Event struct {
	// ID is the report's own id, made by its sender.
	ID ReportID
	// At is when it happened, in the reporter's word.
	At time.Time
	// Recorded is when the log took it, by our clock.
	Recorded time.Time
	// By is who reported it.
	By PersonID
	// Sequence is the event's place in the log; zero until it has one.
	Sequence uint64
	// Body is the fact itself, one of the catalogue's types.
	Body Body
}

// Body is one of the catalogue's types, always by value.
type Body interface{ fact() }

// Type is the event's name on the wire, bydark.<family>.<event>.v<N>.
func (e Event) Type() string { return rowOf(e.Body).wire() }

// Report is the event's name in a report: panel-cut.
func (e Event) Report() string { return rowOf(e.Body).report }

// Before orders events by when they happened; those of one instant by their ids, so
// that the order does not depend on how they reached the log.
func (e Event) Before(f Event) bool {
	if !e.At.Equal(f.At) {
		return e.At.Before(f.At)
	}
	return e.ID < f.ID
}
