package ingest

import (
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/internal/sweeps"
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

// Offsets are bytes in one file and numbers of rows in another: each file weighs what
// it has of bytes, not the one half as if it were the whole.
func TestProgressOfSeveralFormats(t *testing.T) {
	header, runs := sweeps.Made(40)
	source := folder(t, map[string]string{"a.csv": header + strings.Join(runs[:20], ""), "b.csv": header + strings.Join(runs[20:], "")})
	mixed := t.TempDir()
	csv, arrow := filepath.Join(mixed, "a.csv"), filepath.Join(mixed, "b.arrow")
	text, err := os.ReadFile(filepath.Join(source, "a.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(csv, text, 0o600); err != nil {
		t.Fatal(err)
	}
	table, err := os.ReadFile(packTo(t, "b.arrow", filepath.Join(source, "b.csv")))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(arrow, table, 0o600); err != nil {
		t.Fatal(err)
	}
	size, total := int64(len(text)), int64(len(text)+len(table))
	if 2*size < total {
		t.Fatalf("%d of %d bytes are text: the test needs files that differ", size, total)
	}
	visits, last := 0, int64(0)
	opt := DefaultOptions()
	opt.Progress = func(done, of int64) {
		if of != 2*total || done < last {
			t.Errorf("%d of %d after %d; the files have %d bytes", done, of, last, total)
		}
		last = done
	}
	if _, err := Read(context.Background(), []string{mixed}, opt, func(*Run) error {
		if visits++; visits == 20 { // all of the text
			if got := last - total; math.Abs(float64(got-size)) > 0.01*float64(total) {
				t.Errorf("with the text visited %d bytes of %d were told, want about %d", got, total, size)
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if visits != 40 || last != 2*total {
		t.Errorf("%d visits, ended at %d of %d", visits, last, 2*total)
	}
}

// Packing goes through the files three times: where rows stand, which columns are
// filled, and writing.
func TestProgressOfPacking(t *testing.T) {
	header, runs := sweeps.Made(5)
	text := header + strings.Join(runs, "")
	source := folder(t, map[string]string{"a.csv": text})
	size, last, steps := int64(len(text)), int64(0), 0
	opt := DefaultOptions()
	opt.Progress = func(done, total int64) {
		if total != 3*size || done < last || done > total {
			t.Errorf("%d of %d after %d; the file has %d bytes", done, total, last, size)
		}
		if done > last {
			steps++
		}
		last = done
	}
	p, err := OpenPacking(context.Background(), []string{source}, opt, ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if last != 2*size {
		t.Errorf("at %d before writing, of %d", last, 3*size)
	}
	if err := p.Write(context.Background(), io.Discard); err != nil || last != 3*size || steps < 11 {
		t.Errorf("ended at %d of %d in %d steps, %v", last, 3*size, steps, err)
	}
}
