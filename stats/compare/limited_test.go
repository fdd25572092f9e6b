package compare

import (
	"math"
	"strings"
	"testing"

	"sealbound/stats/judge"
	"sealbound/stats/simulate"
)

// twoProducts are eight boxes, each with both products, two closings of ten points:
// product 0 about 70 dB, product 1 about 55.
func twoProducts() Data {
	var rows [][]float64
	var at []place
	for box := range int32(8) {
		for p := range int32(2) {
			for k := range int32(2) {
				row := make([]float64, 10)
				for i := range row {
					row[i] = 70 - 15*float64(p) + math.Sin(float64(7*box+3*p)) + 0.5*math.Cos(float64(5*k+box+2*p)) + 0.3*math.Sin(float64(i))
				}
				rows, at = append(rows, row), append(at, place{p, box, 2*box + p, 0})
			}
		}
	}
	d := grid(rows, func(i int) place { return at[i] })
	for i := range d.HeadroomDB {
		d.HeadroomDB[i] = 90
	}
	return d
}

// limit caps the readings of a product that pick chooses at level.
func limit(d *Data, product int32, level float64, pick func(closing, point int32) bool) {
	for i, k := range d.Closing {
		if d.Product.Codes[k] == product && pick(k, d.Point[i]) {
			d.DB[i], d.Limited[i], d.HeadroomDB[i] = level, true, level
		}
	}
}

// A few limited readings: the difference is at least the figure, the side that they
// could move goes out by what they may hide, the other side stays.
func TestFewLimited(t *testing.T) {
	clear := mustCompare(t, twoProducts(), usual)
	d := twoProducts()
	limit(&d, 0, 68, func(_, point int32) bool { return point == 0 })
	r := mustCompare(t, d, usual)
	x := r.difference(t, 0, 1)
	if !x.AtLeast || x.AtMost || r.product(t, 0).Own || r.Family != Tukey {
		t.Errorf("a tenth limited: %+v", x)
	}
	base := x.DB - x.Lower // half width with the readings as they stand
	// Raised by 20 dB at one of ten points, the product gains 2 dB.
	near(t, "upper", x.Upper, x.DB+2+base, 1e-6)
	if x.P > 1e-6 || math.IsNaN(x.P) {
		t.Errorf("p %v: that it is better needs no upper side", x.P)
	}
	if v := r.product(t, 0).Verdict; v != judge.Clears {
		t.Errorf("verdict %s", v)
	}
	// The lower product limited: that the other is better must survive the raise.
	d = twoProducts()
	limit(&d, 1, 54, func(_, point int32) bool { return point == 0 })
	y := mustCompare(t, d, usual).difference(t, 0, 1)
	if y.AtLeast || !y.AtMost || y.Lower > y.DB-2 || y.P > 1e-4 {
		t.Errorf("the lower product limited: %+v", y)
	}
	s := usual
	s.RaiseDB = 400 // more than the difference: nothing is left of it
	if z := mustCompare(t, d, s).difference(t, 0, 1); z.P != 1 || z.Lower > 0 {
		t.Errorf("raised beyond the other: %+v", z)
	}
	if x := clear.difference(t, 0, 1); x.AtLeast || x.AtMost {
		t.Errorf("nothing limited: %+v", x)
	}
}

// A product limited throughout: its mean has the sign bound of its boxes alone, it
// stays out of the common spread, and of differences only one side is said.
func TestAllOfOneLimited(t *testing.T) {
	d := twoProducts()
	limit(&d, 0, 66, func(_, _ int32) bool { return true })
	r := mustCompare(t, d, usual)
	p := r.product(t, 0)
	if !p.Own || p.Method != "sign" || p.Lower != 66 || p.Verdict != judge.Clears || !math.IsNaN(p.Upper) {
		t.Errorf("limited throughout: %+v", p)
	}
	x := r.difference(t, 0, 1)
	other := r.product(t, 1)
	if r.Family != Holm || !x.AtLeast || !math.IsNaN(x.Upper) || !math.IsNaN(x.SE) || x.Reason == "" {
		t.Errorf("difference %+v, family %s", x, r.Family)
	}
	// One pair: each bound with error 0.05/4; eight boxes attain 1 - 1/256.
	if !(x.Lower > 66-other.Upper-3 && x.Lower < 66-other.Upper) {
		t.Errorf("lower %v, but the parts say less than %v", x.Lower, 66-other.Upper)
	}
	if x.P > 0.05 || x.P < 4.0/256 { // the sign bound attains no more
		t.Errorf("p %v", x.P)
	}
	if p.Letters == other.Letters || len(r.Best) != 1 || r.Best[0] != 0 {
		t.Errorf("letters %q and %q, best %v", p.Letters, other.Letters, r.Best)
	}
	s := usual
	s.EquivalentDB = 100
	if y := mustCompare(t, d, s).difference(t, 0, 1); y.Equivalent {
		t.Error("what is hidden could lie anywhere, but the products are said to be as good as each other")
	}
	// The better product may be the limited one that reads lower: nothing is shown.
	d = twoProducts()
	limit(&d, 1, 50, func(_, _ int32) bool { return true })
	r = mustCompare(t, d, usual)
	if y := r.difference(t, 0, 1); !y.AtMost || !math.IsNaN(y.Lower) || y.P != 1 || len(r.Best) != 2 {
		t.Errorf("the lower product limited throughout: %+v, best %v", y, r.Best)
	}
}

