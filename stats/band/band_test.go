package band

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"sealbound/stats"
)

var hole = math.NaN()

// tableOf makes a table of rows of readings, one row per closing; fitting has
// the fitting of each closing.
func tableOf(fitting []int32, rows [][]float64) Table {
	t := Table{Fitting: stats.Factor{Name: "fitting", Codes: fitting, Levels: int(slices.Max(fitting)) + 1}}
	for c, row := range rows {
		for p, v := range row {
			t.Points = max(t.Points, p+1)
			if !math.IsNaN(v) {
				t.Closing, t.Point, t.DB = append(t.Closing, int32(c)), append(t.Point, int32(p)), append(t.DB, v)
			}
		}
	}
	t.Limited = make([]bool, len(t.DB))
	return t
}

func mustValues(t *testing.T, in Table) *Result {
	t.Helper()
	r, err := Values(in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

func TestCompleteIsThePlainMeanToTheBit(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	rows := make([][]float64, 7)
	for c := range rows {
		rows[c] = make([]float64, 30)
		for p := range rows[c] {
			rows[c][p] = 60 + 8*rng.NormFloat64()
		}
	}
	r := mustValues(t, tableOf([]int32{0, 0, 0, 1, 1, 2, 2}, rows))
	if len(r.Values) != 7 || len(r.Used) != 30 {
		t.Fatalf("%d values over %d points", len(r.Values), len(r.Used))
	}
	for c, v := range r.Values {
		sum := 0.0
		for _, x := range rows[c] {
			sum += x
		}
		if v.DB != sum/30 || v.Points != 30 {
			t.Errorf("closing %d: %v over %d points, plain mean %v", c, v.DB, v.Points, sum/30)
		}
	}
}

// A balanced incomplete block design: rows are the treatments (catalysts),
// columns the blocks. Data and adjusted treatment effects -9/8, -7/8, -4/8 and
// 20/8: Montgomery, Design and Analysis of Experiments, example of the catalyst
// experiment (from memory). They also follow from the closed form of such a
// design (Yates 1936), effect = k Q/(lambda a), with k = 3 treatments in a block,
// each pair lambda = 2 times together, a = 4 treatments: the adjusted totals
// Q = -9/3, -7/3, -4/3, 20/3 are worked out from the data below.
func TestIncompleteBlocks(t *testing.T) {
	rows := [][]float64{
		{73, 74, hole, 71},
		{hole, 75, 67, 72},
		{73, 75, 68, hole},
		{75, hole, 72, 75},
	}
	r := mustValues(t, tableOf([]int32{0, 0, 0, 0}, rows))
	mean := 870.0 / 12 // of all; effects sum to zero, so it is the mean of the values
	for c, row := range rows {
		q := 0.0
		for p, v := range row {
			if math.IsNaN(v) {
				continue
			}
			block := 0.0
			for i := range rows {
				if !math.IsNaN(rows[i][p]) {
					block += rows[i][p]
				}
			}
			q += v - block/3
		}
		closed := mean + 3*q/(2*4)
		published := mean + []float64{-9. / 8, -7. / 8, -4. / 8, 20. / 8}[c]
		if got := r.Values[c].DB; !near(got, closed, 1e-11) || !near(got, published, 1e-11) {
			t.Errorf("closing %d: %.12f, closed form %.12f, published %.12f", c, got, closed, published)
		}
	}
}

// dense returns the band values of one fitting by QR of the full design matrix,
// closing dummies and the point dummies but the first.
func dense(rows [][]float64) []float64 {
	n, p := len(rows), len(rows[0])
	var x, y []float64
	for c, row := range rows {
		for j, v := range row {
			if math.IsNaN(v) {
				continue
			}
			d := make([]float64, n+p-1)
			d[c] = 1
			if j > 0 {
				d[n+j-1] = 1
			}
			x, y = append(x, d...), append(y, v)
		}
	}
	var b mat.Dense
	if err := b.Solve(mat.NewDense(len(y), n+p-1, x), mat.NewDense(len(y), 1, y)); err != nil {
		panic(err)
	}
	points := 0.0
	for j := 1; j < p; j++ {
		points += b.At(n+j-1, 0)
	}
	out := make([]float64, n)
	for c := range out {
		out[c] = b.At(c, 0) + points/float64(p)
	}
	return out
}

// Checked against dense least squares, which shares no code with the fit. Wide
// and tall fittings go through different eliminations.
func TestAgainstDenseLeastSquares(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, size := range []struct{ closings, points int }{{5, 30}, {40, 30}, {12, 12}, {2, 9}, {9, 2}, {3, 3}} {
		for _, share := range []float64{0.02, 0.2, 0.4} {
			rows, fitting := [][]float64{}, []int32{}
			for f := range 3 {
				for range size.closings {
					row := make([]float64, size.points)
					for p := range row {
						row[p] = 70 - 2*float64(f) + 15*math.Sin(float64(p+f)) + 3*rng.NormFloat64()
						if rng.Float64() < share {
							row[p] = hole
						}
					}
					rows, fitting = append(rows, row), append(fitting, int32(f))
				}
			}
			r := mustValues(t, tableOf(fitting, rows))
			if r.Reason != None {
				t.Logf("%v: %s", size, r.Reason) // small sizes may well fall apart
				continue
			}
			for f := range 3 {
				var of []Value
				var cut [][]float64
				for _, v := range r.Values {
					if fitting[v.Closing] != int32(f) {
						continue
					}
					row := make([]float64, len(r.Used))
					for k, p := range r.Used {
						row[k] = rows[v.Closing][p]
					}
					of, cut = append(of, v), append(cut, row)
				}
				if len(of) == 0 {
					continue
				}
				for k, want := range dense(cut) {
					if !near(of[k].DB, want, 1e-11) {
						t.Errorf("%v, holes %v: closing %d: %.13f, want %.13f", size, share, of[k].Closing, of[k].DB, want)
					}
				}
			}
		}
	}
}

func TestOneClosingOnePoint(t *testing.T) {
	r := mustValues(t, tableOf([]int32{0}, [][]float64{{61.25}}))
	if v := r.Values; len(v) != 1 || v[0].DB != 61.25 || v[0].Power != 61.25 || v[0].Points != 1 {
		t.Errorf("%+v", v)
	}
	r = mustValues(t, tableOf([]int32{0, 0}, [][]float64{{60}, {70}}))
	if v := r.Values; len(v) != 2 || v[0].DB != 60 || v[1].DB != 70 {
		t.Errorf("one point, two closings: %+v", v)
	}
}

// holed is a table of two fittings with holes, for the laws.
func holed(seed uint64) (fitting []int32, rows [][]float64) {
	rng := rand.New(rand.NewPCG(seed, 0))
	for c := range 14 {
		row := make([]float64, 30)
		for p := range row {
			row[p] = 65 + 10*math.Cos(float64(p)) + rng.NormFloat64()
			if rng.Float64() < 0.2 {
				row[p] = hole
			}
		}
		fitting, rows = append(fitting, int32(c/7)), append(rows, row)
	}
	return fitting, rows
}

func TestRowOrderDoesNotMatter(t *testing.T) {
	in := tableOf(holed(5))
	for i := range in.Limited {
		in.Limited[i] = i%5 == 0
	}
	want := mustValues(t, in)
	low, _ := want.Lowest()
	rng := rand.New(rand.NewPCG(9, 9))
	for range 5 {
		rng.Shuffle(len(in.DB), func(i, j int) {
			in.Closing[i], in.Closing[j] = in.Closing[j], in.Closing[i]
			in.Point[i], in.Point[j] = in.Point[j], in.Point[i]
			in.DB[i], in.DB[j] = in.DB[j], in.DB[i]
			in.Limited[i], in.Limited[j] = in.Limited[j], in.Limited[i]
		})
		got := mustValues(t, in)
		if !slices.Equal(got.Values, want.Values) || !slices.Equal(got.Used, want.Used) {
			t.Fatal("values depend on the order of rows")
		}
		if l, _ := got.Lowest(); l != low {
			t.Fatalf("lowest reading depends on the order of rows: %+v, %+v", l, low)
		}
	}
}

func TestRelabelling(t *testing.T) {
	in := tableOf(holed(6))
	want := mustValues(t, in)
	rng := rand.New(rand.NewPCG(8, 8))
	points, closings := rng.Perm(30), rng.Perm(14)
	out := in
	out.Point, out.Closing = slices.Clone(in.Point), slices.Clone(in.Closing)
	out.Fitting.Codes = make([]int32, 14)
	for c, to := range closings {
		out.Fitting.Codes[to] = 1 - in.Fitting.Codes[c]
	}
	for i := range out.DB {
		out.Point[i], out.Closing[i] = int32(points[in.Point[i]]), int32(closings[in.Closing[i]])
	}
	got := mustValues(t, out)
	if len(got.Values) != len(want.Values) {
		t.Fatalf("%d values, want %d", len(got.Values), len(want.Values))
	}
	for _, w := range want.Values {
		k := slices.IndexFunc(got.Values, func(v Value) bool { return v.Closing == int32(closings[w.Closing]) })
		if g := got.Values[k]; !near(g.DB, w.DB, 1e-11) || !near(g.Power, w.Power, 1e-11) || g.Points != w.Points {
			t.Errorf("closing %d: %+v, want %+v", w.Closing, g, w)
		}
	}
}

func TestShift(t *testing.T) {
	in := tableOf(holed(7))
	want := mustValues(t, in)
	in.DB = slices.Clone(in.DB)
	for i := range in.DB {
		in.DB[i] += 1000
	}
	for k, v := range mustValues(t, in).Values {
		w := want.Values[k]
		if !near(v.DB, w.DB+1000, 1e-10) || !near(v.Power, w.Power+1000, 1e-10) {
			t.Errorf("closing %d moved by %v and %v", v.Closing, v.DB-w.DB, v.Power-w.Power)
		}
	}
}

// Adding to a point's readings moves every closing alike, so that a closing
// that lacks a point of high attenuation is not judged worse for it.
func TestPointLevelsDoNotBlameAClosing(t *testing.T) {
	fitting, rows := holed(11)
	want := mustValues(t, tableOf(fitting, rows))
	for _, row := range rows {
		row[4] += 12
	}
	for k, v := range mustValues(t, tableOf(fitting, rows)).Values {
		if d := v.DB - want.Values[k].DB; !near(d, 12.0/30, 1e-11) {
			t.Errorf("closing %d moved by %v, want %v", v.Closing, d, 12.0/30)
		}
	}
}

func TestFittingsLendNothing(t *testing.T) {
	fitting, rows := holed(12)
	want := mustValues(t, tableOf(fitting, rows))
	for c := 7; c < 14; c++ {
		for p := range rows[c] {
			rows[c][p] = 40 + float64((c*p)%11)
			if (c+p)%6 == 0 {
				rows[c][p] = hole
			}
		}
	}
	got := mustValues(t, tableOf(fitting, rows))
	for k := range 7 {
		if got.Values[k] != want.Values[k] {
			t.Errorf("closing %d: %+v after a change in another fitting, before %+v", k, got.Values[k], want.Values[k])
		}
	}
}

func TestPowerAverage(t *testing.T) {
	// Half the points leak everything, half a tenth: the mean share is 0.55.
	r := mustValues(t, tableOf([]int32{0}, [][]float64{{0, 10}}))
	if v := r.Values[0]; v.By(ByDB) != 5 || !near(v.By(ByPower), -10*math.Log10(0.55), 1e-12) {
		t.Errorf("dB %v, power %v", v.DB, v.Power)
	}
	// A missing cell enters as its prediction: closing 1 stands 3 dB above
	// closing 0 at the points they share, so its second cell is 13 dB.
	r = mustValues(t, tableOf([]int32{0, 0}, [][]float64{{0, 10, 4}, {3, hole, 7}}))
	share := (math.Pow(10, -.3) + math.Pow(10, -1.3) + math.Pow(10, -.7)) / 3
	if v := r.Values[1]; !near(v.DB, 23.0/3, 1e-12) || !near(v.Power, -10*math.Log10(share), 1e-12) {
		t.Errorf("dB %v, power %v", v.DB, v.Power)
	}
	// Normal dB values of SD s: the power mean is (ln 10/20) s^2 lower, 1.036 dB
	// at 3 dB. Closed form of the log-normal mean; here over a grid of quantiles.
	row := make([]float64, 20000)
	for i := range row {
		row[i] = 200 + 3*math.Sqrt2*math.Erfinv(2*(float64(i)+0.5)/20000-1)
	}
	r = mustValues(t, tableOf([]int32{0}, [][]float64{row}))
	if v := r.Values[0]; !near(v.DB-v.Power, 1.036, 1e-3) {
		t.Errorf("dB less power %v, want 1.036", v.DB-v.Power)
	}
	// 4000 dB would underflow to a share of nothing.
	r = mustValues(t, tableOf([]int32{0}, [][]float64{{4000, 4010}}))
	if v := r.Values[0]; !near(v.Power, 4000-10*math.Log10(0.55), 1e-9) {
		t.Errorf("power %v", v.Power)
	}
}

// Other attenuations at the same readings: as if the table had held them.
func TestAt(t *testing.T) {
	fitting, rows := holed(9)
	in := tableOf(fitting, rows)
	for k := range in.Limited {
		in.Limited[k] = k%11 == 0
	}
	r := mustValues(t, in)
	raised := slices.Clone(in.DB)
	for k, is := range in.Limited {
		if is {
			raised[k] += 20
		}
	}
	got, err := r.At(raised)
	if err != nil {
		t.Fatal(err)
	}
	other := in
	other.DB = raised
	if want := mustValues(t, other).Values; !slices.Equal(got, want) || slices.Equal(got, r.Values) {
		t.Errorf("raised: %v, want %v", got, want)
	}
	if got, err = r.At(in.DB); err != nil || !slices.Equal(got, r.Values) {
		t.Errorf("as they were: %v, %v, want %v", got, err, r.Values)
	}
	if _, err = r.At(raised[1:]); err == nil {
		t.Error("one attenuation is missing")
	}
	raised[3] = math.Inf(1)
	if _, err = r.At(raised); err == nil {
		t.Error("one attenuation is infinite")
	}
}
