package longcsv

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// loaded is all that a file gives.
type loaded struct {
	refused   []string
	stretches []string
	count     reading.Count
	rows      []string
	problems  []string
	skipped   int
	badOpen   int
	omitted   int
	table     *table
	batch     reading.Batch
}

// load reads a file, by the careful path alone or not.
func load(t testing.TB, data []byte, careful bool) *loaded {
	t.Helper()
	src := bytes.NewReader(data)
	res := &loaded{}
	opened, refused, err := Open("x.csv", 7, src, int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range refused {
		res.refused = append(res.refused, p.Error())
	}
	if opened == nil {
		return res
	}
	tab := opened.(*table)
	tab.careful, tab.piece, res.table = careful, 1<<10, tab
	b := &res.batch
	b.Reset()
	b.Problems.Limit = 1000
	var stretches []reading.Stretch
	if res.count, err = tab.Index(context.Background(), src, func(s reading.Stretch) {
		res.stretches = append(res.stretches, fmt.Sprintf("%q %v %v %d-%d line %d", s.Run, s.Date, s.Open, s.From, s.To, s.Line))
		s.Run = nil
		stretches = append(stretches, s)
	}); err != nil {
		t.Fatal(err)
	}
	for _, s := range stretches {
		if err := tab.Load(context.Background(), src, s, b); err != nil {
			t.Fatal(err)
		}
	}
	evenly(t, b)
	for i := range b.Len() {
		var labels []string
		for c := reading.Column(0); c < reading.Columns; c++ {
			if b.Text[c] != nil {
				labels = append(labels, fmt.Sprintf("%s=%q", c.Name(), b.Labels.Text(b.Text[c][i])))
			}
		}
		res.rows = append(res.rows, fmt.Sprint(b.File[i], b.Line[i], b.At[i], b.Kind[i], b.Unit[i], b.Limited[i], b.Date[i], b.Installed[i],
			math.Float64bits(b.FreqHz[i]), math.Float64bits(b.Level[i]), b.Floor[i], b.Tx[i], b.Gain[i], labels))
	}
	for _, s := range b.Skipped {
		res.skipped += s.Rows
	}
	res.badOpen = b.BadOpen
	kept, omitted := b.Problems.Sorted()
	for _, p := range append(kept, tab.Problems()...) {
		res.problems = append(res.problems, p.Error())
	}
	res.omitted = omitted
	return res
}

// evenly checks that what breaks say of the readings between them is so.
func evenly(t testing.TB, b *reading.Batch) {
	t.Helper()
	at := map[int32]bool{}
	last := int32(-1)
	for _, i := range b.Breaks() {
		if i <= last || int(i) >= b.Len() {
			t.Fatalf("breaks %v of %d readings", b.Breaks(), b.Len())
		}
		at[i], last = true, i
	}
	for i := range b.Len() {
		same := i > 0 && b.File[i] == b.File[i-1] && b.Kind[i] == b.Kind[i-1] && b.Unit[i] == b.Unit[i-1] && b.Date[i] == b.Date[i-1] && b.Installed[i] == b.Installed[i-1]
		for c := reading.Column(0); c < reading.Columns; c++ {
			same = same && b.Code(c, i) == b.Code(c, i-1)
		}
		if !same && !at[int32(i)] {
			t.Fatalf("reading %d differs from the one before, and no break tells", i)
		}
	}
}

// alike reads a file by both paths, and where a general-purpose reader of CSV takes
// it without complaint, compares the readings with what that one sees.
func alike(t testing.TB, data []byte) *loaded {
	t.Helper()
	quick, careful := load(t, data, false), load(t, data, true)
	for _, x := range []struct {
		what      string
		got, want any
	}{
		{"refusals", quick.refused, careful.refused}, {"stretches", quick.stretches, careful.stretches}, {"count", quick.count, careful.count},
		{"rows", quick.rows, careful.rows}, {"problems", quick.problems, careful.problems}, {"omitted", quick.omitted, careful.omitted},
		{"skipped", quick.skipped, careful.skipped}, {"bad open", quick.badOpen, careful.badOpen},
	} {
		if got, want := fmt.Sprint(x.got), fmt.Sprint(x.want); got != want {
			t.Fatalf("%s: quick\n%s\ncareful\n%s\n%q", x.what, got, want, data)
		}
	}
	if quick.table == nil {
		return quick
	}
	if n := quick.batch.Len() + quick.skipped; n != quick.count.Rows-quick.count.Blank {
		t.Fatalf("%d readings and %d skipped of %+v\n%q", quick.batch.Len(), quick.skipped, quick.count, data)
	}
	besideLibrary(t, data, quick)
	return quick
}

// besideLibrary compares readings with the cells that encoding/csv finds on their
// lines, read by strconv.
func besideLibrary(t testing.TB, data []byte, got *loaded) {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	r.FieldsPerRecord = -1
	cells := map[int][]string{} // by line
	for {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return // it is stricter, and it stops
		}
		line, _ := r.FieldPos(0)
		cells[line] = record
	}
	h, b := got.table.header, &got.batch
	for i := range b.Len() {
		record := cells[int(b.Line[i])]
		if record == nil && len(got.problems) > 0 {
			return // a quote opened in a line that is refused for its bytes: the library goes on from there in another way
		}
		text := func(c reading.Column) string {
			if at := h.at[c]; at < len(record) {
				return strings.TrimSpace(record[at])
			}
			return ""
		}
		for c := reading.Column(0); c < reading.Columns; c++ {
			if c.IsText() && h.has(c) && string(cell.Unguarded([]byte(text(c)))) != b.Labels.Text(b.Code(c, i)) {
				t.Fatalf("line %d: %s %q, encoding/csv %q\n%q", b.Line[i], c.Name(), b.Labels.Text(b.Code(c, i)), text(c), data)
			}
		}
		number := func(name string, c reading.Column, scale int, offset, got float64) {
			if !h.has(c) {
				return
			}
			t.Helper()
			written := strings.TrimSpace(strings.TrimLeft(text(c), "\u2264\u2265<>="))
			if written == "" && got != got {
				return
			}
			mantissa, power, _ := strings.Cut(strings.ToLower(written), "e")
			e, _ := strconv.Atoi(strings.TrimPrefix(power, "+"))
			want, err := strconv.ParseFloat(fmt.Sprintf("%se%d", mantissa, e+scale), 64)
			if err != nil || want+offset != got {
				t.Fatalf("line %d: %s is %v, strconv reads %v, %v from %q\n%q", b.Line[i], name, got, want+offset, err, written, data)
			}
		}
		number("frequency", reading.Freq, h.scale, 0, b.FreqHz[i])
		number("level", reading.Level, 0, 0, b.Level[i])
		number("attenuation", reading.Atten, 0, 0, b.Level[i])
		number("floor", reading.Floor, 0, h.floor.Offset(), b.Floor[i])
		number("power", reading.Tx, 0, 0, b.Tx[i])
		number("gain", reading.Gain, 0, 0, b.Gain[i])
		if h.has(reading.Date) && b.Date[i] != cell.NoDay && !strings.HasPrefix(text(reading.Date), b.Date[i].String()) {
			t.Fatalf("line %d: date %v, encoding/csv %q", b.Line[i], b.Date[i], text(reading.Date))
		}
	}
}

