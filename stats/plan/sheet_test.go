package plan

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"sealbound/stats/interval"
)

// Invented boxes and gaskets.
func someSettings() SheetSettings {
	return SheetSettings{
		Sessions: []string{"2024-05-18", "2024-05-19", "2025-05-17"},
		Boxes: []SheetBox{
			{"Osmere", []string{"as-bought rubber", "wickstrand mesh"}},
			{"Larkhow", []string{"wickstrand mesh"}},
			{"Tarnby", []string{"as-bought rubber", "wickstrand mesh", "curlspring coil"}},
		},
		Closings: 4,
		Points:   []Point{{7.1e6, "latch", ""}, {7.1e6, "hinge", ""}, {433e6, "latch", ""}},
		Seed:     20240518,
	}
}

// acts returns one row for each act and checks that its rows differ in the
// points alone, which are those asked for, in order.
func acts(t *testing.T, s Sheet, points []Point) []SheetRow {
	t.Helper()
	var out []SheetRow
	for i, r := range s.Rows {
		if want := points[i%len(points)]; r.Point != want || r.Act != i/len(points)+1 {
			t.Fatalf("row %d: %+v, want point %+v of act %d", i, r, want, i/len(points)+1)
		}
		r.Point = Point{}
		if i%len(points) == 0 {
			out = append(out, r)
		} else if r != out[len(out)-1] {
			t.Fatalf("row %d: %+v after %+v", i, r, out[len(out)-1])
		}
	}
	if len(out) != s.Acts {
		t.Fatalf("%d acts, %d said", len(out), s.Acts)
	}
	return out
}

// Every run is one box in one session: the open reference first and last, the
// floor before the last, and in between each of its products once, in a block, with
// closings counted from 1.
func TestSheetRuns(t *testing.T) {
	set := someSettings()
	s := must(NewSheet(set))(t)
	runs := map[string][]SheetRow{}
	var order []string
	for _, r := range acts(t, s, set.Points) {
		if n := len(order); n == 0 || order[n-1] != r.Run {
			if runs[r.Run] != nil {
				t.Fatalf("run %s is taken up again", r.Run)
			}
			order = append(order, r.Run)
		}
		runs[r.Run] = append(runs[r.Run], r)
	}
	if len(order) != len(set.Sessions)*len(set.Boxes) {
		t.Fatalf("%d runs: %v", len(order), order)
	}
	for i, session := range set.Sessions {
		for _, name := range order[i*len(set.Boxes) : (i+1)*len(set.Boxes)] {
			if !strings.HasPrefix(name, session) {
				t.Errorf("run %s in session %s", name, session)
			}
		}
		for _, b := range set.Boxes {
			checkRun(t, runs[runLabel(session, b.Label)], session, b, set.Closings)
		}
	}
}

func checkRun(t *testing.T, run []SheetRow, session string, b SheetBox, closings int) {
	t.Helper()
	if len(run) != 3+len(b.Products)*closings {
		t.Fatalf("%s %s: %d acts", session, b.Label, len(run))
	}
	for i, want := range map[int][2]string{0: {Open, AtStart}, len(run) - 2: {Floor, ""}, len(run) - 1: {Open, AtEnd}} {
		if r := run[i]; r.State != want[0] || r.Sweep != want[1] || r.Session != session || r.Box+r.Gasket+r.Fitting+r.Closing != "" || r.NewStrip {
			t.Errorf("%s %s: %+v, want %v", session, b.Label, r, want)
		}
	}
	seen := map[string]bool{}
	for i, r := range run[1 : len(run)-2] {
		if r.State != Closed || r.Sweep != "" || r.Box != b.Label || r.Session != session || r.Closing != fmt.Sprint(i%closings+1) {
			t.Errorf("%s %s: %+v at %d", session, b.Label, r, i)
		}
		if i%closings == 0 {
			if seen[r.Gasket] {
				t.Errorf("%s %s: %s twice", session, b.Label, r.Gasket)
			}
			seen[r.Gasket] = true
		} else if before := run[i]; r.Gasket != before.Gasket || r.Fitting != before.Fitting || r.NewStrip {
			t.Errorf("%s %s: %+v after %+v", session, b.Label, r, before)
		}
	}
	for _, p := range b.Products {
		if !seen[p] {
			t.Errorf("%s %s: no %s", session, b.Label, p)
		}
	}
}

