package journal

import (
	"fmt"
	"log/slog"
)

// brokerLog passes on what the broker warns of, and calls trouble when it reports an error. It has much to say besides, which is left
// out.
type brokerLog struct {
	log     *slog.Logger
	trouble func()
}

func (b brokerLog) Warnf(format string, v ...any) {
	b.log.Warn("broker: " + fmt.Sprintf(format, v...))
}

func (b brokerLog) Errorf(format string, v ...any) {
	b.log.Error("broker: " + fmt.Sprintf(format, v...))
	b.trouble()
}

func (b brokerLog) Fatalf(format string, v ...any) { b.Errorf(format, v...) }
func (brokerLog) Noticef(string, ...any)           {}
func (brokerLog) Debugf(string, ...any)            {}
func (brokerLog) Tracef(string, ...any)            {}
