package compare

import (
	"math"
	"slices"
	"testing"

	"sealbound/stats"
	"sealbound/stats/judge"
)

var usual = Settings{Confidence: 0.95, Against: -1, RaiseDB: 20, FloorMarginDB: 6}

// place says what a closing was: product, box, fitting, session.
type place struct{ product, box, fitting, session int32 }

// dataOf makes Data of band values: one point, every reading clear of its floor.
func dataOf(values []float64, at func(i int) place) Data {
	rows := make([][]float64, len(values))
	for i, v := range values {
		rows[i] = []float64{v}
	}
	return grid(rows, at)
}

// grid makes Data of closings by points; NaN leaves a reading out.
func grid(rows [][]float64, at func(i int) place) Data {
	d := Data{Data: judge.Data{Closings: len(rows), Points: len(rows[0])}}
	var product, box, fitting, session []int32
	for i, row := range rows {
		l := at(i)
		product, box, fitting, session = append(product, l.product), append(box, l.box), append(fitting, l.fitting), append(session, l.session)
		for p, v := range row {
			if math.IsNaN(v) {
				continue
			}
			d.Closing, d.Point, d.DB = append(d.Closing, int32(i)), append(d.Point, int32(p)), append(d.DB, v)
			d.Limited, d.FloorKnown = append(d.Limited, false), append(d.FloorKnown, true)
			d.HeadroomDB = append(d.HeadroomDB, math.NaN())
		}
	}
	d.Product = factor("product", product)
	d.Box, d.Fitting, d.Session = factor("box", box), factor("fitting", fitting), factor("session", session)
	d.Run, d.Reference = d.Session, d.Session
	d.Opens, d.OwnReference = make([]judge.Open, d.Session.Levels), make([]bool, d.Closings)
	for range d.Points {
		d.TargetDB = append(d.TargetDB, 50)
	}
	return d
}

func factor(name string, codes []int32) stats.Factor {
	f := stats.Factor{Name: name, Codes: codes}
	for _, c := range codes {
		f.Levels = max(f.Levels, int(c)+1)
	}
	return f
}

func mustCompare(t *testing.T, d Data, s Settings) Result {
	t.Helper()
	r, err := Compare(d, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g within %g", what, got, want, tol)
	}
}

// product finds a product by its code.
func (r Result) product(t *testing.T, code int32) Product {
	t.Helper()
	i := slices.IndexFunc(r.Products, func(p Product) bool { return p.Code == code })
	if i < 0 {
		t.Fatalf("no product %d", code)
	}
	return r.Products[i]
}

// difference finds that of a less b, turned round where it is given as b less a.
func (r Result) difference(t *testing.T, a, b int32) Difference {
	t.Helper()
	for _, d := range r.Differences {
		if d.A == a && d.B == b {
			return d
		}
		if d.A == b && d.B == a {
			d.A, d.B, d.DB, d.Lower, d.Upper, d.AtLeast, d.AtMost = a, b, -d.DB, -d.Upper, -d.Lower, d.AtMost, d.AtLeast
			return d
		}
	}
	t.Fatalf("no difference %d - %d in %+v", a, b, r.Differences)
	return Difference{}
}

// sorted codes the labels of a column in their sorted order.
func sorted(text []string) (codes []int32, labels []string) {
	labels = slices.Clone(text)
	slices.Sort(labels)
	labels = slices.Compact(labels)
	for _, s := range text {
		at, _ := slices.BinarySearch(labels, s)
		codes = append(codes, int32(at))
	}
	return codes, labels
}
