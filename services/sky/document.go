package sky

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// document is what an address answered, and when it may be asked again.
type document struct {
	body, good     []byte // as it came; the last that could be read
	digest         digest
	etag, modified string
	due            time.Time
	failures       int
}

const (
	// mostDocument bounds an answer: more does not fit a message of the log.
	mostDocument = 850 << 10
	// leastPause and mostPause bound how long an answer is taken as fresh.
	leastPause, mostPause = 30 * time.Minute, 3 * time.Hour
	// mostBackOff bounds the pause while an address fails; it doubles from a minute on.
	mostBackOff = 64 * time.Minute
)

// refresh asks an address if it is due and tells whether it answered something new. An answer
// stays good for life, or as long as it says itself where life is zero.
func (f *Fetcher) refresh(ctx context.Context, address string, d *document, life time.Duration) bool {
	now := f.Now()
	if now.Before(d.due) {
		return false
	}
	changed, fresh, err := f.ask(ctx, address, d)
	if err != nil {
		if ctx.Err() != nil {
			return false
		}
		d.failures++
		wait := min(mostBackOff, time.Minute<<min(d.failures-1, 10))
		d.due = now.Add(max(wait+spread(address, wait), fresh))
		f.Log.Warn("the weather service did not answer", "address", address, "failures", d.failures, "again", d.due, "error", err)
		return false
	}
	d.failures = 0
	if life == 0 {
		life = min(max(fresh, leastPause), mostPause)
		life += spread(address, life)
	}
	d.due = now.Add(life)
	return changed
}

// spread is up to a quarter of a pause, by the address, so that places are not all asked in
// one minute.
func spread(address string, pause time.Duration) time.Duration {
	sum := sha256.Sum256([]byte(address))
	return pause / 4 * time.Duration(sum[0]) / 255
}

// ask asks once; fresh is how long the answer is good, or after a failure how long to wait,
// as far as it says so.
func (f *Fetcher) ask(ctx context.Context, address string, d *document) (changed bool, fresh time.Duration, err error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return false, 0, err
	}
	request.Header.Set("User-Agent", f.Agent)
	request.Header.Set("Accept", "application/geo+json")
	if d.etag != "" {
		request.Header.Set("If-None-Match", d.etag)
	}
	if d.modified != "" {
		request.Header.Set("If-Modified-Since", d.modified)
	}
	answer, err := f.Client.Do(request)
	if err != nil {
		return false, 0, err
	}
	defer answer.Body.Close()
	switch answer.StatusCode {
	case http.StatusNotModified:
		return false, maxAge(answer.Header), nil
	case http.StatusOK:
	default:
		return false, retryAfter(answer.Header, f.Now()), fmt.Errorf("it answered %s", answer.Status)
	}
	body, err := io.ReadAll(io.LimitReader(answer.Body, mostDocument+1))
	switch {
	case err != nil:
		return false, 0, err
	case len(body) > mostDocument:
		return false, 0, fmt.Errorf("it answered more than %d bytes", mostDocument)
	}
	d.body, d.etag, d.modified = body, answer.Header.Get("ETag"), answer.Header.Get("Last-Modified")
	return true, maxAge(answer.Header), nil
}

// maxAge reads how long an answer is fresh; zero where it does not say.
func maxAge(h http.Header) time.Duration {
	for part := range strings.SplitSeq(h.Get("Cache-Control"), ",") {
		if text, ok := strings.CutPrefix(strings.TrimSpace(part), "max-age="); ok {
			if seconds, err := strconv.Atoi(text); err == nil && seconds >= 0 && seconds < 1<<30 {
				return time.Duration(seconds) * time.Second
			}
		}
	}
	return 0
}

// retryAfter reads how long to wait, in seconds or until a date; zero where it does not say,
// a day at most.
func retryAfter(h http.Header, now time.Time) time.Duration {
	text := h.Get("Retry-After")
	wait := time.Duration(0)
	if seconds, err := strconv.Atoi(text); err == nil && seconds >= 0 && seconds < 1<<30 {
		wait = time.Duration(seconds) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		wait = at.Sub(now)
	}
	return min(max(wait, 0), 24*time.Hour)
}
