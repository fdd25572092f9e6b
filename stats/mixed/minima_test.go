package mixed

import (
	"math"
	"testing"

	"sealbound/stats"
)

// With nine closings the criterion has two minima, one of them with the boxes at zero.
// The lower one: lme4 1.1.31 in R 4.2.2,
//
//	lmer(y ~ 1 + (1|box) + (1|fitting) + (1|session) + (1|visit), start = list(theta = c(0, 0, 1, 11)))
//
// with bobyqa; its default start ends in the other, at a log-likelihood of -9.99472.
func TestLowerOfTwoMinima(t *testing.T) {
	d := Design{Y: []float64{63.08, 64.23, 57.26, 57.89, 57.13, 57.62, 56.9, 63.91, 64.54}, Residual: "closing"}
	for _, f := range []stats.Factor{
		{Name: "box", Codes: []int32{0, 1, 1, 1, 1, 2, 2, 2, 2}, Levels: 3},
		{Name: "fitting", Codes: []int32{0, 1, 2, 2, 2, 3, 3, 3, 4}, Levels: 5},
		{Name: "session", Codes: []int32{1, 1, 0, 0, 0, 0, 0, 1, 1}, Levels: 2},
		{Name: "visit", Codes: []int32{0, 1, 2, 2, 2, 3, 3, 4, 5}, Levels: 6},
	} {
		d.Terms = append(d.Terms, Term{Factor: f})
	}
	f, err := d.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.LogLikREML+9.9603181545) > 1e-6 {
		t.Errorf("log-likelihood %.10f, want -9.9603181545", f.LogLikREML)
	}
	want := map[string]float64{"box": 0.205636, "fitting": 0, "session": 22.785683, "visit": 0, "closing": 0.177227}
	for _, c := range f.Components {
		if math.Abs(c.Variance-want[c.Name]) > 1e-4*(1+want[c.Name]) {
			t.Errorf("variance of %s %.6f, want %.6f", c.Name, c.Variance, want[c.Name])
		}
	}
}
