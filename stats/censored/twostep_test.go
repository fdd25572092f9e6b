package censored

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"sealbound/stats"
	"sealbound/stats/band"
)

// grid is a table with its limits; a cell is "limited" where its value is at
// least the limit of its column, and missing where NaN.
func grid(fitting []int32, rows [][]float64, limit func(closing, point int) float64) (band.Table, []float64) {
	t := band.Table{Fitting: stats.Factor{Name: "fitting", Codes: fitting, Levels: int(slices.Max(fitting)) + 1}}
	var limits []float64
	for c, row := range rows {
		for p, v := range row {
			t.Points = max(t.Points, p+1)
			if math.IsNaN(v) {
				continue
			}
			l := limit(c, p)
			t.Closing, t.Point = append(t.Closing, int32(c)), append(t.Point, int32(p))
			t.Limited, limits = append(t.Limited, v > l), append(limits, l)
			t.DB = append(t.DB, min(v, l+4)) // a limited figure may demonstrate more than the limit
		}
	}
	return t, limits
}

func mustTwoStep(t *testing.T, in band.Table, limits []float64) *TwoStepResult {
	t.Helper()
	r, err := TwoStep(in, limits)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// readings makes up closings of two fittings with point effects and some holes.
func readings(seed uint64, closings, points int, holes float64) (fitting []int32, rows [][]float64) {
	rng := rand.New(rand.NewPCG(seed, 0))
	for c := range closings {
		row, a := make([]float64, points), 2*rng.NormFloat64()
		for p := range row {
			row[p] = 70 + 5*math.Sin(float64(2*p)) + a + 3*rng.NormFloat64()
			if rng.Float64() < holes {
				row[p] = math.NaN()
			}
		}
		fitting, rows = append(fitting, int32(2*c/closings)), append(rows, row)
	}
	return fitting, rows
}

func flat(limit float64) func(int, int) float64 { return func(int, int) float64 { return limit } }

func TestNothingLimitedIsThePlainBand(t *testing.T) {
	fitting, rows := readings(1, 8, 20, 0.1)
	in, limits := grid(fitting, rows, flat(200))
	got := mustTwoStep(t, in, limits)
	want, err := band.Values(in)
	if err != nil {
		t.Fatal(err)
	}
	if got.Status != Estimated || !got.SlopeHolds() || len(got.Values) != len(want.Values) {
		t.Fatalf("%+v", got)
	}
	for k, v := range want.Values {
		if got.Values[k].DB != v.DB || got.Values[k].Closing != v.Closing {
			t.Errorf("closing %d: %v, want %v", v.Closing, got.Values[k].DB, v.DB)
		}
	}
}

// em is the algorithm in its textbook form, which shares nothing with the
// Newton search: limited cells take their conditional mean and second moment,
// missing ones their fit. fixed > 0 holds sigma. It returns the band values.
func em(rows [][]float64, cut [][]bool, fixed float64) (values []float64, sigma float64) {
	n, p := len(rows), len(rows[0])
	a, b := make([]float64, n), make([]float64, p)
	for j := range b {
		b[j] = 70
	}
	if sigma = fixed; fixed == 0 {
		sigma = 3
	}
	fill := make([]float64, n*p)
	for range 20000 {
		ss, cells := 0.0, 0.0
		for i := range rows {
			for j, y := range rows[i] {
				m := a[i] + b[j]
				switch {
				case math.IsNaN(y):
					fill[i*p+j] = m
					continue
				case cut[i][j]:
					z := (y - m) / sigma
					h := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / (0.5 * math.Erfc(z/math.Sqrt2))
					fill[i*p+j] = m + sigma*h
					ss += sigma * sigma * (1 + z*h)
				default:
					fill[i*p+j] = y
					ss += (y - m) * (y - m)
				}
				cells++
			}
		}
		if fixed == 0 {
			sigma = math.Sqrt(ss / cells)
		}
		for i := range a {
			a[i] = 0
			for j := range b {
				a[i] += (fill[i*p+j] - b[j]) / float64(p)
			}
		}
		for j := range b {
			b[j] = 0
			for i := range a {
				b[j] += (fill[i*p+j] - a[i]) / float64(n)
			}
		}
	}
	mean := 0.0
	for _, v := range b {
		mean += v / float64(p)
	}
	for _, v := range a {
		values = append(values, v+mean)
	}
	return values, sigma
}

func TestAgainstTextbookEM(t *testing.T) {
	for _, tt := range []struct {
		seed             uint64
		closings, points int
		holes, limit     float64
	}{{2, 8, 6, 0, 71}, {3, 6, 12, 0.1, 70}, {4, 14, 4, 0.1, 72}, {5, 6, 10, 0, 66}} {
		fitting, rows := readings(tt.seed, tt.closings, tt.points, tt.holes)
		in, limits := grid(fitting, rows, func(c, p int) float64 { return tt.limit + float64(p%3) })
		got := mustTwoStep(t, in, limits)
		if got.Status != Estimated {
			t.Fatalf("%+v", got)
		}
		for _, fit := range got.Fittings {
			var cut [][]bool
			var cells [][]float64
			var of []Value
			for _, v := range got.Values {
				if fitting[v.Closing] != fit.Fitting {
					continue
				}
				row, isCut := make([]float64, len(got.Used)), make([]bool, len(got.Used))
				for k, p := range got.Used {
					row[k] = rows[v.Closing][p]
					if l := tt.limit + float64(p%3); row[k] > l {
						row[k], isCut[k] = l, true
					}
				}
				of, cells, cut = append(of, v), append(cells, row), append(cut, isCut)
			}
			_, ml := em(cells, cut, 0)
			n, p := float64(fit.Seen+fit.Limited), float64(len(of)+len(got.Used)-1)
			sigma := ml * math.Sqrt(n/(n-p))
			if math.Abs(sigma-fit.SigmaDB) > 1e-6 {
				t.Errorf("seed %d, fitting %d: sigma %v, want %v", tt.seed, fit.Fitting, fit.SigmaDB, sigma)
			}
			values, _ := em(cells, cut, sigma)
			for k, want := range values {
				if math.Abs(of[k].DB-want) > 1e-6 {
					t.Errorf("seed %d, closing %d: %v, want %v", tt.seed, of[k].Closing, of[k].DB, want)
				}
			}
		}
	}
}

// The limit is the headroom: what a limited reading demonstrates beyond it must
// not matter.
func TestDemonstratedFigureIsNoLimit(t *testing.T) {
	fitting, rows := readings(7, 8, 8, 0)
	in, limits := grid(fitting, rows, flat(71))
	want := mustTwoStep(t, in, limits)
	in.DB = slices.Clone(in.DB)
	for i, l := range in.Limited {
		if l {
			in.DB[i] = limits[i] + 0.1*float64(i%7)
		} else {
			limits[i] = math.NaN() // not looked at
		}
	}
	if got := mustTwoStep(t, in, limits); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	// Without a limit the figure serves.
	for i, l := range in.Limited {
		if l {
			in.DB[i] = 71
		}
	}
	if got := mustTwoStep(t, in, nil); !reflect.DeepEqual(got, want) {
		t.Errorf("figures for limits: %+v, want %+v", got, want)
	}
}

func TestTwoStepLaws(t *testing.T) {
	fitting, rows := readings(8, 10, 9, 0.1)
	in, limits := grid(fitting, rows, flat(70))
	want := mustTwoStep(t, in, limits)
	rng := rand.New(rand.NewPCG(1, 1))
	order := rng.Perm(len(in.DB))
	shuffled, cut := in, make([]float64, len(limits))
	shuffled.Closing, shuffled.Point, shuffled.DB, shuffled.Limited = make([]int32, len(order)), make([]int32, len(order)), make([]float64, len(order)), make([]bool, len(order))
	for to, from := range order {
		shuffled.Closing[to], shuffled.Point[to], shuffled.DB[to], shuffled.Limited[to], cut[to] = in.Closing[from], in.Point[from], in.DB[from], in.Limited[from], limits[from]
	}
	if got := mustTwoStep(t, shuffled, cut); !reflect.DeepEqual(got, want) {
		t.Error("the order of rows matters")
	}
	moved, limits2 := in, slices.Clone(limits)
	moved.DB = slices.Clone(in.DB)
	for i := range moved.DB {
		moved.DB[i] += 500
		limits2[i] += 500
	}
	for k, v := range mustTwoStep(t, moved, limits2).Values {
		if math.Abs(v.DB-want.Values[k].DB-500) > 1e-8 {
			t.Errorf("closing %d moved by %v", v.Closing, v.DB-want.Values[k].DB)
		}
	}
	// Fittings lend nothing: other figures in fitting 1 leave fitting 0 alone.
	for c, row := range rows {
		if fitting[c] == 1 {
			for p := range row {
				row[p] -= float64(p % 2)
			}
		}
	}
	in, limits = grid(fitting, rows, flat(70))
	other := mustTwoStep(t, in, limits)
	if !slices.Equal(other.Used, want.Used) {
		t.Fatalf("points changed: %v, %v", other.Used, want.Used)
	}
	for k, v := range want.Values {
		if fitting[v.Closing] == 0 && other.Values[k] != v {
			t.Errorf("closing %d: %+v, want %+v", v.Closing, other.Values[k], v)
		}
	}
}

// No outside source: the rule itself, on small tables. Values of 99 are limited.
func TestWhoHasNoEstimate(t *testing.T) {
	const up = 99
	no := math.NaN()
	for _, tt := range []struct {
		name    string
		fitting []int32
		rows    [][]float64
		status  Status
		reason  band.Reason
		values  []int32
		lost    []Lost
		points  []PointOut
		used    []int32
	}{
		{"a closing at the limit throughout", []int32{0, 0, 0},
			[][]float64{{60, 61, 63}, {up, up, up}, {61, up, 62}},
			Estimated, band.None, []int32{0, 2}, []Lost{{1, AllLimited}}, nil, []int32{0, 1, 2}},
		{"a point at the limit throughout a fitting leaves all fittings", []int32{0, 0, 1, 1},
			[][]float64{{60, 61, up}, {61, 63, up}, {60, 62, 63}, {61, 62, up}},
			Estimated, band.None, []int32{0, 1, 2, 3}, nil, []PointOut{{2, []int32{0}}}, []int32{0, 1}},
		{"a box at the limit throughout does not take the points along", []int32{0, 0, 1},
			[][]float64{{60, 61}, {61, 63}, {up, up}},
			Estimated, band.None, []int32{0, 1}, []Lost{{2, AllLimited}}, nil, []int32{0, 1}},
		{"a closing that is left with its limited points only", []int32{0, 0, 0, 1, 1},
			[][]float64{{60, 61, 63}, {61, 60, 62}, {up, up, 64}, {60, 64, up}, {62, 61, up}},
			Estimated, band.None, []int32{0, 1, 3, 4}, []Lost{{2, AllLimited}}, []PointOut{{2, []int32{1}}}, []int32{0, 1}},
		{"everything", []int32{0, 0}, [][]float64{{up, up}, {up, up}},
			AllLimited, band.None, nil, []Lost{{0, AllLimited}, {1, AllLimited}}, []PointOut{{0, nil}, {1, nil}}, nil},
		{"readings seen do not link", []int32{0, 0},
			[][]float64{{60, 61, up, up}, {no, no, 62, 63}},
			Unlinked, band.None, nil, []Lost{{0, Unlinked}, {1, Unlinked}}, nil, []int32{0, 1, 2, 3}},
		{"nothing is left to spread", []int32{0, 0},
			[][]float64{{60, 130}, {60, up}},
			NoSpread, band.None, nil, []Lost{{0, NoSpread}, {1, NoSpread}}, nil, []int32{0, 1}},
		{"no common point", []int32{0, 1}, [][]float64{{60, no}, {no, 60}},
			NotFitted, band.NoCommonPoint, nil, nil, nil, nil},
		{"nothing", []int32{0}, [][]float64{{no}}, NotFitted, band.NoReading, nil, nil, nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in, limits := grid(tt.fitting, tt.rows, func(c, p int) float64 {
				if tt.rows[c][p] == up {
					return 70
				}
				return 200
			})
			r := mustTwoStep(t, in, limits)
			var values []int32
			for _, v := range r.Values {
				values = append(values, v.Closing)
				if math.IsNaN(v.DB) || math.IsInf(v.DB, 0) {
					t.Errorf("closing %d: %v", v.Closing, v.DB)
				}
			}
			if r.Status != tt.status || r.Reason != tt.reason || !slices.Equal(values, tt.values) || !slices.Equal(r.Used, tt.used) {
				t.Errorf("status %v, reason %q, closings %v, points %v", r.Status, r.Reason, values, r.Used)
			}
			if !reflect.DeepEqual(r.Lost, tt.lost) || !reflect.DeepEqual(r.LimitedOut, tt.points) {
				t.Errorf("lost %v, points limited %v; want %v, %v", r.Lost, r.LimitedOut, tt.lost, tt.points)
			}
			if want := tt.status == Estimated && tt.lost == nil; r.SlopeHolds() != want {
				t.Errorf("slope holds: %v", !want)
			}
		})
	}
}

