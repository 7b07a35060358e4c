package journal

import (
	"fmt"
	"strings"
)

// Stream is one of the log's streams.
type Stream string

const (
	Roof Stream = "ROOF" // reports of work: roof.<company>.<job>
	Sky  Stream = "SKY"  // forecasts: sky.<company>.<job>
	Door Stream = "DOOR" // people, rights, tokens: door.<company>
)

// Streams lists the streams in the order in which they are backed up: what refers comes after what is referred to.
func Streams() []Stream { return []Stream{Door, Roof, Sky} }

// family is the first token of the stream's subjects.
func (s Stream) family() string { return strings.ToLower(string(s)) }

// ids is how many ids follow it.
func (s Stream) ids() int {
	if s == Door {
		return 1
	}
	return 2
}

// pattern is what the broker binds the stream to.
func (s Stream) pattern() string { return s.family() + strings.Repeat(".*", s.ids()) }

// RoofSubject, SkySubject and DoorSubject are the only makers of subjects. They fail with ErrInvalid on an id that is not 1 to 64 of
// A-Z a-z 0-9 _ -, so that no id can reach into another subject.
func RoofSubject(company, job string) (string, error) { return subject(Roof, company, job) }

// SkySubject is the subject of a job's forecasts; see RoofSubject.
func SkySubject(company, job string) (string, error) { return subject(Sky, company, job) }

// DoorSubject is the subject of a company's people and rights; see RoofSubject.
func DoorSubject(company string) (string, error) { return subject(Door, company) }

func subject(s Stream, ids ...string) (string, error) {
	full := s.family() + "." + strings.Join(ids, ".")
	if _, err := streamOf(full); err != nil {
		return "", err
	}
	return full, nil
}

// streamOf checks a subject and says which stream keeps it.
func streamOf(subject string) (Stream, error) {
	tokens := strings.Split(subject, ".")
	for _, s := range Streams() {
		if tokens[0] != s.family() || len(tokens) != 1+s.ids() {
			continue
		}
		for _, id := range tokens[1:] {
			if !isID(id) {
				return "", fmt.Errorf("%w: id %q in subject %q is not 1 to 64 of A-Z a-z 0-9 _ -", ErrInvalid, id, subject)
			}
		}
		return s, nil
	}
	return "", fmt.Errorf("%w: no stream keeps subject %q", ErrInvalid, subject)
}

func isID(s string) bool {
	if len(s) < 1 || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		switch c := s[i]; {
		case 'a' <= c && c <= 'z', 'A' <= c && c <= 'Z', '0' <= c && c <= '9', c == '_', c == '-':
		default:
			return false
		}
	}
	return true
}

func (s Stream) check() error {
	for _, known := range Streams() {
		if s == known {
			return nil
		}
	}
	return fmt.Errorf("%w: there is no stream %q", ErrInvalid, s)
}
