package censored

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/dist"
)

// A campaign is what the coverage tests make up: boxes with one strip each,
// sessions a year apart, each with its own offset, closings within them, points
// with levels of their own, which in several boxes differ a little by box. All
// spreads are normal. dB throughout.
type campaign struct {
	boxes, sessions, closings, points int // sessions of each box, closings of each session
	wear                              float64
	sdSession, sdClosing, sdReading   float64
	share                             float64 // of readings limited, on the whole
}

// made is one outcome.
type made struct {
	table  band.Table
	limits []float64
	levels []float64 // of the points
}

func (c campaign) run(rng *rand.Rand) made {
	m := made{levels: make([]float64, c.points)}
	mid, spread := 0.0, 0.0
	for p := range m.levels {
		m.levels[p] = 70 + 5*math.Sin(float64(2*p))
		mid += m.levels[p] / float64(c.points)
	}
	for _, l := range m.levels {
		spread += (l - mid) * (l - mid) / float64(c.points)
	}
	sdBox := 0.0
	if c.boxes > 1 {
		sdBox = 1.5
	}
	years := float64(c.sessions - 1)
	spread += 2*sdBox*sdBox + c.sdSession*c.sdSession + c.sdClosing*c.sdClosing + c.sdReading*c.sdReading + c.wear*c.wear*years*(years+2)/12
	limit := math.Inf(1)
	if c.share > 0 {
		limit = mid + c.wear*years/2 - math.Sqrt(spread)*dist.NormalQuantile(c.share)
	}
	m.table.Points = c.points
	m.table.Fitting = stats.Factor{Name: "fitting", Levels: c.boxes}
	closing := int32(0)
	for b := range c.boxes {
		own := make([]float64, c.points)
		atBox := sdBox * rng.NormFloat64()
		for p := range own {
			own[p] = sdBox * rng.NormFloat64()
		}
		for s := range c.sessions {
			offset := atBox + c.wear*float64(s) + c.sdSession*rng.NormFloat64()
			for range c.closings {
				level := offset + c.sdClosing*rng.NormFloat64()
				m.table.Fitting.Codes = append(m.table.Fitting.Codes, int32(b))
				for p, l := range m.levels {
					y := l + own[p] + level + c.sdReading*rng.NormFloat64()
					m.table.Closing = append(m.table.Closing, closing)
					m.table.Point = append(m.table.Point, int32(p))
					m.table.DB = append(m.table.DB, min(y, limit+4)) // may show a little more than the limit
					m.table.Limited = append(m.table.Limited, y > limit)
					m.limits = append(m.limits, limit)
				}
				closing++
			}
		}
	}
	return m
}

// truth is the mean of the levels at the points used.
func (m made) truth(used []int32) float64 {
	sum := 0.0
	for _, p := range used {
		sum += m.levels[p] / float64(len(used))
	}
	return sum
}

// A cluster is closings at a single frequency: boxes, sessions in each, closings
// in each of those. A slope is over the sessions, a year apart.
type cluster struct {
	boxes, sessions, closings   int
	wear                        float64
	sdBox, sdSession, sdClosing float64
	share                       float64
}

func (c cluster) run(rng *rand.Rand) Closings {
	var out Closings
	var box, session []int32
	years := 0.0
	if c.wear != 0 {
		years = float64(c.sessions - 1)
	}
	limit := math.Inf(1)
	if c.share > 0 {
		spread := c.sdBox*c.sdBox + c.sdSession*c.sdSession + c.sdClosing*c.sdClosing + c.wear*c.wear*years*(years+2)/12
		limit = 70 + c.wear*years/2 - math.Sqrt(spread)*dist.NormalQuantile(c.share)
	}
	for b := range c.boxes {
		atBox := 70 + c.sdBox*rng.NormFloat64()
		for s := range c.sessions {
			level := atBox + c.wear*float64(s) + c.sdSession*rng.NormFloat64()
			for range c.closings {
				y := level + c.sdClosing*rng.NormFloat64()
				out.DB, out.Limited = append(out.DB, min(y, limit)), append(out.Limited, y > limit)
				if c.wear != 0 {
					out.Years = append(out.Years, float64(s))
				}
				box, session = append(box, int32(b)), append(session, int32(s))
			}
		}
	}
	if c.sdBox > 0 {
		out.Levels = append(out.Levels, factor("box", box))
	}
	if c.sdSession > 0 {
		out.Levels = append(out.Levels, factor("session", session))
	}
	return out
}

// A tally counts what became of made-up campaigns.
type tally struct {
	n, none      int // campaigns, of these without an estimate
	bias         float64
	below, above int // lower bounds below the truth, upper bounds above it
}

func (t *tally) add(value, lower, upper, truth float64) {
	t.n++
	if math.IsNaN(value) || math.IsNaN(lower) || math.IsNaN(upper) {
		t.none++
		return
	}
	t.bias += value - truth
	if lower <= truth {
		t.below++
	}
	if upper >= truth {
		t.above++
	}
}

