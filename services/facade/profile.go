package facade

import (
	"bytes"
	"net/http"
	"runtime/pprof"
	"runtime/trace"
	"strconv"
	"time"

	"bydark/events"
	"bydark/services/access"
)

// mostProfile is how many seconds the processor may be watched at once; an answer must
// be written within writeTime.
const mostProfile = 30

// profile says what the process spends: its time (cpu, trace; ?seconds=, 1 to 30), its
// memory (heap, allocs) or its goroutines (goroutine, block, mutex, threadcreate), in
// the format of go tool pprof or go tool trace. It holds names of functions and no
// values, so nothing of any company.
func (s *Server) profile(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	var b bytes.Buffer
	switch name := r.PathValue("profile"); name {
	case "cpu", "trace":
		if err := s.watch(r, &b, name); err != nil {
			return err
		}
	default:
		p := pprof.Lookup(name)
		if p == nil {
			return access.ErrNotFound
		}
		if err := p.WriteTo(&b, 0); err != nil {
			return err
		}
	}
	answer := held{header: http.Header{"Content-Type": {"application/octet-stream"}}, status: http.StatusOK, body: b}
	s.sent(r, answer.send(w))
	return nil
}

// watch watches the process for a while.
func (s *Server) watch(r *http.Request, to *bytes.Buffer, name string) error {
	seconds := 1
	if said := r.URL.Query().Get("seconds"); said != "" {
		n, err := strconv.Atoi(said)
		if err != nil || n < 1 || n > mostProfile {
			return &events.Refusal{Code: "impossible", Where: "seconds", Was: said, Want: "a whole number from 1 to 30"}
		}
		seconds = n
	}
	start, stop := pprof.StartCPUProfile, pprof.StopCPUProfile
	if name == "trace" {
		start, stop = trace.Start, trace.Stop
	}
	if err := start(to); err != nil {
		return &events.Refusal{Code: "profile-under-way", Was: name, Want: "one at a time; ask again when the other has ended"}
	}
	defer stop()
	over := time.NewTimer(time.Duration(seconds) * time.Second)
	defer over.Stop()
	select {
	case <-over.C:
		return nil
	case <-s.stopping:
		return errStopping
	case <-r.Context().Done():
		return r.Context().Err()
	}
}
