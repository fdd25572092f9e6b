package judge

import (
	"math"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/internal/refcase"
)

var usual = Settings{Confidence: 0.95, Coverage: 0.90, RaiseDB: 20, Seed: 1}

// layout says in which box, fitting and session each closing was.
type layout struct{ box, fitting, session int32 }

// dataOf makes Data of band values: one point, every reading clear of its floor.
func dataOf(values []float64, at func(i int) layout) Data {
	rows := make([][]float64, len(values))
	for i, v := range values {
		rows[i] = []float64{v}
	}
	return grid(rows, at)
}

// grid makes Data of closings by points; NaN leaves a reading out.
func grid(rows [][]float64, at func(i int) layout) Data {
	d := Data{Closings: len(rows), Points: len(rows[0])}
	var box, fitting, session []int32
	for i, row := range rows {
		l := at(i)
		box, fitting, session = append(box, l.box), append(fitting, l.fitting), append(session, l.session)
		for p, v := range row {
			if math.IsNaN(v) {
				continue
			}
			d.Closing, d.Point, d.DB = append(d.Closing, int32(i)), append(d.Point, int32(p)), append(d.DB, v)
			d.Limited, d.FloorKnown = append(d.Limited, false), append(d.FloorKnown, true)
			d.HeadroomDB = append(d.HeadroomDB, math.NaN())
		}
	}
	d.Box, d.Fitting, d.Session = factor("box", box), factor("fitting", fitting), factor("session", session)
	d.Run, d.Reference = d.Session, d.Session
	d.Opens, d.OwnReference = make([]Open, d.Session.Levels), make([]bool, d.Closings)
	for range d.Points {
		d.TargetDB = append(d.TargetDB, 50)
	}
	return d
}

func factor(name string, codes []int32) stats.Factor {
	f := stats.Factor{Name: name, Codes: codes}
	for _, c := range codes {
		f.Levels = max(f.Levels, int(c)+1)
	}
	return f
}

func oneStrip(int) layout { return layout{} }

func mustJudge(t *testing.T, d Data, s Settings) Result {
	t.Helper()
	r, err := Judge(d, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g within %g", what, got, want, tol)
	}
}

// One box, one strip, one session: the textbook bounds. Expected: R 4.2.2, case
// a_synthetic_db12 of testdata/reference (t.test; noncentral t by mpmath 1.3.0).
func TestOneLevel(t *testing.T) {
	c := refcase.Load(t, "a_synthetic_db12")
	values := c.Columns(t).Float("y")
	r := mustJudge(t, dataOf(values, oneStrip), usual)
	c.Check(t, "mean", r.Mean.Value)
	c.Check(t, "sd", r.Mean.SD)
	c.Check(t, "se_mean", r.Mean.SE)
	c.Check(t, "lower95_onesided", r.Mean.Lower)
	c.Check(t, "prediction_lower95_onesided_1new", r.Next.LowerDB)
	c.Check(t, "tolerance_lower_cov90_conf95", r.Coverage.LowerDB)
	c.Check(t, "ci90_upper", r.Mean.Upper) // two-sided 0.90 is 0.95 on each side
	if r.ValidFor != ThisSession || !r.ThisSetup {
		t.Errorf("valid for %q, this set-up %v", r.ValidFor, r.ThisSetup)
	}
	if len(r.Levels) != 1 || r.Levels[0] != "closing" {
		t.Errorf("levels %v, want the closing alone", r.Levels)
	}
	if r.Verdicts[OnMean] != Clears || r.Verdicts[OnCoverage] != Clears {
		t.Errorf("verdicts %v", r.Verdicts)
	}
}