var samples = []string{
	campaign(1),
	"state,freq_mhz,level_dbm\nopen,1,2\nopen,1,2\n",
	"run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm,tx_dbm,gain_db\n" +
		"a,2026-05-04,,,,open,30,-30.5,,10,\na,2026-05-04,B,G,1,closed,30,-90.25,-100,10,\na,2026-05-04,B,G,1,closed,100.5,-9.5,-99.75,10,-3\n" +
		"a,2026-05-04,B,,1,closed,30,-90,-100,10,\na,2026-13-04,B,G,1,closed,30,-90,-100,10,\n\n,,,,\n,,,,,,,,,,\na,2026-05-04,B,G,2,shut,30,-90,-100,10,\n" +
		"b,2026-05-04,B,G,2,closed,1e2,-90,-100,10,\nb,2026-05-04,B,G,2,closed, 100 ,-9000,-100,10,\nb,2026-05-04,B,G,2,CLOSED,100, -90,-1e2,10,0\n" +
		"run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm,tx_dbm,gain_db\nb,2026-05-04,B,G,2,closed,12345678901,-90,-0,0,-0.00",
	"freq_hz,state,level_dbm,box,gasket,closing,date,installed,run,note\r\n30e6,open,-30,,,,2026-01-01,,r,\r\n30000000,closed,-60,B,G,1,2026-01-01T10:00,2025-01-01,r,n\r\n" +
		"30000000,closed,-60,B,G,1,2026-01-01,2027-01-01,r,n\r\n30000000,closed,-60,B,G,1,2026-01-01,2025-01-01,s,n\rn\r\n\r\n30000000,closed,-60,B\r\n",
	"box,gasket,closing,freq_mhz,atten_db,state\nB,G,1,100,>72.5,\nB,G,1,200,>=72.5,closed\nB,G,1,200,> 72.5,\nB,G,1,300,<5,\nB,G,1,400,\u22655,open\nB,G,2,400,\u22655,\n",
	"state,box,gasket,closing,freq_mhz,level_dbm\nclosed,B,G,1,100,<-60\nclosed,B,G,1,200,< -60\nclosed,B,G,1,300,<= -60\nfloor,,,,300,\u2264-60\nopen,,,,300,<-60\nclosed,B,G,1,400,<<-60\nclosed,B,G,1,400,<\nclosed,B,G,1,400,>-60\nclosed,B,G,1,<400,-60\nclosed,B,G,1,500,<-6000\n",
	"freq_mhz,level_dbuv,floor_dbuv,state,box,gasket,closing\n100,<-6,-7,closed,B,G,1\n100,<6,<7,closed,B,G,1\n100,< 6,,open,B,G,1\n100,6,,open,B,G,1\n",
	"freq_mhz,level_dbuv,floor_dbuv,state,box,gasket,closing,limited\n100,<-6,-7,closed,B,G,1,yes\n100,<6,<7,closed,B,G,1,yes\n100,< 6,,open,B,G,1,1\n100,6,,open,B,G,1,\n100,6,,open,B,G,1,true\n100,6,,closed,B,G,2,No\n100,6,,closed,B,G,2,x\n100,6,,closed,B,G,2,x\n100,6,,closed,B,G,2,\n",
	"limited,atten_db,freq_mhz,box,gasket,closing\nyes,72,100,B,G,1\n,>72,100,B,G,2\nno,72,100,B,G,3\n1,>72,100,B,G,4\n?,1,100,B,G,5\n",
	"box,gasket,closing,state,freq_mhz,level_db,tx_dbm\nB,G,1,closed,100,-60,\nB,G,1,closed,100,-60,10\n",
	"box,closing,state,freq_mhz,level_dbuv,floor_dbuv\nB,1,closed,100,60,1\n,,open,100,90,\n",
	"run,box,gasket,closing,state,freq_mhz,level_dbm\n\"a\",B,G,1,closed,100,-60\n\"a, b\",\"B\nB\",G,1,closed,100,-60\na,B\",G,1,closed,100,-60\n\"a,B,G,1,closed,100,-60\n",
	"run,box,gasket,closing,state,freq_mhz,level_dbm\nW\u00e4rme,B\u00f6x,G\u00a0,1,closed,100,-60\n\u00a0a,B,G,1,closed,100,-60\n\xff,B,G,1,closed,100,-60\na,B,G,1,closed\x00,100,-60\n",
	"level_dbm,state,freq_mhz\n-60,floor,1\n-60.5,floor,1000\n-600,floor,10\n6000000000000000,floor,1\n-60.123456789012345678,open,0.1\n-60,open,-1\n-60,open,0\n",
	"\xef\xbb\xbfstate,freq_mhz,level_dbm\nopen,1,2,3\nopen,1\nopen\nopen,,\n",
	"run,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm\n\"a\",\"B\",\"G\",\"1\",\"closed\",100,-60,\"\"\n\"a\",\" B \",\"G\",\"1\",\"closed\",\"200\",\" -60\",\"-100\"\n\"a\",\"B\",\"G\",\"1\",\"closed\",\"300\",\"<-60\",-100\n" +
		"\"\",\" \",\"\"\n\"a\",\"B\", \"G\",\"2\",\"closed\",100,-60,\n\"a\",\"B \"\"b\"\"\",\"G\",\"2\",\"closed\",100,-60,\n\"a\",\"B\",\"G\",\"2\",\"closed\",100\",-60,\n\"a\",\"B\",\"G\",\"2\",\"closed\",\"100,-60,\n\"a\",\"B\",\"G\",\"3\",\"closed\",\"\",-60,\n\"a\",\"B\nb\",\"G\",\"4\",\"closed\",100,-60,\n\"a\",\"B\",\"G\",\"5\",\"closed\",100,-60,\"-90\"",
}

