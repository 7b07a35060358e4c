package journal_test

import (
	"testing"

	"bydark/events/journal/journaltest"
)

func TestJournal(t *testing.T) {
	for _, k := range journaltest.Kinds() {
		t.Run(k.Name, func(t *testing.T) { journaltest.Run(t, k) })
	}
}
