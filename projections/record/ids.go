package record

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"

	"bydark/projections"
)

// keyOf is what an id of a company is found by. Ids that phones make begin with the time: their keys begin with it too, in steps of a minute,
// so that what comes together lies together. The rest is of a digest, so that nobody is found by chance, and whoever wants to be looked for
// in vain has to try for long.
func keyOf(company, id string) int64 {
	sum := sha256.Sum256([]byte(company + "\x00" + id))
	if len(id) == 36 {
		_, _ = hex.Decode(sum[:4], []byte(id[:8])) // what is no hexadecimal keeps its digest
	}
	return int64(binary.BigEndian.Uint64(sum[:]))
}

// key says of which job an event is that has an id of this key.
type key struct {
	key, sequence int64
	job           string
}

// keepKeys writes keys in their order, so that a large batch touches each page of the table once.
func (r Record) keepKeys(ctx context.Context, tx *projections.Tx, keys []key) error {
	slices.SortFunc(keys, func(a, b key) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.sequence, b.sequence)) })
	rows := make([][]any, len(keys))
	for i, k := range keys {
		rows[i] = []any{k.key, k.sequence, k.job}
	}
	return tx.Insert(ctx, r.ids, []string{"key", "sequence", "job"}, rows)
}

// Holder is the job of a company that holds an id, the first by the log where more do; empty when none does. It must not be asked of a
// record that is not kept by ids.
func (r Record) Holder(ctx context.Context, tx *projections.Tx, company, id string) (string, error) {
	var found []struct {
		Job      string
		Sequence int64
	}
	if err := tx.Select(ctx, &found, `select job, sequence from record_ids where key = ? order by sequence`, keyOf(company, id)); err != nil {
		return "", fmt.Errorf("who holds the id %q: %w", id, err)
	}
	for _, f := range found {
		at := uint64(f.Sequence)
		entries, err := r.Entries(ctx, tx, Query{Company: company, Job: f.Job, After: at - 1, Upto: at})
		if err != nil {
			return "", err
		}
		if len(entries) == 1 && entries[0].ID == id {
			return f.Job, nil
		}
	}
	return "", nil
}
