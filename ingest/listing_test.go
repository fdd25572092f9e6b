package ingest

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"sealbound/ingest/trace"
)

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// problemsOf writes the problems without the folder, a line each.
func problemsOf(res result, dir string) string {
	var b strings.Builder
	for _, p := range res.sum.Problems {
		b.WriteString(strings.ReplaceAll(p.Error(), dir+string(filepath.Separator), "") + "\n")
	}
	return b.String()
}

// inputsOf writes the account of each file as name rows=used+skipped+blank.
func inputsOf(res result, dir string) string {
	var s []string
	for _, in := range res.sum.Inputs {
		name, _ := filepath.Rel(dir, in.Path)
		s = append(s, fmt.Sprintf("%s %d=%d+%d+%d", filepath.ToSlash(name), in.Rows, in.Used, in.Skipped, in.Blank))
	}
	return strings.Join(s, ", ")
}

const (
	openTrace   = "Frequency (MHz),Level (dBm)\n30,-10\n100,-11\n400,-12\n"
	closedTrace = "Frequency (MHz),Level (dBm)\n30,-70\n100,-72\n400,-62.5\n"
)

// Expected: differences of the levels in the files, by hand.
func TestListedTraces(t *testing.T) {
	for _, tt := range []struct {
		name   string
		files  map[string]string
		want   string // of the runs, in order
		inputs string
		notes  []string
	}{
		{"open and closed", map[string]string{
			"runs.csv": "file,run,date,box,gasket,closing,state\no.csv,A,2031-05-04,,,,open\nc.csv,A,2031-05-04,osier,felt,1,closed\n",
			"o.csv":    openTrace, "c.csv": closedTrace},
			"A: osier/1@30=60? osier/1@100=61? osier/1@400=50.5?", "runs.csv 2=2+0+0, o.csv 3=3+0+0, c.csv 3=3+0+0", nil},
		{"an ending that nothing else has, a folder below, blank lines, gain and floor", map[string]string{
			"runs.csv":  "\nfile,run,box,gasket,closing,state,gain_db,floor_dbm\nday/o.dat,A,,,,open,0,\n\nday/c.txt,A,osier,felt,1,closed,20,-120\n",
			"day/o.dat": openTrace, "day/c.txt": closedTrace + "\n"},
			"A: osier/1@30=80 osier/1@100=81 osier/1@400=70.5", "runs.csv 4=2+0+2, day/o.dat 3=3+0+0, day/c.txt 4=3+0+1", nil},
		{"no run: the folder by date", map[string]string{
			"x/runs.csv": "file,date,box,gasket,closing,state\no.csv,2031-05-04,,,,open\nc.csv,2031-05-04,osier,felt,1,closed\np.csv,2031-05-05,,,,open\nd.csv,2031-05-05,osier,felt,1,closed\n",
			"x/o.csv":    openTrace, "x/c.csv": closedTrace, "x/p.csv": openTrace, "x/d.csv": strings.Replace(closedTrace, "-70", "-71", 1)},
			"x 2031-05-04: osier/1@30=60? osier/1@100=61? osier/1@400=50.5?; x 2031-05-05: osier/1@30=61? osier/1@100=61? osier/1@400=50.5?",
			"x/runs.csv 4=4+0+0, x/o.csv 3=3+0+0, x/c.csv 3=3+0+0, x/p.csv 3=3+0+0, x/d.csv 3=3+0+0", nil},
		{"upper bounds and a status", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run,limited,status_column,status_good\no.csv,,,,open,A,,,\nc.csv,b,g,1,closed,A,yes,,\nd.csv,b,g,2,closed,A,,Status,OK\n",
			"o.csv":    openTrace, "c.csv": testSample(t, "traces/below_noise.csv"), "d.csv": testSample(t, "traces/overload_flag.csv")},
			"A: b/1@30=91.4? b/1@100=>109 b/1@400=>108 b/2@30=-8.8? b/2@400=-8.7?",
			"runs.csv 3=3+0+0, o.csv 3=3+0+0, c.csv 3=3+0+0, d.csv 3=2+1+0",
			[]string{"Levels are given as upper bounds: 2, the first in", "Rows of traces that their status column does not call good were left out: 1, the first in"}},
		{"repeated header: sweeps are averaged", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run,repeated_header\no.csv,,,,open,A,\nc.csv,b,g,1,closed,A,yes\n",
			"o.csv":    openTrace, "c.csv": testSample(t, "traces/repeated_header.csv")},
			"A: b/1@30=51.15? b/1@100=51.2?", "runs.csv 2=2+0+0, o.csv 3=3+0+0, c.csv 4=4+0+0",
			[]string{"Sweeps in traces that repeat their header: 2, the first in"}},
		{"networks, with a floor", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run\no.s2p,,,,open,A\nc.S2P,b,g,1,closed,A\nf.s2p,b,,,floor,A\n",
			"o.s2p":    "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "c.S2P": "# MHz S MA R 50\n30 1 0 0.0001 0 0.5 0 0 0\n",
			"f.s2p": "# MHz S RI R 50\n30 1 0 0.00001 0 0 0 0 0\n"},
			"A: b/1@30=79", "runs.csv 3=3+0+0, o.s2p 1=1+0+0, c.S2P 1=1+0+0, f.s2p 1=1+0+0", nil},
		{"one port, and a network of three over several lines", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run\no.s1p,,,,open,A\nc.s3p,b,g,1,closed,A\n",
			"o.s1p":    "# MHz S DB R 50\n100 -1 0\n", "c.s3p": testSample(t, "networks/asym_s3p.s3p")},
			"A: b/1@100=59?", "runs.csv 2=2+0+0, o.s1p 1=1+0+0, c.s3p 1=1+0+0", nil},
		{"dB relative to the generator, declared", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,level_unit,floor_db\no.s2p,A,,,,open,,\nc.csv,A,b,g,1,closed,dB,-100\n",
			"o.s2p":    "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "c.csv": "Frequency (MHz),Level (dB)\n30,-61.5\n"},
			"A: b/1@30=60.5", "runs.csv 2=2+0+0, o.s2p 1=1+0+0, c.csv 1=1+0+0", nil},
		{"a row at 0 Hz", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state\no.s1p,A,,,,open\nc.s1p,A,b,g,1,closed\n",
			"o.s1p":    "# MHz S DB R 50\n0 0 0\n100 -1 0\n", "c.s1p": "# MHz S DB R 50\n0 0 0\n100 -51 0\n"},
			"A: b/1@100=50?", "runs.csv 2=2+0+0, o.s1p 2=1+1+0, c.s1p 2=1+1+0", []string{"Rows of network files at 0 Hz were left out: 2, the first in"}},
		{"nothing came through: the floor limits", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run,floor_db\no.s2p,,,,open,A,\nc.s2p,b,g,1,closed,A,-110\n",
			"o.s2p":    "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "c.s2p": "# MHz S RI R 50\n30 1 0 0 0 0 0 0 0\n"},
			"A: b/1@30=>109", "runs.csv 2=2+0+0, o.s2p 1=1+0+0, c.s2p 1=1+0+0", nil},
		{"frequencies a kHz apart, declared", map[string]string{
			"runs.csv": "file,box,gasket,closing,state,run,freq_tolerance_hz\no.csv,,,,open,A,\nc.csv,b,g,1,closed,A,1000\n",
			"o.csv":    testSample(t, "traces/reference.csv"), "c.csv": "Frequency (MHz),Level (dBm)\n30.000001,-72.5\n100,-71.0\n433.921,-70\n"},
			"A: b/1@30=60.5? b/1@100=58? b/1@433.92=54.5?", "runs.csv 2=2+0+0, o.csv 4=4+0+0, c.csv 3=3+0+0",
			[]string{"Frequencies within 1000 Hz of each other are one point, as runs.csv declares."}},
		{"side tables, readings in the long format, a stray, and nested folders", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,position,weather\no.csv,A,,,,open,lid,dry\nc.csv,A,osier,felt,1,closed,lid,wet\n",
			"o.csv":    openTrace, "c.csv": closedTrace, "boxes.csv": "box,role\nosier,test\n", "cal.csv": openTrace, "cal.s2p": "x", "notes.txt": "x",
			"long.csv":     "run,box,gasket,closing,state,freq_mhz,level_dbm\nL,,,,open,30,-10\nL,osier,felt,1,closed,30,-60\n",
			"sub/Runs.CSV": "file,run,box,gasket,closing,state\no.csv,B,,,,open\nc.csv,B,osier,felt,1,closed\n", "sub/o.csv": openTrace, "sub/c.csv": closedTrace},
			"A: osier/1/lid@30=60? osier/1/lid@100=61? osier/1/lid@400=50.5?; B: osier/1@30=60? osier/1@100=61? osier/1@400=50.5?; L: osier/1@30=50?",
			"boxes.csv 1=1+0+0, long.csv 2=2+0+0, runs.csv 2=2+0+0, o.csv 3=3+0+0, c.csv 3=3+0+0, sub/Runs.CSV 2=2+0+0, sub/o.csv 3=3+0+0, sub/c.csv 3=3+0+0",
			[]string{"Column without a meaning here, not used: \"weather\"", "Files beside a runs.csv that does not list them were not read: ", "cal.csv\"", "cal.s2p\"", "Files of another kind were not read: "}},
		{"a runs.csv of readings", map[string]string{
			"runs.csv": "run,box,gasket,closing,state,freq_mhz,level_dbm\nL,,,,open,30,-10\nL,osier,felt,1,closed,30,-60\n"},
			"L: osier/1@30=50?", "runs.csv 2=2+0+0", nil},
		{"packed", map[string]string{
			"runs.csv.gz": zipped(t, "file,run,box,gasket,closing,state\no.csv.gz,A,,,,open\nc.s2p.gz,B,,,,open\n"),
			"o.csv.gz":    zipped(t, openTrace), "c.s2p.gz": zipped(t, "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n")},
			"A: ; B: ", "runs.csv.gz 2=2+0+0, o.csv.gz 3=3+0+0, c.s2p.gz 1=1+0+0", []string{"No usable closed reading belongs to 2 runs"}},
		{"an open reading that is not good takes the closed ones of its frequency", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,status_column,status_good\no.csv,A,,,,open,Status,OK\nc.csv,A,b,g,1,closed,,\n",
			"o.csv":    testSample(t, "traces/overload_flag.csv"), "c.csv": closedTrace},
			"A: b/1@30=68.8? b/1@400=59.2?", "runs.csv 2=2+0+0, o.csv 3=2+1+0, c.csv 3=2+1+0",
			[]string{"Closed readings went with an open reading that was refused or left out: 1,"}},
		{"the reference of another run", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,reference\no.csv,A,,,,open,\nc.csv,B,osier,felt,1,closed,A\n",
			"o.csv":    openTrace, "c.csv": closedTrace},
			"A: ; B: osier/1@30=60? osier/1@100=61? osier/1@400=50.5?", "runs.csv 2=2+0+0, o.csv 3=3+0+0, c.csv 3=3+0+0", nil},
	} {
		dir := folder(t, tt.files)
		res := read(t, DefaultOptions(), dir)
		if res.err != nil {
			t.Errorf("%s: %v", tt.name, res.err)
			continue
		}
		var runs []string
		for _, r := range res.runs {
			runs = append(runs, r.Label+": "+r.table())
		}
		if got := strings.Join(runs, "; "); got != tt.want {
			t.Errorf("%s:\ngot  %s\nwant %s", tt.name, got, tt.want)
		}
		if got := inputsOf(res, dir); got != tt.inputs {
			t.Errorf("%s:\ngot  %s\nwant %s", tt.name, got, tt.inputs)
		}
		notes := strings.Join(res.sum.Notes, "\n")
		for _, want := range tt.notes {
			if !strings.Contains(notes, want) {
				t.Errorf("%s: no note %q in\n%s", tt.name, want, notes)
			}
		}
		// A runs.csv by its own name is its whole folder.
		for _, name := range []string{"runs.csv", "x/runs.csv", "runs.csv.gz"} {
			if _, ok := tt.files[name]; ok && tt.files["long.csv"] == "" {
				if again := read(t, DefaultOptions(), filepath.Join(dir, name)); shown(again) != shown(res) {
					t.Errorf("%s: by its own name\n%s\nwant\n%s", tt.name, shown(again), shown(res))
				}
			}
		}
	}
}

