package main

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// S56: the embedded broker opens no port; the program listens where it was told and
// nowhere else.
func TestListensOnceOnly(t *testing.T) {
	t.Parallel()
	dir, _ := prepare(t)
	served := launch(t, dir)
	own := sockets(t, served.Process.Pid)
	var listening []string
	for _, table := range []string{"tcp", "tcp6", "udp", "udp6"} {
		f, err := os.Open(fmt.Sprintf("/proc/%d/net/%s", served.Process.Pid, table))
		if err != nil {
			t.Fatal(err)
		}
		for lines := bufio.NewScanner(f); lines.Scan(); {
			field := strings.Fields(lines.Text())
			const listen = "0A" // state, as proc(5) has it
			if len(field) > 9 && slices.Contains(own, field[9]) && (field[3] == listen || strings.HasPrefix(table, "udp")) {
				listening = append(listening, table+" "+field[1])
			}
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
	if len(listening) != 1 || !strings.HasPrefix(listening[0], "tcp 0100007F:") {
		t.Errorf("it listens on %v", listening)
	}
}

// sockets are the inodes of a process's sockets.
func sockets(t *testing.T, pid int) []string {
	t.Helper()
	links, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, link := range links {
		to, err := os.Readlink(link)
		if err != nil {
			continue // closed meanwhile
		}
		if inode, ok := strings.CutPrefix(to, "socket:["); ok {
			all = append(all, strings.TrimSuffix(inode, "]"))
		}
	}
	return all
}