// Six batches of five are six boxes of five closings. Expected: R 4.2.2, lme4
// 1.1.31, lmerTest 3.1.3, cases c_dyestuff and c_dyestuff2_boundary.
func TestDyestuffAsBoxes(t *testing.T) {
	for _, tt := range []struct{ id, mean, se, lower string }{
		{"c_dyestuff", "fixef.(Intercept)", "se.(Intercept)", "lower95_onesided_satt.(Intercept)"},
		// At the boundary the units are the six boxes: df 5, as Kenward-Roger has it.
		{"c_dyestuff2_boundary", "fixef.(Intercept)", "se.(Intercept)", "lower95_onesided_kr.(Intercept)"},
	} {
		c := refcase.Load(t, tt.id)
		values := c.Columns(t).Float("Yield")
		r := mustJudge(t, dataOf(values, func(i int) layout { b := int32(i / 5); return layout{b, b, 0} }), usual)
		c.Check(t, tt.mean, r.Mean.Value)
		c.Check(t, tt.se, r.Mean.SE)
		near(t, tt.id+" df", r.Mean.DF, 5, 1e-5)
		c.Check(t, tt.lower, r.Mean.Lower)
		if want := []string{"box+fitting+visit", "closing"}; strings.Join(r.Levels, " ") != strings.Join(want, " ") {
			t.Errorf("%s: levels %v, want %v", tt.id, r.Levels, want)
		}
		if r.ValidFor != NewBoxes {
			t.Errorf("%s: valid for %q", tt.id, r.ValidFor)
		}
	}
}

// Plates by samples, one reading each, are boxes by sessions: crossed. Expected:
// R 4.2.2, lme4 1.1.31, case c_penicillin_crossed.
func TestPenicillinAsCrossedSessions(t *testing.T) {
	c := refcase.Load(t, "c_penicillin_crossed")
	cols := c.Columns(t)
	values := cols.Float("diameter")
	plate, _ := cols.Codes("plate")
	sample, _ := cols.Codes("sample")
	r := mustJudge(t, dataOf(values, func(i int) layout { return layout{plate[i], plate[i], sample[i]} }), usual)
	c.Check(t, "fixef.(Intercept)", r.Mean.Value)
	c.Check(t, "se.(Intercept)", r.Mean.SE)
	c.Check(t, "df_satterthwaite.(Intercept)", r.Mean.DF)
	c.Check(t, "lower95_onesided_satt.(Intercept)", r.Mean.Lower)
	if got := strings.Join(r.Levels, " "); got != "box+fitting session visit+closing" {
		t.Errorf("levels %q", got)
	}
}

func TestOneClosing(t *testing.T) {
	d := dataOf([]float64{62.5}, oneStrip)
	d.HeadroomDB[0] = 70
	r := mustJudge(t, d, usual)
	near(t, "mean", r.Mean.Value, 62.5, 0)
	near(t, "headroom", r.HeadroomDB, 70, 0)
	for b, v := range r.Verdicts {
		if v != TooFew {
			t.Errorf("%s: %s from one closing", b, v)
		}
	}
	if r.Reason == "" || !math.IsNaN(r.Mean.Lower) || r.Weakest != nil {
		t.Errorf("reason %q, lower %v, weakest %v", r.Reason, r.Mean.Lower, r.Weakest)
	}
}

func TestEqualValues(t *testing.T) {
	same := []float64{61, 61, 61, 61, 61}
	r := mustJudge(t, dataOf(same, oneStrip), usual)
	if r.Mean.SD != 0 || r.Mean.Lower != 61 || r.Mean.Method != "sign" || r.Verdicts[OnMean] != Clears {
		t.Errorf("SD %v, lower %v, method %s, %v", r.Mean.SD, r.Mean.Lower, r.Mean.Method, r.Verdicts)
	}
	near(t, "attained", r.Mean.Attained, 1-1.0/32, 1e-15) // 1 - 0.5^5
	if !math.IsNaN(r.Next.LowerDB) || !math.IsNaN(r.Coverage.LowerDB) {
		t.Error("a spread of zero gave a next-closing or coverage bound")
	}
	r = mustJudge(t, dataOf(same[:4], oneStrip), usual)
	if r.Verdicts[OnMean] != TooFew || !strings.Contains(r.Reason, "0.938") {
		t.Errorf("four closings: %s, %q; want too few with the confidence of 0.9375", r.Verdicts[OnMean], r.Reason)
	}
}

