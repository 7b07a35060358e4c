package main

import (
	"bytes"
	"encoding/json/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// call runs the program and gives its exit code and both outputs.
func call(in string, args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(args, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

const lHip = "../../testdata/takeoff/l-hip.json"

func TestTakeoffAnswersInJSON(t *testing.T) {
	code, out, errs := call("", "takeoff", lHip, "--json")
	var doc struct {
		Planes []struct {
			Panels []struct {
				Mark string `json:"mark"`
			} `json:"panels"`
		} `json:"planes"`
		Lines []struct {
			Material string  `json:"material"`
			Order    float64 `json:"order"`
		} `json:"lines"`
	}
	if err := json.Unmarshal([]byte(out), &doc); code != 0 || err != nil || errs != "" {
		t.Fatalf("%d, %v, %s", code, err, errs)
	}
	if len(doc.Planes) != 6 || len(doc.Planes[0].Panels) != 36 || doc.Planes[0].Panels[0].Mark != "S-01" || doc.Lines[0].Order != 4 {
		t.Errorf("%+v", doc)
	}
}

func TestTakeoffWritesFilesAndText(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	code, out, errs := call("", "takeoff", lHip, "--assembly", "raised-clip-vented", "--csv", at("a.csv"), "--xlsx", at("a.xlsx"), "--map", at("a.svg"),
		"--start", "S=centred", "--match", "W=S", "--overhang", "18 in", "--wall", "6 in", "--zone", "eave,4',12 in,S", "--zone", "rake,3',12 in")
	if code != 0 || errs != "" || !strings.Contains(out, "CUT LIST") {
		t.Fatalf("%d, %s, %s", code, out, errs)
	}
	for name, want := range map[string]string{"a.csv": "cut list", "a.xlsx": "PK", "a.svg": "S-01"} {
		if data, err := os.ReadFile(at(name)); err != nil || !strings.Contains(string(data), want) {
			t.Errorf("%s: %v, %d bytes without %q", name, err, len(data), want)
		}
	}
}

func TestTakeoffRefuses(t *testing.T) {
	flat := `{"name":"flat","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"1/12","falls_deg":180}]}`
	for _, c := range []struct {
		in   string
		args []string
		want string
	}{
		{flat, []string{"-"}, "plane A"}, {"{}", []string{"-"}, "-: "}, {flat, []string{"-", "--assembly", "raised-clip-purlins", "--start", "B=left"}, "B"},
		{"", []string{"nowhere.json"}, "nowhere.json"}, {flat, []string{"-", "--assembly", "nothing"}, "flat-clip"}, {flat, []string{"-", "--overhang", "12"}, "overhang"},
		{flat, []string{"-", "--zone", "eave,4'"}, "--zone"},
	} {
		code, out, errs := call(c.in, append([]string{"takeoff", "--json"}, c.args...)...)
		if code != 2 || out != "" || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%v: %d, %q, %q; want %q", c.args, code, out, errs, c.want)
		}
	}
}
