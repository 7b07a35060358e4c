package cutplan

import (
	"context"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// Every bar, mark and length stands on the sheet, marks with odd letters do not break it, and it is well-formed XML.
func TestSheet(t *testing.T) {
	q, err := Read([]byte(`{"stock":[{"length":"20'","id":"coil <A>"},{"length":"9'","id":"rest & more","count":1}],
		"pieces":[{"mark":"A-01","length":"8'-3\"","high_run":"18 in"},{"mark":"B<2>","length":"7'","low_run":"18 in","count":2},{"mark":"clip","length":"2\"","count":3}],
		"kerf":"1/8 in"}`))
	if err != nil {
		t.Fatal(err)
	}
	a, err := Plan(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	svg := Sheet(`Trim for "job" 12 & 13`, q, a)
	var text strings.Builder
	d := xml.NewDecoder(strings.NewReader(svg))
	paths, boxes := 0, 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.CharData:
			text.WriteString(string(e) + "\n")
		case xml.StartElement:
			switch e.Name.Local {
			case "path":
				paths++
			case "rect":
				boxes++
			}
		}
	}
	for _, want := range []string{`Trim for "job" 12 & 13`, "A-01 8'-3\"", "B<2> 7'", "3 × clip 2\"", "coil <A>", "shared cuts save 1'-6\"", "kerf 1/8\""} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is not on the sheet:\n%s", want, text.String())
		}
	}
	if paths != 1+6 || boxes != 2*len(a.Bars) {
		t.Errorf("%d paths and %d boxes for 6 pieces and %d bars", paths, boxes, len(a.Bars))
	}
}
