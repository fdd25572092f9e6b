package ingest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// A pairedRow is a row of Attenuation; NaN stands for null.
type pairedRow struct {
	closing, point                   int
	attenuation                      float64
	limited, floorKnown              bool
	headroom, openLevel, closedLevel float64
	line                             int
}

// A visited run keeps what outlives the visit.
type visited struct {
	Run
	rows     []pairedRow
	readings int
}

type result struct {
	runs []visited
	sum  *Summary
	err  error
}

// folder writes files below a new folder and returns it.
func folder(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// read reads paths with an allocator that knows what was not released, and
// checks what must hold for any input.
func read(t testing.TB, opt Options, paths ...string) result {
	t.Helper()
	return readVisiting(t, opt, func(*Run) {}, paths...)
}

// readVisiting is read with a look at each run while its records live.
func readVisiting(t testing.TB, opt Options, look func(*Run), paths ...string) result {
	t.Helper()
	mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
	defer mem.AssertSize(t, 0)
	opt.Allocator = mem
	var res result
	res.sum, res.err = Read(context.Background(), paths, opt, func(r *Run) error {
		res.runs = append(res.runs, keep(t, r))
		look(r)
		return nil
	})
	check(t, res)
	if !slices.Contains(paths, stdinPath) {
		orderly(t, opt, res, paths)
	}
	return res
}

// orderly makes sure that files that are taken to be in order give what they give
// otherwise, whether they are or not.
func orderly(t testing.TB, opt Options, want result, paths []string) {
	t.Helper()
	var res result
	again := 0
	opt.probe, opt.Progress = true, nil
	opt.Again = func() { again++; res.runs = nil }
	res.sum, res.err = Read(context.Background(), paths, opt, func(r *Run) error {
		res.runs = append(res.runs, keep(t, r))
		return nil
	})
	if again > 1 {
		t.Errorf("begun again %d times", again)
	}
	show := func(r result) string {
		if r.sum == nil {
			return fmt.Sprint(r.err)
		}
		var b strings.Builder
		for _, v := range r.runs {
			fmt.Fprintf(&b, "%v %v %v %v\n", v.Run, v.rows, v.readings, v.Reference)
		}
		fmt.Fprintf(&b, "%+v\n%v", *r.sum, r.err)
		return b.String()
	}
	if a, b := show(want), show(res); a != b {
		t.Errorf("read as if in order (begun again: %d) it gives\n%s\nand otherwise\n%s", again, b, a)
	}
}

func keep(t testing.TB, r *Run) visited {
	t.Helper()
	v := visited{Run: *r}
	v.Attenuation, v.Readings = nil, nil
	a := r.Attenuation
	if !a.Schema().Equal(Attenuation) {
		t.Fatalf("schema %v", a.Schema())
	}
	null := func(col *array.Float64, i int) float64 {
		if col.IsNull(i) {
			return math.NaN()
		}
		return col.Value(i)
	}
	for i := range int(a.NumRows()) {
		v.rows = append(v.rows, pairedRow{
			closing: int(a.Column(0).(*array.Int32).Value(i)), point: int(a.Column(1).(*array.Int32).Value(i)),
			attenuation: a.Column(2).(*array.Float64).Value(i), limited: a.Column(3).(*array.Boolean).Value(i),
			floorKnown: a.Column(4).(*array.Boolean).Value(i), headroom: null(a.Column(5).(*array.Float64), i),
			line:      int(a.Column(6).(*array.Int32).Value(i)),
			openLevel: null(a.Column(7).(*array.Float64), i), closedLevel: null(a.Column(8).(*array.Float64), i),
		})
	}
	if r.Readings != nil {
		if !r.Readings.Schema().Equal(Readings) {
			t.Fatalf("schema %v", r.Readings.Schema())
		}
		v.readings = int(r.Readings.NumRows())
	}
	return v
}

// check holds for any input whatever.
func check(t testing.TB, res result) {
	t.Helper()
	var bad *BadInput
	if res.err != nil && !errors.As(res.err, &bad) && res.sum != nil {
		t.Errorf("a summary beside the error %v", res.err)
	}
	if res.sum == nil {
		return
	}
	for _, in := range res.sum.Inputs {
		if in.Rows != in.Used+in.Skipped+in.Blank || in.Used < 0 || in.Skipped < 0 {
			t.Errorf("%+v: rows are not used + skipped + blank", in)
		}
	}
	labels := map[string]bool{}
	for _, r := range res.runs {
		if labels[r.Label] {
			t.Errorf("two runs are called %q", r.Label)
		}
		labels[r.Label] = true
		for _, row := range r.rows {
			for _, v := range []float64{row.attenuation} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("run %q: %+v", r.Label, row)
				}
			}
			if row.closing < 0 || row.closing >= len(r.Closings) || row.point < 0 || row.point >= len(r.Points) || row.limited && !row.floorKnown {
				t.Errorf("run %q: %+v out of range", r.Label, row)
			}
		}
	}
	for i, p := range res.sum.Problems {
		if p.What == "" || p.Mend == "" || p.File == "" {
			t.Errorf("problem without words: %+v", p)
		}
		if i > 0 {
			q := res.sum.Problems[i-1]
			if q.File > p.File || q.File == p.File && (q.Line > p.Line || q.Line == p.Line && q.Column > p.Column) {
				t.Errorf("problems out of order: %v before %v", q, p)
			}
		}
	}
}

// readText reads one file called data.csv.
func readText(t testing.TB, opt Options, text string) result {
	t.Helper()
	return read(t, opt, filepath.Join(folder(t, map[string]string{"data.csv": text}), "data.csv"))
}

// good reads text that must have no problem.
func good(t testing.TB, opt Options, text string) result {
	t.Helper()
	res := readText(t, opt, text)
	if res.err != nil {
		t.Fatalf("%v\n%v", res.err, text)
	}
	return res
}

// table writes attenuations as closing@MHz=dB, in order, > before limited ones and
// ? behind those whose floor is not known.
func (v visited) table() string {
	var s []string
	for _, r := range v.rows {
		c, p := v.Closings[r.closing], v.Points[r.point]
		mark, doubt := "", ""
		if r.limited {
			mark = ">"
		}
		if !r.floorKnown {
			doubt = "?"
		}
		name := c.Box + "/" + c.Label
		if p.Position+p.Polarization != "" {
			name += "/" + p.Position + p.Polarization
		}
		s = append(s, fmt.Sprintf("%s@%g=%s%.6g%s", name, p.FreqHz/1e6, mark, r.attenuation, doubt))
	}
	return strings.Join(s, " ")
}

// rows writes lines of a file from a header and rows of blank-separated cells,
// where - is an empty cell.
func lines(header string, rows ...string) string {
	var b strings.Builder
	b.WriteString(strings.Join(strings.Fields(header), ","))
	b.WriteByte('\n')
	for _, r := range rows {
		cells := strings.Fields(r)
		for i := range cells {
			if cells[i] == "-" {
				cells[i] = ""
			}
		}
		b.WriteString(strings.Join(cells, ","))
		b.WriteByte('\n')
	}
	return b.String()
}