// A fitting is one strip in one box without a break: it begins where NewStrip
// says so, has one gasket, and its number is never used again.
func TestSheetFittings(t *testing.T) {
	set := someSettings()
	set.Sessions = strings.Fields("a b c d e f g h i j k l")
	stayed := 0
	in := map[string]SheetRow{}
	for _, r := range acts(t, must(NewSheet(set))(t), set.Points) {
		if r.State != Closed {
			continue
		}
		before, has := in[r.Box]
		in[r.Box] = r
		switch changed := !has || before.Gasket != r.Gasket; {
		case changed != r.NewStrip:
			t.Errorf("%+v after %+v", r, before)
		case !has && r.Fitting != "1", has && changed && r.Fitting != fmt.Sprint(number(t, before.Fitting)+1), has && !changed && r.Fitting != before.Fitting:
			t.Errorf("%+v after %+v", r, before)
		case has && !changed && r.Session != before.Session && r.Box != "Larkhow":
			stayed++
		}
	}
	if in["Larkhow"].Fitting != "1" {
		t.Errorf("the only product of a box was changed: %+v", in["Larkhow"])
	}
	if stayed == 0 {
		t.Error("no strip stayed in from one session to the next")
	}
}

func number(t *testing.T, s string) (n int) {
	t.Helper()
	if _, err := fmt.Sscan(s, &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// The seed decides; a further session leaves the others as they are; the six
// orders of three boxes are equally likely (chi-square with 5 degrees of freedom
// is above 20.5 once in a thousand: R 4.2.2, qchisq(.999, 5) is 20.515).
func TestSheetOrder(t *testing.T) {
	set := someSettings()
	a, b := must(NewSheet(set))(t), must(NewSheet(set))(t)
	if !reflect.DeepEqual(a, b) {
		t.Error("the same seed gives two sheets")
	}
	set.Sessions = set.Sessions[:2]
	if c := must(NewSheet(set))(t); !reflect.DeepEqual(c.Rows, a.Rows[:len(c.Rows)]) {
		t.Error("a further session changes the order of the others")
	}
	set.Sessions, set.Closings, set.Points = set.Sessions[:1], 1, set.Points[:1]
	const n = 6000
	boxes, products := map[string]float64{}, map[string]float64{}
	for seed := range uint64(n) {
		set.Seed = seed
		var runs, strips string
		for _, r := range acts(t, must(NewSheet(set))(t), set.Points) {
			if r.Sweep == AtStart {
				runs += " " + r.Run
			}
			if r.Box == "Tarnby" {
				strips += " " + r.Gasket
			}
		}
		boxes[runs]++
		products[strips]++
	}
	for _, counts := range []map[string]float64{boxes, products} {
		chi := 0.0
		for _, c := range counts {
			chi += (c - n/6) * (c - n/6) / (n / 6)
		}
		if len(counts) != 6 || chi > 20.5 {
			t.Errorf("orders are not equally likely: %v", counts)
		}
	}
}

func TestSheetRefuses(t *testing.T) {
	for name, tt := range map[string]struct {
		spoil func(*SheetSettings)
		want  error
	}{
		"no session":    {func(s *SheetSettings) { s.Sessions = nil }, interval.ErrTooFew},
		"no box":        {func(s *SheetSettings) { s.Boxes = nil }, interval.ErrTooFew},
		"no product":    {func(s *SheetSettings) { s.Boxes[1].Products = nil }, interval.ErrTooFew},
		"no closing":    {func(s *SheetSettings) { s.Closings = 0 }, interval.ErrTooFew},
		"no point":      {func(s *SheetSettings) { s.Points = nil }, interval.ErrTooFew},
		"session twice": {func(s *SheetSettings) { s.Sessions[1] = s.Sessions[0] }, interval.ErrDomain},
		"box twice":     {func(s *SheetSettings) { s.Boxes[1].Label = "Osmere" }, interval.ErrDomain},
		"box unnamed":   {func(s *SheetSettings) { s.Boxes[1].Label = "" }, interval.ErrDomain},
		"product twice": {func(s *SheetSettings) { s.Boxes[0].Products[1] = s.Boxes[0].Products[0] }, interval.ErrDomain},
		"run twice": {func(s *SheetSettings) {
			s.Sessions = []string{"a", "a-b"}
			s.Boxes[0].Label, s.Boxes[1].Label = "b-c", "c"
		}, interval.ErrDomain},
		"frequency 0":     {func(s *SheetSettings) { s.Points[0].FreqHz = 0 }, interval.ErrDomain},
		"frequency NaN":   {func(s *SheetSettings) { s.Points[0].FreqHz = math.NaN() }, interval.ErrDomain},
		"frequency Inf":   {func(s *SheetSettings) { s.Points[0].FreqHz = math.Inf(1) }, interval.ErrDomain},
		"point twice":     {func(s *SheetSettings) { s.Points[1] = s.Points[0] }, interval.ErrDomain},
		"too many rows":   {func(s *SheetSettings) { s.Closings = MostRows }, interval.ErrDomain},
		"far too many":    {func(s *SheetSettings) { s.Closings = math.MaxInt }, interval.ErrDomain},
		"closings, below": {func(s *SheetSettings) { s.Closings = -5 }, interval.ErrTooFew},
	} {
		s := someSettings()
		tt.spoil(&s)
		if sheet, err := NewSheet(s); !errors.Is(err, tt.want) || sheet.Rows != nil {
			t.Errorf("%s: %d rows, %v, want %v", name, len(sheet.Rows), err, tt.want)
		}
	}
}