// What is wrong with a listing is told at its cell, all in one go.
func TestTraceProblems(t *testing.T) {
	const head = "file,run,box,gasket,closing,state\n"
	for _, tt := range []struct {
		name    string
		files   map[string]string
		want    []string // how each problem begins, and a part of it behind ...
		skipped string   // the inputs with --skip-bad-rows
	}{
		{"missing, twice, outside, other letters, no state, no closing", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\ngone.csv,A,b,g,1,closed\nC.csv,A,b,g,1,closed\n../up.csv,A,b,g,1,closed\no.csv,A,b,g,1,closed\nc.csv,A,b,,,closed\nd.csv,A,b,g,1,\n/etc/hosts,A,b,g,1,closed\nsub,A,b,g,1,closed\nboxes.csv,A,,,,open\n",
			"o.csv":    openTrace, "c.csv": closedTrace, "d.csv": closedTrace, "sub/x.csv": closedTrace, "boxes.csv": "box\nb\n"},
			[]string{`runs.csv:3:1: file "gone.csv": there is no such file; ...or remove the row`, `runs.csv:4:1: file "C.csv": there is no such file; write "c.csv" as it stands in the folder`,
				`runs.csv:5:1: file "../up.csv": is no file within the folder`, `runs.csv:6:1: file "o.csv": the file has a row already, on line 2`,
				`runs.csv:7:11: gasket: is empty, and a closed reading needs it`, `runs.csv:7:12: closing: is empty`, `runs.csv:8:15: state: is empty`,
				`runs.csv:9:1: file "/etc/hosts": is no file within`, `runs.csv:10:1: file "sub": is a folder`, `runs.csv:11:1: file "boxes.csv": is no trace`},
			"boxes.csv 1=1+0+0, runs.csv 10=1+9+0, o.csv 3=3+0+0"},
		{"dB, not declared", map[string]string{"runs.csv": "file,state\no.csv,open\n", "o.csv": "Frequency (MHz),Level (dB)\n30,-61.5\n"},
			[]string{`o.csv:1:17: "Level (dB)": the levels are in dB: relative to the generator (dB), or short for dBm; declare in runs.csv level_unit (dBm, dBuV, dB or suffix)`}, ""},
		{"columns that are missing", map[string]string{
			"runs.csv": "file,run,state\no.csv,A,open\nc.csv,A,closed\n", "o.csv": openTrace, "c.csv": closedTrace},
			[]string{"runs.csv:1:1: the column box is missing", "runs.csv:1:1: the column closing is missing", "runs.csv:1:1: the column gasket is missing"},
			"runs.csv 2=1+1+0, o.csv 3=3+0+0"},
		{"no column state", map[string]string{"runs.csv": "file\no.csv\n", "o.csv": openTrace},
			[]string{"runs.csv:1:1: the column state is missing"}, "runs.csv 1=0+1+0"},
		{"a listing that cannot be used", map[string]string{"runs.csv": "file;state\no.csv;open\n", "o.csv": openTrace},
			[]string{`runs.csv:1:1: "file;state": the column file is missing; ...commas`}, "runs.csv 1=0+1+0"},
		{"oddities of traces, all of them", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\nc.csv,A,b,g,1,closed\nd.csv,A,b,g,2,closed\ne.csv,A,b,g,3,closed\n",
			"o.csv":    openTrace, "c.csv": testSample(t, "traces/dbuv.csv"), "d.csv": testSample(t, "traces/duplicate_frequency.csv"), "e.csv": testSample(t, "traces/units_row.csv")},
			[]string{`c.csv:1:1: `, `c.csv:1:16: "Pegel (dB`, `c.csv:1:25: byte 0xb5 is not UTF-8; declare in runs.csv encoding=latin-1, delimiter=semicolon, decimal=comma, level_unit=dBuV`, `c.csv:2:4: `,
				`d.csv:4:1: Frequency (MHz) "100": the frequency stands already on line 3`, `e.csv:1:1: `, `e.csv:1:6: `, `e.csv:2:1: `},
			"runs.csv 4=4+0+0, o.csv 3=3+0+0, c.csv 2=0+2+0, d.csv 4=3+1+0, e.csv 3=0+3+0"},
		{"a listed file that is no trace, and a bad network", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\nc.s2p,A,b,g,1,closed\n", "o.csv": "\x89PNG", "c.s2p": testSample(t, "networks/bad_nan.s2p")},
			[]string{"c.s2p:3:9: S21 \"NaN\": is not a finite number", "o.csv:1:1: "}, "runs.csv 2=2+0+0, o.csv 0=0+0+0, c.s2p 1=0+1+0"},
		{"a network beside levels in dBm", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\nc.s2p,A,b,g,1,closed\n", "o.csv": openTrace, "c.s2p": "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n"},
			[]string{"c.s2p:2:1: "}, "runs.csv 2=2+0+0, o.csv 3=3+0+0, c.s2p 1=0+1+0"},
		{"a floor and a generator level that do not go with a network, and a profile", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,floor_dbm,tx_dbm,decimal\no.s2p,A,,,,open,,0,\nc.s2p,A,b,g,1,closed,-120,,\nd.s2p,A,b,g,2,closed,,,comma\n",
			"o.s2p":    "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "c.s2p": "# MHz S DB R 50\n30 0 0 -2 0 -9 0 0 0\n", "d.s2p": "# MHz S DB R 50\n30 0 0 -3 0 -9 0 0 0\n"},
			[]string{"d.s2p: a network file says itself", `runs.csv:2:18: tx_dbm "0": is a generator level beside`, `runs.csv:3:22: floor_dbm "-120": is in dBm`},
			"runs.csv 3=3+0+0, o.s2p 1=0+1+0, c.s2p 1=0+1+0, d.s2p 1=0+1+0"},
		{"bounds and zeros that are no levels", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,limited\no.csv,A,,,,open,yes\nc.csv,A,b,g,1,closed,yes\no.s2p,B,,,,open,\nc.s2p,B,b,g,1,closed,\n",
			"o.csv":    "Frequency (MHz),Level (dBm)\n30,-10\n100,<-11\n", "c.csv": "Frequency (MHz),Level (dBm)\n30,-70\n100,-72\n",
			"o.s2p": "# MHz S RI R 50\n0 0 0 1 0 0 0 0 0\n30 0 0 1 0 0 0 0 0\n60 0 0 0 0 0 0 0 0\n", "c.s2p": "# MHz S MA R 50\n30 0 0 0 0 0 0 0 0\n"},
			[]string{"c.s2p:2:1: the magnitude is 0, which is no level: ...floor_db", "o.csv:3:1: an open reading is known as an upper bound only", "o.s2p:4:1: the magnitude is 0, which is no level; ...more digits"},
			"runs.csv 4=4+0+0, o.csv 2=1+1+0, c.csv 2=1+1+0, o.s2p 3=1+2+0, c.s2p 1=0+1+0"},
		{"two closings with one label", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\nc.csv,A,b,g,1,closed\nd.csv,A,b,g,1,closed\n", "o.csv": openTrace, "c.csv": "Frequency (MHz),Level (dBm)\n30,-70\n", "d.csv": "Frequency (MHz),Level (dBm)\n30,-71\n"},
			[]string{`d.csv:2:1: Frequency (MHz) "30": this closing was read at this point before, at ...c.csv:2`}, "runs.csv 3=3+0+0, o.csv 3=3+0+0, c.csv 1=0+1+0, d.csv 1=0+1+0"},
		{"gain on one side alone", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,gain_db\no.csv,A,,,,open,\nc.csv,A,b,g,1,closed,20\n", "o.csv": openTrace, "c.csv": closedTrace},
			[]string{`runs.csv:2:17: gain_db: is empty, and filled in`}, ""},
		{"a reference that is not there", map[string]string{
			"runs.csv": "file,run,box,gasket,closing,state,reference\nc.csv,A,b,g,1,closed,Z\n", "c.csv": closedTrace},
			[]string{`runs.csv:2:22: reference "Z": names a run that the data do not have`}, "runs.csv 1=1+0+0, c.csv 3=0+3+0"},
		{"frequencies that do not meet", map[string]string{
			"runs.csv": head + "o.csv,A,,,,open\nc.csv,A,b,g,1,closed\n", "o.csv": testSample(t, "traces/reference.csv"), "c.csv": testSample(t, "traces/closed_box.csv")},
			[]string{`c.csv:4:1: Frequency (MHz) "434": the run "A" has no open reading at this point; its nearest open reading is at 433920000 Hz`, `c.csv:5:1: Frequency (MHz) "1200": the run "A" has no open reading at this point`},
			"runs.csv 2=2+0+0, o.csv 4=4+0+0, c.csv 4=2+2+0"},
		{"networks that nobody lists", map[string]string{"a.s2p": "# MHz S DB R 50\n30 0 0 -1 0 -9 0 0 0\n", "b.ts": "[Version] 2.0\n",
			"c.s3p": "# MHz S DB R 50\n30 0 0 0 0 0 0\n0 0 0 0 0 0\n0 0 0 0 0 0\n"},
			[]string{"a.s2p: a network file does not say what box", "b.ts: a network file does not say", "c.s3p: a network file does not say"}, "a.s2p 1=0+1+0, b.ts 0=0+0+0, c.s3p 1=0+1+0"},
		{"traces that nobody lists", map[string]string{"o.csv": openTrace, "c.csv": testSample(t, "traces/preamble_semicolon_comma_latin1.csv")},
			[]string{"c.csv:1:4: ", "o.csv:1:1: ", "o.csv:1:17: ", "o.csv:1:28: ", "runs.csv: is not there, and 2 files beside it look like traces of an analyser, the first being \"c.csv\""},
			"c.csv 11=0+10+1, o.csv 3=0+3+0"},
		{"a file that two listings have", map[string]string{
			"runs.csv": head + "sub/o.csv,A,,,,open\n", "sub/runs.csv": head + "o.csv,A,,,,open\n", "sub/o.csv": openTrace},
			[]string{`sub/runs.csv:2:1: file "o.csv": the file has a row already, at ...runs.csv:2`}, "runs.csv 1=1+0+0, sub/o.csv 3=3+0+0, sub/runs.csv 1=0+1+0"},
	} {
		dir := folder(t, tt.files)
		res := read(t, DefaultOptions(), dir)
		got := problemsOf(res, dir)
		listed := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
		if res.err == nil || len(listed) != len(tt.want) {
			t.Errorf("%s: want %d problems, got\n%s", tt.name, len(tt.want), got)
			continue
		}
		for i, want := range tt.want {
			begin, part, _ := strings.Cut(want, "...")
			if !strings.HasPrefix(listed[i], begin) || !strings.Contains(listed[i], part) {
				t.Errorf("%s: problem %d is\n%s\nwant\n%s", tt.name, i+1, listed[i], want)
			}
		}
		opt := DefaultOptions()
		opt.SkipBadRows = true
		res = read(t, opt, dir)
		if got := inputsOf(res, dir); res.err != nil || tt.skipped != "" && got != tt.skipped {
			t.Errorf("%s: rows skipped: %v\ngot  %s\nwant %s", tt.name, res.err, got, tt.skipped)
		}
	}
}

