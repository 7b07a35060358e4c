package projections_test

import (
	"os"
	"testing"

	"bydark/projections/projectiontest"
)

func TestMain(m *testing.M) { os.Exit(projectiontest.Main(m)) }
