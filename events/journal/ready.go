package journal

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// pulseStream holds one message, written over and over on the disk of a log kept elsewhere.
const pulseStream = "PULSE"

func pulseConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: pulseStream, Subjects: []string{"pulse"}, Storage: jetstream.FileStorage, MaxMsgs: 1, Discard: jetstream.DiscardOld,
		Replicas: replicas,
	}
}

// Ready fails while an append would: with ErrFull at the disk's watermark, otherwise with whatever is wrong. It proves the disk by a
// synced write, because a broker with a dead store looks well from outside, and each stream by asking its writer something.
func (j *Journal) Ready(ctx context.Context) error {
	if err := j.room(); err != nil {
		return fmt.Errorf("log is not ready: %w", err)
	}
	if err := j.pulse(ctx); err != nil {
		return fmt.Errorf("log is not ready: write a pulse: %w", err)
	}
	for _, s := range Streams() {
		if err := j.answers(ctx, s); err != nil {
			return fmt.Errorf("log is not ready: stream %s: %w", s, err)
		}
	}
	return nil
}

// pulse writes a few bytes to the disk of the log.
func (j *Journal) pulse(ctx context.Context) error {
	if j.local == nil {
		_, err := j.request(ctx, &nats.Msg{Subject: "pulse"})
		return err
	}
	if err := j.local.healthy(); err != nil {
		return err
	}
	return writeSynced(filepath.Join(j.local.dir, "pulse"), []byte("written to see whether the disk takes it\n"))
}

// answers asks for a write that must be refused: the event it expects last will never be. Only the stream's writer can refuse it.
func (j *Journal) answers(ctx context.Context, s Stream) error {
	never := &nats.Msg{Subject: s.family() + ".pulse", Header: nats.Header{jetstream.ExpectedLastSubjSeqHeader: {"9223372036854775807"}}}
	if s.ids() == 2 {
		never.Subject += ".pulse"
	}
	_, err := j.request(ctx, never)
	if err == nil {
		return fmt.Errorf("it stored what it should have refused (%s)", never.Subject)
	}
	if errors.Is(err, ErrConflict) {
		return nil
	}
	return err
}
