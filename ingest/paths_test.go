package ingest

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/temporary"
)

func zipped(t testing.TB, text string) string {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := z.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPaths(t *testing.T) {
	dir := folder(t, map[string]string{
		"b/one.csv":     ok,
		"B.CSV":         strings.ReplaceAll(ok, "a,", "b,"),
		"c.csv.gz":      zipped(t, strings.ReplaceAll(ok, "a,", "c,")),
		"README.md":     "read me",
		".hidden.csv":   "not,read\n",
		".git/x.csv":    "not,read\n",
		"notes.txt":     "not read",
		"d [1].csv":     strings.ReplaceAll(ok, "a,", "d,"),
		"other/e.txt":   strings.ReplaceAll(ok, "a,", "e,"),
		"other/g.csv":   strings.ReplaceAll(ok, "a,", "g,"),
		"void/notes.md": "no data",
	})
	in := func(name string) string { return filepath.Join(dir, name) }
	for _, tt := range []struct {
		name  string
		paths []string
		want  string
		note  string
	}{
		{"a folder and all below it", []string{dir}, "a b c d g", "README.md"},
		{"a file of any ending", []string{in("other/e.txt")}, "e", ""},
		{"a packed file", []string{in("c.csv.gz")}, "c", ""},
		{"several paths", []string{in("c.csv.gz"), in("b")}, "a c", ""},
		{"a file twice", []string{in("b/one.csv"), in("b"), in("b/../b/one.csv")}, "a", "more than once"},
		{"a glob", []string{in("*.CSV")}, "b", ""},
		{"a glob of everything", []string{in("other/*")}, "g", "e.txt"},
		{"a glob that names an ending", []string{in("other/*.txt")}, "e", ""},
		{"a glob of folders", []string{in("[bo]*r")}, "g", "e.txt"},
		{"a name that looks like a glob", []string{in("d [1].csv")}, "d", ""},
	} {
		res := read(t, DefaultOptions(), tt.paths...)
		if res.err != nil {
			t.Errorf("%s: %v", tt.name, res.err)
			continue
		}
		var labels []string
		for _, r := range res.runs {
			labels = append(labels, r.Label)
		}
		if got := strings.Join(labels, " "); got != tt.want {
			t.Errorf("%s: runs %s, want %s", tt.name, got, tt.want)
		}
		if n := strings.Join(res.sum.Notes, " "); !strings.Contains(n, tt.note) || tt.note == "" && n != "" {
			t.Errorf("%s: notes %q, want %q", tt.name, n, tt.note)
		}
	}
	for _, tt := range []struct {
		name  string
		paths []string
		is    error
		says  string
	}{
		{"no path", nil, ErrNoFiles, "no path"},
		{"an empty path", []string{""}, ErrNoFiles, "empty"},
		{"a folder without data", []string{in("void")}, ErrNoFiles, "void holds no"},
		{"a glob without a match", []string{in("*.parq")}, ErrNoFiles, "no file matches"},
		{"a glob that is none", []string{in("[")}, nil, "pattern"},
		{"a file that is not there", []string{in("b/one.csv"), in("nothing.csv")}, fs.ErrNotExist, "nothing.csv: no such file"},
	} {
		res := read(t, DefaultOptions(), tt.paths...)
		if res.err == nil || res.sum != nil || tt.is != nil && !errors.Is(res.err, tt.is) || !strings.Contains(res.err.Error(), tt.says) {
			t.Errorf("%s: %v, want %q", tt.name, res.err, tt.says)
		}
	}
}

func TestStdin(t *testing.T) {
	for _, text := range []string{ok, zipped(t, ok)} {
		opt := DefaultOptions()
		opt.Stdin = strings.NewReader(text)
		res := read(t, opt, "-")
		if res.err != nil || len(res.runs) != 1 || res.runs[0].table() != "B/1@100=28?" {
			t.Errorf("%v, %+v", res.err, res.runs)
		}
	}
	opt := DefaultOptions()
	opt.Stdin = strings.NewReader("state,freq_mhz,level_dbm\nopen,100,x\n")
	res := read(t, opt, "-")
	if res.sum == nil || len(res.sum.Problems) != 1 || res.sum.Problems[0].File != "-" {
		t.Errorf("%v", res.err)
	}
	if res = read(t, DefaultOptions(), "-"); res.err == nil || res.sum != nil {
		t.Errorf("no standard input: %v", res.err)
	}
}

func TestPackedFiles(t *testing.T) {
	whole := zipped(t, campaign(2, 2, 3))
	for name, text := range map[string]string{
		"cut":     whole[:len(whole)/2],
		"damaged": whole[:len(whole)-6] + "\x00\x01\x02\x03\x04\x05",
		"no gzip": "run,state\n",
	} {
		res := read(t, DefaultOptions(), folder(t, map[string]string{"x.csv.gz": text, "y.csv": ok}))
		if res.sum == nil || len(res.sum.Problems) != 1 || !strings.Contains(res.sum.Problems[0].Error(), "x.csv.gz: the file cannot be unpacked") {
			t.Errorf("%s: %v", name, res.err)
		}
	}
	// One beyond what is kept in memory goes through a temporary file, which is
	// gone afterwards.
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	var long strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(campaign(3, 3, 24)), "\n") {
		fmt.Fprintf(&long, "%s,%s%d\n", line, strings.Repeat("remark ", 2000), min(i, 1))
	}
	text := long.String()
	if len(text) <= temporary.Memory {
		t.Fatalf("%d bytes are too few", len(text))
	}
	plain, gz := good(t, DefaultOptions(), text), read(t, DefaultOptions(), folder(t, map[string]string{"data.csv.gz": zipped(t, text)}))
	plain.sum.Notes, gz.sum.Notes = nil, nil // they tell the file's name
	if gz.err != nil || shown(gz) != shown(plain) {
		t.Errorf("%v: a packed file reads otherwise", gz.err)
	}
	left, err := os.ReadDir(tmp)
	for _, f := range left {
		if strings.HasPrefix(f.Name(), "sealbound-") {
			t.Errorf("left behind: %s", f.Name())
		}
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestSideTables(t *testing.T) {
	dir := folder(t, map[string]string{
		"data.csv":       ok,
		"boxes.csv":      "Box,ROLE,perimeter_mm,colour\nB,control,1720,red\n\nC,,,\n",
		"gaskets.csv":    "gasket,width_mm,strip_price,currency\nG,12.5,0,EUR\n",
		"sub/Events.CSV": "date,box,event,text\n2026-05-04,B,Replaced,\"new, at last\"\n2026-05-05,,note,rain\n",
		"setup.csv":      "run,field,value\na,distance,1 m\n",
	})
	res := read(t, DefaultOptions(), dir)
	if res.err != nil {
		t.Fatal(res.err)
	}
	s := res.sum
	if got := fmt.Sprintf("%+v", s.Boxes); got != "[{Label:B Role:control Type: PerimeterMM:1720 ChannelWidthMM:NaN ChannelDepthMM:NaN} {Label:C Role:test Type: PerimeterMM:NaN ChannelWidthMM:NaN ChannelDepthMM:NaN}]" {
		t.Error(got)
	}
	if got := fmt.Sprintf("%+v", s.Gaskets); got != "[{Label:G WidthMM:12.5 ThicknessMM:NaN StripLengthMM:NaN StripPrice:0 Currency:EUR}]" {
		t.Error(got)
	}
	if e := s.Events; len(e) != 2 || e[0].Kind != "replaced" || e[0].Text != "new, at last" || e[0].Date.Format("2006-01-02") != "2026-05-04" || e[1].Line != 3 || e[1].Kind != "note" {
		t.Errorf("%+v", e)
	}
	if f := s.Setup; len(f) != 1 || f[0] != (SetupField{Run: "a", Field: "distance", Value: "1 m"}) {
		t.Errorf("%+v", f)
	}
	var counts []string
	for _, in := range s.Inputs {
		counts = append(counts, fmt.Sprintf("%s %d=%d+%d+%d", filepath.Base(in.Path), in.Rows, in.Used, in.Skipped, in.Blank))
	}
	if got := strings.Join(counts, ", "); got != "boxes.csv 3=2+0+1, data.csv 2=2+0+0, gaskets.csv 1=1+0+0, setup.csv 1=1+0+0, Events.CSV 2=2+0+0" {
		t.Error(got)
	}
	if len(s.Notes) != 1 || !strings.Contains(s.Notes[0], `"colour"`) {
		t.Errorf("notes %q", s.Notes)
	}
	res = read(t, DefaultOptions(), filepath.Join(dir, "boxes.csv"))
	if !errors.Is(res.err, ErrNoFiles) || !strings.Contains(res.err.Error(), "side tables alone") {
		t.Errorf("%v", res.err)
	}
}

func TestSideTableProblems(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       string
	}{
		{"boxes.csv", "box,role\nB,spare\n", `2:3: role "spare": is not a role`},
		{"boxes.csv", "box,role\n,test\n", `2:1: box: is empty`},
		{"boxes.csv", "box\nB\nC\nB\n", `4:1: box "B": has stood before`},
		{"boxes.csv", "box,perimeter_mm\nB,12 cm\n", `2:3: perimeter_mm "12 cm": is not a number alone`},
		{"boxes.csv", "box,perimeter_mm\nB,-1\n", `2:3: perimeter_mm "-1": is negative`},
		{"boxes.csv", "box,perimeter_mm\nB,0\n", `2:3: perimeter_mm "0": is not above zero`},
		{"boxes.csv", "box,type\nB,\"tall, grey\",x\n", `2:1: the row has 3 cells, the header 2`},
		{"boxes.csv", "role\ntest\n", `1: the column box is missing`},
		{"boxes.csv", "box;role\nB;test\n", `1: the column box is missing; save the file with commas`},
		{"boxes.csv", "box,,role\nB,,test\n", `1:5: column 2 of the header has no name`},
		{"boxes.csv", "box,role,Serial\nB,test,C\n", `1:10: "Serial": the header names this column twice`},
		{"boxes.csv", "", `the file is empty`},
		{"boxes.csv", "\xff\xfeb\x00", `1:1: the file is UTF-16`},
		{"boxes.csv", "box\nM\xfcll\n", `2:2: byte 0xfc is not UTF-8`},
		{"gaskets.csv", "gasket,strip_price\nG,\"1,50\"\n", `2:3: strip_price "1,50": is not a number: it holds a comma`},
		{"events.csv", "date,box,event\n2026-05-04,B,mended\n", `2:14: event "mended": is not a kind of event`},
		{"events.csv", "date,box,event\n4.5.2026,B,note\n", `2:1: date "4.5.2026": is not a date`},
		{"events.csv", "date,box,event\n2026-05-04,,cleaned\n", `2:12: box: is empty`},
		{"setup.csv", "run,field,value\na,,x\n", `2:3: field: is empty`},
	} {
		dir := folder(t, map[string]string{"data.csv": ok, tt.name: tt.text})
		res := read(t, DefaultOptions(), dir)
		if res.sum == nil || len(res.sum.Problems) != 1 {
			t.Errorf("%q: %v", tt.text, res.err)
			continue
		}
		if got := strings.TrimPrefix(res.sum.Problems[0].Error(), filepath.Join(dir, tt.name)+":"); !strings.HasPrefix(strings.TrimSpace(got), tt.want) {
			t.Errorf("%q: %s, want %s", tt.text, got, tt.want)
		}
	}
}
