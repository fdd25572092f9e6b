package compare

import (
	"math"
	"slices"
	"strings"
	"testing"

	"sealbound/stats/judge"
)

// clean fails if anything infinite is in a result.
func clean(t *testing.T, r Result) {
	t.Helper()
	for _, p := range r.Products {
		for _, x := range []float64{p.Value, p.SE, p.DF, p.Lower, p.Upper, p.HeadroomDB} {
			if math.IsInf(x, 0) {
				t.Errorf("infinite: %+v", p)
			}
		}
		if math.IsNaN(p.Lower) && p.Reason == "" {
			t.Errorf("no bound and no reason: %+v", p)
		}
	}
	for _, d := range r.Differences {
		for _, x := range []float64{d.DB, d.SE, d.DF, d.Lower, d.Upper, d.P} {
			if math.IsInf(x, 0) {
				t.Errorf("infinite: %+v", d)
			}
		}
		if math.IsNaN(d.P) && d.Reason == "" {
			t.Errorf("no p and no reason: %+v", d)
		}
	}
}

func TestIllPosed(t *testing.T) {
	noise := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = 60 + 2*math.Sin(float64(3*i)) + math.Cos(float64(7*i))
		}
		return v
	}
	constant := make([]float64, 12)
	byProduct := make([]float64, 12)
	for i := range constant {
		constant[i], byProduct[i] = 60, 60+float64(i%2)
	}
	for _, tt := range []struct {
		name   string
		values []float64
		at     func(i int) place
		reason string // in Result.Reason
		bounds bool   // the means have bounds
	}{
		{"one product only", noise(12), func(i int) place { return place{0, int32(i / 2), int32(i / 2), 0} }, "one product only", true},
		{"one strip per product", noise(12), func(i int) place { return place{int32(i % 3), 0, int32(i % 3), 0} }, "too few fittings: a product needs two", false},
		{"one strip per product, each in its box", noise(12), func(i int) place { return place{int32(i % 3), int32(i % 3), int32(i % 3), 0} }, "products and boxes are confounded", false},
		{"each product on a box of its own, two strips", noise(12), func(i int) place { return place{int32(i % 3), int32(i % 3), int32(i % 6), 0} }, "products and boxes are confounded", true},
		{"each product in a session of its own", noise(12), func(i int) place { return place{int32(i % 2), int32(i / 2), int32(i), int32(i % 2)} }, "products and sessions are confounded", true},
		{"constant", constant, func(i int) place { return place{int32(i % 2), int32(i / 2), int32(i), 0} }, "do not vary", true},
		{"constant in each product", byProduct, func(i int) place { return place{int32(i % 2), int32(i / 2), int32(i), 0} }, "do not vary", true},
		{"one closing of each product", noise(2), func(i int) place { return place{int32(i), int32(i), int32(i), 0} }, "no more closings than products", false},
		{"one closing", noise(1), func(i int) place { return place{} }, "one product only", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for _, against := range []int32{-1, 0} {
				s := usual
				s.Against, s.EquivalentDB = against, 2
				r := mustCompare(t, dataOf(tt.values, tt.at), s)
				clean(t, r)
				if !strings.Contains(r.Reason, tt.reason) || r.NoPick == "" && tt.reason != "do not vary" {
					t.Errorf("reason %q, no pick because %q", r.Reason, r.NoPick)
				}
				for _, d := range r.Differences {
					if !math.IsNaN(d.P) || !math.IsNaN(d.Lower) || d.Equivalent {
						t.Errorf("a difference is said all the same: %+v", d)
					}
				}
				for _, p := range r.Products {
					if math.IsNaN(p.Lower) == tt.bounds || p.Letters != "" || (p.Verdict == judge.TooFew) == tt.bounds {
						t.Errorf("product %+v", p)
					}
					if math.IsNaN(p.Value) {
						t.Errorf("no mean: %+v", p)
					}
				}
			}
		})
	}
}

