package dist

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"sealbound/stats/internal/refcase"
)

func TestNoncentralTReference(t *testing.T) {
	refcase.Load(t, "b_nct_cdf").EachRow(t, func(r refcase.Row) {
		d := NoncentralT{Nu: r.Float("df"), Delta: r.Float("ncp")}
		r.Check(t, "cdf_mp", d.CDF(r.Float("t")))
		r.Check(t, "upper_mp", d.Survival(r.Float("t")))
	})
	refcase.Load(t, "b_nct_quantiles").EachRow(t, func(r refcase.Row) {
		d := NoncentralT{Nu: r.Float("df"), Delta: r.Float("ncp")}
		r.Check(t, "q_mp", d.Quantile(r.Float("p")))
	})
}

// Deep tails and noncentralities far beyond where series fail.
func TestNoncentralTWide(t *testing.T) {
	refcase.Load(t, "b_nct_wide").EachRow(t, func(r refcase.Row) {
		d := NoncentralT{Nu: r.Float("df"), Delta: r.Float("ncp")}
		r.Check(t, "cdf", d.CDF(r.Float("t")))
		r.Check(t, "upper", d.Survival(r.Float("t")))
	})
}

// Why this distribution is not taken from a library: tolerance factors at the sample
// sizes at which series lose exp(-Delta^2/2). Right answers: integration with
// 30 digits (mpmath), printed to five figures. If gonum gives them one day, the
// remark at NoncentralT is out of date.
func TestNoncentralTWhereGonumFails(t *testing.T) {
	for _, tt := range []struct {
		n                          float64
		confidence, coverage, want float64
		digits                     float64
	}{
		{274, 0.95, 0.99, 2.5316, 1e-4},
		{274, 0.99, 0.99, 2.6224, 1e-4},
		{560, 0.95, 0.95, 1.75624, 1e-5},
	} {
		delta := math.Sqrt(tt.n) * NormalQuantile(tt.coverage)
		k := NoncentralT{Nu: tt.n - 1, Delta: delta}.Quantile(tt.confidence) / math.Sqrt(tt.n)
		if math.Abs(k-tt.want) > 0.5*tt.digits {
			t.Errorf("n %v, confidence %v, coverage %v: k = %.6f, want %v", tt.n, tt.confidence, tt.coverage, k, tt.want)
		}
		theirs := distuv.NoncentralT{Nu: tt.n - 1, Mu: delta}.Quantile(tt.confidence) / math.Sqrt(tt.n)
		if math.Abs(theirs-tt.want) <= 0.5*tt.digits {
			t.Errorf("n %v: gonum agrees now: k = %v", tt.n, theirs)
		}
	}
}

// R's own columns in the reference: right within its documented |ncp| <= 37.62,
// off above. Tolerances from comparing them with the 30-digit columns.
func TestNoncentralTAgainstR(t *testing.T) {
	worst := 0.0
	refcase.Load(t, "b_nct_quantiles").EachRow(t, func(r refcase.Row) {
		q := NoncentralT{Nu: r.Float("df"), Delta: r.Float("ncp")}.Quantile(r.Float("p"))
		off := math.Abs(q-r.Float("q_R")) / math.Max(1, math.Abs(q))
		if r.Float("ncp") <= 37 && off > 1e-8 {
			t.Errorf("df %v, ncp %v, p %v: %v, R %v", r.Float("df"), r.Float("ncp"), r.Float("p"), q, r.Float("q_R"))
		}
		if r.Float("ncp") > 37.62 {
			worst = math.Max(worst, off)
		}
	})
	if worst < 1 {
		t.Errorf("R is within %v above its limit: the remark in the documentation is out of date", worst)
	}
}

var (
	lawNu    = []float64{0.7, 1, 2.5, 9, 48, 273, 1e4, 1e8, math.Inf(1)}
	lawDelta = []float64{-60, -3, 0, 0.4, 5, 37.7, 120}
)

func TestNoncentralTLaws(t *testing.T) {
	for _, nu := range lawNu {
		for _, delta := range lawDelta {
			d := NoncentralT{Nu: nu, Delta: delta}
			last := math.Inf(-1)
			for _, p := range []float64{1e-9, 1e-4, 0.05, 0.3, 0.5, 0.8, 0.95, 0.999, 1 - 1e-7} {
				q := d.Quantile(p)
				if !(q > last) {
					t.Errorf("%+v: quantile %v at %v, after %v", d, q, p, last)
				}
				last = q
				low, high := d.CDF(q), d.Survival(q)
				if math.Abs(low+high-1) > 1e-12 {
					t.Errorf("%+v at %v: tails add up to %v", d, q, low+high)
				}
				// p is met in the tail that is small, as far as q and p can be told apart.
				if tail, want := math.Min(low, high), math.Min(p, 1-p); math.Abs(tail-want) > 3e-11*want {
					t.Errorf("%+v: CDF(Quantile(%v)) off by %v", d, p, (tail-want)/want)
				}
				mirror := NoncentralT{Nu: nu, Delta: -delta}.Survival(-q)
				if math.Abs(mirror-low) > 1e-13 {
					t.Errorf("%+v at %v: %v, mirrored %v", d, q, low, mirror)
				}
				if more := (NoncentralT{Nu: nu, Delta: delta + 0.1}).CDF(q); more >= low {
					t.Errorf("%+v at %v: more noncentrality does not lower the CDF: %v, %v", d, q, low, more)
				}
			}
		}
	}
}

