package main

import (
	"bytes"
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/access"
)

// verb runs the program with arguments and returns what it prints.
func verb(t testing.TB, args ...string) (code int, said string) {
	t.Helper()
	var out bytes.Buffer
	code = run(args, strings.NewReader(""), &out, &out)
	return code, out.String()
}

// F56: a directory is backed up while it is served and written to, by people who are hired meanwhile: the backup is whole, holds all that was
// answered before it was asked for, and nobody in it is missing who reported something in it.
func TestBackupWhileServing(t *testing.T) {
	t.Parallel()
	r := start(t)
	const writers = 4
	for w := range writers {
		r.crew.open(fmt.Sprintf("job-%d", w))
	}
	told := make(chan uint64, 1000)
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			defer stop()
			for i := 0; ctx.Err() == nil; i++ {
				sequence, err := hireAndReport(r.crew, w, i)
				if err != nil {
					t.Error(err)
					return
				}
				select {
				case told <- sequence:
				default: // nobody counts any more
				}
			}
		})
	}
	for n := range journaltest.Rounds(t, 2) {
		file, dir := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
		before := uint64(0)
		for range 10 {
			select {
			case sequence := <-told:
				before = max(before, sequence)
			case <-ctx.Done():
				t.Fatal("a writer ended")
			}
		}
		if code, said := verb(t, "backup", "--dir", r.dir, file); code != 0 {
			t.Fatalf("backup %d: %d %s", n, code, said)
		}
		if _, err := os.Stat(file + ".part"); err == nil {
			t.Errorf("backup %d left its beginning", n)
		}
		if code, said := verb(t, "restore", "--dir", dir, file); code != 0 {
			t.Fatalf("restore %d: %d %s", n, code, said)
		}
		if code, said := verb(t, "verify", "--dir", dir); code != 0 {
			t.Fatalf("verify %d: %d %s", n, code, said)
		}
		sameUpTo(t, r.journal, dir, before)
	}
	stop()
	all.Wait()
}

// hireAndReport hires a lead who reports something at once, and returns the report's sequence.
func hireAndReport(c *crew, w, i int) (uint64, error) {
	var added struct{ Person string }
	var issued struct{ Token string }
	var answer struct{ Results []answered }
	ask := func(path, token string, body, into any) error {
		status, text, err := c.try(http.MethodPost, path, token, written(c.t, body))
		if err != nil || status/100 != 2 {
			return errors.Join(fmt.Errorf("%s: %d %s", path, status, text), err)
		}
		return json.Unmarshal([]byte(text), into, json.MatchCaseInsensitiveNames(true))
	}
	if err := ask("/v1/people", c.tokens[access.Owner], map[string]string{"name": "New", "role": "lead"}, &added); err != nil {
		return 0, err
	}
	if err := ask("/v1/people/"+added.Person+"/tokens", c.tokens[access.Owner], nil, &issued); err != nil {
		return 0, err
	}
	report := tell(fmt.Sprintf("%d/%d", w, i), "panel-set", i%50, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)})
	if err := ask(fmt.Sprintf("/v1/jobs/job-%d/reports", w), issued.Token, map[string]any{"reports": []roofReport{report}}, &answer); err != nil {
		return 0, err
	}
	if len(answer.Results) != 1 || answer.Results[0].Status != "accepted" {
		return 0, fmt.Errorf("answered %+v", answer)
	}
	return answer.Results[0].Sequence, nil
}

// sameUpTo compares a restored directory with the log that was backed up, which has gone on since.
func sameUpTo(t *testing.T, log *journal.Journal, dir string, least uint64) {
	t.Helper()
	restored, err := journal.Open(t.Context(), journal.Options{Dir: dir, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := restored.Close(); err != nil {
			t.Error(err)
		}
	}()
	reporters := map[string]bool{}
	for _, stream := range journal.Streams() {
		end, err := restored.End(t.Context(), stream)
		if err != nil {
			t.Fatal(err)
		}
		if stream == journal.Roof && end.Sequence < least {
			t.Errorf("%d events are in the backup, %d were answered before", end.Sequence, least)
		}
		have, err := journaltest.Read(t.Context(), restored, stream, journal.Position{}, int(end.Sequence))
		if err != nil {
			t.Fatal(err)
		}
		want, err := journaltest.Read(t.Context(), log, stream, journal.Position{}, int(end.Sequence))
		if err != nil {
			t.Fatal(err)
		}
		var people strings.Builder
		for i := range have {
			if have[i].Digest != want[i].Digest || have[i].Sequence != want[i].Sequence {
				t.Fatalf("event %d of %s is another", i+1, stream)
			}
			if stream == journal.Roof {
				reporters[have[i].By] = true
			}
			people.Write(have[i].Data)
		}
		if stream == journal.Door {
			defer func() {
				for who := range reporters {
					if !strings.Contains(people.String(), who) {
						t.Errorf("%s reported something and is not in the backup", who)
					}
				}
			}()
		}
	}
}
