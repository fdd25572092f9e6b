package ingest

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// packTo packs paths into a file of that name in a folder of its own, side tables
// beside it, and returns the file.
func packTo(t testing.TB, name string, paths ...string) string {
	t.Helper()
	p, err := OpenPacking(context.Background(), paths, DefaultOptions(), name[strings.IndexByte(name, '.'):])
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	var b bytes.Buffer
	if err := p.Write(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{name: b.String()}
	for _, s := range p.Beside {
		files[s.Name+".csv"] = s.Text
	}
	return filepath.Join(folder(t, files), name)
}

// goodAt reads paths that have no problem.
func goodAt(t testing.TB, opt Options, paths ...string) result {
	t.Helper()
	res := read(t, opt, paths...)
	if res.err != nil {
		t.Fatal(res.err)
	}
	return res
}

// content is what a reading says, but where it stands.
func content(t testing.TB, res result) string {
	t.Helper()
	if res.err != nil {
		t.Fatal(res.err)
	}
	var b strings.Builder
	for _, r := range res.runs {
		for i := range r.Closings {
			r.Closings[i].File, r.Closings[i].Line = "", 0
		}
		for i := range r.rows {
			r.rows[i].line = 0
		}
		fmt.Fprintf(&b, "%s %v %v %v %v %v\n", r.Label, r.Closings, r.Points, r.Reference, r.Counts, r.rows)
	}
	for i := range res.sum.Events {
		res.sum.Events[i].File, res.sum.Events[i].Line = "", 0
	}
	fmt.Fprintln(&b, res.sum.LeftOut, res.sum.Boxes, res.sum.Gaskets, res.sum.Events, res.sum.Setup)
	return b.String()
}

// everything has each column of the long format, labels that need quotes, levels
// in microvolts, MHz, sweeps, a reference to another run and dates of two runs.
const everything = `Run,session,date,serial,gasket,fitting,installed,closing,sweep,state,freq_mhz,level_dbuv,floor_dbuv,tx_dbm,gain_db,position,pol,reference,method,receiver,rbw_hz,detector,hold,antenna,receiver_in,operator,latch,torque_nm,temp_c,humidity_pct,battery_v,note
A,s1,2026-05-04,,,,,,start,open,433.92,80.123,,10,0,top,V,,cw,R 1,1000,peak,max,loop,inside,,,,,,,
A,s1,2026-05-04,,,,,,end,open,433.92,80.2,,10,0,top,V,,cw,R 1,1000,peak,max,loop,inside,,,,,,,
A,s1,2026-05-04,007,"mesh, ""wide""",f1,2025-01-01,1,a,closed,433.92,20.1,3.7,10,0,top,V,,cw,R 1,1000,peak,max,loop,inside,Ada,both,2.5,21.5,40,12.6,"two
lines, with a comma"
A,s1,2026-05-04,007,"mesh, ""wide""",f1,2025-01-01,1,b,closed,433.920,20.3,3.7,10,0,top,V,,cw,R 1,1000,peak,max,loop,inside,Ada,both,2.5,21.5,40,12.6,"two
lines, with a comma"
B,s1,2026-05-05,008,cloth,,2025-02-01,1,,closed,433.92,5.5,3.7,10,0,top,V,A,cw,R 1,1000,peak,max,loop,inside,Bö,left,1e1,,,,
C,,2026-05-04,,,,,,,open,0.1,70,,,,,,,,,,,,,,,,,,,,
C,,2026-06-04,,,,,,,open,0.1,71,,,,,,,,,,,,,,,,,,,,
C,,2026-05-04,9,cloth,,,1,,closed,0.1,30,,,,,,,,,,,,,,,,,,,,
C,,2026-06-04,9,cloth,,,1,,closed,0.1,31,,,,,,,,,,,,,,,,,,,,
D,,2026-06-05,9,cloth,,,2,,closed,0.1,32,,,,,,C 2026-06-04,,,,,,,,,,,,,,
`

const attenuations = "date,box,gasket,closing,freq_ghz,se_db,note\n2026-05-04,1,g,1,0.868,>72.5,\n2026-05-04,1,g,2,0.868,61.25,x\n2026-05-05,1,g,1,0.868,60,\n"

// TestPackingIsAFixedPoint: whatever is packed, and packed again as another kind, is
// read as the original was, and the same bytes come out again.
func TestPackingIsAFixedPoint(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	sources := map[string]string{
		"everything":   folder(t, map[string]string{"x.csv": everything, "boxes.csv": "box,role,perimeter_mm,type\n007,control,1720.5,\"a, b\"\n008,test,,\n", "events.csv": "date,box,event,text\n2026-01-01,9,cleaned,\"with \"\"spirit\"\"\"\n", "gaskets.csv": "gasket,strip_price,currency\ncloth,9.5,EUR\n", "setup.csv": "run,field,value\n,note,\"a\nb\"\n"}),
		"attenuations": folder(t, map[string]string{"a/x.csv": attenuations, "b/x.csv": attenuations}), // runs are named after folder, file and date
		"demo":         "../testdata/demo",
		"no labels": folder(t, map[string]string{"one.csv": "state,date,box,gasket,closing,freq_hz,level_db,reference\nopen,,,,,1e6,-3,\nclosed,2026-01-01,b,g,1,1e6,-60,\nclosed,,b,g,2,1e6,-61,\n",
			"two.csv": "state,date,box,gasket,closing,freq_hz,level_db,reference\nclosed,2026-01-02,b,g,1,1e6,-60,one\n"}),
	}
	for i := range 5 {
		text := "run,box,gasket,closing,sweep,state,freq_mhz,level_dbm,floor_dbm,tx_dbm,gain_db\n"
		for _, row := range made(r) {
			text += row.csv()
		}
		sources[fmt.Sprint("made ", i)] = folder(t, map[string]string{"x.csv": text})
	}
	for name, source := range sources {
		fixedPoint(t, name, source)
	}
}

// fixedPoint packs a source as every kind, and each of these as every kind again: the
// content stays what it was, and a kind has the same bytes wherever it comes from.
func fixedPoint(t *testing.T, name, source string) {
	t.Helper()
	kinds := []string{"x.parquet", "x.arrow", "x.csv", "x.csv.gz"}
	want := content(t, goodAt(t, DefaultOptions(), source))
	first := map[string]string{}
	for _, from := range append([]string{""}, kinds...) {
		input := source
		if from != "" {
			input = filepath.Dir(packTo(t, from, source))
		}
		for _, to := range kinds {
			file := packTo(t, to, input)
			got, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if first[to] == "" {
				first[to] = string(got)
			}
			if string(got) != first[to] {
				t.Errorf("%s: %s packed from %q has other bytes than from the source", name, to, from)
			}
			if from == "" { // the others have its bytes
				if got := content(t, goodAt(t, DefaultOptions(), filepath.Dir(file))); got != want {
					t.Errorf("%s as %s:\n%s\nwant\n%s", name, to, got, want)
				}
			}
		}
	}
}

// TestPackedUnits: the arithmetic sees the same numbers, to the bit.
func TestPackedUnits(t *testing.T) {
	file := packTo(t, "x.csv", folder(t, map[string]string{"x.csv": everything}))
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(b), "\n")
	// 80.123 dBuV is 80.123 - 106.98970004336019 dBm (1 uV into 50 ohm is 20 fW).
	written, offset := 80.123, -106.98970004336019 // added at run time, as doubles
	level := written + offset
	if !strings.Contains(lines[1], fmt.Sprint(level)) || !strings.Contains(lines[1], ",433920000,") || !strings.Contains(lines[0], ",freq_hz,level_dbm,floor_dbm,") {
		t.Errorf("%s\n%s", lines[0], lines[1])
	}
}

