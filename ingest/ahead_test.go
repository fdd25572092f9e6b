package ingest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Small plain files are read ahead, a few at a time, and come in the order of the list;
// all else is left to its turn.
func TestReadAhead(t *testing.T) {
	files := map[string]string{"large.csv": strings.Repeat("x", aheadFile+1), "packed.csv.gz": "x", "magic.csv": gzipMagic, "empty.csv": ""}
	for i := range 5 * aheadFiles {
		files[fmt.Sprintf("f%03d.csv", i)] = fmt.Sprint("text ", i)
	}
	dir := folder(t, files)
	s, err := find([]string{dir})
	if err != nil {
		t.Fatal(err)
	}
	gone := s.files[3].path
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	a := readAhead(s.files, true)
	held := int64(0)
	for _, f := range s.files {
		p, name := a.next(), filepath.Base(f.path)
		left := f.path == gone || name == "large.csv" || name == "packed.csv.gz" || name == "magic.csv"
		switch {
		case left != (p.source == nil):
			t.Errorf("%s: read ahead %v", name, !left)
		case !left && (p.source.path != f.path || !bytes.Equal(*p.text, []byte(files[name])) || p.source.size != int64(len(files[name]))):
			t.Errorf("%s: read as %q of %s", name, *p.text, p.source.path)
		}
		if !left { // what was read stays in memory only while there is room
			room := int64(3) - held
			p.source.memory = *p.text
			p.source.forget(&room)
			if kept := p.source.memory != nil; kept != (p.source.size <= 3-held) {
				t.Errorf("%s: kept %v", name, kept)
			}
			held = 3 - room
		}
		a.done(p)
	}
	a.stop()
	readAhead(s.files, true).stop() // before anything is asked for
}