// What is read straight from the text is what the careful path reads.
func TestPathsAlike(t *testing.T) {
	for _, s := range samples {
		for _, text := range []string{s, quotedCells(s, false), quotedCells(s, true), strings.ReplaceAll(quotedCells(s, true), "\n", "\r\n"), strings.ReplaceAll(s, "\n", "\r\n"), strings.TrimSuffix(s, "\n"), strings.ReplaceAll(s, ",", ", "), shuffledLines(s + "\n")} {
			alike(t, []byte(text))
		}
	}
	if res := alike(t, []byte(campaign(3))); res.batch.Len() != 3*11*201 || len(res.batch.Breaks()) > 3*11+6 {
		t.Errorf("%d readings, %d breaks", res.batch.Len(), len(res.batch.Breaks()))
	}
}

// quotedCells puts quotes around all cells of lines that have none, or around those
// that are no numbers, as statistics packages do.
func quotedCells(text string, all bool) string {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if line == "" || strings.ContainsAny(line, "\"\r") {
			continue
		}
		cells := strings.Split(line, ",")
		for k, c := range cells {
			if _, err := strconv.ParseFloat(c, 64); all || err != nil {
				cells[k] = `"` + c + `"`
			}
		}
		lines[i] = strings.Join(cells, ",")
	}
	return strings.Join(lines, "\n")
}

