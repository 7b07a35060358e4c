package cutplan

import (
	"context"
	"encoding/json/v2"
	"strings"
	"testing"

	"bydark/events"
)

func planOf(t testing.TB, text string) (*Answer, error) {
	t.Helper()
	q, err := Read([]byte(text))
	if err != nil {
		return nil, err
	}
	a, err := Plan(context.Background(), q)
	if err == nil {
		if bad := inspect(q, a); bad != nil {
			t.Fatal(bad)
		}
	}
	return a, err
}

// What is sent is refused with the place and what would be right.
func TestRefusals(t *testing.T) {
	for _, c := range []struct{ name, in, code, where string }{
		{"empty", ``, "no-json", ""},
		{"no object", `[]`, "not-understood", ""},
		{"two documents", `{} {}`, "no-json", ""},
		{"nothing", `{}`, "no-stock", "stock"},
		{"no pieces", `{"stock":[{"length":"10'"}],"pieces":[]}`, "no-pieces", "pieces"},
		{"zero piece", `{"stock":[{"length":10}],"pieces":[{"length":0}]}`, "out-of-range", "pieces[0].length"},
		{"negative piece", `{"stock":[{"length":10}],"pieces":[{"mark":"A","length":-3}]}`, "out-of-range", "pieces[0] (A).length"},
		{"zero bar", `{"stock":[{"length":0}],"pieces":[{"length":3}]}`, "out-of-range", "stock[0].length"},
		{"negative bar", `{"stock":[{"length":"-10'"}],"pieces":[{"length":"3'"}]}`, "out-of-range", "stock[0].length"},
		{"longer than any bar", `{"stock":[{"length":"10'"}],"pieces":[{"length":"10'-0 1/64\""}]}`, "too-long", "pieces[0].length"},
		{"longer than what is left", `{"stock":[{"length":"20'","count":0},{"length":"10'"}],"pieces":[{"length":"12'"}]}`, "too-long", "pieces[0].length"},
		{"a billion pieces", `{"stock":[{"length":10}],"pieces":[{"length":3,"count":1000000000}]}`, "too-many", "pieces[0].count"},
		{"no pieces of a line", `{"stock":[{"length":10}],"pieces":[{"length":3,"count":0}]}`, "out-of-range", "pieces[0].count"},
		{"count beyond a number", `{"stock":[{"length":10}],"pieces":[{"length":3,"count":99999999999999999999}]}`, "not-understood", "/pieces/0/count"},
		{"negative kerf", `{"stock":[{"length":10}],"pieces":[{"length":3}],"kerf":-1}`, "out-of-range", "kerf"},
		{"no unit", `{"stock":[{"length":"10"}],"pieces":[{"length":"3'"}]}`, "no-length", "stock[0].length"},
		{"fraction of a plain number", `{"stock":[{"length":10.5}],"pieces":[{"length":3}]}`, "no-length", "stock[0].length"},
		{"mixed", `{"stock":[{"length":"10'"}],"pieces":[{"length":3}]}`, "mixed-units", "pieces[0].length"},
		{"unknown field", `{"stock":[{"length":10,"prise":3}],"pieces":[{"length":3}]}`, "not-understood", "/stock/0/prise"},
		{"price on some", `{"stock":[{"length":10,"price":3},{"length":12}],"pieces":[{"length":3}]}`, "price-missing", "stock"},
		{"price of five decimals", `{"stock":[{"length":10,"price":0.12345}],"pieces":[{"length":3}]}`, "no-price", "stock[0].price"},
		{"not enough stock", `{"stock":[{"length":10,"count":2}],"pieces":[{"length":6,"count":3}]}`, "stock-short", "stock"},
		{"too long a bar", `{"stock":[{"length":9000000000000}],"pieces":[{"length":3}]}`, "out-of-range", "stock[0].length"},
		{"one mark, two lengths", `{"stock":[{"length":10}],"pieces":[{"mark":"A","length":3},{"mark":"A","length":4}]}`, "doubled-mark", "pieces[1] (A).length"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := planOf(t, c.in)
			r := events.RefusalIn(err)
			if r == nil {
				t.Fatalf("not refused: %v", err)
			}
			if r.Code != c.code || r.Where != c.where && c.where != "" || r.Want == "" {
				t.Errorf("refused with code %q at %q, want %q; expected %q at %q", r.Code, r.Where, r.Want, c.code, c.where)
			}
			if strings.Contains(r.Error(), "\n") {
				t.Errorf("more than one line: %q", r.Error())
			}
		})
	}
}

