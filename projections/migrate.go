package projections

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
)

// migrations has a folder for each database with files of equal numbers. A view is folded again, not migrated: a migration makes tables,
// or drops them and makes others, and the view's version says that they have to be filled.
//
//go:embed migrations
var migrations embed.FS

// migrate brings the tables to the version that this program wants.
func (s *Store) migrate(ctx context.Context) error {
	files, err := fs.Sub(migrations, "migrations/"+s.dialect.name())
	if err != nil {
		return err
	}
	m, err := s.dialect.migrator(s.write.DB, files)
	if err != nil {
		return fmt.Errorf("read the migrations of the views: %w", err)
	}
	current, target, err := m.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("version of the views: %w", err)
	}
	if current > target {
		return fmt.Errorf("%w: tables are of version %d, this program knows %d", ErrNewer, current, target)
	}
	if _, err := m.Up(ctx); err != nil {
		return fmt.Errorf("migrate the views from version %d to %d: %w", current, target, err)
	}
	return nil
}