func TestAllLimited(t *testing.T) {
	values := []float64{71, 72, 70.5, 73, 71.5}
	for _, tt := range []struct {
		n          int
		confidence float64
		want       Verdict
	}{{5, 0.95, Clears}, {4, 0.95, TooFew}, {4, 0.90, Clears}, {5, 0.99, TooFew}} {
		d := dataOf(values[:tt.n], oneStrip)
		for i := range d.Limited {
			d.Limited[i] = true
		}
		s := usual
		s.Confidence = tt.confidence
		r := mustJudge(t, d, s)
		if r.Verdicts[OnMean] != tt.want {
			t.Errorf("%d closings at %v: %s, want %s", tt.n, tt.confidence, r.Verdicts[OnMean], tt.want)
		}
		if tt.want == Clears && r.Mean.Lower != 70.5 {
			t.Errorf("lower %v, want the smallest", r.Mean.Lower)
		}
		if !math.IsNaN(r.Mean.Upper) {
			t.Error("limited readings gave an upper bound")
		}
	}
}

// Two boxes do not become five witnesses by five closings each.
func TestSignBoundCountsUnits(t *testing.T) {
	values := []float64{71, 71, 71, 71, 71, 71}
	r := mustJudge(t, dataOf(values, func(i int) layout { b := int32(i / 3); return layout{b, b, 0} }), usual)
	if r.Verdicts[OnMean] != TooFew {
		t.Errorf("%s from two boxes", r.Verdicts[OnMean])
	}
}

func TestShiftMovesEveryBound(t *testing.T) {
	c := refcase.Load(t, "c_pastes_nested")
	cols := c.Columns(t)
	values := cols.Float("strength")
	at := func(i int) layout { return layout{int32(i / 6), int32(i / 2), 0} }
	before := mustJudge(t, dataOf(values, at), usual)
	for i := range values {
		values[i] += 7
	}
	after := mustJudge(t, dataOf(values, at), usual)
	for name, pair := range map[string][2]float64{
		"mean": {before.Mean.Value, after.Mean.Value}, "lower": {before.Mean.Lower, after.Mean.Lower},
		"next": {before.Next.LowerDB, after.Next.LowerDB}, "coverage": {before.Coverage.LowerDB, after.Coverage.LowerDB},
		"weakest": {before.Weakest.LowerDB, after.Weakest.LowerDB}, "upper": {before.Mean.Upper, after.Mean.Upper},
	} {
		near(t, name, pair[1]-pair[0], 7, 1e-7)
	}
}

// The reference of a single session: s of two sweeps that differ by d is d/sqrt 2,
// their mean has u = d/2 with one degree of freedom; combined by Welch-Satterthwaite
// (JCGM 100:2008, G.4.1).
func TestSharedReference(t *testing.T) {
	values := []float64{60, 61, 62, 63, 64}
	d := dataOf(values, oneStrip)
	d.Opens = []Open{{{-30.0}, {-30.6}}}
	r := mustJudge(t, d, usual)
	if r.ThisSetup {
		t.Error("a repeated reference left the verdict to this set-up")
	}
	u1, u2 := math.Sqrt(2.5/5), 0.3
	u := math.Hypot(u1, u2)
	df := math.Pow(u, 4) / (math.Pow(u1, 4)/4 + math.Pow(u2, 4)/1)
	near(t, "u of the reference", r.ReferenceU.UDB, 0.3, 1e-12)
	near(t, "combined", r.Mean.SE, u, 1e-12)
	near(t, "df", r.Mean.DF, df, 1e-9)
	near(t, "lower", r.Mean.Lower, 62-dist.TQuantile(0.95, df)*u, 1e-9)

	s := usual
	s.Reference = []Source{{Name: "given", UDB: 0.5, DF: math.Inf(1)}}
	r = mustJudge(t, d, s)
	near(t, "a given session SD stands before the repeats", r.Mean.SE, math.Hypot(u1, 0.5), 1e-12)

	d.OwnReference = []bool{true, true, true, true, true}
	d.Opens = []Open{nil}
	r = mustJudge(t, d, usual)
	if r.ThisSetup || r.ReferenceU.UDB != 0 {
		t.Errorf("own references: this set-up %v, u %v", r.ThisSetup, r.ReferenceU.UDB)
	}
}

