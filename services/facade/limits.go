package facade

import (
	"net/http"
	"time"

	"github.com/go-chi/httprate"
)

// Limits are how many requests a minute one sender may make; a zero is the default.
type Limits struct {
	// Token is for each person, 30,000 unless told.
	Token int
	// Address is for each address, 60,000 unless told: a whole crew may share one.
	Address int
	// Guesses is for keys that are not good, from each address, 10 unless told.
	// Good keys from that address go on being good.
	Guesses int
}

// window is what the limits are counted in, short so that a phone that was turned away
// need not wait a minute.
const window = 10 * time.Second

type rates struct {
	token, address, guesses *httprate.RateLimiter
}

func (s *Server) newRates(l Limits) rates {
	or := func(n, otherwise int) int {
		if n == 0 {
			return otherwise
		}
		return n
	}
	retry := httprate.WithResponseHeaders(httprate.ResponseHeaders{RetryAfter: "Retry-After"})
	in := func(aMinute int) *httprate.RateLimiter {
		return httprate.NewRateLimiter(max(1, aMinute*int(window/time.Second)/60), window, retry)
	}
	return rates{
		token:   in(or(l.Token, 30_000)),
		address: in(or(l.Address, 60_000)),
		guesses: httprate.NewRateLimiter(or(l.Guesses, 10), time.Minute, retry),
	}
}

// rateKey is whose requests are counted together: an address, or the network that one
// customer is given where addresses are plenty.
func (s *Server) rateKey(r *http.Request) string {
	return httprate.CanonicalizeIP(s.client(r).String())
}

// costing lets a request count for more than one.
func costing(r *http.Request, cost int) *http.Request {
	if cost <= 1 {
		return r
	}
	return r.WithContext(httprate.WithIncrement(r.Context(), cost))
}
