package ingest

import (
	"context"
	"os"
	"strings"
	"testing"
)

const means = "box,gasket,fitting,run,date,closing,band_lo_hz,band_hi_hz,atten_db,limited,headroom_db,limited_share,open_repeats,open_sd_db,session,installed,reference,receiver,note\n" +
	"b,\"g, wide\",f,A,2026-05-04,1,30000000,300000000,61.5,false,80.25,,3,0.5,s,2025-01-01,,R,\n" +
	"b,\"g, wide\",f,A,2026-05-04,1,300000000,3000000000,70.125,true,80.5,0.25,2,0.125,s,2025-01-01,,R,\"two\nlines\"\n" +
	"b,\"g, wide\",f,A,2026-05-04,2,30000000,300000000,62,,,,3,0.5,s,2025-01-01,,R,\n" +
	"c,g,,B,2026-05-05,1,30000000,300000000,>70,t,,,,,,,A,R,\n"

// TestClosingLevelTables: a row makes two points, limited at one where it was limited
// in part; rows are counted once.
func TestClosingLevelTables(t *testing.T) {
	res := goodAt(t, DefaultOptions(), folder(t, map[string]string{"x.csv": means}))
	if in := res.sum.Inputs[0]; in.Rows != 4 || in.Used != 4 {
		t.Errorf("%+v", in)
	}
	a, b := res.runs[0], res.runs[1]
	if a.Label != "A" || len(a.Points) != 4 || len(a.Closings) != 2 || a.Counts.Closed != 3 || a.Counts.Given != 3 || a.Counts.Open != 0 {
		t.Errorf("%s: %v, %v, %+v", a.Label, a.Points, a.Closings, a.Counts)
	}
	if p := a.Points[1]; p.Band != (Band{3e7, 3e8, 1}) || p.Position != "" || !p.Reduced() || p.FreqHz <= 3e7 || p.FreqHz >= 3e8 {
		t.Errorf("%+v", p)
	}
	if cl := a.Closings[0]; cl.Gasket != "g, wide" || cl.Fitting != "f" || cl.Session != "s" || cl.Installed.IsZero() || cl.Context["receiver"] != "R" {
		t.Errorf("%+v", cl)
	}
	var limited []bool
	for _, row := range a.rows {
		if row.closing == 0 {
			limited = append(limited, row.limited)
			if want := []float64{61.5, 61.5, 70.125, 70.125}[row.point]; row.attenuation != want {
				t.Errorf("%+v, want %v", row, want)
			}
			if want := []float64{80.25, 80.25, 80.5, 80.5}[row.point]; row.headroom != want {
				t.Errorf("%+v, want headroom %v", row, want)
			}
		}
	}
	if want := []bool{false, false, true, false}; !equal(limited, want) {
		t.Errorf("limited %v, want %v", limited, want)
	}
	if b.rows[0].limited != true || b.rows[1].limited != true || b.Reference.Run != "A" {
		t.Errorf("%+v, reference %q", b.rows, b.Reference.Run)
	}
	if r := a.Reference.Repeats; len(r) != 3 || r[0][0]-r[1][0] != 1 || r[2][0] != 0 {
		t.Errorf("repeats %v: their SD is to be 0.5", r)
	}
}

func equal(a, b []bool) bool {
	for i := range a {
		if len(a) != len(b) || a[i] != b[i] {
			return false
		}
	}
	return true
}

// TestClosingLevelPacks: such tables are packed as what they are, to the byte.
func TestClosingLevelPacks(t *testing.T) {
	source := folder(t, map[string]string{"x.csv": means, "boxes.csv": "box,role\nb,control\n"})
	fixedPoint(t, "closings", source)
	formula := folder(t, map[string]string{"x.csv": strings.ReplaceAll(means, "\nb,", "\n=B,")})
	fixedPoint(t, "a label like a formula", formula)
	if text, err := os.ReadFile(packTo(t, "x.csv", formula)); err != nil || !strings.Contains(string(text), "'=B,") || strings.Contains(string(text), "\n=B,") {
		t.Errorf("a spreadsheet would run the label: %v\n%s", err, text)
	}
	if p, err := OpenPacking(context.Background(), []string{folder(t, map[string]string{"x.csv": means, "y.csv": ok})}, DefaultOptions(), ".parquet"); err == nil || !strings.Contains(err.Error(), "do not make one table") {
		t.Errorf("a mixture: %v", err)
	} else {
		p.Close()
	}
}

