package ingest

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// A file that is read again later must still be the same; plain files that are
// large, and many, are opened again.
func TestChangedWhileRead(t *testing.T) {
	files := map[string]string{}
	for i := range openAtOnce + 1 {
		files[fmt.Sprintf("small %d.csv", i)] = strings.ReplaceAll(ok, "a,", fmt.Sprintf("s%d,", i))
	}
	var big strings.Builder
	big.WriteString("remark," + head)
	for i := range 300 {
		remark := strings.Repeat("x", 4000)
		fmt.Fprintf(&big, "%s,z%d,,,,open,100,-31\n%s,z%d,B,G,1,closed,100,-59\n", remark, i, remark, i)
	}
	if big.Len() <= cacheFile {
		t.Fatalf("%d bytes are kept in memory", big.Len())
	}
	files["z.csv"] = big.String()
	dir := folder(t, files)
	res := read(t, DefaultOptions(), dir)
	if res.err != nil || len(res.runs) != 300+openAtOnce+1 {
		t.Fatalf("%v, %d runs", res.err, len(res.runs))
	}
	_, err := Read(context.Background(), []string{dir}, DefaultOptions(), func(r *Run) error {
		if r.Label == "z0" {
			return os.WriteFile(filepath.Join(dir, "z.csv"), []byte(ok), 0o644)
		}
		return nil
	})
	// Where a worker has it open at that moment it ends early instead.
	if err == nil || !strings.Contains(err.Error(), "z.csv: the file was changed while it was read") && !strings.Contains(err.Error(), "z.csv: the file was cut short while it was read") {
		t.Errorf("%v", err)
	}
}

// The same label in two files may be made from the file's name in one of them.
func TestLabelsThatClash(t *testing.T) {
	dir := folder(t, map[string]string{
		"a.csv": "box,gasket,closing,freq_mhz,atten_db\nB,G,1,100,28\n",
		"b.csv": "run,box,gasket,closing,freq_mhz,atten_db\na,B,G,1,100,28\n",
		"c.csv": "date,run,box,gasket,closing,state,freq_mhz,level_dbm\n" +
			"2026-05-04,r,,,,open,100,-31\n2026-05-05,r,,,,open,100,-31\n,r 2026-05-04,,,,open,100,-31\n",
	})
	res := read(t, DefaultOptions(), dir) // read checks that labels differ
	var labels []string
	for _, r := range res.runs {
		labels = append(labels, strings.TrimPrefix(r.Label, filepath.Base(dir)))
	}
	if got := strings.Join(labels, ", "); res.err != nil || got != "/a, a, r 2026-05-04, r 2026-05-04 (2), r 2026-05-05" {
		t.Errorf("%v, %s", res.err, got)
	}
}

// An open reading with a closing and a date serves that closing of that day only,
// and so does a floor.
func TestOwnReadingsOfADay(t *testing.T) {
	res := good(t, DefaultOptions(), "date,"+head+
		"2026-05-04,a,,,,open,100,-30\n2026-05-04,a,,,1,open,100,-35\n"+
		"2026-05-04,a,,,1,floor,100,-100\n"+
		"2026-05-04,"+shut+"2026-05-05,"+shut)
	if got := res.runs[0].table(); got != "B/1@100=24 B/1@100=29?" {
		t.Error(got)
	}
}

// Repeats by points would be a table far larger than the readings.
func TestSparseRepeats(t *testing.T) {
	var b strings.Builder
	b.WriteString(head)
	for i := range 1100 {
		fmt.Fprintf(&b, "a,,,,open,1,-31\na,,,,open,%d,-31\n", i+2)
	}
	b.WriteString("a,B,G,1,closed,1,-59\n")
	res := good(t, DefaultOptions(), b.String())
	if r := res.runs[0].Reference; r.Repeats != nil || r.DriftDB != 0 || !strings.Contains(strings.Join(res.sum.Notes, " "), "cannot be compared with each other") {
		t.Errorf("%d repeats, drift %v, %q", len(r.Repeats), r.DriftDB, res.sum.Notes)
	}
}

// Repeats with a sweep come in the order of the labels, those without behind them.
func TestOrderOfRepeats(t *testing.T) {
	res := good(t, DefaultOptions(), "sweep,"+head+
		",a,,,,open,100,-31\n10,a,,,,open,100,-32\n2,a,,,,open,100,-33\n2,a,,,,open,100,-33.5\n"+","+shut)
	if got := fmt.Sprint(res.runs[0].Reference.Repeats); got != "[[-33] [-33.5] [-32] [-31]]" {
		t.Error(got)
	}
}

func TestBadSettings(t *testing.T) {
	nan := math.NaN()
	for _, change := range []func(*Options){
		func(o *Options) { o.FreqMatch = nan },
		func(o *Options) { o.FreqMatch = 1 },
		func(o *Options) { o.DriftDB = -1 },
		func(o *Options) { o.DriftDB = nan },
		func(o *Options) { o.FloorMarginDB = math.Inf(1) },
		func(o *Options) { o.FloorDBM = &nan },
	} {
		opt := DefaultOptions()
		change(&opt)
		if res := readText(t, opt, ok); res.err == nil || res.sum != nil {
			t.Errorf("%+v is taken", opt)
		}
	}
}

// The collector keeps the first in order, each once, whatever the order of adding.
func TestProblemsCollector(t *testing.T) {
	for _, backwards := range []bool{false, true} {
		ps := reading.Problems{Limit: 3}
		for i := range 1000 {
			if backwards {
				i = 999 - i
			}
			p := Problem{File: "f", Line: 1 + i, What: "is wrong", Text: strings.Repeat("ö", 100)}
			ps.Add(p)
			if i < 3 {
				ps.Add(p)
			}
		}
		kept, omitted := ps.Sorted()
		if len(kept) != 3 || kept[0].Line != 1 || kept[2].Line != 3 || omitted != 997 {
			t.Errorf("%v and %d omitted", kept, omitted)
		}
		if text := kept[0].Text; text != strings.Repeat("ö", 60)+"…" {
			t.Errorf("text %q", text)
		}
	}
	for _, n := range []int{1, 2, 3} {
		b := BadInput{Problems: []Problem{{File: "f", Line: 2, Column: 3, Field: "box", What: "is empty", Mend: "fill it in"}}, Omitted: n - 1}
		want := "f:2:3: box: is empty; fill it in" + []string{"", " (and one more problem)", " (and 2 more problems)"}[n-1]
		if b.Error() != want {
			t.Errorf("%s, want %s", b.Error(), want)
		}
	}
}
