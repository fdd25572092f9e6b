package dist

import (
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestStudentizedRangeReference(t *testing.T) {
	refcase.Load(t, "b_ptukey").EachRow(t, func(r refcase.Row) {
		d := StudentizedRange{K: int(r.Float("k")), Nu: r.Float("df")}
		r.Check(t, "upper", d.Survival(r.Float("q")))
	})
	refcase.Load(t, "b_qtukey").EachRow(t, func(r refcase.Row) {
		d := StudentizedRange{K: int(r.Float("k")), Nu: r.Float("df")}
		r.Check(t, "q", d.Quantile(r.Float("p")))
	})
}

func TestDunnettReference(t *testing.T) {
	refcase.Load(t, "b_dunnett_equal_n").EachRow(t, func(r refcase.Row) {
		d := Dunnett{Nu: r.Float("df"), TwoSided: r.Float("sided") == 2}
		for range int(r.Float("m")) {
			d.Lambda = append(d.Lambda, math.Sqrt(0.5))
		}
		r.Check(t, "d", d.Quantile(r.Float("conf")))
	})
}

func BenchmarkStudentizedRangeSurvival(b *testing.B) {
	for b.Loop() {
		StudentizedRange{K: 6, Nu: 30}.Survival(4)
	}
}
func BenchmarkStudentizedRangeQuantile(b *testing.B) {
	for b.Loop() {
		StudentizedRange{K: 6, Nu: 30}.Quantile(0.95)
	}
}
func BenchmarkDunnettQuantile(b *testing.B) {
	for b.Loop() {
		Dunnett{Lambda: []float64{.7, .7, .7, .7}, Nu: 30, TwoSided: true}.Quantile(0.95)
	}
}
