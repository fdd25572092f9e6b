package ingest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// campaign writes runs of two open and a floor reading and of closed readings at
// several points, with everything that a file can say.
func campaign(runs, closings, points int) string {
	var b strings.Builder
	b.WriteString("run,date,box,gasket,fitting,installed,closing,sweep,state,freq_mhz,position,level_dbm,tx_dbm,gain_db,receiver,temp_c\n")
	r := rand.New(rand.NewPCG(7, 7))
	for run := range runs {
		date := fmt.Sprintf("2026-%02d-%02d", 1+run/28%12, 1+run%28)
		row := func(box, closing, sweep, state string, point int, level, gain float64) {
			gasket, fitting, installed := "", "", ""
			if box != "" {
				gasket, fitting, installed = "wool", "f1", "2025-12-01"
			}
			fmt.Fprintf(&b, "run %d,%s,%s,%s,%s,%s,%s,%s,%s,%g,%s,%.2f,0,%g,R%d,2%d\n", run, date, box, gasket, fitting, installed, closing, sweep, state,
				float64(30*(1+point)), []string{"door", "wall"}[point%2], level, gain, run%2, point%5)
		}
		for _, sweep := range []string{"before", "after"} {
			for p := range points {
				row("", "", sweep, "open", p, -30+r.NormFloat64()/4, 0)
			}
		}
		for p := range points {
			row("", "", "", "floor", p, -70, 30)
		}
		for c := range closings {
			for p := range points {
				for _, sweep := range []string{"1", "2"} {
					row(fmt.Sprintf("B%d", run%3), fmt.Sprint(c+1), sweep, "closed", p, -60+3*r.NormFloat64(), 30)
				}
			}
		}
	}
	return b.String()
}

// shown is all that a reading gives but the places.
func shown(res result) string {
	var b strings.Builder
	for _, r := range res.runs {
		fmt.Fprintf(&b, "%s %v %v %v\n", r.Label, r.Points, r.Reference, r.Counts)
		for _, c := range r.Closings {
			c.File, c.Line = "", 0
			fmt.Fprintf(&b, "%+v\n", c)
		}
		for _, row := range r.rows {
			row.line = 0
			fmt.Fprintf(&b, "%+v\n", row)
		}
	}
	fmt.Fprintf(&b, "%q %+v\n", res.sum.Notes, res.sum.LeftOut)
	return b.String()
}

// The order of rows, and their spreading over files, change no number and no
// order: not even the last digit.
func TestOrderOfRows(t *testing.T) {
	text := campaign(5, 3, 4)
	want := shown(good(t, DefaultOptions(), text))
	if n := strings.Count(want, "attenuation"); n != 5*3*4 {
		t.Fatalf("%d attenuations", n)
	}
	all := strings.SplitAfter(text, "\n")
	header, rows := all[0], all[1:len(all)-1]
	r := rand.New(rand.NewPCG(5, 6))
	for range 5 {
		r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		if got := shown(good(t, DefaultOptions(), header+strings.Join(rows, ""))); got != want {
			t.Fatalf("shuffled:\n%s\nwant\n%s", got, want)
		}
	}
	files := map[string]string{}
	for i, row := range rows {
		name := fmt.Sprintf("%d.csv", i%7)
		if files[name] == "" {
			files[name] = header
		}
		files[name] += row
	}
	res := read(t, DefaultOptions(), folder(t, files))
	if res.err != nil || shown(res) != want {
		t.Errorf("in seven files: %v\n%s\nwant\n%s", res.err, shown(res), want)
	}
}

func TestNotContiguous(t *testing.T) {
	res := good(t, DefaultOptions(), head+
		"b,B,G,1,closed,100,-59\n"+
		"a,B,G,1,closed,100,-105\n"+
		"b,,,,open,100,-31\n"+
		"\n"+
		"a,,,,open,100,-31\n"+
		"b,B,G,2,closed,100,-60\n")
	if len(res.runs) != 2 || res.runs[0].table() != "B/1@100=74?" || res.runs[1].table() != "B/1@100=28? B/2@100=29?" {
		t.Errorf("%+v", res.runs)
	}
	if in := res.sum.Inputs[0]; in.Rows != 6 || in.Used != 5 || in.Blank != 1 {
		t.Errorf("%+v", in)
	}
	if l := res.runs[1].rows[1].line; l != 7 {
		t.Errorf("line %d, want 7", l)
	}
}

