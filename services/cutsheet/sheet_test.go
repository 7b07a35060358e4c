package cutsheet_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bydark/services/cutplan"
	"bydark/services/cutsheet"
)

func planned(t *testing.T, request string) cutsheet.Sheet {
	t.Helper()
	q, err := cutplan.Read([]byte(request))
	if err != nil {
		t.Fatal(err)
	}
	a, err := cutplan.Plan(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	return cutsheet.Sheet{Title: `Trim for "job" 12 & 13`, Sub: "as of 4 May", Foot: "An aid.", Sections: []cutsheet.Section{{
		Title: "Eave trim <10>", Request: q, Answer: a,
		Labels: func(mark string) cutsheet.Label {
			return cutsheet.Label{Lines: []string{"high end: cut at 48.4°", "of plane A"}, Link: "https://roofs.example/jobs/barn/piece?mark=" + mark}
		},
	}}}
}

const request = `{"stock":[{"length":"20'","id":"coil <A>"},{"length":"9'","id":"rest & more","count":1}],
	"pieces":[{"mark":"A-01","length":"8'-3\"","high_run":"18 in"},{"mark":"B<2>","length":"7'","low_run":"18 in","count":2},{"mark":"clip","length":"2\"","count":3}],
	"kerf":"1/8 in"}`

// wanted is every piece with its length, every bar and what is said of them.
var wanted = []string{`Trim for "job" 12 & 13`, "A-01", `8'-3"`, "B<2>", "7'", "clip", `2"`, "coil <A>", "shared cuts save", "kerf 1/8", "Eave trim <10>", "high end: cut at 48.4°", "page 1 of 2", "An aid."}

// Every bar, mark and length stands on the sheet, marks with odd letters do not break it,
// and it is well-formed XML.
func TestSVG(t *testing.T) {
	s := planned(t, request)
	pages, err := s.Pages()
	if err != nil {
		t.Fatal(err)
	}
	text := charData(t, cutsheet.SVG(s.Title, pages))
	for _, want := range wanted {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not on the sheet:\n%s", want, text)
		}
	}
	pieces := 0
	for _, b := range s.Sections[0].Answer.Bars {
		pieces += len(b.Pieces)
	}
	if n := strings.Count(text, "of plane A"); n != pieces {
		t.Errorf("%d labels for %d pieces", n, pieces)
	}
}

func charData(t *testing.T, svg string) string {
	t.Helper()
	var text strings.Builder
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return text.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		if c, ok := tok.(xml.CharData); ok {
			text.Write(append(c, '\n'))
		}
	}
}

// The PDF holds the same words, read back by poppler's pdftotext, is the same twice over,
// and its codes read as the addresses that they stand for (zbarimg of zbar-tools).
func TestPDF(t *testing.T) {
	s := planned(t, request)
	pages, err := s.Pages()
	if err != nil {
		t.Fatal(err)
	}
	made := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	first, err := cutsheet.PDF(s.Title, pages, made)
	if err != nil {
		t.Fatal(err)
	}
	second, err := cutsheet.PDF(s.Title, pages, made)
	if err != nil || !bytes.Equal(first, second) {
		t.Errorf("two files of one sheet differ: %d and %d bytes, %v", len(first), len(second), err)
	}
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, first, 0o600); err != nil {
		t.Fatal(err)
	}
	text := run(t, "pdftotext", "-layout", file, "-")
	for _, want := range wanted {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the file:\n%s", want, text)
		}
	}
	run(t, "pdftoppm", "-r", "200", "-png", file, filepath.Join(filepath.Dir(file), "page"))
	read := run(t, "zbarimg", "-q", "--raw", filepath.Join(filepath.Dir(file), "page-2.png"))
	for _, mark := range []string{"A-01", "clip"} {
		if link := "https://roofs.example/jobs/barn/piece?mark=" + mark; !strings.Contains(read, link) {
			t.Errorf("no code says %s: %s", link, read)
		}
	}
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v (deploy/test-needs installs it)", name, err)
	}
	return string(out)
}

// A coil of hundreds of panels breaks into rows and pages, and nothing is lost.
func TestLongCoil(t *testing.T) {
	var marks []string
	for i := range 300 {
		marks = append(marks, fmt.Sprintf(`{"mark":"N-%03d","length":"%d in"}`, i+1, 60+i%90))
	}
	s := planned(t, `{"stock":[{"length":"4000'"}],"pieces":[`+strings.Join(marks, ",")+`]}`)
	pages, err := s.Pages()
	if err != nil {
		t.Fatal(err)
	}
	text := charData(t, cutsheet.SVG(s.Title, pages))
	for i := range 300 {
		// Once in the list under its bar, once on its label.
		if n := strings.Count(text, fmt.Sprintf("N-%03d", i+1)); n < 2 {
			t.Errorf("N-%03d stands %d times on the sheet", i+1, n)
		}
	}
}

// Nothing to cut is said, not an empty file.
func TestNothingToCut(t *testing.T) {
	s := cutsheet.Sheet{Title: "Barn"}
	pages, err := s.Pages()
	if err != nil || len(pages) != 1 || !strings.Contains(charData(t, cutsheet.SVG(s.Title, pages)), "Nothing is left to cut.") {
		t.Error(len(pages), err)
	}
}
