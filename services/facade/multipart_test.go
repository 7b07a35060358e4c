package facade

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"bydark/services/access"
)

// formOfParts is a form as a browser sends one that may hold files: a name that ends in > is a file's.
func formOfParts(t *testing.T, parts ...[2]string) (contentType, body string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for _, p := range parts {
		name, isFile := strings.CutSuffix(p[0], ">")
		create := m.CreateFormField
		if isFile {
			create = func(name string) (io.Writer, error) { return m.CreateFormFile(name, "roof.png") }
		}
		w, err := create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(p[1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	return m.FormDataContentType(), b.String()
}

// A picture goes with a form; one of a report that is refused is named on the form that is shown again.
func TestFormWithPictures(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.b.token(access.Lead)
	fill := func(what string, parts ...[2]string) reply {
		kind, body := formOfParts(t, append([][2]string{
			{"id", uuid.NewString()}, {"at", time.Now().UTC().Format(time.RFC3339)}, {"where", "A"}, {"blocks", "night"}, {"what", what},
		}, parts...)...)
		return h.ask(post, "/jobs/theirs/report/punch-raised", token, body, header("Content-Type", kind))
	}
	last := func() string {
		return h.ask(get, "/v1/jobs/theirs/punch", token, "").body
	}
	if got := fill("seam open", [2]string{"photos>", picture()}); got.status != http.StatusSeeOther {
		t.Fatalf("%d %s", got.status, got.body)
	}
	if !strings.Contains(last(), `"what":"seam open"`) || strings.Count(last(), h.picture) != 2 {
		t.Errorf("the picture of the form is not with its item: %s", last())
	}
	if got := fill("no picture chosen", [2]string{"photos>", ""}); got.status != http.StatusSeeOther {
		t.Errorf("%d %s", got.status, got.body)
	}
	before := h.written()
	refused := fill(" ", [2]string{"photos>", picture()})
	if refused.status/100 != 4 || !strings.Contains(refused.body, `name="photos" value="`+h.picture+`"`) {
		t.Errorf("an empty item: %d %s", refused.status, refused.body)
	}
	if got := fill("rubbish", [2]string{"photos>", "no picture"}); got.status/100 != 4 || !strings.Contains(got.body, "JPEG or PNG") {
		t.Errorf("rubbish: %d %s", got.status, got.body)
	}
	for name, body := range map[string]string{"nothing": "", "cut off": "--x\r\nContent-Disposition: form-data; name=\"id\"\r\n\r\nhalf", "no parts": "--x--\r\n"} {
		got := h.ask(post, "/jobs/theirs/report/punch-raised", token, body, header("Content-Type", "multipart/form-data; boundary=x"))
		if got.status/100 != 4 {
			t.Errorf("%s: %d %s", name, got.status, got.body)
		}
	}
	if now := h.written(); now != before {
		t.Errorf("what was refused was written: %v, before %v", now, before)
	}
}
