package temporary

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// A file takes and gives bytes; while it is open and afterwards its folder is empty,
// but for systems that keep the names of open files.
func TestFile(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir) // Windows
	f, err := New()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte("levels"), 3); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 6)
	if _, err := f.ReadAt(b, 3); err != nil || string(b) != "levels" {
		t.Errorf("%q, %v", b, err)
	}
	left := func() int {
		names, err := filepath.Glob(filepath.Join(dir, "*"))
		if err != nil {
			t.Fatal(err)
		}
		return len(names)
	}
	if runtime.GOOS == "linux" && left() > 0 {
		t.Error("it has a name while it is open")
	}
	if err := f.Close(); err != nil || left() > 0 {
		t.Errorf("closed: %v, %d names", err, left())
	}
	kept, err := os.CreateTemp("", Pattern)
	if err != nil {
		t.Fatal(err)
	}
	if err := (&File{File: kept}).Close(); err != nil || left() > 0 {
		t.Errorf("one with a name, closed: %v, %d names", err, left())
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "gone"))
	t.Setenv("TMP", filepath.Join(dir, "gone"))
	if f, err := New(); err == nil {
		f.Close()
		t.Error("a file in a folder that is not there")
	}
}