// The same file by another name, and a folder outside by a link.
func TestListedLinks(t *testing.T) {
	dir := folder(t, map[string]string{"in/runs.csv": "file,state\na.csv,open\nb.csv,open\nout/c.csv,open\nlink.csv,open\n", "in/a.csv": openTrace, "out/c.csv": openTrace, "d.csv": openTrace})
	for _, l := range [][2]string{{"a.csv", "in/b.csv"}, {"../out", "in/out"}, {"../d.csv", "in/link.csv"}} {
		if err := os.Symlink(l[0], filepath.Join(dir, l[1])); err != nil {
			t.Fatal(err)
		}
	}
	res := read(t, DefaultOptions(), filepath.Join(dir, "in"))
	got := problemsOf(res, filepath.Join(dir, "in"))
	if !strings.HasPrefix(got, `runs.csv:3:1: file "b.csv": the same file, as "`) || !strings.Contains(got, `runs.csv:4:1: file "out/c.csv": stands in a folder that a link leads to`) || len(res.sum.Problems) != 2 {
		t.Errorf("got\n%s", got)
	}
	if got := inputsOf(res, filepath.Join(dir, "in")); got != "runs.csv 4=2+2+0, a.csv 3=3+0+0, link.csv 3=3+0+0" {
		t.Error(got)
	}
}

