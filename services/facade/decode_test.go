package facade

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json/v2"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/access"
)

// S33, F51: what is not exactly one JSON value, spelt exactly, is refused with its place.
func TestRubbish(t *testing.T) {
	t.Parallel()
	h := open(t)
	before := h.written()
	for _, c := range []struct{ body, code, where string }{
		{`{`, "unreadable", ""},
		{`{"name":`, "unreadable", "/name"},
		{`[]`, "unreadable-value", ""},
		{`null`, "unreadable-value", ""},
		{`"x"`, "unreadable-value", ""},
		{`{"name":"Ike","role":"hand"} x`, "trailing-text", "byte 28"},
		{`{"name":"Ike","role":"hand"}{}`, "trailing-text", "byte 28"},
		{`{"name":"Ike","role":"hand",}`, "unreadable", ""},
		{`{"name":"Ike","role":"hand","name":"Mo"}`, "doubled-member", "/name"},
		{`{"name":"Ike","role":"hand","n\u0061me":"Mo"}`, "doubled-member", "/name"},
		{`{"name":"Ike","role":"hand","Name":"Mo"}`, "unknown-member", "/Name"},
		{`{"name":"Ike","ROLE":"hand"}`, "missing-member", "/role"},
		{"{\"name\":\"Ike\xff\",\"role\":\"hand\"}", "unreadable", "/name"},
		{`{"name":"Ike\ud800","role":"hand"}`, "unreadable", "/name"},
		{`{"name":"Ike\u0000","role":"hand"}`, "unreadable-text", "/name"},
		{`{'name':'Ike'}`, "unreadable", ""},
		{`{"name":NaN}`, "unreadable", "/name"},
		{`{"name":Infinity}`, "unreadable", "/name"},
		{`{"name":1e999,"role":"hand"}`, "unreadable", "/name"},
		{`{"name":01,"role":"hand"}`, "unreadable", ""},
		{"\ufeff{}", "unreadable", ""},
		{"{\"name\":\"a\nb\"}", "unreadable", "/name"},
		{strings.Repeat(`[`, 1000) + strings.Repeat(`]`, 1000), "too-deep", ""},
		{strings.Repeat(`{"a":`, 1000) + `1` + strings.Repeat(`}`, 1000), "too-deep", ""},
		{`{"a":[` + strings.Repeat(`1,`, 10_000) + `1]}`, "too-many-values", "/a"},
		{`{` + members(10_002) + `}`, "too-many-values", ""},
		{`[` + strings.Repeat(`[1],`, 9000) + `[` + strings.Repeat(`[1,2,3,4,5,6,7,8,9,1,2,3,4,5,6,7,8,9,1,2,3,4,5,6,7,8,9],`, 9000) + `1]]`, "too-many-values", ""},
		{`{"name":"` + strings.Repeat("a", 70_000) + `"}`, "too-long-text", "/name"},
		{`{"` + strings.Repeat("a", 70_000) + `":1}`, "too-long-text", ""},
		{`{"name":` + strings.Repeat("9", 500) + `}`, "unreadable-number", "/name"},
	} {
		got := h.ask(post, "/v1/people", h.a.token(access.Owner), c.body)
		p := got.problem(t)
		if got.status != http.StatusBadRequest || p.Code != c.code || c.where != "" && p.Where != c.where || p.Want == "" || len(got.body) > 2000 {
			t.Errorf("%.60q: %d %.300s; want %s at %q", c.body, got.status, got.body, c.code, c.where)
		}
	}
	if after := h.written(); after != before {
		t.Errorf("the log was at %v and is at %v", before, after)
	}
	if text := `{"name":"not a NUL: \\u0000","role":"hand"}`; h.ask(post, "/v1/people", h.a.token(access.Owner), text).status != http.StatusOK {
		t.Error("an escaped backslash was taken for a NUL")
	}
}

// F51: a body of the largest size, whatever is in it, makes the service allocate 10 MB at most, freed or not. It is not parallel: it counts
// what the process allocates.
func TestRubbishCostsLittle(t *testing.T) {
	h := open(t)
	owner := h.a.token(access.Owner)
	const size = 2<<20 - 100
	for what, body := range map[string]string{
		"brackets": strings.Repeat("[", size), "a thousand deep": strings.Repeat("[", 1000) + strings.Repeat("]", 1000),
		"a million values": "[" + strings.Repeat("1,", 1_000_000) + "1]", "lists": "[" + strings.Repeat("[],", 600_000) + "1]", "members": "{" + members(120_000) + "}",
		"digits": strings.Repeat("9", size), "one text": `"` + strings.Repeat("a", size) + `"`, "escapes": `"` + strings.Repeat(`\ud800`, size/6) + `"`,
		"NUL": strings.Repeat("\x00", size), "not UTF-8": strings.Repeat("\xff", size), "too large": strings.Repeat(" ", 3<<20),
	} {
		var got reply
		n := allocated(func() { got = h.ask(post, "/v1/jobs", owner, body) })
		t.Logf("%s: %d KB", what, n>>10)
		if got.status/100 != 4 || n > 10<<20 {
			t.Errorf("%s: %d, for %d KB", what, got.status, n>>10)
		}
	}
}

