package campaign

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const tracesDir = "../../../testdata/traces"

// The committed example of traces is what the program writes, byte for byte.
func TestTracesAreCurrent(t *testing.T) {
	if *update {
		if err := WriteTraces(tracesDir, true); err != nil {
			t.Fatal(err)
		}
	}
	dir := filepath.Join(t.TempDir(), "new")
	if err := WriteTraces(dir, false); err != nil {
		t.Fatal(err)
	}
	want, got := below(t, dir), below(t, tracesDir)
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is committed but not written", name)
		}
	}
	for name, body := range want {
		if !bytes.Equal(got[name], body) {
			t.Errorf("%s differs from what the program writes; run this test with -update", name)
		}
	}
}

// below reads all files in a folder and below.
func below(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		out[filepath.ToSlash(name)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestTracesOverwrite(t *testing.T) {
	dir := t.TempDir()
	if err := WriteTraces(dir, false); err != nil {
		t.Fatal(err)
	}
	if err := WriteTraces(dir, false); !errors.Is(err, ErrThere) {
		t.Errorf("a second time: %v", err)
	}
	if err := WriteTraces(dir, true); err != nil {
		t.Error(err)
	}
}

// Somebody's readings in the folder or below are not made part of the example, nor of
// a campaign, whatever is to be overwritten.
func TestFoldersOfOthers(t *testing.T) {
	settings, layout, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	for name, refused := range map[string]bool{"mine.csv": true, "old/mine.CSV.gz": true, "spring/mine.parquet": true, ".hidden.csv": false, ".git/mine.csv": false, "notes.txt": false} {
		for what, write := range map[string]func(dir string) error{
			"traces":   func(dir string) error { return WriteTraces(dir, true) },
			"campaign": func(dir string) error { return Write(dir, settings, layout, true) },
		} {
			dir := t.TempDir()
			path := filepath.Join(dir, filepath.FromSlash(name))
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte("mine"), 0o666); err != nil {
				t.Fatal(err)
			}
			err := write(dir)
			if files := below(t, dir); (err != nil) != refused || refused && len(files) != 1 || string(files[name]) != "mine" {
				t.Errorf("%s beside %s: %v, %d files", what, name, err, len(files))
			}
			if refused && !strings.Contains(err.Error(), filepath.Base(name)) {
				t.Errorf("%s: %v does not name %s", what, err, name)
			}
		}
	}
}