// The density is the derivative of the CDF, and integrates to it.
func TestNoncentralTDensity(t *testing.T) {
	for _, nu := range []float64{1, 9, 273} {
		for _, delta := range []float64{-3, 0, 5, 40} {
			d := NoncentralT{Nu: nu, Delta: delta}
			for _, p := range []float64{0.01, 0.3, 0.5, 0.9, 0.999} {
				x := d.Quantile(p)
				h := 1e-5 * math.Max(1, math.Abs(x))
				slope := (d.CDF(x+h) - d.CDF(x-h)) / (2 * h)
				if f := d.Prob(x); math.Abs(f-slope) > 1e-6*f+1e-14/h {
					t.Errorf("%+v at %v: density %v, slope %v", d, x, f, slope)
				}
			}
		}
	}
	// At 0: phi(Delta)*E S; nu = 1: E S = sqrt(2/pi).
	want := math.Exp(-0.5*4) / math.Sqrt(2*math.Pi) * math.Sqrt(2/math.Pi)
	if got := (NoncentralT{Nu: 1, Delta: 2}).Prob(0); math.Abs(got-want) > 1e-15 {
		t.Errorf("density at 0: %v, want %v", got, want)
	}
}

// Limits: no noncentrality is Student's t (gonum), infinite Nu the normal, and
// large Nu approaches it.
func TestNoncentralTLimits(t *testing.T) {
	for _, x := range []float64{-40, -3, -0.1, 0, 0.5, 2, 11} {
		for _, nu := range []float64{1, 2.5, 30, 1000} {
			want := distuv.StudentsT{Sigma: 1, Nu: nu}.CDF(x)
			if got := (NoncentralT{Nu: nu}).CDF(x); math.Abs(got-want) > 1e-12 {
				t.Errorf("nu %v, t %v: %v, Student's %v", nu, x, got, want)
			}
		}
		for _, delta := range []float64{-2, 0, 5} {
			normal := NormalCDF(x - delta)
			if got := (NoncentralT{Nu: math.Inf(1), Delta: delta}).CDF(x); got != normal {
				t.Errorf("nu Inf, delta %v, t %v: %v, normal %v", delta, x, got, normal)
			}
			if got := (NoncentralT{Nu: 1e12, Delta: delta}).CDF(x); math.Abs(got-normal) > 1e-11 {
				t.Errorf("nu 1e12, delta %v, t %v: %v, normal %v", delta, x, got, normal)
			}
		}
	}
}

func TestNoncentralTDomain(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, d := range []NoncentralT{{0, 1}, {-1, 1}, {nan, 1}, {5, nan}, {5, inf}, {5, -inf}} {
		for name, got := range map[string]float64{"CDF": d.CDF(1), "Survival": d.Survival(1), "Prob": d.Prob(1), "Quantile": d.Quantile(0.5)} {
			if !math.IsNaN(got) {
				t.Errorf("%+v: %s %v", d, name, got)
			}
		}
	}
	d := NoncentralT{5, 1}
	for _, p := range []float64{-0.1, 1.1, nan} {
		if got := d.Quantile(p); !math.IsNaN(got) {
			t.Errorf("Quantile(%v) = %v", p, got)
		}
	}
	for name, tt := range map[string][2]float64{
		"Quantile(0)": {d.Quantile(0), -inf}, "Quantile(1)": {d.Quantile(1), inf},
		"CDF(-Inf)": {d.CDF(-inf), 0}, "CDF(Inf)": {d.CDF(inf), 1}, "Survival(Inf)": {d.Survival(inf), 0}, "Survival(-Inf)": {d.Survival(-inf), 1},
	} {
		if tt[0] != tt[1] {
			t.Errorf("%s = %v, want %v", name, tt[0], tt[1])
		}
	}
	if got := d.CDF(nan); !math.IsNaN(got) {
		t.Errorf("CDF(NaN) = %v", got)
	}
	// A quantile beyond the largest float64 is infinite, not a wrong number.
	if got := (NoncentralT{Nu: 0.3}).Quantile(1e-100); !math.IsInf(got, -1) {
		t.Errorf("quantile beyond the range: %v", got)
	}
}

func BenchmarkNoncentralTQuantile(b *testing.B) {
	for _, bb := range []struct {
		name string
		d    NoncentralT
	}{
		{"n10", NoncentralT{Nu: 9, Delta: 5.2}}, {"n2", NoncentralT{Nu: 1, Delta: 2.3}}, {"n500", NoncentralT{Nu: 499, Delta: 52}},
	} {
		b.Run(bb.name, func(b *testing.B) {
			for b.Loop() {
				bb.d.Quantile(0.95)
			}
		})
	}
}
