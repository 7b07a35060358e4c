package deploy_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"
)

// The unit is one that systemd understands without a word of warning, and leaves the
// program little that it could do to the machine.
func TestUnit(t *testing.T) {
	t.Parallel()
	unit := filepath.Join(t.TempDir(), "bydark.service")
	text := strings.ReplaceAll(string(read(t, "bydark.service")), "/usr/local/bin/bydark", release(t))
	if err := os.WriteFile(unit, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "systemd-analyze", "verify", "--man=no", unit).CombinedOutput()
	if err != nil || bytes.Contains(out, []byte("bydark.service")) {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
	// The scale of systemd-analyze security goes from 0, safe, to 10.
	out, err = exec.CommandContext(t.Context(), "systemd-analyze", "security", "--no-pager", "--offline=yes", "--threshold=20", unit).CombinedOutput()
	if err != nil {
		t.Errorf("systemd-analyze security: %v\n%s", err, out)
	}
}

// documents are those of a YAML file. Members that are written twice are refused.
func documents(t *testing.T, file string) []map[string]any {
	t.Helper()
	var all []map[string]any
	in := yaml.NewDecoder(bytes.NewReader(read(t, file)))
	for {
		var doc map[string]any
		err := in.Decode(&doc)
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		all = append(all, doc)
	}
}

// at goes down into a document.
func at(doc any, path ...any) any {
	for _, step := range path {
		switch s := step.(type) {
		case string:
			m, _ := doc.(map[string]any)
			doc = m[s]
		case int:
			l, _ := doc.([]any)
			if s >= len(l) {
				return nil
			}
			doc = l[s]
		}
	}
	return doc
}

// The containers run as nobody, write to their volume only, and probe routes that exist.
func TestContainers(t *testing.T) {
	t.Parallel()
	service := at(documents(t, "compose.yaml")[0], "services", "bydark")
	if at(service, "read_only") != true || at(service, "cap_drop", 0) != "ALL" || at(service, "security_opt", 0) != "no-new-privileges:true" ||
		!strings.HasPrefix(at(service, "ports", 0).(string), "127.0.0.1:") {
		t.Errorf("compose.yaml: %v", service)
	}
	kinds := map[string]map[string]any{}
	for _, doc := range documents(t, "kubernetes.yaml") {
		kind, _ := doc["kind"].(string)
		kinds[kind] = doc
		if doc["apiVersion"] == nil || at(doc, "metadata", "name") != "bydark" || kind != "Namespace" && at(doc, "metadata", "namespace") != "bydark" {
			t.Errorf("kubernetes.yaml: %v", doc["metadata"])
		}
	}
	set := kinds["StatefulSet"]
	pod := at(set, "spec", "template", "spec")
	one := at(pod, "containers", 0)
	label := at(set, "spec", "selector", "matchLabels", "app.kubernetes.io/name")
	for what, bad := range map[string]bool{
		"its labels":      label == nil || at(set, "spec", "template", "metadata", "labels", "app.kubernetes.io/name") != label || at(kinds["Service"], "spec", "selector", "app.kubernetes.io/name") != label,
		"who it runs as":  at(pod, "securityContext", "runAsNonRoot") != true || at(pod, "securityContext", "seccompProfile", "type") != "RuntimeDefault",
		"its rights":      at(one, "securityContext", "allowPrivilegeEscalation") != false || at(one, "securityContext", "readOnlyRootFilesystem") != true || at(one, "securityContext", "capabilities", "drop", 0) != "ALL",
		"its token":       at(pod, "automountServiceAccountToken") != false,
		"its port":        at(one, "ports", 0, "name") != at(kinds["Service"], "spec", "ports", 0, "targetPort"),
		"its volume":      at(one, "volumeMounts", 0, "name") != at(set, "spec", "volumeClaimTemplates", 0, "metadata", "name") || at(one, "volumeMounts", 0, "mountPath") != "/data",
		"how many":        at(set, "spec", "replicas") != 1 || at(set, "spec", "volumeClaimTemplates", 0, "spec", "accessModes", 0) != "ReadWriteOncePod",
		"when it is cut":  at(pod, "terminationGracePeriodSeconds") != 30,
		"its memory":      at(one, "resources", "limits", "memory") == nil,
		"its environment": at(one, "envFrom", 0, "secretRef", "name") != at(kinds["Secret"], "metadata", "name"),
	} {
		if bad {
			t.Errorf("kubernetes.yaml: %s is not right", what)
		}
	}
	routes := read(t, filepath.Join(root, "services/facade/testdata/openapi.json"))
	for _, probe := range []string{"startupProbe", "livenessProbe", "readinessProbe"} {
		path, _ := at(one, probe, "httpGet", "path").(string)
		if path == "" || !bytes.Contains(routes, []byte(`"`+path+`"`)) {
			t.Errorf("%s asks for %q, which is no route", probe, path)
		}
	}
}

// Every variable that a file of this folder sets is one that the program reads.
func TestVariables(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	sources, err := filepath.Glob(filepath.Join(root, "cmd/bydark/*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range sources {
		for _, m := range regexp.MustCompile(`env:"(BYDARK_[A-Z_]+)"`).FindAllSubmatch(read(t, file), -1) {
			known[string(m[1])] = true
		}
	}
	for _, file := range []string{"bydark.service", "environment.example", "compose.yaml", "kubernetes.yaml", "Containerfile", "RUNNING.md"} {
		for _, m := range regexp.MustCompile(`BYDARK_[A-Z_]+`).FindAll(read(t, file), -1) {
			if !known[string(m)] && !bytes.HasPrefix(m, []byte("BYDARK_BENCH_")) { // those are read by benchmarks
				t.Errorf("%s names %s, which the program does not read", file, m)
			}
		}
	}
}
