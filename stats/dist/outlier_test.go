package dist

import (
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestGrubbsReference(t *testing.T) {
	refcase.Load(t, "b_grubbs_critical").EachRow(t, func(r refcase.Row) {
		d := Grubbs{N: int(r.Float("n")), TwoSided: r.Float("sided") == 2}
		g := d.Critical(r.Float("alpha"))
		r.Check(t, "G", g)
		if p := d.PValue(g); math.Abs(p-r.Float("alpha")) > 1e-9 {
			t.Errorf("%+v: p of the critical value at %v: %v", d, r.Float("alpha"), p)
		}
	})
}

// 5 % points as printed in tables (one-sided and two-sided), and the worked
// example of the NIST/SEMATECH e-Handbook 1.3.5.17.1.
func TestGrubbsTable(t *testing.T) {
	for _, tt := range []struct {
		n        int
		one, two float64
	}{{5, 1.6714, 1.7150}, {8, 2.0317, 2.1266}, {10, 2.1761, 2.2900}, {20, 2.5566, 2.7082}} {
		one, two := Grubbs{N: tt.n}.Critical(0.05), Grubbs{N: tt.n, TwoSided: true}.Critical(0.05)
		if math.Abs(one-tt.one) > 5.01e-5 || math.Abs(two-tt.two) > 5.01e-5 {
			t.Errorf("n %d: %v and %v, want %v and %v", tt.n, one, two, tt.one, tt.two)
		}
	}
	// U-235: G = 2.46876461, critical value 2.032 for the maximum at 5 %: an outlier.
	d := Grubbs{N: 8}
	if c := d.Critical(0.05); math.Abs(c-2.032) > 5.01e-4 {
		t.Errorf("critical value %v, want 2.032", c)
	}
	if p := d.PValue(2.46876461); !(p < 1e-6) {
		t.Errorf("p %v of an outlier", p)
	}
}

// Generalised ESD (Rosner): the critical values lambda of the NIST/SEMATECH
// e-Handbook 1.3.5.17.3, 54 values, are two-sided Grubbs values of the values
// that are left.
func TestGrubbsRosner(t *testing.T) {
	for i, want := range []float64{3.159, 3.151, 3.144, 3.136} {
		if got := (Grubbs{N: 54 - i, TwoSided: true}).Critical(0.05); math.Abs(got-want) > 5.01e-4 {
			t.Errorf("step %d: %v, want %v", i+1, got, want)
		}
	}
}

func TestCochranReference(t *testing.T) {
	refcase.Load(t, "b_cochran_critical").EachRow(t, func(r refcase.Row) {
		d := Cochran{Groups: int(r.Float("groups")), Nu: r.Float("n") - 1}
		c := d.Critical(r.Float("alpha"))
		r.Check(t, "C", c)
		if p := d.PValue(c); math.Abs(p-r.Float("alpha")) > 1e-9 {
			t.Errorf("%+v: p of the critical value at %v: %v", d, r.Float("alpha"), p)
		}
	})
}

// Printed tables of ISO 5725-2 as quoted in the secondary literature: 5 % and 1 %.
func TestCochranTable(t *testing.T) {
	for _, tt := range []struct {
		groups, n         int
		alpha, want, half float64
	}{
		{5, 3, 0.05, 0.684, 5e-4}, {8, 3, 0.05, 0.516, 5e-4}, {10, 5, 0.05, 0.331, 5e-4}, {20, 2, 0.05, 0.389, 5e-4},
		{8, 3, 0.01, 0.6152, 5e-5},
	} {
		if c := (Cochran{tt.groups, float64(tt.n - 1)}).Critical(tt.alpha); math.Abs(c-tt.want) > 1.01*tt.half {
			t.Errorf("%d groups of %d at %v: %v, want %v", tt.groups, tt.n, tt.alpha, c, tt.want)
		}
	}
	// Two groups: C > 1/2 belongs to the ratio F, in either direction: exact.
	f := FQuantile(0.975, 4, 4)
	if c := (Cochran{2, 4}).Critical(0.05); math.Abs(c-f/(1+f)) > 1e-12 {
		t.Errorf("two groups: %v, want %v", c, f/(1+f))
	}
}

func TestOutlierDomain(t *testing.T) {
	nan := math.NaN()
	for name, got := range map[string]float64{
		"n 2": Grubbs{N: 2}.Critical(0.05), "n -1": Grubbs{N: -1}.PValue(1), "alpha": Grubbs{N: 5}.Critical(1.5), "NaN": Grubbs{N: 5}.Critical(nan), "g NaN": Grubbs{N: 5}.PValue(nan),
		"one group": Cochran{1, 3}.Critical(0.05), "nu 0": Cochran{3, 0}.Critical(0.05), "nu Inf": Cochran{3, math.Inf(1)}.PValue(0.5), "c NaN": Cochran{3, 2}.PValue(nan), "alpha 2": Cochran{3, 2}.Critical(2),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v", name, got)
		}
	}
	for name, tt := range map[string][2]float64{
		"largest possible G":    {Grubbs{N: 9}.Critical(0), 8.0 / 3},
		"beyond the largest":    {Grubbs{N: 9}.PValue(3), 0},
		"the extreme is no one": {Grubbs{N: 9}.PValue(0), 1},
		"all in one group":      {Cochran{3, 2}.PValue(1), 0},
		"all equal":             {Cochran{4, 2}.PValue(0.25), 1},
		"alpha 0":               {Cochran{4, 2}.Critical(0), 1},
	} {
		if math.Abs(tt[0]-tt[1]) > 1e-15 {
			t.Errorf("%s: %v, want %v", name, tt[0], tt[1])
		}
	}
}
