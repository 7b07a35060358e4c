// Package access knows the companies, their people, and who may do what. Everything
// it knows is an event in the log's door stream; Directory is the fold of that stream
// in memory, and follows it, so that a change counts in every process at once.
//
// A key, a token or a session's secret, is shown to its holder once. Events and
// memory hold its SHA-256 only, and it is looked up by that.
package access

import (
	"errors"

	"bydark/events"
)

// Person is somebody who came in with a key that is good.
type Person struct {
	Company events.CompanyID
	ID      events.PersonID
	Name    string
	Role    events.Role
}

// May says whether the person's role permits an action.
func (p Person) May(a Action) bool { return May(p.Role, a) }

var (
	// ErrNoKey says that a token or session is not good: unknown, misspelt, revoked
	// or ended. Which of them is nobody's business.
	ErrNoKey = errors.New("the key is not good")
	// ErrNotFound says that the company has no such person or token.
	ErrNotFound = errors.New("not found in the company")
	// ErrForbidden says that the person's role does not permit what was asked.
	ErrForbidden = errors.New("the role does not permit it")
	// ErrStopped says that the directory no longer follows the log, so that a change
	// cannot be seen to have arrived.
	ErrStopped = errors.New("the directory of people does not follow the log any more")
)