func (t *tally) estimates() float64 { return float64(t.n - t.none) }
func (t *tally) meanBias() float64  { return t.bias / t.estimates() }
func (t *tally) lower() float64     { return float64(t.below) / t.estimates() }
func (t *tally) upper() float64     { return float64(t.above) / t.estimates() }

// wrong is the share of all campaigns in which a lower bound above the truth, or
// an upper bound below it, was put out.
func (t *tally) wrong() (lower, upper float64) {
	n := float64(t.n)
	return (t.estimates() - float64(t.below)) / n, (t.estimates() - float64(t.above)) / n
}

// studentMean is the one-level model: mean and one-sided 0.95 bounds of closings.
func studentMean(values []float64) (mean, lower, upper float64) {
	n := float64(len(values))
	if n < 2 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	ss := 0.0
	for _, v := range values {
		mean += v / n
	}
	for _, v := range values {
		ss += (v - mean) * (v - mean)
	}
	half := dist.TQuantile(0.95, n-1) * math.Sqrt(ss/(n-1)/n)
	return mean, mean - half, mean + half
}

// studentSlope is the model of sessions and closings where every session has as
// many closings: a line through the session means, per year.
func studentSlope(values []float64, perSession int) (slope, lower, upper float64) {
	n := len(values) / perSession
	means := make([]float64, n)
	var my, mt, sxx, sxy, syy float64
	for i, v := range values {
		means[i/perSession] += v / float64(perSession)
	}
	for s, v := range means {
		my += v / float64(n)
		mt += float64(s) / float64(n)
	}
	for s, v := range means {
		d := float64(s) - mt
		sxx, sxy, syy = sxx+d*d, sxy+d*(v-my), syy+(v-my)*(v-my)
	}
	slope = sxy / sxx
	half := dist.TQuantile(0.95, float64(n-2)) * math.Sqrt(max(0, syy-slope*sxy)/float64(n-2)/sxx)
	return slope, slope - half, slope + half
}

// second is the second step: the mixed model of the values, which in balanced
// data is Student's t on closings, on session means, or on boxes.
func (c campaign) second(values []float64, closing []int32) (value, lower, upper float64) {
	each := make([][]float64, c.boxes)
	for k, v := range values {
		b := int(closing[k]) / (c.sessions * c.closings)
		each[b] = append(each[b], v)
	}
	one := studentMean
	if c.wear != 0 {
		one = func(v []float64) (slope, lower, upper float64) {
			if len(v) != c.sessions*c.closings {
				return math.NaN(), math.NaN(), math.NaN()
			}
			return studentSlope(v, c.closings)
		}
	}
	if c.boxes == 1 {
		return one(each[0])
	}
	var units []float64
	for _, v := range each {
		if len(v) > 1 {
			unit, _, _ := one(v)
			units = append(units, unit)
		}
	}
	return studentMean(units)
}

func (c campaign) target(mean float64) float64 {
	if c.wear != 0 {
		return c.wear
	}
	return mean
}

// twoStepTallies makes up campaigns and tells how TwoStep fares, and how the
// demonstrated figures do in the same second step.
func twoStepTallies(t *testing.T, c campaign, reps int) (model, substituted tally) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, uint64(1000*c.share)))
	nan := math.NaN()
	for range reps {
		m := c.run(rng)
		r, err := TwoStep(m.table, m.limits)
		if err != nil {
			t.Fatal(err)
		}
		b, err := band.Values(m.table)
		if err != nil {
			t.Fatal(err)
		}
		var values, plain []float64
		var of, plainOf []int32
		for _, v := range r.Values {
			values, of = append(values, v.DB), append(of, v.Closing)
		}
		for _, v := range b.Values {
			plain, plainOf = append(plain, v.DB), append(plainOf, v.Closing)
		}
		value, lower, upper := c.second(values, of)
		if c.wear != 0 && !r.SlopeHolds() {
			value = nan
		}
		model.add(value, lower, upper, c.target(m.truth(r.Used)))
		value, lower, upper = c.second(plain, plainOf)
		substituted.add(value, lower, upper, c.target(m.truth(b.Used)))
	}
	return model, substituted
}

func nestedTallies(t *testing.T, c cluster, reps int) (model, substituted tally) {
	t.Helper()
	rng := rand.New(rand.NewPCG(2, uint64(1000*c.share)))
	for range reps {
		made := c.run(rng)
		plain := made
		plain.Limited = nil
		for _, k := range []struct {
			data Closings
			into *tally
		}{{made, &model}, {plain, &substituted}} {
			f := mustNested(t, k.data)
			bound, truth := func() stats.Estimate { return f.Mean(0.95, 0, 0) }, 70.0
			if c.wear != 0 {
				bound, truth = func() stats.Estimate { return f.Slope(0.95, 0) }, c.wear
			}
			e := bound()
			k.into.add(e.Value, e.Lower, e.Upper, truth)
		}
	}
	return model, substituted
}

var shares = []float64{0, 0.2, 0.5, 0.8}

