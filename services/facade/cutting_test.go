package facade

import (
	"encoding/json/v2"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"bydark/services/access"
)

// planDoc is a cut plan as whoever asks for it reads it.
type planDoc struct {
	Plans []struct {
		Material    string `json:"material"`
		WholeAtHand int    `json:"whole_at_hand"`
		FromHand    int    `json:"from_hand"`
		ToBuy       int    `json:"to_buy"`
		Cost        string `json:"cost"`
		Plan        *struct {
			Bars []struct {
				Stock  string   `json:"stock"`
				Pieces []string `json:"pieces"`
			} `json:"bars"`
		} `json:"plan"`
		Pieces []struct {
			Mark   string `json:"mark"`
			Length string `json:"length"`
			State  string `json:"state"`
		} `json:"pieces"`
		AtHand []struct {
			ID     string `json:"id"`
			Length string `json:"length"`
		} `json:"offcuts_at_hand"`
		Offers []struct {
			Spares bool   `json:"spares"`
			SendTo string `json:"send_to"`
			Report struct {
				Type     string `json:"type"`
				Material string `json:"material"`
				Amount   string `json:"amount"`
				Offcut   string `json:"offcut"`
				To       string `json:"to"`
			} `json:"report"`
		} `json:"offers"`
	} `json:"plans"`
}

func (h *house) plan(job, material string, role string) (planDoc, int) {
	h.t.Helper()
	token := h.a.token(access.Owner)
	if role == "hand" {
		token = h.a.token(access.Hand)
	}
	got := h.ask(get, "/v1/jobs/"+job+"/cutplan", token, "")
	var doc planDoc
	if err := json.Unmarshal([]byte(got.body), &doc); err != nil || got.status != http.StatusOK {
		h.t.Fatalf("cut plan of %s: %d %s, %v", job, got.status, got.body, err)
	}
	for i, p := range doc.Plans {
		if p.Material == material {
			return doc, i
		}
	}
	h.t.Fatalf("no plan of %s: %s", material, got.body)
	return doc, 0
}

// states counts pieces by what became of them.
func (d planDoc) states(i int) map[string]int {
	n := map[string]int{}
	for _, p := range d.Plans[i].Pieces {
		n[p.State]++
	}
	return n
}

// A cut panel leaves the plan, a miscut one stays in it; a trim leaves it as it is fixed.
func TestCutPlanFollowsTheReports(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.job("barn", `,"prices":{"eave-trim":"38.50"}`)
	before, i := h.plan("barn", "panel", "owner")
	all := before.states(i)["to cut"]
	mark, length := before.Plans[i].Pieces[0].Mark, before.Plans[i].Pieces[0].Length
	if all < 10 || before.states(i)["cut"] != 0 {
		t.Fatalf("at first %v", before.states(i))
	}
	quoted := strings.ReplaceAll(length, `"`, `\"`)
	h.send1(h.a, "barn", `"type":"panel-cut","piece":"`+mark+`","length":"`+quoted+`","from":{"coil":"7"},"miscut":"short"`)
	if after, i := h.plan("barn", "panel", "owner"); after.states(i)["to cut"] != all {
		t.Errorf("after a miscut %v, want all %d to cut", after.states(i), all)
	}
	h.send1(h.a, "barn", `"type":"panel-cut","piece":"`+mark+`","length":"`+quoted+`","from":{"coil":"7"}`)
	after, i := h.plan("barn", "panel", "owner")
	if n := after.states(i); n["to cut"] != all-1 || n["cut"] != 1 {
		t.Errorf("after one cut %v of %d", n, all)
	}
	for _, b := range after.Plans[i].Plan.Bars {
		for _, m := range b.Pieces {
			if m == mark {
				t.Errorf("%s is cut and planned again", mark)
			}
		}
	}

	// 40' of eave in lengths of 10': a quarter fixed is one piece less to cut.
	eave, i := h.plan("barn", "eave-trim", "owner")
	pieces, buy := len(eave.Plans[i].Pieces), eave.Plans[i].ToBuy
	if eave.Plans[i].Cost == "" {
		t.Error("the owner sees no cost")
	}
	if hand, i := h.plan("barn", "eave-trim", "hand"); hand.Plans[i].Cost != "" {
		t.Errorf("a hand sees the cost %s", hand.Plans[i].Cost)
	}
	h.send1(h.a, "barn", `"type":"material-received","order":"1","lines":[{"material":"eave-trim","amount":"2 lengths"}]`)
	eave, i = h.plan("barn", "eave-trim", "owner")
	if p := eave.Plans[i]; p.WholeAtHand != 2 || p.FromHand != 2 || p.ToBuy != buy-2 {
		t.Errorf("with two at the site %+v, before that %d to buy", p, buy)
	}
	h.send1(h.a, "barn", `"type":"trim-installed","where":"eave-1","step":"eave-trim"`)
	eave, i = h.plan("barn", "eave-trim", "owner")
	if n := eave.states(i); n["fixed"] != pieces || eave.Plans[i].Plan != nil {
		t.Errorf("all of it fixed: %v, plan %v", n, eave.Plans[i].Plan)
	}
}

