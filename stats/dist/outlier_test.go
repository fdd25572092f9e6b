package dist

import (
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestGrubbsReference(t *testing.T) {
	refcase.Load(t, "b_grubbs_critical").EachRow(t, func(r refcase.Row) {
		d := Grubbs{N: int(r.Float("n")), TwoSided: r.Float("sided") == 2}
		r.Check(t, "G", d.Critical(r.Float("alpha")))
	})
}

func TestCochranReference(t *testing.T) {
	refcase.Load(t, "b_cochran_critical").EachRow(t, func(r refcase.Row) {
		d := Cochran{Groups: int(r.Float("groups")), Nu: r.Float("n") - 1}
		r.Check(t, "C", d.Critical(r.Float("alpha")))
	})
}

func TestMannKendallReference(t *testing.T) {
	refcase.Load(t, "b_mann_kendall_null").EachRow(t, func(r refcase.Row) {
		d := MannKendall{N: int(r.Float("n"))}
		s := int(r.Float("S"))
		r.Check(t, "count", d.Orders(s))
		r.Check(t, "p_upper", d.AtLeast(s))
	})
}