// allocated is how many bytes a function makes the process allocate.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// S34-S36, F51: sizes and types are looked at before the rest is read.
func TestSizesAndTypes(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.token(access.Owner)
	body := `{"name":"Ike","role":"hand"}`
	var zipped bytes.Buffer
	z := gzip.NewWriter(&zipped)
	if _, err := io.Copy(z, io.LimitReader(zeros{}, 10<<20)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	chunked := func(r *http.Request) { r.ContentLength = -1 }
	for what, c := range map[string]struct {
		got    reply
		status int
		code   string
	}{
		"too large":          {h.ask(post, "/v1/people", owner, strings.Repeat(" ", mostBody)+body), 413, "too-large"},
		"too large, chunked": {h.ask(post, "/v1/people", owner, strings.Repeat(" ", mostBody)+body, chunked), 413, "too-large"},
		"no body":            {h.ask(post, "/v1/people", owner, "", header("Content-Type", "application/json")), 400, "no-body"},
		"long address":       {h.ask(get, "/v1/me?"+strings.Repeat("a", 9000), owner, ""), 414, "too-long"},
		"form":               {h.ask(post, "/v1/people", owner, body, header("Content-Type", "application/x-www-form-urlencoded")), 415, "wrong-content-type"},
		"text":               {h.ask(post, "/v1/people", owner, body, header("Content-Type", "text/plain")), 415, "wrong-content-type"},
		"latin":              {h.ask(post, "/v1/people", owner, body, header("Content-Type", "application/json; charset=latin1")), 415, "wrong-content-type"},
		"no type":            {h.ask(post, "/v1/people", owner, body, func(r *http.Request) { r.Header.Del("Content-Type") }), 415, "wrong-content-type"},
		"zipped":             {h.ask(post, "/v1/people", owner, zipped.String(), header("Content-Encoding", "gzip")), 415, "encoded-body"},
		"a method":           {h.ask(http.MethodPatch, "/v1/people", owner, body), 405, "wrong-method"},
		"trace":              {h.ask(http.MethodTrace, "/v1/people", owner, ""), 405, "wrong-method"},
		"foo":                {h.ask("FOO", "/v1/people", owner, ""), 405, "wrong-method"},
		"override":           {h.ask(get, "/v1/people/x", owner, "", header("X-HTTP-Method-Override", "DELETE")), 405, "wrong-method"},
		"nowhere":            {h.ask(get, "/v2/people", owner, ""), 404, "not-found"},
		"dots":               {h.ask(get, "/v1/people/..%2f..%2fetc%2fpasswd", owner, ""), 405, "wrong-method"},
	} {
		if p := c.got.problem(t); c.got.status != c.status || p.Code != c.code {
			t.Errorf("%s: %d %.300s; want %d %s", what, c.got.status, c.got.body, c.status, c.code)
		}
	}
	if got := h.ask(http.MethodPatch, "/v1/people", owner, body); got.header.Get("Allow") == "" {
		t.Error("405 without Allow")
	}
	if got := h.ask(post, "/v1/people", owner, strings.Repeat(" ", mostBody-len(body))+body, header("Content-Type", "application/json; charset=UTF-8")); got.status != http.StatusOK {
		t.Errorf("exactly as large as may be: %d %s", got.status, got.body)
	}
	if got := h.ask(get, "/v1/me", owner, "", header("X-Large", strings.Repeat("a", 17<<10))); got.status != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("large header: %d", got.status)
	}
}