// claim fails the test if bounds were wrong more often than claimed, which is at
// most 0.07 of all campaigns at a confidence of 0.95, by more than a run of this
// length can differ by chance (2.5 standard errors); the runs are seeded. It is
// the short form of what testdata/coverage.md has at length. The truth is known
// because the data are made up; there is no other source.
func claim(t *testing.T, what any, m tally, slope bool) {
	t.Helper()
	lower, upper := m.wrong()
	most := 0.07 + 2.5*math.Sqrt(0.07*0.93/float64(m.n))
	if lower > most || slope && upper > most {
		t.Errorf("%+v: wrong lower bounds %.3f, upper %.3f of %d campaigns", what, lower, upper, m.n)
	}
}

func TestTwoStepCoverage(t *testing.T) {
	for _, share := range shares {
		for _, c := range []campaign{
			{1, 1, 8, 20, 0, 0, 2, 3, share},
			{1, 5, 3, 20, -1.06, 0.8, 1, 3, share},
		} {
			model, plain := twoStepTallies(t, c, 100)
			claim(t, c, model, c.wear != 0)
			if c.wear != 0 && share >= 0.8 && plain.lower() > 0.75 {
				t.Errorf("%+v: substitution was expected to fail for a slope, it covers %.3f", c, plain.lower())
			}
		}
	}
}

func TestNestedCoverage(t *testing.T) {
	for _, share := range shares {
		for k, c := range []cluster{
			{1, 1, 12, 0, 0, 0, 2, share},
			{5, 1, 4, 0, 2, 0, 2, share},
			{1, 8, 3, -1.06, 0, 0.8, 1, share},
		} {
			model, plain := nestedTallies(t, c, []int{300, 60, 60}[k])
			claim(t, c, model, c.wear != 0)
			if c.wear != 0 && share >= 0.5 && plain.lower() > 0.6 {
				t.Errorf("%+v: substitution was expected to fail for a slope, it covers %.3f", c, plain.lower())
			}
		}
	}
}

// TestCoverageAtLength prints the tables of testdata/coverage.md. It takes the
// number of campaigns per row from SEALBOUND_COVERAGE; 2000 take the better part of
// an hour.
func TestCoverageAtLength(t *testing.T) {
	reps, err := strconv.Atoi(os.Getenv("SEALBOUND_COVERAGE"))
	if err != nil || reps < 1 {
		t.Skip("long; set SEALBOUND_COVERAGE to a number of campaigns per row")
	}
	row := func(what string, share float64, m, s tally) {
		lower, upper := m.wrong()
		t.Logf("| %s | %.0f %% | %.1f %% | %+.2f | %.3f | %.3f | %.3f | %.3f | %+.2f | %.3f | %.3f |", what, 100*share,
			100*float64(m.none)/float64(m.n), m.meanBias(), m.lower(), m.upper(), lower, upper, s.meanBias(), s.lower(), s.upper())
	}
	for _, d := range []campaign{
		{1, 1, 4, 20, 0, 0, 2, 3, 0}, {1, 1, 8, 20, 0, 0, 2, 3, 0}, {1, 1, 8, 8, 0, 0, 2, 3, 0},
		{1, 4, 3, 20, -1.06, 0.8, 1, 3, 0}, {1, 6, 3, 20, -1.06, 0.8, 1, 3, 0}, {1, 6, 3, 8, -1.06, 0.8, 1, 3, 0}, {1, 5, 2, 50, -1.06, 0.8, 2, 3, 0}, {4, 1, 4, 20, 0, 0, 2, 3, 0}, {4, 4, 3, 20, -1.06, 0.8, 1, 3, 0},
	} {
		for _, share := range shares {
			d.share = share
			what := fmt.Sprintf("mean: boxes %d, closings %d, points %d", d.boxes, d.closings, d.points)
			if d.wear != 0 {
				what = fmt.Sprintf("slope: boxes %d, sessions %d, closings %d, points %d", d.boxes, d.sessions, d.closings, d.points)
			}
			m, s := twoStepTallies(t, d, reps)
			row(what, share, m, s)
		}
	}
	for _, d := range []cluster{
		{1, 1, 8, 0, 0, 0, 2, 0}, {1, 1, 15, 0, 0, 0, 2, 0}, {5, 1, 4, 0, 2, 0, 2, 0}, {4, 3, 3, 0, 1, 1, 1, 0},
		{1, 5, 3, -1.06, 0, 0.8, 1, 0}, {1, 8, 3, -1.06, 0, 0.8, 1, 0}, {1, 8, 3, -1.06, 0, 2, 1, 0}, {3, 4, 3, -1.06, 1, 0.8, 1, 0},
	} {
		for _, share := range shares {
			d.share = share
			what := "mean"
			if d.wear != 0 {
				what = "slope"
			}
			n := reps
			if d.sdBox > 0 && d.sdSession > 0 {
				n = max(1, reps/5)
			}
			m, s := nestedTallies(t, d, n)
			row(fmt.Sprintf("%s: boxes %d, sessions %d, closings %d; SD %g, %g, %g", what, d.boxes, d.sessions, d.closings, d.sdBox, d.sdSession, d.sdClosing), share, m, s)
		}
	}
}
