package ingest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// seeds of a runs.csv for two files, whose names end in ending.
func listSeeds(ending string) []string {
	const labels = "file,run,date,box,gasket,closing,state,floor_dbm,gain_db,sweep,position"
	return []string{
		labels + "\na" + ending + ",A,2031-05-04,,,,open,,,,lid\nb" + ending + ",A,2031-05-04,b,g,1,closed,-120,,1,lid\n",
		"file,state,box,gasket,closing,limited,repeated_header,freq_tolerance_hz,missing\na" + ending + ",reference,,,,,,1e3,\nb" + ending + ",sealed,b,g,1,yes,yes,,---|\n",
		"file,state,delimiter,decimal,encoding,header_line,units_row,level_column\n\"a" + ending + "\",floor,;,comma,latin-1,8,,\nb" + ending + ",floor,tab,,utf-16,,,\nA" + ending + ",open,,,,,,\n../c,open,,,,,,\n",
		"file,state,level_unit,freq_unit,status_column,status_good,points,footer_lines\na" + ending + ",open,dBuV,suffix,,,,\nb" + ending + ",floor,suffix,,Status,OK|,3,1\n",
		"file;state\na;open\n",
	}
}

// FuzzTraces reads arbitrary bytes as two traces, or as two network files, under an
// arbitrary runs.csv. Nothing may panic or leak, every row is accounted for, no
// number is NaN or infinite; with bad rows skipped nothing is refused, and the
// proposal made from the same folder can itself be read.
func FuzzTraces(f *testing.F) {
	traces, err := filepath.Glob("testdata/traces/*.csv")
	if err != nil || len(traces) == 0 {
		f.Fatal("no traces", err)
	}
	fuzzListed(f, traces, ".csv", ".txt")
}

// FuzzNetworks does the same with network files.
func FuzzNetworks(f *testing.F) {
	networks, err := filepath.Glob(filepath.Join(sampleFolders["networks"], "*"))
	if err != nil || len(networks) == 0 {
		f.Fatal("no networks", err)
	}
	fuzzListed(f, networks, ".s2p", ".ts")
}

func fuzzListed(f *testing.F, samples []string, first, second string) {
	var texts [][]byte
	for _, p := range samples {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		texts = append(texts, b)
	}
	for i, text := range texts {
		for _, list := range listSeeds(first) {
			list = strings.ReplaceAll(list, "b"+first, "b"+second)
			f.Add(list, text, texts[(i+1)%len(texts)])
		}
	}
	f.Fuzz(func(t *testing.T, list string, a, b []byte) {
		dir := folder(t, map[string]string{"runs.csv": list, "a" + first: string(a), "b" + second: string(b), "c": "Frequency (Hz),Level (dBm)\n1,2\n"})
		opt := DefaultOptions()
		opt.ProblemLimit = 20
		res := read(t, opt, dir) // read checks what holds for any input
		opt.SkipBadRows = true
		skipped := read(t, opt, dir)
		if skipped.err != nil && (res.err == nil || skipped.sum != nil) {
			t.Errorf("with bad rows skipped: %v; without: %v", skipped.err, res.err)
		}
		if res.err == nil && shown(res) != shown(skipped) {
			t.Errorf("skipping nothing makes a difference:\n%s\nagainst\n%s", shown(res), shown(skipped))
		}
		if res.err == nil {
			rows := strings.Split(strings.TrimSuffix(list, "\n"), "\n")
			if len(rows) == 3 && strings.HasPrefix(rows[0], "file,") && !strings.Contains(strings.Join(res.sum.Notes, " "), "the order of the rows") {
				rows[1], rows[2] = rows[2], rows[1]
				if err := os.WriteFile(filepath.Join(dir, "runs.csv"), []byte(strings.Join(rows, "\n")+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
				if turned := read(t, opt, dir); turned.err != nil || shown(turned) != shown(res) {
					t.Errorf("the order of rows matters: %v\n%s\nagainst\n%s", turned.err, shown(turned), shown(res))
				}
			}
		}
		proposeAgain(t, dir)
	})
}

// proposeAgain makes a proposal, and another one of the first: a proposal leaves
// nothing to propose.
func proposeAgain(t *testing.T, dir string) {
	t.Helper()
	p, err := Propose(context.Background(), dir, nil)
	var bad *BadInput
	if err != nil {
		if !errors.As(err, &bad) && !errors.Is(err, ErrNoFiles) {
			t.Errorf("proposal: %v", err)
		}
		return
	}
	if err := os.WriteFile(filepath.Join(dir, "runs.csv"), p.Table, 0o644); err != nil {
		t.Fatal(err)
	}
	again, err := Propose(context.Background(), dir, nil)
	if err != nil || string(again.Table) != string(p.Table) || again.Kept != p.Rows {
		t.Errorf("a proposal of the proposal: %v\n%+v\nagainst\n%s", err, again, p.Table)
	}
}
