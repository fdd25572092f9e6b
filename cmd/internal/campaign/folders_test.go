package campaign

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/stats/simulate"
)

// A folder with other CSV files is left alone; the campaign's own are replaced
// when that is asked for.
func TestStrangers(t *testing.T) {
	s, l, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	dir := write(t, s, l)
	before := contents(t, dir)
	s.Seed++
	if err := Write(dir, s, l, false); !errors.Is(err, ErrThere) || !reflect.DeepEqual(contents(t, dir), before) {
		t.Errorf("error %v, want that files are there, and none changed", err)
	}
	if err := Write(dir, s, l, true); err != nil {
		t.Fatal(err)
	}
	if after := contents(t, dir); len(after) != len(before) || reflect.DeepEqual(after, before) {
		t.Errorf("%d files instead of %d, or the same ones", len(after), len(before))
	}
	l.Files = OneFile
	before = contents(t, dir)
	err = Write(dir, s, l, true)
	if err == nil || !strings.Contains(err.Error(), "session-2020-04-04.csv") {
		t.Errorf("error %v, want the file that is in the way", err)
	}
	if !reflect.DeepEqual(contents(t, dir), before) {
		t.Error("the folder was changed")
	}
}

// A new folder is there whole or not at all, and its parents are made.
func TestNewFolder(t *testing.T) {
	s, l, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	parent := t.TempDir()
	dir := filepath.Join(parent, "some", "where")
	if err := Write(dir, s, l, false); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(contents(t, dir), contents(t, write(t, s, l))) {
		t.Error("a new folder holds other files than an empty one is given")
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(parent, "some", "bad")
	err = atomicfile.Folder(bad, func(dir string) error {
		groups := []group{{name: "a.csv", runs: []int{0}}, {name: filepath.Join("no", "b.csv"), runs: []int{0}}}
		return writeFiles(dir, newRowWriter(c, &l), groups, nil)
	})
	if err == nil {
		t.Error("a file in a folder that is not there was written")
	}
	if entries, err := os.ReadDir(filepath.Join(parent, "some")); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v (%v)", entries, err)
	}
}
