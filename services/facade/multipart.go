package facade

import (
	"bytes"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"

	"bydark/events"
	"bydark/services/photos"
)

const (
	// multipartType is the type of content of a form with files.
	multipartType = "multipart/form-data"
	// mostForm is how large a form may be: one large picture or several small ones, and its fields.
	mostForm     = photos.MostBytes + mostBody
	mostPictures = 6
	mostParts    = 200
)

// sentForm is what a browser sent: the values and the files of each field. A file field that was left empty has none.
type sentForm struct {
	values url.Values
	files  map[string][][]byte
}

// receiveForm reads a form, with or without files.
func receiveForm(w http.ResponseWriter, r *http.Request, most int64) (sentForm, error) {
	sent := sentForm{values: url.Values{}, files: map[string][][]byte{}}
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != multipartType {
		body, err := receive(w, r, formType, mostBody)
		if err != nil {
			return sent, err
		}
		if sent.values, err = url.ParseQuery(string(body)); err != nil {
			return sent, &events.Refusal{Code: "unreadable-form", Where: "body", Want: "fields of a form, URL-encoded"}
		}
		return sent, nil
	}
	body, err := receive(w, r, multipartType, most)
	if err != nil {
		return sent, err
	}
	parts := multipart.NewReader(bytes.NewReader(body), params["boundary"])
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) && n > 0 {
			return sent, nil
		}
		if err != nil || n == mostParts {
			return sent, unreadableForm
		}
		data, err := io.ReadAll(part)
		switch {
		case err != nil:
			return sent, unreadableForm
		case part.FileName() == "" && part.Header.Get("Content-Type") == "":
			sent.values.Add(part.FormName(), string(data))
		case len(data) > 0:
			sent.files[part.FormName()] = append(sent.files[part.FormName()], data)
		}
	}
}

var unreadableForm = &events.Refusal{Code: "unreadable-form", Where: "body", Want: "the form of this page, whole"}
