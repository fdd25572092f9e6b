package band

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

func TestByPoint(t *testing.T) {
	in := tableOf([]int32{0, 0, 1}, [][]float64{{51, 62, 73}, {52, hole, 74}, {53, 64, hole}})
	in.Limited[4] = true // closing 1 at point 2
	in.Limited[1] = true // closing 0 at point 1
	r := mustValues(t, in)
	got := r.ByPoint()
	if len(got) != 2 {
		t.Fatalf("%d points, want the two that both fittings have", len(got))
	}
	for k, want := range []PointReadings{
		{0, []int32{0, 1, 2}, []float64{51, 52, 53}, []bool{false, false, false}},
		{1, []int32{0, 2}, []float64{62, 64}, []bool{true, false}},
	} {
		if g := got[k]; g.Point != want.Point || !slices.Equal(g.Closing, want.Closing) || !slices.Equal(g.DB, want.DB) || !slices.Equal(g.Limited, want.Limited) {
			t.Errorf("%+v, want %+v", g, want)
		}
	}
	for k, want := range []int{1, 0, 0} {
		if r.Values[k].Limited != want {
			t.Errorf("closing %d: %d limited, want %d", k, r.Values[k].Limited, want)
		}
	}
}

func TestLowest(t *testing.T) {
	in := tableOf([]int32{0, 0, 1}, [][]float64{{55, 50, 40}, {50, 50, 61}, {50, 70, hole}})
	r := mustValues(t, in)
	// The lowest stands at a point that fitting 1 lacks: shown, and said to be unused.
	if low, ok := r.Lowest(); !ok || low != (Reading{40, false, 2, 0, false}) {
		t.Errorf("lowest %+v", low)
	}
	// Four readings of 50 dB among those used: lowest point first, then closing.
	if low, ok := r.LowestUsed(); !ok || low != (Reading{50, false, 0, 1, true}) {
		t.Errorf("lowest used %+v", low)
	}
	if _, ok := mustValues(t, Table{}).Lowest(); ok {
		t.Error("a lowest reading of none")
	}
}

func TestBelow(t *testing.T) {
	in := tableOf([]int32{0, 0, 1, 1}, [][]float64{{49, 60, 40}, {50, 60, 61}, {50, 44, hole}, {51, 43, hole}})
	in.Limited[7] = true // closing 2 at point 1: at least 44, not known to be below
	r := mustValues(t, in)
	if used, all := r.Below([]float64{50, 45, 50}); used != 2 || all != 2 {
		t.Errorf("below: %d used, %d in all; want closings 0 and 3", used, all)
	}
	if used, all := r.Below([]float64{45, 40, 41}); used != 0 || all != 1 {
		t.Errorf("below: %d used, %d in all; want only closing 0 at the point left out", used, all)
	}
	if used, all := r.Below(nil); used != 0 || all != 0 {
		t.Errorf("below no target: %d, %d", used, all)
	}
}

// Complete tables in order are used as they stand, others through an index: the same
// comes of both.
func TestInOrderOrNot(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for _, limited := range []bool{false, true} {
		var fitting []int32
		var rows [][]float64
		for c := range 12 {
			row := make([]float64, 17)
			for p := range row {
				row[p] = 60 + 5*rng.NormFloat64()
			}
			fitting, rows = append(fitting, int32(c/5)), append(rows, row)
		}
		in := tableOf(fitting, rows)
		for i := range in.Limited {
			in.Limited[i] = limited && i%7 == 0
		}
		mixed := Table{Fitting: in.Fitting, Points: in.Points}
		for _, i := range rng.Perm(len(in.DB)) {
			mixed.Closing, mixed.Point = append(mixed.Closing, in.Closing[i]), append(mixed.Point, in.Point[i])
			mixed.DB, mixed.Limited = append(mixed.DB, in.DB[i]), append(mixed.Limited, in.Limited[i])
		}
		a, b := mustValues(t, in), mustValues(t, mixed)
		if !slices.Equal(a.Values, b.Values) {
			t.Errorf("values %v, not in order %v", a.Values, b.Values)
		}
		pa, pb := a.ByPoint(), b.ByPoint()
		if !reflect.DeepEqual(pa, pb) {
			t.Errorf("by point %v, not in order %v", pa, pb)
		}
		target := slices.Repeat([]float64{55}, in.Points)
		usedA, allA := a.Below(target)
		usedB, allB := b.Below(target)
		lowA, _ := a.Lowest()
		lowB, _ := b.Lowest()
		if usedA != usedB || allA != allB || lowA != lowB || usedA == 0 {
			t.Errorf("below %d and %d, lowest %v; not in order %d and %d, %v", usedA, allA, lowA, usedB, allB, lowB)
		}
	}
}