// Small plans a person can check by hand.
func TestPlansByHand(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{
			"two to a bar",
			`{"stock":[{"length":"10'"}],"pieces":[{"mark":"E","length":"5'","count":3}]}`,
			`{"used":2,"lower_bound":2,"proven":true,"waste_pct":25,"elapsed_ms":0,"new_bars":2,"bars":[{"stock":"10'","stock_length":"10'","pieces":["E","E"],"offcut":"0'","keep":false},{"stock":"10'","stock_length":"10'","pieces":["E"],"offcut":"5'","keep":true}]}`,
		},
		{
			"kerf makes them one to a bar",
			`{"stock":[{"length":"10'"}],"pieces":[{"mark":"E","length":"5'","count":2}],"kerf":"1/8 in","keep":"5'"}`,
			`{"used":2,"lower_bound":2,"proven":true,"waste_pct":50,"elapsed_ms":0,"new_bars":2,"bars":[{"stock":"10'","stock_length":"10'","pieces":["E"],"offcut":"4'-11 7/8\"","keep":false},{"stock":"10'","stock_length":"10'","pieces":["E"],"offcut":"4'-11 7/8\"","keep":false}]}`,
		},
		{
			"the offcut goes first",
			`{"stock":[{"length":100,"id":"new"},{"length":60,"id":"offcut","count":1}],"pieces":[{"mark":"a","length":60},{"mark":"b","length":50,"count":2}]}`,
			`{"used":2,"lower_bound":2,"proven":true,"waste_pct":0,"elapsed_ms":0,"new_bars":1,"bars":[{"stock":"offcut","stock_length":60,"pieces":["a"],"offcut":0,"keep":false},{"stock":"new","stock_length":100,"pieces":["b","b"],"offcut":0,"keep":false}]}`,
		},
		{
			"the shorter of two bars will do",
			`{"stock":[{"length":100},{"length":70}],"pieces":[{"mark":"a","length":90},{"mark":"b","length":60}]}`,
			`{"used":2,"lower_bound":2,"proven":true,"waste_pct":11.76470588235294,"elapsed_ms":0,"new_bars":2,"bars":[{"stock":"100","stock_length":100,"pieces":["a"],"offcut":10,"keep":true},{"stock":"70","stock_length":70,"pieces":["b"],"offcut":10,"keep":true}]}`,
		},
		{
			"the cheaper bar though it is longer",
			`{"stock":[{"length":100,"price":"9.50"},{"length":70,"price":10}],"pieces":[{"mark":"b","length":60}]}`,
			`{"used":1,"lower_bound":1,"proven":true,"waste_pct":40,"elapsed_ms":0,"new_bars":1,"cost":"9.5","cost_lower_bound":"9.5","bars":[{"stock":"100","stock_length":100,"pieces":["b"],"offcut":40,"keep":true}]}`,
		},
		{
			"one long offcut and the groups together",
			`{"stock":[{"length":100}],"pieces":[{"mark":"a","length":40,"count":2,"group":"eave-1"},{"mark":"b","length":30,"group":"rake-1"},{"mark":"c","length":10,"group":"eave-1"}]}`,
			`{"used":2,"lower_bound":2,"proven":true,"waste_pct":40,"elapsed_ms":0,"new_bars":2,"bars":[{"stock":"100","stock_length":100,"pieces":["a","a","c"],"offcut":10,"keep":true},{"stock":"100","stock_length":100,"pieces":["b"],"offcut":70,"keep":true}]}`,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, err := planOf(t, c.in)
			if err != nil {
				t.Fatal(err)
			}
			got, err := json.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// Whatever comes in, Read and Plan answer or refuse; an answer is whole.
func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"stock":[{"length":"10'","count":null,"id":"x"}],"pieces":[{"mark":"a","length":"7'-3 1/2\"","count":2}],"kerf":"1/8 in"}`))
	f.Add([]byte(`{"stock":[{"length":100,"price":3},{"length":60,"count":1}],"pieces":[{"length":33,"count":9},{"length":27}],"keep":12}`))
	f.Add([]byte(`{"stock":[{"length":10,"count":2,"cost":"1.25"}],"pieces":[{"length":6,"count":3}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		q, err := Read(data)
		if err != nil {
			if events.RefusalIn(err) == nil {
				t.Fatalf("no refusal: %v", err)
			}
			return
		}
		steps := 0
		a, err := Plan(&stepped{context.Background(), 2000, &steps}, q)
		if err != nil {
			if events.RefusalIn(err) == nil {
				t.Fatalf("no refusal: %v", err)
			}
			return
		}
		if len(q.Stock) == 1 {
			if err := inspect(q, a); err != nil {
				t.Fatal(err)
			}
		}
	})
}
