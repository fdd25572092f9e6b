package dist

import (
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestStudentizedRangeReference(t *testing.T) {
	refcase.Load(t, "b_ptukey").EachRow(t, func(r refcase.Row) {
		d := StudentizedRange{K: int(r.Float("k")), Nu: r.Float("df")}
		up := d.Survival(r.Float("q"))
		r.Check(t, "upper", up)
		// R's ptukey, of about four decimals by design, for df of at least 5.
		if r.Float("df") >= 5 && math.Abs(up-r.Float("upper_R")) > 2e-6 {
			t.Errorf("%+v at %v: %v, ptukey %v", d, r.Float("q"), up, r.Float("upper_R"))
		}
	})
	refcase.Load(t, "b_qtukey").EachRow(t, func(r refcase.Row) {
		d := StudentizedRange{K: int(r.Float("k")), Nu: r.Float("df")}
		r.Check(t, "q", d.Quantile(r.Float("p")))
	})
}

// The printed 5 % points, recomputed from the exact distribution in R 4.2.2.
func TestStudentizedRangeTable(t *testing.T) {
	inf := math.Inf(1)
	for _, tt := range []struct {
		k        int
		nu, want float64
	}{
		{3, 5, 4.602}, {3, 8, 4.041}, {3, 10, 3.877}, {3, 20, 3.578}, {3, 60, 3.399}, {3, inf, 3.314},
		{2, 10, 3.151}, {4, 10, 4.327}, {5, 10, 4.654}, {6, 10, 4.912},
	} {
		if q := (StudentizedRange{tt.k, tt.nu}).Quantile(0.95); math.Abs(q-tt.want) > 5.01e-4 {
			t.Errorf("k %d, nu %v: %v, want %v", tt.k, tt.nu, q, tt.want)
		}
	}
}

// Adjusted p-values of PlantGrowth (R 4.2.2, TukeyHSD): three groups of ten,
// 27 degrees of freedom.
func TestStudentizedRangePlantGrowth(t *testing.T) {
	c := refcase.Load(t, "e_plantgrowth")
	d := StudentizedRange{K: 3, Nu: 27}
	// Differences and the pooled standard deviation follow from the data.
	cols := c.Columns(t)
	y := cols.Float("y")
	codes, _ := cols.Codes("group")
	var sum [3]float64
	for i, v := range y {
		sum[codes[i]] += v / 10
	}
	ss := 0.0
	for i, v := range y {
		ss += (v - sum[codes[i]]) * (v - sum[codes[i]])
	}
	se := math.Sqrt(ss / 27 / 10) // of a mean; a range is the difference over it
	for _, tt := range []struct {
		a, b       int
		diff, want float64
	}{{1, 0, -0.371, 0.3909}, {2, 0, 0.494, 0.1980}, {2, 1, 0.865, 0.0120}} {
		diff := sum[tt.a] - sum[tt.b]
		if p := d.Survival(math.Abs(diff) / se); math.Abs(p-tt.want) > 5.01e-5 || math.Abs(diff-tt.diff) > 1e-9 {
			t.Errorf("difference %v: p %v, want %v", diff, p, tt.want)
		}
	}
	if half := d.Quantile(0.95) * se; math.Abs(0.865-half-0.1738) > 6e-5 || math.Abs(0.865+half-1.5562) > 6e-5 {
		t.Errorf("limits %v, %v; want 0.1738, 1.5562", 0.865-half, 0.865+half)
	}
}

func TestStudentizedRangeLaws(t *testing.T) {
	inf := math.Inf(1)
	for _, nu := range []float64{0.7, 2.5, 12, 300, inf} {
		// Two values: q = sqrt(2)*t.
		two := StudentizedRange{2, nu}
		for _, q := range []float64{0.01, 0.5, 3, 11, 60} {
			want := 2 * TSurvival(q/math.Sqrt2, nu)
			if got := two.Survival(q); want > 1e-30 && math.Abs(got-want) > 1e-11*want {
				t.Errorf("two values, nu %v, q %v: %v, want %v", nu, q, got, want)
			}
		}
		for _, k := range []int{2, 3, 20} {
			d := StudentizedRange{k, nu}
			last := 0.0
			for _, p := range []float64{1e-6, 0.5, 0.95, 1 - 1e-6} {
				q := d.Quantile(p)
				if !(q > last) {
					t.Errorf("%+v: quantile %v at %v, after %v", d, q, p, last)
				}
				last = q
				low, high := d.CDF(q), d.Survival(q)
				if math.Abs(low+high-1) > 1e-12 || math.Abs(math.Min(low, high)-math.Min(p, 1-p)) > 1e-9*math.Min(p, 1-p) {
					t.Errorf("%+v at p %v: tails %v and %v", d, p, low, high)
				}
				if more := (StudentizedRange{k + 1, nu}).Survival(q); more <= high {
					t.Errorf("%+v at %v: one more value does not raise the tail: %v, %v", d, q, more, high)
				}
			}
		}
	}
	// Normal limit.
	for _, q := range []float64{1, 3, 5} {
		a, b := StudentizedRange{4, 1e9}.Survival(q), StudentizedRange{4, inf}.Survival(q)
		if math.Abs(a-b) > 1e-7*b {
			t.Errorf("q %v: nu 1e9 %v, infinite %v", q, a, b)
		}
	}
}

func TestDunnettReference(t *testing.T) {
	refcase.Load(t, "b_dunnett_equal_n").EachRow(t, func(r refcase.Row) {
		d := equalDunnett(int(r.Float("m")), r.Float("df"), r.Float("sided") == 2)
		q := d.Quantile(r.Float("conf"))
		r.Check(t, "d", q)
		// mvtnorm's quasi-Monte-Carlo, off by up to 9e-3 at two degrees of freedom.
		if theirs := r.Cell("d_mvtnorm"); theirs.Defined && math.Abs(q-theirs.Float) > 1e-2 {
			t.Errorf("%+v: %v, mvtnorm %v", d, q, theirs.Float)
		}
	})
}

func equalDunnett(m int, nu float64, two bool) Dunnett {
	d := Dunnett{Nu: nu, TwoSided: two}
	for range m {
		d.Lambda = append(d.Lambda, math.Sqrt(0.5))
	}
	return d
}

// One-sided 5 % points as printed by Dunnett (1955), two-sided ones from R's mvtnorm,
// whose quasi-Monte-Carlo is good to about 1e-3.
func TestDunnettTable(t *testing.T) {
	for _, tt := range []struct {
		m        int
		nu       float64
		two      bool
		want, to float64
	}{
		{2, 10, false, 2.15, 5e-3}, {2, 20, false, 2.03, 5e-3}, {3, 10, false, 2.34, 5e-3}, {4, 10, false, 2.47, 5e-3},
		{2, 10, true, 2.568, 1e-3}, {3, 10, true, 2.758, 1e-3},
	} {
		if d := equalDunnett(tt.m, tt.nu, tt.two).Quantile(0.95); math.Abs(d-tt.want) > tt.to*1.01 {
			t.Errorf("%d treatments, nu %v, two-sided %v: %v, want %v", tt.m, tt.nu, tt.two, d, tt.want)
		}
	}
}

func TestDunnettLaws(t *testing.T) {
	inf := math.Inf(1)
	near := func(a, b, rel float64) bool { return math.Abs(a-b) <= rel*math.Abs(b) }
	for _, nu := range []float64{1, 12, inf} {
		for _, x := range []float64{-2, 0.3, 2, 7} {
			// One comparison is Student's t whatever the correlation.
			for _, l := range []float64{0, 0.7, -0.95} {
				if got, want := (Dunnett{[]float64{l}, nu, false}).Survival(x), TSurvival(x, nu); !near(got, want, 1e-11) {
					t.Errorf("one comparison, nu %v, lambda %v, t %v: %v, want %v", nu, l, x, got, want)
				}
				if got, want := (Dunnett{[]float64{l}, nu, true}).Survival(x), 2*TSurvival(x, nu); x > 0 && !near(got, want, 1e-11) {
					t.Errorf("one two-sided comparison, nu %v, lambda %v, t %v: %v, want %v", nu, l, x, got, want)
				}
			}
			// A second comparison that is nearly the first adds nothing.
			almost := Dunnett{[]float64{0.9999, 0.9999}, nu, false}
			if got, want := almost.Survival(x), TSurvival(x, nu); !near(got, want, 0.1) {
				t.Errorf("nearly equal comparisons, nu %v, t %v: %v, want about %v", nu, x, got, want)
			}
			// The order of comparisons and the sign of the common factor do not matter.
			a := Dunnett{[]float64{0.3, 0.5, 0.9}, nu, false}.CDF(x)
			b := Dunnett{[]float64{-0.9, -0.3, -0.5}, nu, false}.CDF(x)
			if !near(a, b, 1e-12) {
				t.Errorf("order and sign, nu %v, t %v: %v and %v", nu, x, a, b)
			}
		}
	}
	// Independent and known spread: a power of Phi.
	for _, x := range []float64{-1, 0.5, 3} {
		got, want := Dunnett{[]float64{0, 0, 0}, inf, false}.CDF(x), math.Pow(NormalCDF(x), 3)
		if !near(got, want, 1e-13) {
			t.Errorf("independent at %v: %v, want %v", x, got, want)
		}
	}
	// Two comparisons of correlation 1/2, known spread, at 0: the probability that both
	// are below is 1/4 + asin(1/2)/(2 pi) = 1/3 (Sheppard).
	if got := equalDunnett(2, inf, false).CDF(0); !near(got, 1.0/3, 1e-13) {
		t.Errorf("orthant: %v, want 1/3", got)
	}
	for _, d := range []Dunnett{
		equalDunnett(4, 12, false), equalDunnett(4, 12, true),
		{[]float64{0.2, 0.6, 0.9}, 3.3, true}, {[]float64{0.2, 0.6, 0.9}, 3.3, false}, {[]float64{-0.6, 0.6}, 40, true},
	} {
		last := math.Inf(-1)
		for _, p := range []float64{1e-4, 0.5, 0.95, 1 - 1e-6} {
			q := d.Quantile(p)
			low, high := d.CDF(q), d.Survival(q)
			if !(q > last) || math.Abs(low+high-1) > 1e-12 || math.Abs(math.Min(low, high)-math.Min(p, 1-p)) > 1e-9*math.Min(p, 1-p) {
				t.Errorf("%+v at p %v: %v, tails %v and %v", d, p, q, low, high)
			}
			last = q
		}
	}
}

func TestMultipleDomain(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, d := range []StudentizedRange{{1, 5}, {0, 5}, {3, 0}, {3, nan}, {3, -1}} {
		for name, got := range map[string]float64{"CDF": d.CDF(1), "Survival": d.Survival(1), "Quantile": d.Quantile(0.5)} {
			if !math.IsNaN(got) {
				t.Errorf("%+v: %s %v", d, name, got)
			}
		}
	}
	for _, d := range []Dunnett{{nil, 5, false}, {[]float64{1}, 5, false}, {[]float64{nan}, 5, true}, {[]float64{0.5}, 0, false}, {[]float64{0.5, -1}, 5, true}} {
		for name, got := range map[string]float64{"CDF": d.CDF(1), "Survival": d.Survival(1), "Quantile": d.Quantile(0.5)} {
			if !math.IsNaN(got) {
				t.Errorf("%+v: %s %v", d, name, got)
			}
		}
	}
	d, one, two := StudentizedRange{3, 5}, equalDunnett(2, 5, false), equalDunnett(2, 5, true)
	for name, tt := range map[string][2]float64{
		"range CDF(0)": {d.CDF(0), 0}, "range CDF(-1)": {d.CDF(-1), 0}, "range CDF(Inf)": {d.CDF(inf), 1}, "range Survival(-Inf)": {d.Survival(-inf), 1},
		"range Quantile(0)": {d.Quantile(0), 0}, "range Quantile(1)": {d.Quantile(1), inf},
		"one CDF(-Inf)": {one.CDF(-inf), 0}, "one Survival(Inf)": {one.Survival(inf), 0}, "one Quantile(0)": {one.Quantile(0), -inf},
		"two CDF(-1)": {two.CDF(-1), 0}, "two Survival(0)": {two.Survival(0), 1}, "two Quantile(0)": {two.Quantile(0), 0}, "two Quantile(1)": {two.Quantile(1), inf},
	} {
		if tt[0] != tt[1] {
			t.Errorf("%s = %v, want %v", name, tt[0], tt[1])
		}
	}
	for _, got := range []float64{d.CDF(nan), d.Quantile(nan), one.Survival(nan), two.Quantile(2), d.Quantile(-1)} {
		if !math.IsNaN(got) {
			t.Errorf("not a number in, %v out", got)
		}
	}
}

func BenchmarkStudentizedRangeQuantile(b *testing.B) {
	for b.Loop() {
		StudentizedRange{K: 6, Nu: 30}.Quantile(0.95)
	}
}

func BenchmarkDunnettQuantile(b *testing.B) {
	d := equalDunnett(4, 30, true)
	for b.Loop() {
		d.Quantile(0.95)
	}
}
