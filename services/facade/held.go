package facade

import (
	"bytes"
	"net/http"
	"strconv"
	"sync/atomic"
)

// held is an answer that is not sent yet, so that it can still become a problem.
type held struct {
	header http.Header
	status int
	body   bytes.Buffer
}

// Header is the answer's header.
func (h *held) Header() http.Header {
	if h.header == nil {
		h.header = http.Header{}
	}
	return h.header
}

// WriteHeader sets the status, once.
func (h *held) WriteHeader(status int) {
	if h.status == 0 {
		h.status = status
	}
}

// Write adds to the body.
func (h *held) Write(b []byte) (int, error) {
	h.WriteHeader(http.StatusOK)
	return h.body.Write(b)
}

// send writes the answer whole.
func (h *held) send(w http.ResponseWriter) error {
	for name, values := range h.header {
		w.Header()[name] = values
	}
	h.WriteHeader(http.StatusOK)
	if h.status != http.StatusNoContent && h.status != http.StatusNotModified {
		w.Header().Set("Content-Length", strconv.Itoa(h.body.Len()))
	}
	w.WriteHeader(h.status)
	_, err := w.Write(h.body.Bytes())
	return err
}

// counter counts up.
type counter struct{ n atomic.Int64 }

func (c *counter) next() int64 { return c.n.Add(1) }