// Many files with problems keep to the limit, and the rest is counted.
func TestTraceProblemLimit(t *testing.T) {
	files := map[string]string{}
	list := "file,state\n"
	for i := range 50 {
		name := fmt.Sprintf("t%02d.csv", i)
		list += name + ",open\n"
		files[name] = "Frequency (MHz),Level (dBm)\n30,x\n60,y\n"
	}
	files["runs.csv"] = list
	opt := DefaultOptions()
	opt.ProblemLimit = 7
	res := read(t, opt, folder(t, files))
	if len(res.sum.Problems) != 7 || res.sum.Omitted != 93 {
		t.Errorf("%d problems and %d more, want 7 and 93", len(res.sum.Problems), res.sum.Omitted)
	}
}

// A trace by its own name is pointed to its table.
func TestTraceAlone(t *testing.T) {
	dir := folder(t, map[string]string{"runs.csv": "file,state\no.csv,open\n", "o.csv": openTrace})
	res := read(t, DefaultOptions(), filepath.Join(dir, "o.csv"))
	if got := problemsOf(res, dir); !strings.Contains(got, "runs.csv: was not asked for, and \"o.csv\" beside it looks like a trace of an analyser; to read the traces that it lists, give it or its folder") {
		t.Errorf("got\n%s", got)
	}
}

