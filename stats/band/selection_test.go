package band

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"sealbound/stats"
)

// No outside source: the rule itself, worked out by hand on small tables.
func TestPointsAndClosingsChosen(t *testing.T) {
	x := 50.0
	for _, tt := range []struct {
		name     string
		fitting  []int32
		rows     [][]float64
		used     []int32
		kept     []int32
		points   []PointOut
		closings []ClosingOut
		reason   Reason
	}{
		{"a point that one fitting lacks", []int32{0, 0, 1},
			[][]float64{{x, x, x}, {x, hole, x}, {x, x, hole}},
			[]int32{0, 1}, []int32{0, 1, 2}, []PointOut{{2, []int32{1}}}, nil, None},
		{"a point that closings lack, though no fitting", []int32{0, 0, 1},
			[][]float64{{x, x, hole}, {hole, x, x}, {x, x, x}},
			[]int32{0, 1, 2}, []int32{0, 1, 2}, nil, nil, None},
		{"exactly half stays", []int32{0, 0},
			[][]float64{{x, x, x, x}, {hole, x, x, hole}},
			[]int32{0, 1, 2, 3}, []int32{0, 1}, nil, nil, None},
		{"fewer than half goes", []int32{0, 0},
			[][]float64{{x, x, x, x, x}, {hole, x, x, hole, hole}},
			[]int32{0, 1, 2, 3, 4}, []int32{0}, nil, []ClosingOut{{1, 2, 5, FewPoints}}, None},
		{"the half is of the points used, not of those measured", []int32{0, 0, 1},
			[][]float64{{x, x, x, x, x}, {x, x, hole, hole, hole}, {x, x, hole, hole, hole}},
			[]int32{0, 1}, []int32{0, 1, 2}, []PointOut{{2, []int32{1}}, {3, []int32{1}}, {4, []int32{1}}}, nil, None},
		{"a closing that goes takes its own points along", []int32{0, 0, 0, 1},
			[][]float64{{x, x, x, x, hole}, {x, x, x, x, hole}, {hole, hole, hole, x, x}, {x, x, x, x, x}},
			[]int32{0, 1, 2, 3}, []int32{0, 1, 3}, []PointOut{{4, []int32{0}}}, []ClosingOut{{2, 2, 5, FewPoints}}, None},
		{"a fitting that goes no longer limits the points", []int32{0, 1, 1, 2},
			[][]float64{{x, x, x, x, x}, {x, hole, hole, hole, hole}, {hole, x, x, hole, hole}, {x, x, x, x, x}},
			[]int32{1, 2}, []int32{0, 2, 3}, []PointOut{{0, []int32{1}}, {3, []int32{1}}, {4, []int32{1}}}, []ClosingOut{{1, 1, 3, FewPoints}}, None},
		{"no common point", []int32{0, 1},
			[][]float64{{x, hole}, {hole, x}},
			nil, nil, []PointOut{{0, []int32{1}}, {1, []int32{0}}}, nil, NoCommonPoint},
		{"thirds", []int32{0, 0, 0},
			[][]float64{{x, hole, hole}, {hole, x, hole}, {hole, hole, x}},
			nil, nil, []PointOut{{0, nil}, {1, nil}, {2, nil}}, []ClosingOut{{0, 1, 3, FewPoints}, {1, 1, 3, FewPoints}, {2, 1, 3, FewPoints}}, NoClosing},
		{"a closing without a reading; its fitting is not compared", []int32{0, 1, 0},
			[][]float64{{x, x}, {hole, hole}, {x, x}},
			[]int32{0, 1}, []int32{0, 2}, nil, []ClosingOut{{1, 0, 0, NoReading}}, None},
		{"nothing", []int32{0}, [][]float64{{hole}}, nil, nil, nil, []ClosingOut{{0, 0, 0, NoReading}}, NoReading},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := mustValues(t, tableOf(tt.fitting, tt.rows))
			var kept []int32
			for _, v := range r.Values {
				kept = append(kept, v.Closing)
			}
			if r.Reason != tt.reason || !slices.Equal(r.Used, tt.used) || !slices.Equal(kept, tt.kept) {
				t.Errorf("reason %q, points %v, closings %v; want %q, %v, %v", r.Reason, r.Used, kept, tt.reason, tt.used, tt.kept)
			}
			if !reflect.DeepEqual(r.PointsOut, tt.points) {
				t.Errorf("points out %+v, want %+v", r.PointsOut, tt.points)
			}
			if !reflect.DeepEqual(r.ClosingsOut, tt.closings) {
				t.Errorf("closings out %+v, want %+v", r.ClosingsOut, tt.closings)
			}
		})
	}
}

