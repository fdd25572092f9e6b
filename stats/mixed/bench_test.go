package mixed

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"sealbound/stats"
)

// campaign makes boxes x runs x closings values: every box is measured in each
// of the runs. With crossed the runs are sessions shared by all boxes, and
// each box in a session is a visit; otherwise they are the box's own.
func campaign(boxes, runs, closings int, crossed bool) Design {
	rng := rand.New(rand.NewPCG(11, 12))
	n := boxes * runs * closings
	box := stats.Factor{Name: "box", Codes: make([]int32, n), Levels: boxes}
	run := stats.Factor{Name: "visit", Codes: make([]int32, n), Levels: boxes * runs}
	session := stats.Factor{Name: "session", Codes: make([]int32, n), Levels: runs}
	sessions := make([]float64, runs)
	for r := range sessions {
		sessions[r] = rng.NormFloat64()
	}
	d := Design{Y: make([]float64, n)}
	i := 0
	for b := range boxes {
		eb := 3 * rng.NormFloat64()
		for r := range runs {
			er := 1.5 * rng.NormFloat64()
			if crossed {
				er += sessions[r]
			}
			for range closings {
				d.Y[i] = 62 + eb + er + 2*rng.NormFloat64()
				box.Codes[i], run.Codes[i], session.Codes[i] = int32(b), int32(b*runs+r), int32(r)
				i++
			}
		}
	}
	d.Terms = []Term{{Factor: box}}
	if runs > 1 {
		if crossed {
			d.Terms = append(d.Terms, Term{Factor: session})
		}
		d.Terms = append(d.Terms, Term{Factor: run})
	}
	return d
}

var benchmarked = []struct {
	boxes, runs, closings int
	crossed               bool
}{
	{10, 1, 10, false},
	{1000, 1, 10, false},
	{10000, 1, 10, false},
	{20, 5, 10, false},
	{200, 5, 10, false},
	{2000, 5, 10, false},
	{20, 5, 10, true},
	{2000, 5, 10, true},
	{100, 40, 10, true},
}

func benchName(boxes, runs, closings int, crossed bool) string {
	kind := "nested"
	if crossed {
		kind = "crossed"
	}
	return fmt.Sprintf("%dx%dx%d-%s", boxes, runs, closings, kind)
}

// BenchmarkFit is a whole REML fit from raw values, with degrees of freedom.
// testdata/lme4_bench.R fits the same designs.
func BenchmarkFit(b *testing.B) {
	for _, c := range benchmarked {
		d := campaign(c.boxes, c.runs, c.closings, c.crossed)
		b.Run(benchName(c.boxes, c.runs, c.closings, c.crossed), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				f, err := d.Fit(REML)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := f.Contrast([]float64{1}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkCriterion is one evaluation, without and with derivatives.
func BenchmarkCriterion(b *testing.B) {
	for _, c := range benchmarked {
		s, err := newSystem(campaign(c.boxes, c.runs, c.closings, c.crossed))
		if err != nil {
			b.Fatal(err)
		}
		gamma := make([]float64, len(s.params))
		for i := range gamma {
			gamma[i] = 0.5 + float64(i)
		}
		for _, deriv := range []bool{false, true} {
			w := newWorkspace(s, deriv)
			name := benchName(c.boxes, c.runs, c.closings, c.crossed)
			if deriv {
				name += "-derivatives"
			}
			b.Run(name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					w.eval(gamma)
				}
			})
		}
	}
}

// The inner loop allocates nothing.
func TestEvalAllocates(t *testing.T) {
	for _, crossed := range []bool{false, true} {
		s, err := newSystem(campaign(20, 5, 3, crossed))
		if err != nil {
			t.Fatal(err)
		}
		gamma := make([]float64, len(s.params))
		for i := range gamma {
			gamma[i] = 0.5
		}
		for _, deriv := range []bool{false, true} {
			w := newWorkspace(s, deriv)
			if got := testing.AllocsPerRun(10, func() { w.eval(gamma) }); got != 0 {
				t.Errorf("eval allocates %v times (crossed %v, derivatives %v)", got, crossed, deriv)
			}
		}
	}
}