// Parts that limits hold in a circle are estimable though no reading seen links
// them, if the limits are not all cleared; here by symmetry both closings come
// out alike.
func TestLimitsHoldPartsTogether(t *testing.T) {
	fit := func(limit float64) *TwoStepResult {
		in, limits := grid([]int32{0, 0}, [][]float64{{60, 61, 99, 99}, {99, 99, 60, 61}}, func(c, p int) float64 {
			if (c == 0) == (p < 2) {
				return 200
			}
			return limit
		})
		return mustTwoStep(t, in, limits)
	}
	if r := fit(59); r.Status != NoSpread {
		t.Errorf("limits cleared: %+v", r)
	}
	r := fit(62)
	if r.Status != Estimated || math.Abs(r.Values[0].DB-r.Values[1].DB) > 1e-9 || r.Values[0].DB < 60 {
		t.Errorf("%+v", r)
	}
}

func TestTwoStepMalformed(t *testing.T) {
	in, limits := grid([]int32{0, 0}, [][]float64{{60, 61}, {62, 63}}, flat(62.5))
	if _, err := TwoStep(in, limits[:2]); err == nil {
		t.Error("lengths accepted")
	}
	limits[3] = math.Inf(1)
	if _, err := TwoStep(in, limits); err == nil {
		t.Error("infinite limit accepted")
	}
	in.Limited = in.Limited[:1]
	if _, err := TwoStep(in, nil); err == nil {
		t.Error("flags accepted")
	}
}
