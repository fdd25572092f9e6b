package ingest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is proposed reads every sample that can be read, but for what no file tells.
func TestProposalReads(t *testing.T) {
	dir := t.TempDir()
	for kind, from := range sampleFolders {
		if err := os.CopyFS(filepath.Join(dir, kind), os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
	}
	p, err := Propose(context.Background(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(p.Table), "\n"), "\n")
	if p.Rows != len(lines)-1 || p.Kept != 0 || !strings.HasPrefix(lines[0], "file,run,date,box,gasket,fitting,installed,closing,state,position,polarization,encoding,") {
		t.Errorf("%d rows, %d kept\n%s", p.Rows, p.Kept, p.Table)
	}
	state, levelColumn := -1, -1
	for i, name := range strings.Split(lines[0], ",") {
		switch name {
		case "state":
			state = i
		case "level_column":
			levelColumn = i
		}
	}
	for i, line := range lines[1:] { // what a person fills in
		cells := strings.Split(line, ",")
		cells[state] = "floor"
		if strings.HasSuffix(cells[0], "units_row.csv") {
			cells[levelColumn] = "Trace2"
		}
		lines[i+1] = strings.Join(cells, ",")
	}
	if err := os.WriteFile(filepath.Join(dir, "runs.csv"), []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	res := read(t, DefaultOptions(), dir)
	broken := map[string]bool{}
	for _, problem := range res.sum.Problems {
		name := filepath.Base(problem.File)
		broken[name] = true
		if name != "duplicate_frequency.csv" && !strings.HasPrefix(name, "bad_") {
			t.Errorf("after the proposal: %v", problem)
		}
	}
	for _, in := range res.sum.Inputs {
		name := filepath.Base(in.Path)
		if strings.HasPrefix(name, "bad_") && name != "bad_only_comments.s2p" && !broken[name] {
			t.Errorf("%s is read", name)
		}
		if !broken[name] && in.Used == 0 {
			t.Errorf("%s: %+v", name, in)
		}
	}
	said := strings.Join(p.Said, "\n")
	for _, want := range []string{"encoding=latin-1 (2 files)", "several columns hold levels: Trace1, Trace2; write level_column yourself (1 file)",
		"cr_only.csv: left out, a carriage return stands without a line feed", "preamble_only.csv: left out, no rows of data", "still a problem as it is: "} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %q\n%s", want, said)
		}
	}
	if again, err := Propose(context.Background(), dir, nil); err != nil || again.Kept != again.Rows || strings.Join(lines, "\n")+"\n" != string(again.Table) {
		t.Errorf("a table that is complete: %v\n%s", err, again.Table)
	}
}

// Rows that are there stay, other columns too; only what is empty is filled.
func TestProposalKeeps(t *testing.T) {
	semicolons := "f;Level (dBm)\n1,5;-2,5\n2,5;-3,5\n"
	dir := folder(t, map[string]string{
		"runs.csv": "\ufeffWeather, FILE ,delimiter,State\n\n\"dry, cold\",b.csv,;,closed\n,sub\\c.csv,,\n",
		"a.csv":    openTrace, "b.csv": semicolons, "sub/c.csv": semicolons, "own/runs.csv": "file\nx.csv\n", "own/x.csv": openTrace,
		"long.csv": "run,box,gasket,closing,state,freq_mhz,level_dbm\n", "boxes.csv": "box\nb\n", ".hidden.csv": openTrace, "video.ts": "GGGG", "d.txt.gz": zipped(t, openTrace),
		"picture.png": "\x89PNG\r\n\x1a\n\x00", "empty.csv": "",
	})
	p, err := Propose(context.Background(), filepath.Join(dir, "runs.csv"), nil)
	if err != nil {
		t.Fatal(err)
	}
	const want = "Weather,FILE,delimiter,State,decimal,freq_unit\n" +
		"\"dry, cold\",b.csv,;,closed,comma,\n" +
		",sub\\c.csv,semicolon,,comma,\n" +
		",a.csv,,,,\n" +
		",d.txt.gz,,,,\n"
	if string(p.Table) != want || p.Rows != 4 || p.Kept != 2 {
		t.Errorf("got\n%swant\n%s", p.Table, want)
	}
	said := strings.ReplaceAll(strings.Join(p.Said, "\n"), dir+string(filepath.Separator), "")
	for _, want := range []string{"own: the folder has a runs.csv of its own, so its files are left out", "the unit stands nowhere in the file: hz, khz, mhz, ghz or suffix; write freq_unit yourself (2 files)",
		"long.csv: left out, its columns are those of readings in the long format", "empty.csv: left out, it is empty", "picture.png: left out, "} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %q\n%s", want, said)
		}
	}
	if strings.Contains(said, "hidden") || strings.Contains(said, "video") || strings.Contains(said, "boxes") {
		t.Errorf("said of what is no trace:\n%s", said)
	}
}