// A trace that is given beside its folder, by another path, is read once.
func TestTraceTwice(t *testing.T) {
	dir := folder(t, map[string]string{"runs.csv": "file,state\no.csv,open\nlong.csv,open\n", "o.csv": openTrace, "long.csv": "freq_mhz,level_dbm\n30,-1\n"})
	for _, paths := range [][]string{{filepath.Join(dir, "x", "..", "long.csv"), dir}, {dir + "/./long.csv", dir}, {dir, dir + "/long.csv"}} {
		res := read(t, DefaultOptions(), paths...)
		if got := inputsOf(res, dir); res.err != nil || got != "runs.csv 2=2+0+0, o.csv 3=3+0+0, long.csv 1=1+0+0" {
			t.Errorf("%v: %v, %s", paths, res.err, got)
		}
	}
	if err := os.Symlink(dir, dir+"-link"); err == nil {
		if res := read(t, DefaultOptions(), dir+"-link/long.csv", dir); inputsOf(res, dir) != "runs.csv 2=2+0+0, o.csv 3=3+0+0, long.csv 1=1+0+0" {
			t.Errorf("by a link: %v, %s", res.err, inputsOf(res, dir))
		}
	}
}

// An upper bound shows the attenuation that it demonstrates, and no headroom beyond:
// open -10 dBm and < -104 dBm are at least 94 dB, whatever lies below.
func TestUpperBounds(t *testing.T) {
	for _, tt := range []struct {
		floor      string
		want, most float64 // attenuation and headroom, by hand
	}{
		{"", 94, 94}, {"-130", 94, 94}, {"-107", 94, 91}, {"-100", 90, 84},
	} {
		dir := folder(t, map[string]string{"runs.csv": "file,state,box,gasket,closing,limited,floor_dbm\no.csv,open,,,,,\nc.csv,closed,b,g,1,yes," + tt.floor + "\n",
			"o.csv": "freq_mhz,level_dbm\n30,-10\n", "c.csv": "freq_mhz,level_dbm\n30,< -104\n"})
		res := read(t, DefaultOptions(), dir)
		if res.err != nil || len(res.runs) != 1 || len(res.runs[0].rows) != 1 {
			t.Fatalf("%q: %v", tt.floor, res.err)
		}
		if got := res.runs[0].rows[0]; !got.limited || !got.floorKnown || got.attenuation != tt.want || got.headroom != tt.most {
			t.Errorf("floor %q: %+v, want at least %v, headroom %v", tt.floor, got, tt.want, tt.most)
		}
	}
}

