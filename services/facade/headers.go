package facade

import (
	"maps"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// hardened is what every answer carries. Its lists are shared by all answers: a handler
// sets its own, and adds to none.
var hardened = http.Header{
	"Content-Security-Policy": {"default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; " +
		"base-uri 'none'; form-action 'self'; frame-ancestors 'none'"},
	"X-Content-Type-Options":       {"nosniff"},
	"Referrer-Policy":              {"no-referrer"},
	"Cross-Origin-Opener-Policy":   {"same-origin"},
	"Cross-Origin-Resource-Policy": {"same-origin"},
	"Permissions-Policy":           {"camera=(self), geolocation=(), microphone=(), payment=(), usb=()"},
	"Cache-Control":                {"no-store"},
}

// harden sets what every answer carries, problems too. Handlers of what is not
// personal may set Cache-Control anew.
func (s *Server) harden(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	maps.Copy(h, hardened)
	if s.secure(r) {
		h.Set("Strict-Transport-Security", "max-age=31536000")
	}
	// Whoever sends two lengths of one body must not get to send a second request
	// inside it: net/http believes the chunks and drops the other length unseen.
	if len(r.TransferEncoding) > 0 {
		h.Set("Connection", "close")
	}
}

// secure says whether the browser reached us under TLS.
func (s *Server) secure(r *http.Request) bool {
	return r.TLS != nil || s.public != nil && s.public.Scheme == "https"
}

// answersTo says whether the request's Host is a name of ours: a configured one, or the
// very address that it came in by. A page elsewhere that lets its own name lead to
// our address is not answered.
func (s *Server) answersTo(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	if s.hosts[host] {
		return true
	}
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return false
	}
	at, ok := addressOf(local)
	if !ok {
		return false
	}
	if host == "localhost" {
		return at.IsLoopback()
	}
	named, err := netip.ParseAddr(host)
	return err == nil && named.Unmap() == at
}

func addressOf(a net.Addr) (netip.Addr, bool) {
	if tcp, ok := a.(*net.TCPAddr); ok {
		return tcp.AddrPort().Addr().Unmap(), true
	}
	at, err := netip.ParseAddrPort(a.String())
	return at.Addr().Unmap(), err == nil
}

// client is the address that a request came from. A proxy's word for it counts only
// when the proxy is one of ours.
func (s *Server) client(r *http.Request) netip.Addr {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	at := from.Addr().Unmap()
	if !s.isProxy(at) {
		return at
	}
	chain := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, said := range slices.Backward(chain) {
		if !s.isProxy(at) {
			break
		}
		next, err := netip.ParseAddr(strings.TrimSpace(said))
		if err != nil {
			break
		}
		at = next.Unmap()
	}
	return at
}

func (s *Server) isProxy(a netip.Addr) bool {
	return slices.ContainsFunc(s.Proxies, func(p netip.Prefix) bool { return p.Contains(a) })
}

// isLocal says whether the request was made on this machine and by no proxy here.
func (s *Server) isLocal(r *http.Request) bool {
	for _, sign := range []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Forwarded", "Via"} {
		if r.Header.Get(sign) != "" {
			return false
		}
	}
	return s.client(r).IsLoopback()
}