// A header alone is completed too.
func TestProposalForHeader(t *testing.T) {
	p, err := Propose(context.Background(), folder(t, map[string]string{"runs.csv": "\nfile,box,state\n", "a.csv": openTrace}), nil)
	if err != nil || string(p.Table) != "file,box,state\na.csv,,\n" || p.Kept != 0 {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestNoProposal(t *testing.T) {
	for _, tt := range []struct {
		name  string
		files map[string]string
		bad   bool // a problem of the runs.csv that is there
	}{
		{"nothing", map[string]string{"notes.txt": "rain"}, false},
		{"long CSV", map[string]string{"runs.csv": "run,box,gasket,closing,state,freq_mhz,level_dbm\n"}, false},
		{"ragged", map[string]string{"runs.csv": "file,state\na.csv\n", "a.csv": openTrace}, true},
		{"blank", map[string]string{"runs.csv": "\n\n", "a.csv": openTrace}, true},
		{"semicolons", map[string]string{"runs.csv": "file;state\na.csv;open\n", "a.csv": openTrace}, true},
		{"Latin-1", map[string]string{"runs.csv": "file,note\na.csv,\xe4\n", "a.csv": openTrace}, true},
	} {
		p, err := Propose(context.Background(), folder(t, tt.files), nil)
		var bad *BadInput
		if p != nil || err == nil || errors.As(err, &bad) != tt.bad || !tt.bad && !errors.Is(err, ErrNoFiles) {
			t.Errorf("%s: %v, %v", tt.name, p, err)
		}
		if bad != nil && (len(bad.Problems) == 0 || bad.Problems[0].File == "" || bad.Problems[0].Mend == "") {
			t.Errorf("%s: %+v", tt.name, bad)
		}
	}
	if _, err := Propose(context.Background(), filepath.Join(t.TempDir(), "gone"), nil); err == nil {
		t.Error("a folder that is not there")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Propose(ctx, folder(t, map[string]string{"a.csv": openTrace}), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A runs.csv that cannot be read, or is too large, is said to be that and not to be
// empty; of a trace the reason stands behind its name.
func TestProposalOfWhatCannotBeRead(t *testing.T) {
	gone := folder(t, map[string]string{"a.csv": openTrace})
	if err := os.Symlink("nowhere", filepath.Join(gone, "runs.csv")); err != nil {
		t.Fatal(err)
	}
	huge := folder(t, map[string]string{"a.csv": openTrace, "runs.csv": "file\n"})
	grown := folder(t, map[string]string{"a.csv": openTrace, "b.csv": openTrace})
	for _, path := range []string{filepath.Join(huge, "runs.csv"), filepath.Join(grown, "b.csv")} {
		if err := os.Truncate(path, 256<<20+1); err != nil { // holes, which take no room
			t.Fatal(err)
		}
	}
	for dir, want := range map[string]string{gone: "runs.csv: no such file", huge: "runs.csv: is larger than 256 MB"} {
		if p, err := Propose(context.Background(), dir, nil); p != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, %v, want %q", p, err, want)
		}
	}
	p, err := Propose(context.Background(), grown, nil)
	if err != nil || p.Rows != 1 || !strings.Contains(strings.Join(p.Said, "\n"), "b.csv: left out, it cannot be read (is larger than 256 MB)") {
		t.Errorf("%+v, %v", p, err)
	}
}

// Every file is told of once, listed or not.
func TestProgressOfProposal(t *testing.T) {
	dir := folder(t, map[string]string{"runs.csv": "file,state\na.csv,open\ngone.csv,\n", "a.csv": openTrace, "b.csv": openTrace, "c.csv": openTrace})
	last, calls := int64(0), int64(0)
	if _, err := Propose(context.Background(), dir, func(done, total int64) {
		if calls++; done <= last || total != 4 {
			t.Errorf("%d of %d after %d", done, total, last)
		}
		last = done
	}); err != nil || last != 4 || calls != 4 {
		t.Errorf("ended at %d in %d calls, %v", last, calls, err)
	}
}

// A result that lies among the traces is none.
func TestProposalPassesResults(t *testing.T) {
	p, err := Propose(context.Background(), folder(t, map[string]string{"a.csv": openTrace, "r.csv": "band_name,slope_db_per_year,retest_by\nUHF,-0.1,2027-01-01\n"}), nil)
	if err != nil || p.Rows != 1 || !strings.Contains(strings.Join(p.Said, "\n"), "r.csv: left out, it is a result that wear wrote") {
		t.Errorf("%+v, %v", p, err)
	}
}