// The order of the rows of runs.csv says nothing.
func TestListingOrder(t *testing.T) {
	rows := []string{"o.csv,A,,,,open", "c.csv,A,b,g,1,closed", "d.csv,A,b,g,2,closed", "p.csv,B,,,,open", "e.csv,B,b,g,3,closed"}
	files := map[string]string{"o.csv": openTrace, "p.csv": openTrace, "c.csv": closedTrace, "d.csv": closedTrace, "e.csv": closedTrace}
	files["runs.csv"] = "file,run,box,gasket,closing,state\n" + strings.Join(rows, "\n") + "\n"
	want := read(t, DefaultOptions(), folder(t, files))
	slices.Reverse(rows)
	files["runs.csv"] = "file,run,box,gasket,closing,state\n" + strings.Join(rows, "\n") + "\n"
	if got := read(t, DefaultOptions(), folder(t, files)); shown(got) != shown(want) {
		t.Errorf("got\n%s\nwant\n%s", shown(got), shown(want))
	}
}

// Every column of the long format that can hold for a whole trace is a column of
// runs.csv.
func TestListedColumns(t *testing.T) {
	header, row := []string{"file", "state", "floor_dbm"}, []string{"c.csv", "floor", "-120"}
	for _, c := range []string{"run", "session", "box", "gasket", "fitting", "closing", "sweep", "position", "polarization", "reference", "method", "receiver", "rbw_hz",
		"detector", "hold", "antenna", "receiver_in", "operator", "latch", "torque_nm", "temp_c", "humidity_pct", "battery_v", "note"} {
		header, row = append(header, c), append(row, "x "+c)
	}
	header, row = append(header, "tx_dbm", "gain_db", "date", "installed"), append(row, "1.5", "-2", "2031-05-04", "2030-05-04")
	dir := folder(t, map[string]string{"runs.csv": strings.Join(header, ",") + "\n" + strings.Join(row, ",") + "\n", "c.csv": closedTrace})
	n := 0
	opt := DefaultOptions()
	opt.SkipBadRows = true // the reference is not there
	res := readVisiting(t, opt, func(r *Run) {
		for i, name := range header {
			column := r.Readings.Schema().FieldIndices(strings.Replace(name, "floor_dbm", "floor", 1))
			if name == "file" || name == "run" { // the run's own label
				continue
			}
			if len(column) != 1 {
				t.Errorf("no column %s", name)
				continue
			}
			if got := r.Readings.Column(column[0]).ValueStr(2); got != row[i] && !(name == "state" && got == "floor") {
				t.Errorf("%s is %q, want %q", name, got, row[i])
			}
			n++
		}
	}, dir)
	if len(res.sum.Notes) > 0 && strings.Contains(strings.Join(res.sum.Notes, " "), "without a meaning") || n != len(header)-2 {
		t.Errorf("%d columns; %v", n, res.sum.Notes)
	}
	for _, c := range trace.Columns() {
		if slices.Contains(header, c) {
			t.Errorf("%s is of the profile and of the long format", c)
		}
	}
}