func TestPackRefuses(t *testing.T) {
	for _, tt := range []struct {
		name, ending, want string
		files              map[string]string
	}{
		{"an unknown ending", ".xlsx", "nothing is packed", map[string]string{"x.csv": ok}},
		{"levels and attenuations as CSV", ".csv", "several of them", map[string]string{"x.csv": ok, "y.csv": attenuations}},
		{"a bad row", ".parquet", "not a number", map[string]string{"x.csv": strings.Replace(ok, "-", "x", 1)}},
		{"nothing", ".arrow", "nothing to read", map[string]string{}},
	} {
		p, err := OpenPacking(context.Background(), []string{folder(t, tt.files)}, DefaultOptions(), tt.ending)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v", tt.name, err)
		}
		if p != nil {
			p.Close()
		}
	}
	// What CSV cannot hold, Parquet can.
	mixed := folder(t, map[string]string{"x.csv": ok, "y.csv": attenuations})
	want := content(t, goodAt(t, DefaultOptions(), mixed))
	if got := content(t, goodAt(t, DefaultOptions(), packTo(t, "x.parquet", mixed))); got != want {
		t.Errorf("mixed:\n%s\nwant\n%s", got, want)
	}
}

// TestPackedOnStandardInput: a packed file is known by how it begins.
func TestPackedOnStandardInput(t *testing.T) {
	for _, name := range []string{"x.parquet", "x.arrow"} {
		file := packTo(t, name, "../testdata/demo")
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		opt := DefaultOptions()
		opt.Stdin = bytes.NewReader(b)
		if got, want := content(t, goodAt(t, opt, "-")), content(t, goodAt(t, DefaultOptions(), file)); got != want {
			t.Errorf("%s is another on standard input", name)
		}
	}
}