// Products in two boxes that no product has in common: those of one box can be
// compared, by their strips, those of different boxes cannot.
func TestPartlyConfounded(t *testing.T) {
	var values []float64
	var at []place
	for p := range int32(4) {
		for strip := range int32(3) {
			for k := range 2 {
				values = append(values, 60+3*float64(p%2)+math.Sin(float64(11*p+5*strip))+0.3*math.Cos(float64(9*p+strip)+float64(k)))
				at = append(at, place{p, p / 2, 3*p + strip, 0})
			}
		}
	}
	r := mustCompare(t, dataOf(values, func(i int) place { return at[i] }), usual)
	clean(t, r)
	same, apart := r.difference(t, 0, 1), r.difference(t, 0, 2)
	if math.IsNaN(same.P) || !math.IsNaN(apart.P) || !strings.Contains(apart.Reason, "confounded") || r.Reason != "" {
		t.Errorf("same box %+v, other box %+v, reason %q", same, apart, r.Reason)
	}
	near(t, "df", same.DF, 8, 1e-6) // strips nested in products: 4 (3 - 1)
	if !strings.Contains(r.NoPick, "confounded") {
		t.Errorf("a pick may be made: %q", r.NoPick)
	}
}

// A product with one fitting has its mean and no more; the others are compared.
func TestOneFittingAmongOthers(t *testing.T) {
	values := []float64{60, 61, 63, 62, 60.5, 61.7, 65, 66.1, 64, 66, 70}
	r := mustCompare(t, dataOf(values, func(i int) place {
		if i == 10 {
			return place{2, 0, 10, 0}
		}
		return place{int32(i / 6), int32(i % 6), int32(i), 0}
	}), usual)
	clean(t, r)
	if x := r.difference(t, 1, 0); math.IsNaN(x.P) {
		t.Errorf("the others are not compared: %+v", x)
	}
	x, p := r.difference(t, 2, 0), r.product(t, 2)
	if x.Reason != tooFew || p.Verdict != judge.TooFew || p.Letters != "" || r.NoPick != tooFew || slices.Contains(r.Best, 2) {
		t.Errorf("one fitting: %+v, %+v, no pick because %q, best %v", x, p, r.NoPick, r.Best)
	}
}

// Few shared boxes: the comparison falls back on boxes as if each product had its
// own, and says so.
func TestTooFewShared(t *testing.T) {
	boxes := []place{{0, 0, 0, 0}, {0, 1, 1, 0}, {0, 2, 2, 0}, {0, 3, 3, 0}, {1, 3, 4, 0}, {1, 4, 5, 0}, {1, 5, 6, 0}}
	var values []float64
	for i := range 3 * len(boxes) {
		values = append(values, 60+2*math.Sin(float64(5*(i/3)))+0.5*math.Cos(float64(i)))
	}
	r := mustCompare(t, dataOf(values, func(i int) place { return boxes[i/3] }), usual)
	clean(t, r)
	if !r.Apart || r.Design.Within != 0 || r.Design.Kind != Incomplete {
		t.Errorf("design %+v, apart %v", r.Design, r.Apart)
	}
	near(t, "df", r.Differences[0].DF, 5, 1e-6) // seven cells, two products
}

