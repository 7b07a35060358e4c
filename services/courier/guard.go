package courier

import (
	"fmt"
	"net"
	"net/netip"
	"syscall"
	"time"
)

// Guard keeps what is sent out from reaching what is ours: addresses of this machine, of
// the network it stands in, of the provider's metadata service. It looks at the address
// that is about to be connected to, after names are resolved, so that neither a name
// that changes its address nor an odd spelling of one passes.
type Guard struct {
	// Allow are networks of the operator's own that may be reached all the same.
	Allow []netip.Prefix
}

// kept are the networks that are not the public internet: the IANA special-purpose
// registries for IPv4 and IPv6 (RFC 6890 and what amends it), and multicast.
var kept = []struct {
	net  netip.Prefix
	what string
}{
	{netip.MustParsePrefix("0.0.0.0/8"), "this network (RFC 791)"},
	{netip.MustParsePrefix("10.0.0.0/8"), "a private network (RFC 1918)"},
	{netip.MustParsePrefix("100.64.0.0/10"), "a provider's shared network (RFC 6598)"},
	{netip.MustParsePrefix("127.0.0.0/8"), "this machine (RFC 1122)"},
	{netip.MustParsePrefix("169.254.0.0/16"), "link-local, where metadata services are (RFC 3927)"},
	{netip.MustParsePrefix("172.16.0.0/12"), "a private network (RFC 1918)"},
	{netip.MustParsePrefix("192.0.0.0/24"), "protocol assignments (RFC 6890)"},
	{netip.MustParsePrefix("192.0.2.0/24"), "documentation (RFC 5737)"},
	{netip.MustParsePrefix("192.88.99.0/24"), "the old 6to4 relay (RFC 7526)"},
	{netip.MustParsePrefix("192.168.0.0/16"), "a private network (RFC 1918)"},
	{netip.MustParsePrefix("198.18.0.0/15"), "benchmarks (RFC 2544)"},
	{netip.MustParsePrefix("198.51.100.0/24"), "documentation (RFC 5737)"},
	{netip.MustParsePrefix("203.0.113.0/24"), "documentation (RFC 5737)"},
	{netip.MustParsePrefix("224.0.0.0/4"), "multicast (RFC 5771)"},
	{netip.MustParsePrefix("240.0.0.0/4"), "reserved or broadcast (RFC 1112, RFC 919)"},
	{netip.MustParsePrefix("::/128"), "no address (RFC 4291)"},
	{netip.MustParsePrefix("::1/128"), "this machine (RFC 4291)"},
	{netip.MustParsePrefix("::/96"), "IPv4 written as IPv6 (RFC 4291)"},
	{netip.MustParsePrefix("64:ff9b::/96"), "IPv4 behind a translator (RFC 6052)"},
	{netip.MustParsePrefix("64:ff9b:1::/48"), "IPv4 behind a translator (RFC 8215)"},
	{netip.MustParsePrefix("100::/64"), "discard (RFC 6666)"},
	{netip.MustParsePrefix("2001::/23"), "protocol assignments, tunnels among them (RFC 2928)"},
	{netip.MustParsePrefix("2001:db8::/32"), "documentation (RFC 3849)"},
	{netip.MustParsePrefix("2002::/16"), "6to4 (RFC 3056)"},
	{netip.MustParsePrefix("3fff::/20"), "documentation (RFC 9637)"},
	{netip.MustParsePrefix("5f00::/16"), "segment routing (RFC 9602)"},
	{netip.MustParsePrefix("fc00::/7"), "a private network (RFC 4193)"},
	{netip.MustParsePrefix("fe80::/10"), "link-local (RFC 4291)"},
	{netip.MustParsePrefix("fec0::/10"), "an old private network (RFC 3879)"},
	{netip.MustParsePrefix("ff00::/8"), "multicast (RFC 4291)"},
}

// kept says what an address is that is not to be reached; empty when it may be.
func (g Guard) kept(ip netip.Addr) string {
	ip = ip.Unmap().WithZone("")
	for _, p := range g.Allow {
		if p.Contains(ip) {
			return ""
		}
	}
	if !ip.IsValid() {
		return "no address"
	}
	for _, k := range kept {
		if k.net.Contains(ip) {
			return k.what
		}
	}
	return ""
}

// allows tells whether an address is in one of the operator's own networks.
func (g Guard) allows(ip netip.Addr) bool {
	for _, p := range g.Allow {
		if p.Contains(ip.Unmap().WithZone("")) {
			return true
		}
	}
	return false
}

// guarded is what the guard answers: it is final, since the address is what it is.
type guarded struct{ address, what string }

// Error says which address it was and why it is kept.
func (g *guarded) Error() string {
	return fmt.Sprintf("address %s is %s and is not connected to; the operator may allow a network of his own", g.address, g.what)
}

// control is a net.Dialer's: it is asked with the resolved address of every attempt,
// before anything is sent.
func (g Guard) control(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil {
		return &guarded{address, "no address"}
	}
	if what := g.kept(at.Addr()); what != "" {
		return &guarded{at.Addr().String(), what}
	}
	return nil
}

// dialer connects to what the guard lets through.
func (g Guard) dialer() *net.Dialer {
	return &net.Dialer{Timeout: 5 * time.Second, Control: g.control}
}