// Quotes around whole cells change no reading, and lines that have them are not read
// cell by cell: nothing is allocated for a row.
func TestQuotedCells(t *testing.T) {
	plain := campaign(3)
	want := alike(t, []byte(plain))
	for _, all := range []bool{false, true} {
		text := []byte(quotedCells(plain, all))
		got := alike(t, text)
		if got.batch.Len() != want.batch.Len() || got.count != want.count || !got.table.tame || got.table.bare {
			t.Fatalf("all %v: %d readings of %+v, want %d of %+v", all, got.batch.Len(), got.count, want.batch.Len(), want.count)
		}
		for i := range got.batch.Len() {
			a, b := &got.batch, &want.batch
			if a.FreqHz[i] != b.FreqHz[i] || a.Level[i] != b.Level[i] || a.Floor[i] != b.Floor[i] && a.Floor[i] == a.Floor[i] || a.Line[i] != b.Line[i] || a.Date[i] != b.Date[i] ||
				a.Kind[i] != b.Kind[i] || a.Labels.Text(a.Code(reading.Box, i)) != b.Labels.Text(b.Code(reading.Box, i)) {
				t.Fatalf("all %v: reading %d differs", all, i)
			}
		}
		var batch reading.Batch
		src := bytes.NewReader(text)
		load := func() {
			batch.Reset()
			if err := got.table.Load(context.Background(), src, reading.Stretch{From: got.table.body, To: int64(len(text)), Line: 2}, &batch); err != nil {
				t.Fatal(err)
			}
		}
		load()
		if allocated := testing.AllocsPerRun(3, load); allocated > 200 {
			t.Errorf("all %v: %.0f allocations for %d rows", all, allocated, batch.Len())
		}
	}
}

// FuzzPaths reads arbitrary bytes by both paths.
func FuzzPaths(f *testing.F) {
	for _, s := range samples[1:] {
		f.Add([]byte(s))
		f.Add([]byte(strings.ReplaceAll(s, "\n", "\r\n")))
		f.Add([]byte(quotedCells(s, false)))
		f.Add([]byte(quotedCells(s, true)))
	}
	f.Add([]byte(campaign(1)[:3000]))
	f.Fuzz(func(t *testing.T, data []byte) { alike(t, data) })
}
