package journal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// duplicates is how long the broker remembers ids. It is a help against a quick repeat only; the subject's own state knows all ids.
const duplicates = 2 * time.Minute

// config is how a stream of the log must be set up. Nothing can be deleted, nothing ages, a full stream turns writers away.
func config(s Stream, replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        string(s),
		Subjects:    []string{s.pattern()},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew,
		DenyDelete:  true,
		DenyPurge:   true,
		AllowDirect: true,
		Duplicates:  duplicates,
		Replicas:    replicas,
		// Several waiting events may share one write; each is still one message with its own expectation.
		AllowAtomicPublish: true,
	}
}

// prepare finds or makes the streams. One that is there is taken as it is or refused, never changed.
func (j *Journal) prepare(ctx context.Context, o Options) error {
	replicas := o.Replicas
	switch {
	case replicas > 0:
	case j.nc.ConnectedClusterName() != "":
		replicas = 3
	default:
		replicas = 1
	}
	for _, s := range Streams() {
		stream, err := j.js.Stream(ctx, string(s))
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			stream, err = j.js.CreateStream(ctx, config(s, replicas))
		}
		if err != nil {
			return fmt.Errorf("stream %s: %w", s, err)
		}
		info := stream.CachedInfo()
		if err := fit(s, info.Config); err != nil {
			return err
		}
		if err := fitReplicas(s, info); err != nil {
			return err
		}
		if j.local == nil && !o.DurabilityUnverified {
			if err := proveSync(ctx, j.nodes(info), o); err != nil {
				return err
			}
		}
		if err := whole(s, info.State); err != nil {
			return err
		}
		if j.local != nil {
			if err := j.local.opened(s, info.State.LastSeq); err != nil {
				return err
			}
		}
		j.created[s] = info.Created.UTC()
		j.replicas = max(j.replicas, info.Config.Replicas)
	}
	besides := []jetstream.StreamConfig{asideConfig(replicas)}
	if j.local == nil {
		besides = append(besides, objectConfig(replicas), pulseConfig(replicas), shelfConfig(replicas))
	}
	for _, beside := range besides {
		_, err := j.js.Stream(ctx, beside.Name)
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			_, err = j.js.CreateStream(ctx, beside)
		}
		if err != nil {
			return fmt.Errorf("stream %s: %w", beside.Name, err)
		}
	}
	if j.local != nil {
		return j.local.settled()
	}
	return nil
}

// fit says in words what is wrong with a stream that is to keep a log.
func fit(s Stream, have jetstream.StreamConfig) error {
	want := config(s, have.Replicas)
	for _, rule := range []struct {
		broken bool
		words  string
	}{
		{have.PersistMode != want.PersistMode, "its persist_mode must be the default: async loses what was acknowledged"},
		{have.Storage != want.Storage, "its storage must be file"},
		{have.Retention != want.Retention, "its retention must be limits"},
		{have.Discard != want.Discard, "its discard policy must be new"},
		{!have.DenyDelete, "deny_delete must be set"},
		{!have.DenyPurge, "deny_purge must be set"},
		{!have.AllowDirect, "allow_direct must be set"},
		{!have.AllowAtomicPublish, "allow_atomic must be set"},
		{have.AllowRollup, "allow_rollup_hdrs must not be set"},
		{have.AllowMsgTTL, "allow_msg_ttl must not be set"},
		{have.MaxAge != 0, "max_age must be 0: events never age away"},
		{have.MaxMsgs > 0, "max_msgs must be -1"},
		{have.MaxBytes > 0, "max_bytes must be -1"},
		{have.MaxMsgsPerSubject > 0, "max_msgs_per_subject must be -1"},
		{have.MaxMsgSize > 0 && have.MaxMsgSize < MaxEntry, fmt.Sprintf("max_msg_size must be -1 or at least %d", MaxEntry)},
		{have.NoAck, "no_ack must not be set"},
		{have.Sealed, "it must not be sealed"},
		{have.Mirror != nil || len(have.Sources) > 0, "it must have neither mirror nor sources"},
		{have.SubjectTransform != nil, "it must not transform subjects"},
		{len(have.Subjects) != 1 || have.Subjects[0] != want.Subjects[0], "its subjects must be " + want.Subjects[0]},
		{have.FirstSeq > 1, "its first sequence must be 1"},
	} {
		if rule.broken {
			return fmt.Errorf("%w: stream %s: %s", ErrUnfit, s, rule.words)
		}
	}
	return nil
}

// whole fails with *Damage when the broker has lost events out of a stream.
func whole(s Stream, state jetstream.StreamState) error {
	if state.Msgs == state.LastSeq && state.NumDeleted == 0 {
		return nil
	}
	return &Damage{Stream: s, Last: state.FirstSeq - 1, Reason: fmt.Sprintf("%d of %d events are left", state.Msgs, state.LastSeq)}
}
