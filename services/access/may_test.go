package access

import (
	"slices"
	"strings"
	"testing"

	"bydark/events"
)

func TestEveryReportHasARow(t *testing.T) {
	t.Parallel()
	for _, report := range events.Reports() {
		if len(table[Sending(report)]) == 0 {
			t.Errorf("nobody may send %s: it has no row", report)
		}
	}
	for action, roles := range table {
		if report, ok := strings.CutPrefix(string(action), "send "); ok && action != SendReports && !slices.Contains(events.Reports(), report) {
			t.Errorf("%q is a row for a report that does not exist", action)
		}
		for i, r := range roles {
			if !slices.Contains(Roles(), r) || slices.Contains(roles[:i], r) {
				t.Errorf("%q names %q, which is no role or stands there twice", action, r)
			}
		}
		if !slices.Contains(roles, Owner) {
			t.Errorf("the owner may not %q", action)
		}
	}
}

func TestWhatIsUnknownIsDenied(t *testing.T) {
	t.Parallel()
	for _, role := range append(Roles(), "", "Owner", "root") {
		if May(role, "") || May(role, "read everything") || May(role, Sending("job-opened")) {
			t.Errorf("%q may do what nobody knows", role)
		}
	}
	for _, a := range Actions() {
		if May("", a) || May("OWNER", a) {
			t.Errorf("a role that is none may %q", a)
		}
	}
}