// TestClosingLevelProblems: what cannot be read is told with its place.
func TestClosingLevelProblems(t *testing.T) {
	const header = "box,gasket,closing,band_lo_hz,band_hi_hz,atten_db,limited,limited_share,open_repeats,date,installed\n"
	for _, tt := range []struct{ text, want string }{
		{"box,gasket,band_lo_hz,band_hi_hz,atten_db\nb,g,1,2,3\n", "x.csv:1: the column closing is missing"},
		{"box,gasket,closing,box,band_lo_hz,band_hi_hz,atten_db\n", "x.csv:1:20: box \"box\": the header names this column twice"},
		{header + ",g,1,1,2,3,,,,,\n", "x.csv:2:1: box: is empty"},
		{header + "b,g,1,2,1,3,,,,,\n", "x.csv:2:9: band_hi_hz \"1\": is not above"},
		{header + "b,g,1,1,2,,,,,,\n", "x.csv:2:11: atten_db: is empty"},
		{header + "b,g,1,1,2,3 dB,,,,,\n", "x.csv:2:11: atten_db \"3 dB\""},
		{header + "b,g,1,1,2,5000,,,,,\n", "x.csv:2:11: atten_db \"5000\": is not an attenuation"},
		{header + "b,g,1,1,2,3,maybe,,,,\n", "x.csv:2:13: limited \"maybe\": is neither"},
		{header + "b,g,1,1,2,3,t,1.5,,,\n", "limited_share \"1.5\": is not a share"},
		{header + "b,g,1,1,2,3,,,2.5,,\n", "open_repeats \"2.5\": is not a whole number"},
		{header + "b,g,1,1,2,3,,,,yesterday,\n", "date \"yesterday\": is not a date"},
		{header + "b,g,1,1,2,3,,,,2026-01-01,2026-01-02\n", "installed \"2026-01-02\": lies after"},
		{header + "b,g,1,1,2\n", "x.csv:2:1: the row has 5 cells"},
		{header + "b,g,1,1,2,3,,,,,\nb,g,1,1,2,4,,,,,\n", "this closing was read at this point before"},
		{header, "no rows follow the header"},
	} {
		res := read(t, DefaultOptions(), folder(t, map[string]string{"x.csv": tt.text}))
		if res.err == nil || !strings.Contains(res.err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q", tt.text, res.err, tt.want)
		}
	}
	opt := DefaultOptions()
	opt.SkipBadRows = true
	res := read(t, opt, folder(t, map[string]string{"x.csv": header + "b,g,1,1,2,3,,,,,\nb,g,2,1,2,x,,,,,\n\nb,g,3,1,2,4,,,,,\n"}))
	if in := res.sum.Inputs[0]; res.err != nil || in.Rows != 4 || in.Used != 2 || in.Skipped != 1 || in.Blank != 1 {
		t.Errorf("%v, %+v", res.err, in)
	}
}

// FuzzClosings reads arbitrary bytes below the header of a closing-level table, and
// packs what can be read: nothing may panic or leak, every row is accounted for, and
// what is packed is read as the same.
func FuzzClosings(f *testing.F) {
	header, rows, _ := strings.Cut(means, "\n")
	f.Add(rows)
	f.Add("b,g,f,A,2026-05-04,1,1,2,>3,,,,,,,,,,\n")
	f.Add(",,,,,,,,,,,,,,,,,,\n\"")
	f.Fuzz(func(t *testing.T, rows string) {
		dir := folder(t, map[string]string{"x.csv": header + "\n" + rows})
		res := read(t, DefaultOptions(), dir)
		if res.err != nil {
			return
		}
		want := content(t, res)
		if got := content(t, goodAt(t, DefaultOptions(), packTo(t, "x.parquet", dir))); got != want {
			t.Errorf("packed:\n%s\nwant\n%s", got, want)
		}
	})
}
