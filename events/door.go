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

func (CompanyOpened) fact() {}
func (PersonAdded) fact()   {}
func (RoleChanged) fact()   {}
func (PersonRemoved) fact() {}
func (TokenIssued) fact()   {}
func (TokenRevoked) fact()  {}
func (SignedIn) fact()      {}
func (SignedOut) fact()     {}