// members are n of an object's.
func members(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `"%07d":1,`, i)
	}
	return strings.TrimSuffix(b.String(), ",")
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// S37: a request that can be cut in two ways is cut in none: there is one answer, and
// the connection ends.
func TestSmuggling(t *testing.T) {
	t.Parallel()
	h := open(t)
	const inner = "GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"
	for what, request := range map[string]string{
		"length and chunks": "POST /v1/people HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + inner,
		"two lengths":       "POST /v1/people HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\nContent-Length: 44\r\n\r\n" + inner,
		"odd chunks":        "POST /v1/people HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: xchunked\r\n\r\n0\r\n\r\n" + inner,
		"spaced name":       "POST /v1/people HTTP/1.1\r\nHost: localhost\r\nContent-Length : 44\r\n\r\n" + inner,
		"signed length":     "POST /v1/people HTTP/1.1\r\nHost: localhost\r\nContent-Length: +44\r\n\r\n" + inner,
		"two hosts":         "GET /v1/me HTTP/1.1\r\nHost: localhost\r\nHost: x.example\r\n\r\n" + inner,
		"no host":           "GET /v1/me HTTP/1.1\r\n\r\n" + inner,
		"NUL in a header":   "GET /v1/me HTTP/1.1\r\nHost: localhost\r\nX: a\x00b\r\n\r\n" + inner,
	} {
		c, err := net.Dial("tcp", strings.TrimPrefix(h.url, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(c, request); err != nil {
			t.Fatal(err)
		}
		in := bufio.NewReader(c)
		first, err := http.ReadResponse(in, nil) //nolint:bodyclose // the next request on the connection reads on
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if _, err := io.Copy(io.Discard, first.Body); err != nil || first.StatusCode < 400 {
			t.Errorf("%s: %d, %v", what, first.StatusCode, err)
		}
		if second, err := http.ReadResponse(in, nil); err == nil {
			t.Errorf("%s: a second answer, %d", what, second.StatusCode)
			_ = second.Body.Close() // the test has failed
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}

// S38: names that are not ours are not answered, and nobody but a proxy of ours speaks
// for another address.
func TestHosts(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) { d.Hosts = []string{"yard.example"} })
	for host, want := range map[string]int{
		"": 200, "localhost": 200, "LOCALHOST:1": 200, "127.0.0.1": 200, "yard.example": 200, "yard.example:8080": 200,
		"x.example": 421, "127.0.0.2": 421, "[::1]": 421, "10.0.0.1": 421, "yard.example.x.example": 421, "yard.example@x.example": 421,
	} {
		got := h.ask(get, "/healthz", "", "", func(r *http.Request) {
			if host != "" {
				r.Host = host
			}
		}, header("X-Forwarded-Host", "x.example"))
		if got.status != want || strings.Contains(got.body, "x.example") {
			t.Errorf("%q: %d %s, want %d", host, got.status, got.body, want)
		}
	}
	for _, name := range []string{"X-Forwarded-For", "Forwarded", "X-Real-Ip", "Via"} {
		if got := h.ask(get, "/metrics", "", "", header(name, "127.0.0.1")); got.status != http.StatusUnauthorized {
			t.Errorf("the metrics through a proxy, by %s: %d", name, got.status)
		}
	}
	if got := h.ask(get, "/metrics", "", ""); got.status != http.StatusOK {
		t.Errorf("the metrics from this machine: %d", got.status)
	}
}

// Whatever checkJSON lets through, the JSON reader reads, and what it refuses it can
// say.
func FuzzCheckJSON(f *testing.F) {
	for _, s := range []string{`{"a":[1,2,{"b":null}]}`, `"\u0000"`, `"\\u0000"`, `[[[[`, `{"a":1,"a":2}`, `1e999`, ` true `, `"\ud800"`, `{}{}`, "\xff", ``} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		err := checkJSON(data)
		if err == nil {
			var v any
			if err := json.Unmarshal(data, &v); err != nil && !strings.Contains(err.Error(), "range") {
				t.Fatalf("%q was let through and cannot be read: %v", data, err)
			}
			if text := fmt.Sprint(v); strings.Contains(text, "\x00") {
				t.Fatalf("%q holds NUL", data)
			}
			return
		}
		r := events.RefusalIn(err)
		if r == nil || r.Code == "" || r.Want == "" {
			t.Fatalf("%q gave %v, which is no refusal", data, err)
		}
		if status := statusOf(r.Code); status != http.StatusBadRequest {
			t.Fatalf("%q gave %d", data, status)
		}
		if _, err := json.Marshal(refused(r)); err != nil {
			t.Fatalf("%q gave a refusal that cannot be written: %v", data, err)
		}
	})
}

// F51: a body of the largest size costs at most 50 ms and 10 MB, whatever is in it.
func BenchmarkCheckJSON(b *testing.B) {
	for name, unit := range map[string]string{
		"objects": `{` + members(1000) + `},`, "lists": `[[[[[[1,2]]]]],3],`, "texts": `"` + strings.Repeat("a", 1000) + `",`, "members": `{` + members(100_000) + `},`,
	} {
		body := []byte(`[` + strings.Repeat(unit, max(1, min(mostItems, mostBody/len(unit)))) + `0]`)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(len(body)))
			for b.Loop() {
				_ = checkJSON(body) // some are refused, which is the point
			}
		})
	}
}
