package events

import (
	"regexp"
	"strings"

	"github.com/google/uuid"
)

// token is what may stand in a subject of the log, and so in an id that becomes one.
var token = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$`)

// ParseReportID reads a UUID in its usual form. The answer is in lower case, so that
// one id has one spelling.
func ParseReportID(s string) (ReportID, error) {
	if id, err := uuid.Parse(s); err == nil && len(s) == 36 {
		return ReportID(id.String()), nil
	}
	return "", &Refusal{Code: "unreadable-id", Where: "/id", Was: clip(s), Want: "a UUID made by the sender, such as 0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f"}
}

// ParseJobID reads a job's id: letters, digits, hyphens and underlines, 64 at most.
func ParseJobID(s string) (JobID, error) {
	if token.MatchString(s) {
		return JobID(s), nil
	}
	return "", &Refusal{Code: "unreadable-id", Where: "/id", Was: clip(s), Want: "a job id of letters, digits, hyphens and underlines, at most 64"}
}

// ParseCompanyID reads a company's id, in the alphabet of a job's.
func ParseCompanyID(s string) (CompanyID, error) {
	if token.MatchString(s) {
		return CompanyID(s), nil
	}
	return "", &Refusal{Code: "unreadable-id", Where: "/company", Was: clip(s), Want: "a company id of letters, digits, hyphens and underlines, at most 64"}
}

// CompanyNamed makes a company's id of its name: lower-case words joined by hyphens.
func CompanyNamed(name string) (CompanyID, error) {
	var b strings.Builder
	for _, c := range strings.ToLower(name) {
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	id := strings.Trim(b.String(), "-")
	if len(id) > 40 {
		id = strings.Trim(id[:40], "-")
	}
	return ParseCompanyID(id)
}

// Subject is where a job's events stand in the log.
func Subject(company CompanyID, job JobID) string {
	return "roof." + string(company) + "." + string(job)
}
