package ingest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Progress rises from nothing to all of the bytes, twice over, in steps.
func TestProgress(t *testing.T) {
	folder := t.TempDir()
	size := int64(0)
	for _, name := range []string{"a", "b", "c"} {
		text := "run,box,gasket,closing,freq_mhz,atten_db\n" +
			name + "1,x,foil,1,100,60\n" + name + "2,x,foil,1,100,61\n" + name + "2,x,foil,2,100,62\n"
		if err := os.WriteFile(filepath.Join(folder, name+".csv"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		size += int64(len(text))
	}
	opt := DefaultOptions()
	var last, steps int64
	opt.Progress = func(done, total int64) {
		if total != 2*size || done < last || done > total {
			t.Errorf("%d of %d after %d; the files have %d bytes", done, total, last, size)
		}
		if done > last {
			steps++
		}
		last = done
	}
	if _, err := Read(context.Background(), []string{folder}, opt, func(*Run) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if last != 2*size || steps < 9 {
		t.Errorf("ended at %d of %d in %d steps", last, 2*size, steps)
	}
}

// What has no size tells nothing, and is read all the same.
func TestProgressOfStandardInput(t *testing.T) {
	opt := DefaultOptions()
	opt.Stdin = strings.NewReader("box,gasket,closing,freq_mhz,atten_db\nx,foil,1,100,60\n")
	opt.Progress = func(done, total int64) { t.Errorf("told %d of %d", done, total) }
	runs := 0
	if _, err := Read(context.Background(), []string{"-"}, opt, func(*Run) error { runs++; return nil }); err != nil || runs != 1 {
		t.Fatalf("%d runs, %v", runs, err)
	}
}