// TestDamagedPack: a damaged file is one problem with one line.
func TestDamagedPack(t *testing.T) {
	for _, name := range []string{"x.parquet", "x.arrow"} {
		b, err := os.ReadFile(packTo(t, name, folder(t, map[string]string{"x.csv": ok})))
		if err != nil {
			t.Fatal(err)
		}
		for _, change := range []func(b []byte) []byte{
			func(b []byte) []byte { b[len(b)/2] ^= 1; return b },
			func(b []byte) []byte { return b[:len(b)-1] },
			func(b []byte) []byte { return b[:0] },
			func(b []byte) []byte { return []byte("PAR1 and nothing else, PAR1") },
			func(b []byte) []byte { return []byte("\xff\xff\xff\xff\x08\x00\x00\x00 or so") },
		} {
			res := read(t, DefaultOptions(), folder(t, map[string]string{name: string(change(slices.Clone(b)))}))
			if res.sum == nil || len(res.sum.Problems) != 1 || res.err == nil {
				t.Errorf("%s: %v, %+v", name, res.err, res.sum)
				continue
			}
			if p := res.sum.Problems[0]; p.What == "" || p.Mend == "" || strings.ContainsAny(p.Error(), "\n\r") {
				t.Errorf("%s: %q", name, p.Error())
			}
		}
	}
}

// TestSideTablesMeet: packed files that carry the same rows are one campaign; rows
// that contradict each other are a problem.
func TestSideTablesMeet(t *testing.T) {
	one := func(box, role string) string {
		return packTo(t, "x.parquet", folder(t, map[string]string{"x.csv": strings.ReplaceAll(attenuations, ",1,g", ","+box+",g"), "boxes.csv": "box,role\n1," + role + "\n", "events.csv": "date,box,event\n2026-01-01,1,cleaned\n", "setup.csv": "run,field,value\n,a,b\n"}))
	}
	res := goodAt(t, DefaultOptions(), one("1", "test"), one("2", "test"))
	if len(res.sum.Boxes) != 1 || len(res.sum.Events) != 1 || len(res.sum.Setup) != 1 {
		t.Errorf("%d boxes, %d events, %d of setup", len(res.sum.Boxes), len(res.sum.Events), len(res.sum.Setup))
	}
	if res := read(t, DefaultOptions(), one("1", "test"), one("2", "control")); res.err == nil || !strings.Contains(res.err.Error(), "another one") {
		t.Errorf("two roles of one box: %v", res.err)
	}
}

// TestPackedTraces: what a runs.csv declares, and levels that are upper limits, are
// kept by Parquet and Arrow; CSV keeps all but the tolerance of frequencies.
func TestPackedTraces(t *testing.T) {
	for name, files := range map[string]map[string]string{
		"upper limits": {
			"runs.csv": "file,box,gasket,closing,state,limited,status_column,status_good\no.csv,,,,open,,,\nc.csv,b,g,1,closed,yes,,\n",
			"o.csv":    openTrace, "c.csv": testSample(t, "traces/below_noise.csv")},
		"frequencies a kHz apart": {
			"runs.csv": "file,box,gasket,closing,state,run,freq_tolerance_hz\no.csv,,,,open,A,\nc.csv,b,g,1,closed,A,1000\n",
			"o.csv":    testSample(t, "traces/reference.csv"), "c.csv": "Frequency (MHz),Level (dBm)\n30.000001,-72.5\n100,-71.0\n433.921,-70\n"},
		"networks": {
			"runs.csv": "file,box,gasket,closing,state,run,floor_db\no.s2p,,,,open,A,\nc.s2p,b,g,1,closed,A,-110\n",
			"o.s2p":    "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "c.s2p": "# MHz S RI R 50\n30 1 0 0 0 0 0 0 0\n"},
	} {
		source := folder(t, files)
		want := content(t, goodAt(t, DefaultOptions(), source))
		kinds := []string{"x.parquet", "x.arrow", "x.csv", "x.csv.gz"}
		if strings.Contains(files["runs.csv"], "freq_tolerance_hz") {
			kinds = kinds[:2]
		}
		for _, kind := range kinds {
			file := packTo(t, kind, source)
			res := goodAt(t, DefaultOptions(), file)
			if got := content(t, res); got != want {
				t.Errorf("%s as %s:\n%s\nwant\n%s", name, kind, got, want)
			}
			if told := strings.Contains(strings.Join(res.sum.Notes, " "), "upper bounds: 2, the first in"); told != (name == "upper limits") {
				t.Errorf("%s as %s: notes %q", name, kind, res.sum.Notes)
			}
			for _, again := range kinds {
				first, _ := os.ReadFile(packTo(t, again, source))
				if second, _ := os.ReadFile(packTo(t, again, file)); len(second) == 0 || !bytes.Equal(first, second) {
					t.Errorf("%s: %s packed from %s has other bytes than from the source", name, again, kind)
				}
			}
		}
	}
}
