package projections

import (
	"net"
	"time"
)

// impatient is a connection of which no read and no write lasts longer than a limit; one that does fails with os.ErrDeadlineExceeded, and
// so does all after it.
type impatient struct {
	net.Conn
	limit time.Duration
}

func (c *impatient) Read(b []byte) (int, error) {
	defer c.watch().Stop()
	return c.Conn.Read(b)
}

func (c *impatient) Write(b []byte) (int, error) {
	defer c.watch().Stop()
	return c.Conn.Write(b)
}

// watch counts the time with a timer, so that a clock that jumps neither cuts a connection nor keeps it.
func (c *impatient) watch() *time.Timer {
	return time.AfterFunc(c.limit, func() {
		if err := c.SetDeadline(time.Unix(1, 0)); err != nil {
			_ = c.Close() // closed already, or it will be by this
		}
	})
}
