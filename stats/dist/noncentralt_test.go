package dist

import (
	"testing"

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
