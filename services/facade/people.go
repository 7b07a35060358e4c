package facade

import (
	"context"

	"bydark/events"
	"bydark/services/access"
)

type newPerson struct {
	Body struct {
		Name string      `json:"name" minLength:"1" maxLength:"240" example:"Ike Fennimore"`
		Role events.Role `json:"role" enum:"hand,inspector,purchasing,lead,manager,owner"`
	}
}

type addedPerson struct {
	Person events.PersonID `json:"person"`
}

func (s *Server) addPerson(ctx context.Context, by access.Person, in *newPerson) (addedPerson, error) {
	id, err := s.People.AddPerson(ctx, by, in.Body.Name, in.Body.Role)
	return addedPerson{id}, err
}

type onePerson struct {
	Person events.PersonID `path:"person" maxLength:"64"`
}

type personRow struct {
	Person events.PersonID `json:"person"`
	Name   string          `json:"name"`
	Role   events.Role     `json:"role"`
	// Tokens are shown to whoever manages people.
	Tokens []events.TokenID `json:"tokens,omitempty"`
}

type peopleList struct {
	People []personRow `json:"people"`
}

func (s *Server) listPeople(_ context.Context, by access.Person, _ *struct{}) (peopleList, error) {
	var out peopleList
	for _, p := range s.People.People(by.Company) {
		row := personRow{Person: p.ID, Name: p.Name, Role: p.Role}
		if by.May(access.ManagePeople) {
			row.Tokens = p.Tokens
		}
		out.People = append(out.People, row)
	}
	return out, nil
}

type self struct {
	Company     events.CompanyID `json:"company"`
	CompanyName string           `json:"company_name"`
	Person      events.PersonID  `json:"person"`
	Name        string           `json:"name"`
	Role        events.Role      `json:"role"`
	May         []access.Action  `json:"may" doc:"What the role permits"`
}

func (s *Server) me(_ context.Context, by access.Person, _ *struct{}) (self, error) {
	out := self{Company: by.Company, CompanyName: s.People.CompanyName(by.Company), Person: by.ID, Name: by.Name, Role: by.Role}
	for _, a := range access.Actions() {
		if by.May(a) {
			out.May = append(out.May, a)
		}
	}
	return out, nil
}

type newRole struct {
	Person events.PersonID `path:"person" maxLength:"64"`
	Body   struct {
		Role events.Role `json:"role" enum:"hand,inspector,purchasing,lead,manager,owner"`
	}
}

func (s *Server) changeRole(ctx context.Context, by access.Person, in *newRole) (nothing, error) {
	return nothing{}, s.People.ChangeRole(ctx, by, in.Person, in.Body.Role)
}

func (s *Server) removePerson(ctx context.Context, by access.Person, in *onePerson) (nothing, error) {
	return nothing{}, s.People.RemovePerson(ctx, by, in.Person)
}

type issuedToken struct {
	Token string         `json:"token" doc:"Shown this once"`
	ID    events.TokenID `json:"id" doc:"Names the token when it is revoked"`
}

func (s *Server) issueToken(ctx context.Context, by access.Person, in *onePerson) (issuedToken, error) {
	issued, err := s.People.IssueToken(ctx, by, in.Person)
	return issuedToken{issued.Token, issued.ID}, err
}

type oneToken struct {
	Person events.PersonID `path:"person" maxLength:"64"`
	Token  string          `path:"token" maxLength:"100" doc:"The token's id, or the token itself for whoever kept only that"`
}

func (s *Server) revokeToken(ctx context.Context, by access.Person, in *oneToken) (nothing, error) {
	return nothing{}, s.People.RevokeToken(ctx, by, in.Person, in.Token)
}
