package judge

import (
	"math"
	"strings"
	"testing"

	"sealbound/stats/dist"
)

// The coverage bound of new boxes keeps its method where the open reference was
// repeated: repeats that all but agree leave it as it is, others widen it by the
// bound of the reference's error, t(0.95; 1) = 6.3138 (tables of Student's t) times u.
func TestCoverageOfBoxesWithReference(t *testing.T) {
	values := []float64{60, 61, 60.4, 63, 64, 63.1, 58, 59.2, 58.8, 61, 62.3, 61.9}
	boxes := func(i int) layout { b := int32(i / 3); return layout{b, b, 0} }
	of := func(opens Open) Result {
		d := dataOf(values, boxes)
		d.Opens = []Open{opens}
		return mustJudge(t, d, usual)
	}
	plain := of(nil)
	if !strings.HasPrefix(plain.CoverageMethod, "generalized") {
		t.Fatalf("method %q", plain.CoverageMethod)
	}
	near(t, "repeats that all but agree", of(Open{{-30}, {-30.0002}}).Coverage.LowerDB, plain.Coverage.LowerDB, 1e-5)
	far := of(Open{{-30}, {-30.6}})
	near(t, "t quantile", dist.TQuantile(0.95, 1), 6.3138, 1e-4)
	want := far.Mean.Value - math.Hypot(plain.Mean.Value-plain.Coverage.LowerDB, 6.3138*0.3)
	near(t, "repeats 0.6 dB apart", far.Coverage.LowerDB, want, 1e-3)
	if !(far.Coverage.UpperDB > plain.Coverage.UpperDB) {
		t.Errorf("upper bound %.3f, without the reference %.3f", far.Coverage.UpperDB, plain.Coverage.UpperDB)
	}
}
