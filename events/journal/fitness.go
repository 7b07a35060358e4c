package journal

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// leastVersion is the oldest broker whose faults we know: before it, batches could be stored wrongly or refused without reason, and
// several ways in stood open.
var leastVersion = [3]int{2, 15, 2}

// monitorTimeout ends the wait for a monitoring page.
const monitorTimeout = 5 * time.Second

// fitBroker fails with ErrUnfit on a broker elsewhere that is too old, takes messages too small for an event, or is reached in the
// clear over a network.
func (j *Journal) fitBroker(o Options) error {
	if have := j.nc.ConnectedServerVersion(); !atLeast(have, leastVersion) {
		return fmt.Errorf("%w: the broker is version %s, at least %d.%d.%d is needed", ErrUnfit, have, leastVersion[0], leastVersion[1], leastVersion[2])
	}
	if have := j.nc.MaxPayload(); have < 1<<20 {
		return fmt.Errorf("%w: the broker's max_payload is %d, at least %d is needed", ErrUnfit, have, 1<<20)
	}
	if _, err := j.nc.TLSConnectionState(); err != nil && !o.PlainNetwork && !isLoopback(j.nc.ConnectedUrl()) {
		return fmt.Errorf("%w: the connection to %s is not encrypted; use tls, or say that the network is private", ErrUnfit, j.nc.ConnectedUrlRedacted())
	}
	return nil
}

// atLeast compares versions. What cannot be read is too old.
func atLeast(version string, least [3]int) bool {
	version, _, _ = strings.Cut(version, "-")
	var have []int
	for _, part := range strings.Split(version, ".") {
		n, err := strconv.Atoi(part)
		if err != nil {
			return false
		}
		have = append(have, n)
	}
	return slices.Compare(have, least[:]) >= 0
}

func isLoopback(address string) bool {
	u, err := url.Parse(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(u.Hostname())
	return u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
}

// fitReplicas fails with ErrUnfit on a stream that a cluster keeps on fewer than three nodes, or on an even number.
func fitReplicas(s Stream, info *jetstream.StreamInfo) error {
	if n := info.Config.Replicas; info.Cluster != nil && info.Cluster.Name != "" && n != 3 && n != 5 {
		return fmt.Errorf("%w: stream %s: num_replicas is %d, in a cluster it must be 3 or 5", ErrUnfit, s, n)
	}
	return nil
}

// nodes names the servers that keep a stream.
func (j *Journal) nodes(info *jetstream.StreamInfo) []string {
	if info.Cluster == nil || info.Cluster.Leader == "" {
		return []string{j.nc.ConnectedServerName()}
	}
	names := []string{info.Cluster.Leader}
	for _, r := range info.Cluster.Replicas {
		names = append(names, r.Name)
	}
	return names
}

// monitoring reads a page of a server's monitoring.
func monitoring(ctx context.Context, page, path string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, monitorTimeout)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimSuffix(page, "/")+path, nil)
	if err != nil {
		return nil, err
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	body, err := io.ReadAll(io.LimitReader(response.Body, 4<<20))
	if err != nil {
		return nil, err
	}
	if response.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("answered %s", response.Status)
	}
	return body, nil
}
