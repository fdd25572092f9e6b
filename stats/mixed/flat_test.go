package mixed

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"sealbound/stats"
)

// crossedDesign makes closings scattered over boxes, fittings and sessions, with far less
// spread of their own than visits have: along a variance that is nothing beside the
// visits' the likelihood is all but flat.
func crossedDesign(i int) (d Design, ok bool) {
	r := rand.New(rand.NewPCG(77, uint64(i)))
	n := 4 + r.IntN(40)
	box := randomFactor(r, "box", n, 1+r.IntN(6))
	part := randomFactor(r, "part", n, 1+r.IntN(2))
	fitting := product("fitting", box, part)
	session := randomFactor(r, "session", n, 1+r.IntN(5))
	visit := product("visit", fitting, session)
	sdBox, sdSession, sd := []float64{0, .5, 3}[r.IntN(3)], []float64{0, .5, 3}[r.IntN(3)], []float64{0.003, 0.03, 0.001}[r.IntN(3)]
	ofBox, ofSession := make([]float64, 64), make([]float64, 64)
	for k := range ofBox {
		ofBox[k], ofSession[k] = r.NormFloat64(), r.NormFloat64()
	}
	step := []float64{0, 0, 1, .1}[r.IntN(4)]
	y := make([]float64, n)
	for k := range y {
		y[k] = 60 + sdBox*ofBox[box.Codes[k]] + sdSession*ofSession[session.Codes[k]] + sd*r.NormFloat64()
		if step > 0 {
			y[k] = math.Round(y[k]/step) * step
		}
	}
	l, err := Separate([]stats.Factor{box, fitting, session, visit}, n)
	return Design{Y: y, Terms: l.Terms, Residual: l.Residual}, err == nil && len(l.Terms) > 0
}

// No such design is given up. In those named here the search once crept along the flat
// direction until its steps were used up.
func TestFlatDirections(t *testing.T) {
	crept := []int{1646, 2027, 2224, 2489, 4019, 4143, 4301, 4509, 5112, 5410, 5476, 5649, 6224, 6325, 6882, 7680, 7907,
		8192, 8360, 9233, 9711, 10563, 10845, 11739, 12001, 12102, 12490, 13833, 15492}
	for i := range 600 {
		crept = append(crept, i)
	}
	fitted := 0
	for _, i := range crept {
		d, ok := crossedDesign(i)
		if !ok {
			continue
		}
		f, err := d.Fit(REML)
		switch {
		case err == nil:
			fitted++
			if !(f.Gradient <= acceptedGradient) {
				t.Errorf("design %d: gradient %v left", i, f.Gradient)
			}
		case !errors.Is(err, ErrNoResidual) && !errors.Is(err, ErrConstant):
			t.Errorf("design %d (%v): %v", i, termNames(d), err)
		}
	}
	if fitted < 300 {
		t.Errorf("%d designs fitted", fitted)
	}
}