// The weakest point is the one with the smallest margin, not the lowest mean: a
// point with a larger spread can be weaker. Bounds by hand: mean - 2.9200 s/sqrt 3,
// t(0.95; 2) from any t table.
func TestWeakestIsNotTheLowestMean(t *testing.T) {
	d := grid([][]float64{{60, 65}, {60.1, 69}, {59.9, 61}}, oneStrip)
	r := mustJudge(t, d, usual)
	if r.Weakest == nil || r.Weakest.Point != 1 || r.LowestMean.Point != 0 {
		t.Fatalf("weakest %+v, lowest mean %+v", r.Weakest, r.LowestMean)
	}
	near(t, "weakest bound", r.Weakest.LowerDB, 65-2.91999*4/math.Sqrt(3), 1e-4)
	d = grid([][]float64{{60, 65}, {60.1, math.NaN()}, {59.9, math.NaN()}}, oneStrip)
	r = mustJudge(t, d, usual)
	if r.Weakest != nil || r.WeakestWithout != 1 {
		t.Errorf("a point with one reading: weakest %+v, without a bound %d", r.Weakest, r.WeakestWithout)
	}
}

// How many more closings: power.t.test of R 4.2.2, case b_sample_size; one level,
// effect 1 SD, 0.95 one-sided, power 0.8 needs 8.
func TestNeeded(t *testing.T) {
	values := []float64{50, 51, 52} // mean 51, s 1: one SD above 50
	r := mustJudge(t, dataOf(values, oneStrip), usual)
	if r.Needed == nil || r.Needed.Unit != "closing" || r.Needed.More != 5 {
		t.Errorf("needed %+v, want 5 more closings", r.Needed)
	}
	r = mustJudge(t, dataOf([]float64{49, 50, 51.1}, oneStrip), usual)
	if r.Needed != nil || r.NeededReason == "" {
		t.Errorf("within 0.1 dB of the target: needed %+v, %q", r.Needed, r.NeededReason)
	}
}

// The number is the first with power 0.8, found one by one.
func TestNeededIsTheFirst(t *testing.T) {
	for _, shift := range []float64{0.35, 0.5, 0.8, 1.1, 2} {
		values := []float64{50 + shift, 51 + shift, 49 + shift, 50 + shift} // s^2 2/3
		r := mustJudge(t, dataOf(values, oneStrip), usual)
		want := 0
		for more := 1; more <= 100 && want == 0; more++ {
			n := float64(4 + more)
			power := dist.NoncentralT{Nu: n - 1, Delta: shift / math.Sqrt(2.0/3/n)}.Survival(dist.TQuantile(0.95, n-1))
			if power >= 0.8 {
				want = more
			}
		}
		switch {
		case r.Verdicts[OnMean] != Undecided:
		case r.Needed == nil || r.Needed.More != want:
			t.Errorf("%g dB above the target: needed %+v, want %d", shift, r.Needed, want)
		}
	}
}

