package events

import "time"

type (
	// Role is what a person is to the company: hand, lead, manager, purchasing,
	// inspector or owner. What a role may do is package access's matter.
	Role string
	// TokenID names a token or a session without giving it away.
	TokenID string
)

// The events of a company's door: who may come in, as what, and with which key. The
// service makes them; nobody reports them. A key itself is in none of them, only the
// SHA-256 of it, in hexadecimal.

// CompanyOpened begins a company with its first owner, who holds one token. All of it
// is one event, so that no company is ever without an owner.
type CompanyOpened struct {
	Name   string   `json:"name"`
	Owner  PersonID `json:"owner"`
	Called string   `json:"called"`
	Token  TokenID  `json:"token"`
	SHA256 string   `json:"sha256"`
}

// PersonAdded makes somebody known. They hold no token by it.
type PersonAdded struct {
	Person PersonID `json:"person"`
	Name   string   `json:"name"`
	Role   Role     `json:"role"`
}

// RoleChanged makes somebody something else from here on. What they did before stays
// as it was accepted.
type RoleChanged struct {
	Person PersonID `json:"person"`
	Role   Role     `json:"role"`
}

// PersonRemoved ends somebody's access, all their tokens and sessions with it. Their
// reports stay.
type PersonRemoved struct {
	Person PersonID `json:"person"`
}

// TokenIssued gives somebody a token.
type TokenIssued struct {
	Person PersonID `json:"person"`
	Token  TokenID  `json:"token"`
	SHA256 string   `json:"sha256"`
}

// TokenRevoked ends a token and the sessions that were begun with it.
type TokenRevoked struct {
	Token TokenID `json:"token"`
}

// SignedIn begins a session in a browser with a token.
type SignedIn struct {
	Session TokenID `json:"session"`
	Token   TokenID `json:"token"`
	SHA256  string  `json:"sha256"`
	// Until is when the session ends by itself.
	Until time.Time `json:"until"`
}

// SignedOut ends a session.
type SignedOut struct {
	Session TokenID `json:"session"`
}

// SubscriberID names somebody outside whom the service tells things.
type SubscriberID string

// Channel is how a subscriber is told: webhook or mail.
type Channel string

// The channels.
const (
	Webhook Channel = "webhook"
	Mail    Channel = "mail"
)

// SubscriberAdded begins to tell somebody outside what happens on the company's roofs.
// What a webhook is signed with is in no event: it follows from Salt and a key that the
// program keeps beside the log.
type SubscriberAdded struct {
	Subscriber SubscriberID `json:"subscriber"`
	By         Channel      `json:"by"`
	// To is an address, of the web or of mail.
	To string `json:"to"`
	// Wants are names of reports and families of events.
	Wants []string `json:"wants"`
	// Role narrows warnings to those that this role is told; empty for all.
	Role Role `json:"role,omitempty"`
	// Salt and Key make the secret of a webhook: Key names the program's key.
	Salt string `json:"salt,omitempty"`
	Key  string `json:"key,omitempty"`
	// After is the last report of the log that is not told, Log when that log was made.
	After uint64    `json:"after"`
	Log   time.Time `json:"log"`
}

// SecretRenewed gives a webhook another secret. The one before signs beside it until
// Until.
type SecretRenewed struct {
	Subscriber SubscriberID `json:"subscriber"`
	Salt       string       `json:"salt"`
	Key        string       `json:"key"`
	Until      time.Time    `json:"until"`
}

// SubscriberStopped tells a subscriber nothing more until it is resumed; what happens
// meanwhile waits in the log. Somebody asked for it, or the service did it by itself,
// for the reason that is given.
type SubscriberStopped struct {
	Subscriber SubscriberID `json:"subscriber"`
	Reason     string       `json:"reason"`
}

// SubscriberResumed goes on where it was stopped.
type SubscriberResumed struct {
	Subscriber SubscriberID `json:"subscriber"`
}

// SubscriberRemoved ends it for good.
type SubscriberRemoved struct {
	Subscriber SubscriberID `json:"subscriber"`
}

func (CompanyOpened) fact()     {}
func (PersonAdded) fact()       {}
func (RoleChanged) fact()       {}
func (PersonRemoved) fact()     {}
func (TokenIssued) fact()       {}
func (TokenRevoked) fact()      {}
func (SignedIn) fact()          {}
func (SignedOut) fact()         {}
func (SubscriberAdded) fact()   {}
func (SecretRenewed) fact()     {}
func (SubscriberStopped) fact() {}
func (SubscriberResumed) fact() {}
func (SubscriberRemoved) fact() {}
