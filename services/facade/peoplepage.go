package facade

import (
	"net/http"
	"strings"

	"bydark/events"
	"bydark/services/access"
)

// peopleBody is the page of people and their tokens. Token is one that was just made; it is
// on this page and nowhere else.
type peopleBody struct {
	People []personRow
	Roles  []roleRow
	// Token is for Whose, Where is the address at which they sign in with it.
	Token, Whose, Where string
	Name                string
	Role                events.Role
	Refused             *events.Refusal
}

// roleRow is a role with what it may do, in words.
type roleRow struct {
	Role events.Role
	May  string
}

// roleWords say what each role is for; access's table is what counts.
var roleWords = map[events.Role]string{
	access.Hand:       "reports work, measures, pictures and loose ends",
	access.Lead:       "besides: days, covers, claims, checks, deliveries, forecasts",
	access.Inspector:  "reads; raises and verifies loose ends, signs checks",
	access.Purchasing: "orders, deliveries, counts",
	access.Manager:    "everything of a roof, and opens roofs",
	access.Owner:      "everything, and people and their tokens",
}

func (s *Server) peoplePage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	return s.showPeople(w, r, who, peopleBody{Role: access.Hand})
}

func (s *Server) showPeople(w http.ResponseWriter, r *http.Request, who access.Person, body peopleBody) error {
	people, err := s.listPeople(r.Context(), who, nil)
	if err != nil {
		return err
	}
	body.People, body.Where = people.People, s.base(r)+"/sign-in"
	for _, role := range access.Roles() {
		body.Roles = append(body.Roles, roleRow{role, roleWords[role]})
	}
	if body.Refused != nil {
		w.WriteHeader(statusOf(body.Refused.Code))
	}
	return s.show(w, "people.html", sheet{Title: "People", Who: who, Body: body})
}

// addPersonForm adds somebody and gives them their first token, since nobody can do
// anything without one.
func (s *Server) addPersonForm(w http.ResponseWriter, r *http.Request, who access.Person) error {
	sent, err := receiveForm(w, r, mostBody)
	if err != nil {
		return err
	}
	name, role := strings.TrimSpace(sent.values.Get("name")), events.Role(sent.values.Get("role"))
	id, err := s.People.AddPerson(r.Context(), who, name, role)
	if refused := refusalIn(err); refused != nil {
		return s.showPeople(w, r, who, peopleBody{Name: name, Role: role, Refused: refused})
	}
	if err != nil {
		return err
	}
	return s.giveToken(w, r, who, id, name)
}

func (s *Server) giveToken(w http.ResponseWriter, r *http.Request, who access.Person, id events.PersonID, name string) error {
	issued, err := s.People.IssueToken(r.Context(), who, id)
	if err != nil {
		return err
	}
	return s.showPeople(w, r, who, peopleBody{Token: issued.Token, Whose: name, Role: access.Hand})
}

// changePerson does what a button of the page says.
func (s *Server) changePerson(w http.ResponseWriter, r *http.Request, who access.Person) error {
	person := events.PersonID(r.PathValue("person"))
	name, known := s.called(who.Company)[person]
	if !known {
		return access.ErrNotFound
	}
	var sent sentForm
	var err error
	switch act := r.PathValue("act"); act {
	case "token":
		return s.giveToken(w, r, who, person, name)
	case "remove":
		err = s.People.RemovePerson(r.Context(), who, person)
	case "revoke", "role": // these two bring fields; a form without any has no body
		if sent, err = receiveForm(w, r, mostBody); err != nil {
			return err
		}
		if act == "role" {
			err = s.People.ChangeRole(r.Context(), who, person, events.Role(sent.values.Get("role")))
		} else {
			err = s.People.RevokeToken(r.Context(), who, person, sent.values.Get("token"))
		}
	default:
		err = access.ErrNotFound
	}
	if refused := refusalIn(err); refused != nil {
		return s.showPeople(w, r, who, peopleBody{Role: access.Hand, Refused: refused})
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/people", http.StatusSeeOther)
	return nil
}
