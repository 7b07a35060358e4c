package projections

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"bydark/events/journal"
)

// timeText writes times in UTC so that their texts are ordered as they are. It holds the years 0 to 9999.
const timeText = "2006-01-02T15:04:05.000000000Z"

// checkpoint is the row of a stream: how far it is folded, and by which fold.
type checkpoint struct {
	Version  string
	Created  string
	Sequence int64
	Digest   string
}

// checkpointAt is the row for a position. A position before the first event names no log: any log may begin there.
func checkpointAt(version string, p journal.Position) checkpoint {
	c := checkpoint{Version: version, Sequence: int64(p.Sequence)}
	if p.Sequence > 0 {
		c.Created, c.Digest = p.Created.UTC().Format(timeText), p.Digest.String()
	}
	return c
}

// position reads the row back. A row that cannot be read was not written by us.
func (c checkpoint) position() (journal.Position, error) {
	if c.Sequence == 0 {
		return journal.Position{}, nil
	}
	created, err := time.Parse(timeText, c.Created)
	if err != nil {
		return journal.Position{}, fmt.Errorf("%w: checkpoint: %w", ErrDamaged, err)
	}
	digest, err := journal.ParseDigest(c.Digest)
	if err != nil {
		return journal.Position{}, fmt.Errorf("%w: checkpoint: %w", ErrDamaged, err)
	}
	return journal.Position{Created: created, Sequence: uint64(c.Sequence), Digest: digest}, nil
}

const readCheckpoint = `select version, created, sequence, digest from checkpoint where stream = ?`

// Checkpoint is the position up to which the tables that tx sees are folded from a stream; the zero Position if nothing is.
func Checkpoint(ctx context.Context, tx *Tx, stream journal.Stream) (journal.Position, error) {
	c, err := checkpointOf(ctx, tx, stream)
	if err != nil {
		return journal.Position{}, err
	}
	return c.position()
}

func checkpointOf(ctx context.Context, tx *Tx, stream journal.Stream) (checkpoint, error) {
	var c checkpoint
	err := tx.One(ctx, &c, readCheckpoint, string(stream))
	if errors.Is(err, sql.ErrNoRows) {
		return checkpoint{}, nil
	}
	if err != nil {
		return checkpoint{}, fmt.Errorf("checkpoint of %s: %w", stream, err)
	}
	return c, nil
}

// errFenced: the checkpoint was not where this runner left it. Nothing was written.
var errFenced = errors.New("somebody else moved the checkpoint")

const moveCheckpoint = `update checkpoint set version = ?, created = ?, sequence = ?, digest = ?
	where stream = ? and version = ? and created = ? and sequence = ? and digest = ?`

// move moves a stream's checkpoint from one place to another, or fails with errFenced if it is not at the first. It comes first in its
// transaction: whoever else wants to move the same row waits for the outcome, and then has lost.
func move(ctx context.Context, tx *Tx, stream journal.Stream, from, to checkpoint) error {
	if from == (checkpoint{}) {
		if _, err := tx.Exec(ctx, `insert into checkpoint (stream, version, created, sequence, digest) values (?, '', '', 0, '')
			on conflict (stream) do nothing`, string(stream)); err != nil {
			return fmt.Errorf("first checkpoint of %s: %w", stream, err)
		}
	}
	result, err := tx.Exec(ctx, moveCheckpoint, to.Version, to.Created, to.Sequence, to.Digest,
		string(stream), from.Version, from.Created, from.Sequence, from.Digest)
	if err != nil {
		return fmt.Errorf("move the checkpoint of %s from %d to %d: %w", stream, from.Sequence, to.Sequence, err)
	}
	n, err := result.RowsAffected()
	if err != nil {
		return fmt.Errorf("move the checkpoint of %s from %d to %d: %w", stream, from.Sequence, to.Sequence, err)
	}
	if n != 1 {
		return errFenced
	}
	return nil
}