// Both limited: no side can be said, in words.
func TestAllLimited(t *testing.T) {
	d := twoProducts()
	for p := range int32(2) {
		limit(&d, p, 60+float64(p), func(_, _ int32) bool { return true })
	}
	r := mustCompare(t, d, usual)
	x := r.difference(t, 0, 1)
	if !math.IsNaN(x.Lower) || !math.IsNaN(x.Upper) || !math.IsNaN(x.P) || !strings.Contains(r.Reason, "limited") || r.Best != nil || r.Family != "" {
		t.Errorf("all limited: %+v, reason %q, best %v", x, r.Reason, r.Best)
	}
	for _, p := range r.Products {
		if p.Verdict != judge.Clears || p.Letters != "" {
			t.Errorf("eight boxes show at least 60 dB: %+v", p)
		}
	}
}

// No floor known: a product never falls short, and only what stands clear of the
// highest reading of the session is known not to be at the floor.
func TestNoFloor(t *testing.T) {
	d := twoProducts()
	for i := range d.FloorKnown {
		d.FloorKnown[i], d.HeadroomDB[i] = false, math.NaN()
	}
	for i := range d.TargetDB {
		d.TargetDB[i] = 80
	}
	r := mustCompare(t, d, usual)
	a, b := r.product(t, 0), r.product(t, 1)
	if !a.Own || b.Own || !a.FloorUnknown || !b.FloorUnknown {
		t.Errorf("own %v and %v: the higher product may stand at the floor, the lower by 15 dB does not", a.Own, b.Own)
	}
	if a.Verdict != judge.Undecided || b.Verdict != judge.Undecided {
		t.Errorf("verdicts %s and %s with no floor known", a.Verdict, b.Verdict)
	}
	if x := r.difference(t, 0, 1); !x.AtLeast || x.AtMost || !math.IsNaN(x.Upper) || !(x.Lower > 0) || !strings.Contains(x.Reason, "no floor") {
		t.Errorf("difference %+v", x)
	}
	// Less apart than the margin: both may stand there.
	s := usual
	s.FloorMarginDB = 30
	if x := mustCompare(t, d, s).difference(t, 0, 1); !math.IsNaN(x.P) {
		t.Errorf("within the margin: %+v", x)
	}
}

// What is said of differences holds although a floor hides the better product: the
// lower bound of the difference lies below the true one, and products that are
// alike are not told apart.
func TestCoverageLimited(t *testing.T) {
	reps := campaigns()
	for _, tt := range []struct {
		name         string
		meanA, meanB float64
		floor        float64 // dBm: open is at -30, the floor margin 6 dB
	}{
		{"few limited, alike", 64, 64, -103},
		{"few limited, 4 dB apart", 66, 62, -104.5},
		{"over half of one limited", 66, 55, -101.5},
		{"one limited throughout", 80, 55, -100},
	} {
		held, wrong, defined := 0, 0, 0
		share0 := 0.0
		for rep := range reps {
			c := trial{name: tt.name, sd: usualSD, products: 2, boxes: complete(8, 2), closings: 3}.campaign(t, uint64(rep+1), func(s *simulate.Settings) {
				s.Products[0].MeanDB, s.Products[1].MeanDB = tt.meanA, tt.meanB
				s.Floor = simulate.Flat(tt.floor)
				s.Points = nil
				for p := range 10 {
					s.Points = append(s.Points, simulate.Point{FreqHz: 4e8 + 1e7*float64(p)})
				}
				s.SD.PointDB = 2
			})
			g := c.Grid(simulate.Selection{}, 6)
			r := mustCompare(t, gridData(g), usual)
			a := int32(0)
			if g.Gaskets[0] != "marlcord 1" {
				a = 1
			}
			x := r.difference(t, a, 1-a)
			p := r.product(t, a)
			share0 += float64(p.Limited) / float64(p.Readings) / float64(reps)
			truth := tt.meanA - tt.meanB
			if !math.IsNaN(x.Lower) {
				defined++
				held += one(x.Lower <= truth && !(x.Upper < truth))
			}
			if truth == 0 {
				wrong += one(x.P <= 0.05)
			}
		}
		t.Logf("| %s | %.2f limited | bounds in %d of %d, hold in %.3f | false difference %.3f |", tt.name, share0, defined, reps, share(held, max(1, defined)), share(wrong, reps))
		if defined < reps/2 {
			t.Errorf("%s: bounds in %d of %d campaigns only", tt.name, defined, reps)
		}
		if most := 3 * math.Sqrt(0.05*0.95/float64(reps)); share(held, max(1, defined)) < 0.945-most || share(wrong, reps) > 0.055+most {
			t.Errorf("%s: bounds hold in %.3f, false difference in %.3f", tt.name, share(held, defined), share(wrong, reps))
		}
	}
}

// gridData makes Data of what a simulation paired.
func gridData(g simulate.Grid) Data {
	d := Data{Data: judge.Data{Closings: len(g.Values), Points: len(g.Points),
		Box: g.Factors[simulate.BoxFactor], Fitting: g.Factors[simulate.FittingFactor],
		Session: g.Factors[simulate.SessionFactor], Run: g.Run, Reference: g.Run}, Product: g.Gasket}
	for i := range g.Values {
		d.OwnReference = append(d.OwnReference, false)
		for p := range g.Points {
			k := i*len(g.Points) + p
			d.Closing, d.Point = append(d.Closing, int32(i)), append(d.Point, int32(p))
			d.DB, d.Limited = append(d.DB, g.DB[k]), append(d.Limited, g.Limited[k])
			d.FloorKnown, d.HeadroomDB = append(d.FloorKnown, true), append(d.HeadroomDB, g.HeadroomDB[k])
		}
	}
	d.Opens = make([]judge.Open, len(g.Runs))
	for range g.Points {
		d.TargetDB = append(d.TargetDB, 50)
	}
	return d
}