func TestDisjointHalvesHaveNoValue(t *testing.T) {
	x := 60.0
	in := tableOf([]int32{0, 1, 1, 1}, [][]float64{
		{x, x, x, x},
		{x, x, hole, hole}, {hole, hole, x, x}, {x, x, hole, hole},
	})
	r := mustValues(t, in)
	if r.Reason != Disconnected || len(r.Values) != 0 {
		t.Fatalf("reason %q, values %v", r.Reason, r.Values)
	}
	want := &Split{1, []Side{{[]int32{1, 3}, []int32{0, 1}}, {[]int32{2}, []int32{2, 3}}}}
	if !reflect.DeepEqual(r.Split, want) {
		t.Errorf("split %+v, want %+v", r.Split, want)
	}
	if len(r.ByPoint()) != 0 {
		t.Error("points are listed without values")
	}
	// One more closing that bridges the halves mends it.
	in = tableOf([]int32{0, 1, 1, 1, 1}, [][]float64{
		{x, x, x, x},
		{x, x, hole, hole}, {hole, hole, x, x}, {x, x, hole, hole}, {hole, x, x, hole},
	})
	if r := mustValues(t, in); r.Reason != None || len(r.Values) != 5 {
		t.Errorf("bridged: reason %q, values %v", r.Reason, r.Values)
	}
}

func TestMalformed(t *testing.T) {
	ok := func() Table { return tableOf([]int32{0, 0}, [][]float64{{1, 2}, {3, 4}}) }
	for name, spoil := range map[string]func(*Table){
		"lengths":           func(t *Table) { t.DB = t.DB[:3] },
		"flags":             func(t *Table) { t.Limited = t.Limited[:1] },
		"closing too high":  func(t *Table) { t.Closing[1] = 2 },
		"closing negative":  func(t *Table) { t.Closing[1] = -1 },
		"point too high":    func(t *Table) { t.Point[1] = 2 },
		"point negative":    func(t *Table) { t.Point[1] = -1 },
		"fitting too high":  func(t *Table) { t.Fitting.Codes[1] = 1 },
		"negative fittings": func(t *Table) { t.Fitting.Levels = -1 },
		"negative points":   func(t *Table) { t.Points = -1 },
		"twice":             func(t *Table) { t.Point[1] = 0 },
		"not a number":      func(t *Table) { t.DB[2] = math.NaN() },
		"infinite":          func(t *Table) { t.DB[2] = math.Inf(-1) },
	} {
		in := ok()
		spoil(&in)
		if r, err := Values(in); err == nil {
			t.Errorf("%s: no error, %+v", name, r)
		}
	}
	if r, err := Values(Table{}); err != nil || r.Reason != NoReading {
		t.Errorf("empty table: %+v, %v", r, err)
	}
}

// Whatever the table, the outcome is an error, a reason, or finite values.
func FuzzValues(f *testing.F) {
	f.Add([]byte{0, 1, 1}, []byte{0, 0, 10, 0, 1, 20, 1, 0, 30, 2, 1, 40})
	f.Add([]byte{0, 0}, []byte{0, 0, 10, 1, 1, 20})
	f.Fuzz(func(t *testing.T, fitting, readings []byte) {
		in := Table{Points: 9, Fitting: stats.Factor{Levels: 4, Codes: make([]int32, len(fitting))}}
		for c, b := range fitting {
			in.Fitting.Codes[c] = int32(b % 5)
		}
		for i := 0; i+2 < len(readings); i += 3 {
			in.Closing, in.Point = append(in.Closing, int32(readings[i])), append(in.Point, int32(readings[i+1]))
			in.DB = append(in.DB, float64(readings[i+2]))
		}
		r, err := Values(in)
		if err != nil {
			return
		}
		if (r.Reason == None) != (len(r.Values) > 0) {
			t.Fatalf("reason %q with %d values", r.Reason, len(r.Values))
		}
		for _, v := range r.Values {
			if math.IsNaN(v.DB+v.Power) || math.IsInf(v.DB+v.Power, 0) || v.Power > v.DB+1e-9 || 2*v.Points < len(r.Used) {
				t.Fatalf("%+v over %d points", v, len(r.Used))
			}
		}
	})
}