// Boxes whose closings read alike, as coarse rounding makes them, count once each:
// the t bound of their three figures, by hand with t(0.95; 2) = 2.91999.
func TestClosingsAlike(t *testing.T) {
	values := []float64{60, 60, 62, 62, 64, 64}
	r := mustJudge(t, dataOf(values, func(i int) layout { b := int32(i / 2); return layout{b, b, 0} }), usual)
	near(t, "mean", r.Mean.Value, 62, 1e-12)
	near(t, "lower", r.Mean.Lower, 62-2.91999*2/math.Sqrt(3), 1e-4)
	if !warned(r, "closings-alike") {
		t.Errorf("no warning: %v", r.Warnings)
	}
}

// With limited readings the demonstrated mean is low and the modelled one is not,
// and nothing limited is modelled from nothing.
func TestCensored(t *testing.T) {
	rows := [][]float64{{70, 72.3}, {71, 72.8}, {69, 71.4}, {70.5, 72.1}, {69.5, 71.2}}
	d := grid(rows, oneStrip)
	if r := mustJudge(t, d, usual); r.Censored != nil {
		t.Errorf("nothing limited, yet modelled: %+v", r.Censored)
	}
	full := mustJudge(t, d, usual).Mean.Value
	for i := range d.DB { // the second point shows at most 72
		if d.Point[i] == 1 && d.DB[i] > 72 {
			d.DB[i], d.Limited[i], d.HeadroomDB[i] = 72, true, 72
		}
	}
	r := mustJudge(t, d, usual)
	if r.Censored == nil || r.Censored.Method != twoStep {
		t.Fatalf("censored %+v", r.Censored)
	}
	if !(r.Mean.Value < full && r.Censored.MeanDB > r.Mean.Value) {
		t.Errorf("demonstrated %v, modelled %v, in full %v", r.Mean.Value, r.Censored.MeanDB, full)
	}
	// A closing limited throughout has no estimate.
	for i := range d.DB {
		if d.Closing[i] == 1 {
			d.Limited[i], d.HeadroomDB[i] = true, d.DB[i]
		}
	}
	if r = mustJudge(t, d, usual); r.Censored == nil || r.Censored.Method != noEstimate || !math.IsNaN(r.Censored.MeanDB) {
		t.Errorf("a closing limited throughout: %+v", r.Censored)
	}
}

// At one point nothing but one limited closing: the likelihood of a censored normal
// sample. Expected: R 4.2.2, survival 3.5.3, case d_syn_one (mean by maximum
// likelihood).
func TestCensoredAtOnePoint(t *testing.T) {
	c := refcase.Load(t, "d_syn_one")
	cols := c.Columns(t)
	values, observed := cols.Float("value"), cols.Float("observed")
	d := dataOf(values, oneStrip)
	for i := range values {
		d.Limited[i], d.HeadroomDB[i] = observed[i] == 0, values[i]
	}
	r := mustJudge(t, d, usual)
	if r.Censored == nil || r.Censored.Method != likelihood {
		t.Fatalf("censored %+v", r.Censored)
	}
	c.Check(t, "mu", r.Censored.MeanDB)
}

// Boxes that read the same in both sessions count once each: sessions, though crossed
// and named last, do not explain why closings agree.
func TestAlikeInEverySession(t *testing.T) {
	values := []float64{60, 60, 65, 65, 58, 58}
	r := mustJudge(t, dataOf(values, func(i int) layout { b := int32(i / 2); return layout{b, b, int32(i % 2)} }), usual)
	near(t, "mean", r.Mean.Value, 61, 1e-12)
	near(t, "s", r.Mean.SD, math.Sqrt(13), 1e-12) // of 60, 65, 58 by hand
}

func TestFlatTargetStaysItself(t *testing.T) {
	rows := make([][]float64, 3)
	for i := range rows {
		for range 11 {
			rows[i] = append(rows[i], 60+float64(i))
		}
	}
	d := grid(rows, oneStrip)
	for p := range d.TargetDB {
		d.TargetDB[p] = 50.1
	}
	if r := mustJudge(t, d, usual); r.TargetDB != 50.1 {
		t.Errorf("target %v", r.TargetDB)
	}
}