// One session, products read against references of their own: their repeats are in
// the difference; without repeats it is said. References of single boxes are not,
// since the spread between boxes holds them.
func TestReferencesOfProducts(t *testing.T) {
	values := []float64{60, 61, 63, 62, 60.5, 61.7, 65, 66.1, 64, 66, 63.9, 64.8}
	d := dataOf(values, func(i int) place { return place{int32(i / 6), int32(i % 6), int32(i), 0} })
	plain := mustCompare(t, d, usual).difference(t, 1, 0)
	codes := make([]int32, len(values))
	for i := range codes {
		codes[i] = int32(i / 6)
	}
	d.Reference = factor("reference", codes)
	d.Opens = make([]judge.Open, 2)
	r := mustCompare(t, d, usual)
	if x := r.difference(t, 1, 0); x.SE != plain.SE || !warned(r, "references-differ") {
		t.Errorf("references without repeats: %+v, warnings %v", x, r.Warnings)
	}
	d.Opens = []judge.Open{{{-20}, {-21}}, {{-20}, {-21}}} // each mean of two: u = 0.5
	r = mustCompare(t, d, usual)
	near(t, "se with both references", r.difference(t, 1, 0).SE, math.Sqrt(plain.SE*plain.SE+0.25+0.25), 1e-9)
	if warned(r, "references-differ") {
		t.Error("warned although the repeats tell")
	}
	p := r.product(t, 0)
	if p.ThisSetup || math.Abs(p.ReferenceU.UDB-0.5) > 1e-9 {
		t.Errorf("reference of the mean: %+v", p.ReferenceU)
	}
	for i := range codes {
		codes[i] = int32(i % 6)
	}
	d.Reference, d.Opens = factor("reference", codes), make([]judge.Open, 6)
	r = mustCompare(t, d, usual)
	if x := r.difference(t, 1, 0); x.SE != plain.SE || warned(r, "references-differ") {
		t.Errorf("a reference for each box: %+v, %v", x, r.Warnings)
	}
}

func warned(r Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// Gains are plain differences within boxes: the mean of the fittings' means.
func TestGains(t *testing.T) {
	type row struct {
		at place
		db float64
	}
	rows := []row{
		{place{0, 0, 0, 0}, 30}, {place{0, 0, 0, 0}, 32}, {place{1, 0, 1, 0}, 60}, {place{1, 0, 1, 0}, 62}, {place{1, 0, 2, 0}, 71},
		{place{0, 1, 3, 0}, 28}, {place{1, 2, 4, 0}, 66}, {place{2, 1, 5, 0}, 50}, {place{2, 2, 6, 0}, 51},
	}
	var values []float64
	for _, r := range rows {
		values = append(values, r.db)
	}
	s := usual
	s.Against = 0
	r := mustCompare(t, dataOf(values, func(i int) place { return rows[i].at }), s)
	want := []Gain{{Box: 0, Product: 1, FromDB: 31, ToDB: 66, DB: 35}, {Box: 1, Product: 2, FromDB: 28, ToDB: 50, DB: 22}}
	if !slices.Equal(r.Gains, want) {
		t.Errorf("gains %+v, want %+v", r.Gains, want)
	}
	if all := mustCompare(t, dataOf(values, func(i int) place { return rows[i].at }), usual); all.Gains != nil {
		t.Errorf("gains over nothing: %+v", all.Gains)
	}
}

// Points that some fitting lacks are not compared; no common point is a reason.
func TestCommonPoints(t *testing.T) {
	rows := [][]float64{{60, 70, nan}, {61, 71, nan}, {59, nan, 40}, {62, nan, 41}, {60, 70, nan}, {63, nan, 42}}
	at := func(i int) place { return place{[]int32{0, 0, 1, 1, 0, 1}[i], int32(i), int32(i), 0} }
	r := mustCompare(t, grid(rows, at), usual)
	if !slices.Equal(r.Points, []int32{0}) || len(r.Band.PointsOut) != 2 {
		t.Errorf("points %v, out %v", r.Points, r.Band.PointsOut)
	}
	near(t, "mean over the common point", r.product(t, 0).Value, (60.0+61+60)/3, 1e-9)
	for _, row := range rows {
		row[0] = nan
	}
	r = mustCompare(t, grid(rows, at), usual)
	clean(t, r)
	if r.Reason == "" || len(r.Products) != 2 || r.Differences != nil {
		t.Errorf("no common point: %+v", r)
	}
	if _, err := Compare(Data{Data: judge.Data{Closings: 2}}, usual); err == nil {
		t.Error("closings without products are taken")
	}
}