// An offcut kept on one roof is offered to the next of the same colour, and to no other;
// once moved it is at hand there, spares a length, and is gone when it was cut up.
func TestOffcutsGoFromRoofToRoof(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.job("first", `,"colour":"slate grey"`)
	h.job("next", `,"colour":"slate grey"`)
	h.job("red", `,"colour":"red"`)
	// The run of 40' lapped takes four whole lengths and a rest, which an offcut holds.
	h.send1(h.a, "first", `"type":"trim-installed","where":"eave-1","step":"eave-trim","offcuts":["4'-2\""]`)
	if red, i := h.plan("red", "eave-trim", "owner"); len(red.Plans[i].Offers) != 0 {
		t.Errorf("offered to a roof of another colour: %+v", red.Plans[i].Offers)
	}
	next, i := h.plan("next", "eave-trim", "owner")
	if len(next.Plans[i].Offers) != 1 || !next.Plans[i].Offers[0].Spares || len(next.Plans[i].AtHand) != 0 {
		t.Fatalf("offers %+v, at hand %+v", next.Plans[i].Offers, next.Plans[i].AtHand)
	}
	buy := next.Plans[i].ToBuy
	offer := next.Plans[i].Offers[0]
	if offer.SendTo != "/v1/jobs/first/reports" {
		t.Errorf("send to %s", offer.SendTo)
	}
	body, err := json.Marshal(offer.Report)
	if err != nil {
		t.Fatal(err)
	}
	h.send1(h.a, "first", strings.Trim(string(body), "{}"))
	next, i = h.plan("next", "eave-trim", "owner")
	if p := next.Plans[i]; len(p.AtHand) != 1 || p.AtHand[0].ID != offer.Report.Offcut || len(p.Offers) != 0 || p.ToBuy != buy-1 {
		t.Fatalf("after the move %+v; %d to buy before", p, buy)
	}
	if first, i := h.plan("first", "eave-trim", "owner"); len(first.Plans[i].AtHand) != 0 {
		t.Errorf("it lies at both roofs: %+v", first.Plans[i].AtHand)
	}
	h.send1(h.a, "next", `"type":"trim-installed","where":"eave-1","step":"eave-trim","amount":"1'","from_offcuts":["`+offer.Report.Offcut+`"]`)
	if next, i := h.plan("next", "eave-trim", "owner"); len(next.Plans[i].AtHand) != 0 {
		t.Errorf("cut up and still at hand: %+v", next.Plans[i].AtHand)
	}
}

// What is printed is there for whoever may read, and a label's code leads to a page whose
// links fill the report in.
func TestSheetAndPiece(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.job("barn", "")
	token := h.a.token(access.Hand)
	if got := h.ask(get, "/v1/jobs/barn/cutplan.pdf?kerf=1/8+in", token, ""); got.status != http.StatusOK || !strings.HasPrefix(got.body, "%PDF-") || got.header.Get("Content-Type") != "application/pdf" {
		t.Errorf("PDF: %d %q", got.status, got.body[:min(len(got.body), 80)])
	}
	svg := h.ask(get, "/v1/jobs/barn/cutplan.svg", token, "")
	if svg.status != http.StatusOK || !strings.Contains(svg.body, "A-01") || !strings.Contains(svg.body, "bar 1") {
		t.Errorf("SVG: %d", svg.status)
	}
	if got := h.ask(get, "/v1/jobs/barn/cutplan.pdf?kerf=wide", token, ""); got.problem(t).Where != "?kerf" {
		t.Errorf("a kerf that is none: %d %s", got.status, got.body)
	}
	for _, c := range []struct{ material, mark, want string }{
		{"panel", "A-01", "/report/panel-cut?coilfrom=coil&amp;length="},
		{"eave-trim", "eave-1/eave-trim/1", "/report/trim-installed?amount="},
	} {
		got := h.ask(get, "/jobs/barn/piece?"+url.Values{"material": {c.material}, "mark": {c.mark}}.Encode(), token, "")
		if got.status != http.StatusOK || !strings.Contains(got.body, c.want) || !strings.Contains(got.body, "to cut") {
			t.Errorf("piece %s: %d %s", c.mark, got.status, got.body)
		}
	}
	if got := h.ask(get, "/jobs/barn/piece?material=panel&mark=Z-99", token, ""); got.status != http.StatusNotFound {
		t.Errorf("a piece that is none: %d", got.status)
	}
	if got := h.ask(get, "/jobs/barn/cutplan", token, ""); got.status != http.StatusOK || !strings.Contains(got.body, "cutplan.pdf") || !strings.Contains(got.body, "<svg") {
		t.Errorf("page: %d", got.status)
	}
}

// job opens a shed of company a with further members.
func (h *house) job(id, more string) {
	h.t.Helper()
	got := h.ask(post, "/v1/jobs", h.a.token(access.Owner), strings.TrimSuffix(newShed(id), "}")+more+"}")
	var opened openedJob
	if err := json.Unmarshal([]byte(got.body), &opened); err != nil || got.status != http.StatusCreated {
		h.t.Fatalf("open %s: %d %s, %v", id, got.status, got.body, err)
	}
	if got := h.ask(get, fmt.Sprintf("/v1/jobs/%s?after=%d", id, opened.Sequence), h.a.token(access.Owner), ""); got.status != http.StatusOK {
		h.t.Fatalf("look at %s: %d %s", id, got.status, got.body)
	}
}
