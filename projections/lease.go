package projections

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Several processes may run the same runner on one PostgreSQL. To fold the same events twice does no harm, because the checkpoint lets only
// one of them count, but it is work for nothing. So one folds, the one whose name stands in the stream's lease, and the others stand by. A
// lease runs out by the database's clock when it is not renewed: a runner that was killed, stopped or cut off is replaced by another within
// leaseTerm and leasePause. That two believe for a moment to hold it is no danger; the fence is the checkpoint.
const (
	leaseTerm  = 5 * time.Second
	leasePause = time.Second // between two tries to get it, or to renew it
)

// leaser is a database that several processes use. A SQLite file is one process's: runners that share it compete, and the checkpoint decides.
type leaser interface {
	// lead takes or renews a stream's lease, if need be from whoever has it, and says whether the holder has it.
	lead(ctx context.Context, tx *Tx, stream, holder string, seize bool) (bool, error)
	resign(ctx context.Context, tx *Tx, stream, holder string) error
}

// errDeposed: another runner holds the lease now.
var errDeposed = errors.New("another runner folds now")

// lead takes the stream's lease or renews it, and says whether this runner has it. To seize is to take it from whoever has it.
func (r *Runner[S]) lead(ctx context.Context, seize bool) (leads bool, err error) {
	l, ok := r.c.Store.dialect.(leaser)
	if !ok {
		return true, nil
	}
	err = r.c.Store.inTx(ctx, func(tx *Tx) (err error) {
		leads, err = l.lead(ctx, tx, string(r.c.Stream), r.name, seize)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("lease of %s: %w", r.c.Stream, err)
	}
	return leads, nil
}

// resign gives the lease back, so that another need not wait for its end. It may fail: then it runs out.
func (r *Runner[S]) resign(ctx context.Context) {
	l, ok := r.c.Store.dialect.(leaser)
	if !ok {
		return
	}
	ctx = context.WithoutCancel(ctx)
	err := r.c.Store.inTx(ctx, func(tx *Tx) error {
		return l.resign(ctx, tx, string(r.c.Stream), r.name)
	})
	if err != nil {
		r.c.Log.Debug("lease was not given back and runs out", "error", err)
	}
}

// holding does work that only the holder of the lease should do, and renews the lease meanwhile. The work's context ends when another has
// it; errDeposed then.
func (r *Runner[S]) holding(ctx context.Context, work func(context.Context) error) error {
	r.note(func(s *Status) { s.Leads = true })
	defer r.note(func(s *Status) { s.Leads = false })
	ctx, cancel := context.WithCancelCause(ctx)
	var renewing sync.WaitGroup
	renewing.Go(func() {
		for pause(ctx, leasePause) == nil {
			// A database that does not answer renews nothing, and takes no rows either.
			if leads, err := r.lead(ctx, false); err == nil && !leads {
				cancel(errDeposed)
			}
		}
	})
	err := work(ctx)
	cause := context.Cause(ctx)
	cancel(nil)
	renewing.Wait()
	if errors.Is(cause, errDeposed) {
		return errDeposed
	}
	return err
}

// waiting does work for as long as another has the lease. The work's context ends when this runner has got it; nil then.
func (r *Runner[S]) waiting(ctx context.Context, work func(context.Context) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	elected := errors.New("the lease is ours")
	var trying sync.WaitGroup
	trying.Go(func() {
		for pause(ctx, leasePause) == nil {
			if leads, err := r.lead(ctx, false); err == nil && leads {
				cancel(elected)
			}
		}
	})
	err := work(ctx)
	cause := context.Cause(ctx)
	cancel(nil)
	trying.Wait()
	if errors.Is(cause, elected) {
		return nil
	}
	return err
}
