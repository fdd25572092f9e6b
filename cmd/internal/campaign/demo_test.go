package campaign

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/demo anew")

const demoDir = "../../../testdata/demo"

// The committed demo is what its settings produce, byte for byte.
func TestDemoIsCurrent(t *testing.T) {
	settings, layout := Demo()
	if *update {
		if err := Write(demoDir, settings, layout); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	if err := Write(dir, settings, layout); err != nil {
		t.Fatal(err)
	}
	want, got := contents(t, dir), contents(t, demoDir)
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is committed but not written", name)
		}
	}
	size := 0
	for name, body := range want {
		size += len(body)
		if !bytes.Equal(got[name], body) {
			t.Errorf("%s differs from what the settings produce; run this test with -update", name)
		}
	}
	if size > 400<<10 {
		t.Errorf("the demo takes %d bytes; it should stay readable, below 400 KB", size)
	}
}

func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, e := range entries {
		body, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		out[e.Name()] = body
	}
	return out
}