func TestLineEndsAndMark(t *testing.T) {
	want := shown(good(t, DefaultOptions(), ok))
	for name, text := range map[string]string{
		"CRLF":             strings.ReplaceAll(ok, "\n", "\r\n"),
		"mark":             "\ufeff" + ok,
		"mark and CRLF":    "\ufeff" + strings.ReplaceAll(ok, "\n", "\r\n"),
		"no last line end": strings.TrimSuffix(ok, "\n"),
		"quotes":           strings.ReplaceAll(strings.ReplaceAll(ok, "B,G", `"B","G"`), "run", `"run"`),
		"blanks":           strings.ReplaceAll(ok, ",", " , "),
		"exponents":        strings.ReplaceAll(ok, "100", "1e+02"),
	} {
		if got := shown(good(t, DefaultOptions(), text)); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}

func TestLabelsAreText(t *testing.T) {
	long := strings.Repeat("Größe ", 2000)
	long = long[:len(long)-1]
	for _, label := range []string{"007", "1e3", "-5", "a,b", `say "shut"`, "two\nlines", "\x1b[31mred", "\u202eevil", "=1+1", "<script>", long} {
		quoted := `"` + strings.ReplaceAll(label, `"`, `""`) + `"`
		res := good(t, DefaultOptions(), head+"a,,,,open,100,-31\na,"+quoted+",G,"+quoted+",closed,100,-59\n")
		if c := res.runs[0].Closings[0]; c.Box != label || c.Label != label {
			t.Errorf("%+v, want the label %q", c, label)
		}
	}
	res := good(t, DefaultOptions(), head+open+"a,7,G,1,closed,100,-59\na,007,G,1,closed,100,-60\n")
	if n := len(res.runs[0].Closings); n != 2 {
		t.Errorf("%d closings: 7 and 007 are two boxes", n)
	}
}

func TestContext(t *testing.T) {
	res := good(t, DefaultOptions(), "rbw_hz,receiver,antenna,temp_c,note,"+head+
		"1000,R1,loop,20,,"+open+
		"1e3,,loop,21,dry,"+shut+
		",,,,,a,B,G,2,closed,100,-59\n")
	c := res.runs[0].Closings
	for i, want := range []string{
		"map[antenna:loop note:dry rbw_hz:1e3 receiver:R1 temp_c:21]",
		"map[antenna:loop rbw_hz:1000 receiver:R1]", // what the pair must share is known from its open reading
	} {
		if got := fmt.Sprint(c[i].Context); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
	// Different in one closing: the value at the lowest frequency, and a note.
	res = good(t, DefaultOptions(), "temp_c,"+head+
		"20,"+open+"20,a,,,,open,50,-31\n22,"+shut+"21,a,B,G,1,closed,50,-59\n")
	if c := res.runs[0].Closings[0].Context["temp_c"]; c != "21" {
		t.Errorf("temp_c %s", c)
	}
	if len(res.sum.Notes) != 1 || !strings.Contains(res.sum.Notes[0], "temp_c") {
		t.Errorf("notes %q", res.sum.Notes)
	}
}

func TestCounts(t *testing.T) {
	minus := -120.0
	opt := DefaultOptions()
	opt.FloorDBM = &minus
	res := good(t, opt, "gain_db,sweep,floor_dbm,"+head+
		"0,,,a,,,,open,100,-31\n"+"0,,,a,,,,open,200,-31\n"+"0,,,a,,,,open,200,-31.5\n"+"0,,,a,,,,open,300,-31\n"+
		"0,,,a,,,,floor,200,-100\n"+
		"0,1,-90,a,B,G,1,closed,100,-59\n"+"0,2,-90,a,B,G,1,closed,100,-59\n"+"0,,,a,B,G,1,closed,200,-59\n"+"20,,,a,B,G,1,closed,300,-59\n")
	want := Counts{Open: 4, Closed: 4, Floor: 1, OpenRepeats: 2, GainSettings: 2, FloorByRow: 1, FloorByColumn: 1, FloorByOption: 1, Sweeps: 1}
	if got := res.runs[0].Counts; got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

func TestReadingsRecord(t *testing.T) {
	dir := folder(t, map[string]string{"data.csv": "tx_dbm,gain_db,date,position,floor_dbuv,run,box,gasket,closing,state,freq_mhz,level_dbuv\n" +
		"10,,2026-05-04,door,,a,,,,open,100,76\n" + "10,,,door,-5,a,B,G,1,closed,100,48\n"})
	mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
	defer mem.AssertSize(t, 0)
	opt := DefaultOptions()
	opt.Allocator = mem
	var kept arrow.Record
	_, err := Read(context.Background(), []string{dir}, opt, func(r *Run) error {
		kept = r.Readings
		kept.Retain()
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Release()
	column := func(name string) arrow.Array { return kept.Column(Readings.FieldIndices(name)[0]) }
	text := func(name string, i int) string {
		d := column(name).(*array.Dictionary)
		return d.Dictionary().(*array.String).Value(d.GetValueIndex(i))
	}
	number := func(name string, i int) float64 {
		if column(name).IsNull(i) {
			return -999
		}
		return column(name).(*array.Float64).Value(i)
	}
	if kept.NumRows() != 2 || text("state", 1) != "closed" || text("box", 1) != "B" || text("box", 0) != "" || text("position", 1) != "door" ||
		text("level_unit", 1) != "dBm" || text("written_unit", 1) != "dBuV" || text("file", 0) != filepath.Join(dir, "data.csv") {
		t.Errorf("%v", kept)
	}
	const shift = -106.98970004336019
	for _, tt := range []struct {
		name string
		row  int
		want float64
	}{
		{"written", 0, 76}, {"level", 0, 76 + shift}, {"normalised_db", 1, 48 + shift - 10}, {"floor", 0, -999}, {"floor", 1, -5 + shift},
		{"tx_dbm", 0, 10}, {"gain_db", 0, -999}, {"freq_hz", 1, 1e8}, {"attenuation_db", 1, -999},
	} {
		if got := number(tt.name, tt.row); !same(got, tt.want) {
			t.Errorf("%s of row %d is %v, want %v", tt.name, tt.row, got, tt.want)
		}
	}
	if d := column("date").(*array.Date32); d.Value(0) != d.Value(1) || column("installed").IsValid(0) {
		t.Errorf("dates %v", d)
	}
	if l := column("line").(*array.Int32); l.Value(0) != 2 || l.Value(1) != 3 {
		t.Errorf("lines %v", l)
	}
	for _, f := range Readings.Fields() {
		if f.Type.ID() == arrow.FLOAT64 {
			if u, ok := f.Metadata.GetValue("unit"); !ok || u == "" {
				t.Errorf("the column %s has no unit", f.Name)
			}
		}
	}
	opt.OmitReadings = true
	if _, err := Read(context.Background(), []string{dir}, opt, func(r *Run) error {
		if r.Readings != nil {
			t.Error("readings that were to be omitted")
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

func TestUnusedColumns(t *testing.T) {
	text := "Operator Notes,mood,operator," + head + "x,y,z," + open + ",,," + shut
	res := read(t, DefaultOptions(), folder(t, map[string]string{"a.csv": text, "b.csv": strings.ReplaceAll(text, "a,", "b,")}))
	if res.err != nil || len(res.sum.Notes) != 1 || !strings.Contains(res.sum.Notes[0], `"Operator Notes", "mood" (in `) || !strings.Contains(res.sum.Notes[0], "a.csv and 1 other file)") {
		t.Errorf("%v, %q", res.err, res.sum.Notes)
	}
}

func TestVisitFails(t *testing.T) {
	dir := folder(t, map[string]string{"data.csv": campaign(20, 2, 3)})
	mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
	defer mem.AssertSize(t, 0)
	opt := DefaultOptions()
	opt.Allocator = mem
	broken := errors.New("enough")
	n := 0
	sum, err := Read(context.Background(), []string{dir}, opt, func(*Run) error {
		if n++; n == 3 {
			return broken
		}
		return nil
	})
	if err != broken || sum != nil || n != 3 {
		t.Errorf("%v, %v, %d visits", sum, err, n)
	}
}

func TestCancel(t *testing.T) {
	dir := folder(t, map[string]string{"data.csv": campaign(40, 2, 30)})
	for _, after := range []int{0, 1, 5} {
		ctx, cancel := context.WithCancel(context.Background())
		if after == 0 {
			cancel()
		}
		mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
		opt := DefaultOptions()
		opt.Allocator = mem
		n := 0
		sum, err := Read(ctx, []string{dir}, opt, func(*Run) error {
			if n++; n == after {
				cancel()
			}
			return nil
		})
		if !errors.Is(err, context.Canceled) || sum != nil || n != after {
			t.Errorf("%v, %v, %d visits, want %d", sum, err, n, after)
		}
		mem.AssertSize(t, 0)
		cancel()
	}
}

func TestOptions(t *testing.T) {
	p := filepath.Join(folder(t, map[string]string{"data.csv": ok}), "data.csv")
	if res := read(t, Options{FreqMatch: 2}, p); res.err == nil || res.sum != nil {
		t.Error("a frequency match of 2 is taken")
	}
	if res := read(t, Options{DriftDB: -1}, p); res.err == nil {
		t.Error("a negative drift is taken")
	}
}

func TestNaturally(t *testing.T) {
	want := []string{"", "2", "10", "a", "box 2", "box 10", "box 10 b", "box 010", "box a"}
	got := slices.Clone(want)
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(got), func(i, j int) { got[i], got[j] = got[j], got[i] })
	slices.SortFunc(got, CompareLabels)
	if !slices.Equal(got, want) && !slices.Equal(got, []string{"", "2", "10", "a", "box 2", "box 010", "box 10", "box 10 b", "box a"}) {
		t.Errorf("%q", got)
	}
	for _, a := range want {
		for _, b := range want {
			if CompareLabels(a, b) == 0 != (a == b) || (CompareLabels(a, b) < 0) != (CompareLabels(b, a) > 0) {
				t.Errorf("%q and %q are not ordered", a, b)
			}
		}
	}
}

// An open run that another names as its reference needs no closed readings; one
// that nobody names is told.
func TestOpenOnly(t *testing.T) {
	text := lines(plainHeader+" reference",
		"a - - - open 100 -31 -",
		"b - - - open 100 -31 -",
		"c B G 1 closed 100 -59 a")
	res := good(t, DefaultOptions(), text)
	if len(res.runs) != 3 || len(res.sum.Notes) != 1 || res.sum.Notes[0] != `No usable closed reading belongs to the run "b".` {
		t.Errorf("%d runs, notes %q", len(res.runs), res.sum.Notes)
	}
}
