package compare

import (
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"sealbound/stats/judge"
	"sealbound/stats/simulate"
)

// campaigns is how many each figure rests on: few in the usual run, with seeds
// that are fixed, and 2,000 with SEALBOUND_LONG.
func campaigns() int {
	if os.Getenv("SEALBOUND_LONG") != "" {
		return 2000
	}
	return 8
}

var firstDay = time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)

// A trial is a way of testing products of equal means.
type trial struct {
	name     string
	sd       simulate.Spread
	products int
	boxes    [][]int // products of each box, by box
	strips   int     // of each product in each box that carries it; at least 1
	sessions [][]int // sessions of each product; nil: one session for all
	closings int
}

var usualSD = simulate.Spread{BoxDB: 1.2, FittingDB: 0.8, SessionDB: 0.6, VisitDB: 0.4, ClosingDB: 0.9}

// complete gives every box every product, nested each box one.
func complete(boxes, products int) [][]int {
	out := make([][]int, boxes)
	for b := range out {
		for p := range products {
			out[b] = append(out[b], p)
		}
	}
	return out
}

func nested(boxes ...int) [][]int {
	var out [][]int
	for p, n := range boxes {
		for range n {
			out = append(out, []int{p})
		}
	}
	return out
}

var trials = []trial{
	{name: "complete, 6 boxes, 3 products", sd: usualSD, products: 3, boxes: complete(6, 3), closings: 3},
	{name: "complete, 3 boxes, 4 products", sd: usualSD, products: 4, boxes: complete(3, 4), closings: 3},
	{name: "complete, 2 boxes, 3 products", sd: usualSD, products: 3, boxes: complete(2, 3), closings: 3},
	{name: "complete, 3 boxes, 2 products", sd: usualSD, products: 2, boxes: complete(3, 2), closings: 5},
	{name: "complete, boxes alike, strips alike", sd: simulate.Spread{ClosingDB: 1}, products: 3, boxes: complete(5, 3), closings: 3},
	{name: "complete, boxes very different", sd: simulate.Spread{BoxDB: 5, FittingDB: 0.2, ClosingDB: 1}, products: 3, boxes: complete(5, 3), closings: 3},
	{name: "complete, 2 strips each", sd: usualSD, products: 3, boxes: complete(4, 3), strips: 2, closings: 2},
	{name: "nested, 4 boxes each", sd: usualSD, products: 3, boxes: nested(4, 4, 4), closings: 3},
	{name: "nested, 2 boxes each", sd: usualSD, products: 4, boxes: nested(2, 2, 2, 2), closings: 3},
	{name: "nested, 2, 3 and 8 boxes", sd: usualSD, products: 3, boxes: nested(2, 3, 8), closings: 3},
	{name: "nested, boxes alike", sd: simulate.Spread{ClosingDB: 1}, products: 3, boxes: nested(3, 3, 3), closings: 4},
	{name: "incomplete, half shared", sd: usualSD, products: 2, boxes: [][]int{{0, 1}, {0, 1}, {0, 1}, {0}, {0}, {0}, {1}, {1}, {1}}, closings: 3},
	{name: "incomplete, half shared, boxes very different", sd: simulate.Spread{BoxDB: 5, FittingDB: 1, ClosingDB: 0.5}, products: 2, boxes: [][]int{{0, 1}, {0, 1}, {0, 1}, {0}, {0}, {0}, {1}, {1}, {1}}, closings: 3},
	{name: "incomplete, one shared box", sd: usualSD, products: 2, boxes: [][]int{{0, 1}, {0}, {0}, {0}, {1}, {1}}, closings: 3},
	{name: "incomplete, pairs (balanced blocks)", sd: usualSD, products: 3, boxes: [][]int{{0, 1}, {1, 2}, {0, 2}, {0, 1}, {1, 2}, {0, 2}}, closings: 3},
	{name: "incomplete, as in the demo", sd: usualSD, products: 4, boxes: [][]int{{0, 1}, {0, 1, 3}, {0, 2}, {0, 3}, {0, 2}}, closings: 4},
	{name: "a chain of boxes", sd: usualSD, products: 4, boxes: [][]int{{0}, {0, 1}, {1, 2}, {2, 3}, {3}}, closings: 3},
	{name: "complete, 3 sessions for all", sd: usualSD, products: 3, boxes: complete(5, 3), sessions: [][]int{{0, 1, 2}, {0, 1, 2}, {0, 1, 2}}, closings: 2},
	{name: "sessions of each product its own", sd: usualSD, products: 2, boxes: complete(5, 2), sessions: [][]int{{0, 1, 2}, {3, 4, 5}}, closings: 2},
	{name: "sessions of each product its own, very different", sd: simulate.Spread{BoxDB: 1, FittingDB: 0.5, SessionDB: 2, ClosingDB: 0.5}, products: 2, boxes: complete(5, 2), sessions: [][]int{{0, 1, 2}, {3, 4}}, closings: 2},
	{name: "sessions partly shared", sd: simulate.Spread{BoxDB: 1, FittingDB: 0.5, SessionDB: 1.5, ClosingDB: 0.5}, products: 3, boxes: complete(5, 3), sessions: [][]int{{0}, {0, 1}, {1, 2}}, closings: 3},
}

// campaign draws one campaign of a trial; all products have the same mean.
func (tt trial) campaign(t *testing.T, seed uint64, change func(*simulate.Settings)) *simulate.Campaign {
	t.Helper()
	s := simulate.Defaults()
	s.Seed, s.Floor, s.Closings, s.SD, s.SharedReference = seed, nil, tt.closings, tt.sd, true
	s.ProfileSDDB, s.Bad = 0, simulate.Bad{}
	if tt.sessions == nil { // judged in this set-up
		s.SD.SessionDB, s.SD.OpenDB, s.SD.ReadingDB = 0, 0, 0
	}
	s.Points = []simulate.Point{{FreqHz: 4e8}}
	for p := range tt.products {
		s.Products = append(s.Products, simulate.Product{Label: fmt.Sprintf("marlcord %d", p+1), MeanDB: 60})
	}
	last := 0
	for _, list := range tt.sessions {
		for _, k := range list {
			last = max(last, k)
		}
	}
	day := func(k int) time.Time { return firstDay.AddDate(0, 0, k) }
	for k := range last + 1 {
		s.Sessions = append(s.Sessions, simulate.Session{Date: day(k)})
	}
	for b, products := range tt.boxes {
		box := simulate.Box{Label: fmt.Sprintf("box-%d", b+1)}
		for _, p := range products {
			sessions := []int{0}
			if tt.sessions != nil {
				sessions = tt.sessions[p]
			}
			for range max(1, tt.strips) {
				box.Fittings = append(box.Fittings, simulate.Fitting{Product: s.Products[p].Label,
					Installed: day(sessions[0]), Removed: day(sessions[len(sessions)-1])})
			}
		}
		s.Boxes = append(s.Boxes, box)
	}
	if change != nil {
		change(&s)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatalf("%s: %v", tt.name, err)
	}
	return c
}

// bandData makes Data of band values: one point that every closing has.
func bandData(c simulate.Closings) Data {
	d := dataOf(c.Values, func(int) place { return place{} })
	f := c.Factors
	d.Product, d.Box, d.Fitting, d.Session = c.Gasket, f[simulate.BoxFactor], f[simulate.FittingFactor], f[simulate.SessionFactor]
	d.Run, d.Reference = c.Run, c.Run
	d.Opens = make([]judge.Open, c.Run.Levels)
	return d
}

// shows reports whether a family shows any of its pairs to differ, as settle would,
// with less work: between a critical value that is certainly too small and one that
// is certainly too large nothing needs to be integrated.
func (f *family) shows(pairs []pair, bounds map[criticalKey]float64) bool {
	at := func(df float64, lambda float64) float64 {
		k := criticalKey{f.name, max(f.k, f.pairs), df, lambda}
		if _, ok := bounds[k]; !ok {
			g := family{name: f.name, alpha: f.alpha, pairs: f.pairs, k: f.k}
			for range f.pairs {
				g.lambda = append(g.lambda, lambda)
			}
			bounds[k] = g.critical(df)
		}
		return bounds[k]
	}
	for _, x := range pairs {
		t := math.Abs(x.base.value / x.base.se)
		low, high := math.Ceil(x.base.df), math.Floor(x.base.df)
		// Dunnett's value falls as the differences depend more on each other.
		if t <= at(low, 0.99) {
			continue
		}
		if t > at(high, 0) || t > f.critical(x.base.df) {
			return true
		}
	}
	return false
}

// criticalKey is what a critical value depends on.
type criticalKey struct {
	name       Family
	n          int
	df, lambda float64
}

// The shortcut decides as the result does.
func TestShows(t *testing.T) {
	bounds := map[criticalKey]float64{}
	agreed := 0
	for i, tt := range trials {
		for rep := range 2 {
			c := tt.campaign(t, uint64(31*i+rep+1), func(s *simulate.Settings) { s.Products[0].MeanDB += 2 * float64(rep) })
			d := bandData(c.Closings(simulate.Selection{}))
			for _, against := range []int32{-1, 0} {
				s := usual
				s.Against = against
				any := false
				for _, x := range mustCompare(t, d, s).Differences {
					any = any || x.P <= 0.05
				}
				all, one, _ := falseOnes(t, d, bounds)
				if got := map[int32]bool{-1: all, 0: one}[against]; got != any {
					t.Errorf("%s, against %d: %v, want %v", tt.name, against, got, any)
				}
				agreed++
			}
		}
	}
	t.Logf("%d decisions", agreed)
}

// falseOnes reports whether any difference is shown, of all pairs and against the
// first product.
func falseOnes(t *testing.T, d Data, bounds map[criticalKey]float64) (all, against bool, products []Product) {
	t.Helper()
	c, err := begin(d, usual)
	if err != nil || c.r.Reason != "" || !c.within.fitted() {
		t.Fatalf("no comparison: %v, %s, %s", err, c.r.Reason, c.within.reason)
	}
	var pairs, some []pair
	at := c.indexOf(0)
	for i := range c.r.Products {
		for j := i + 1; j < len(c.r.Products); j++ {
			pairs = append(pairs, c.pair(&c.r.Products[i], &c.r.Products[j]))
		}
		if i != at {
			some = append(some, c.pair(&c.r.Products[i], &c.r.Products[at]))
		}
	}
	return c.family(pairs, -1).shows(pairs, bounds), c.family(some, at).shows(some, bounds), c.r.Products
}

// The chance of any false difference among products of equal means is at most
// 5.5 % at nominal 5 %, and the lower bounds of the means hold, in every design.
// The usual run has few campaigns of each design and looks at all together.
func TestCoverageFamilyWise(t *testing.T) {
	reps := campaigns()
	long := reps >= 2000
	var sums struct{ wrong, dunnett, lower, means int }
	bounds := map[criticalKey]float64{}
	for i, tt := range trials {
		var wrong, dunnett, lower, means int
		for rep := range reps {
			c := tt.campaign(t, uint64(100000*(i+1)+rep), nil)
			d := bandData(c.Closings(simulate.Selection{}))
			all, against, products := falseOnes(t, d, bounds)
			wrong, dunnett = wrong+one(all), dunnett+one(against)
			for _, p := range products {
				lower, means = lower+one(p.Lower <= 60), means+1
			}
		}
		all, against, mean := share(wrong, reps), share(dunnett, reps), share(lower, means)
		if long {
			t.Logf("| %s | %.3f | %.3f | %.3f |", tt.name, all, against, mean)
		}
		if long && (all > 0.055 || against > 0.055) {
			t.Errorf("%s: false differences in %.3f (all pairs) and %.3f (against one) of %d campaigns", tt.name, all, against, reps)
		}
		if long && mean < 0.93 {
			t.Errorf("%s: lower bound of a mean holds in %.3f", tt.name, mean)
		}
		sums.wrong, sums.dunnett, sums.lower, sums.means = sums.wrong+wrong, sums.dunnett+dunnett, sums.lower+lower, sums.means+means
	}
	n := reps * len(trials)
	all, against, mean := share(sums.wrong, n), share(sums.dunnett, n), share(sums.lower, sums.means)
	t.Logf("%d campaigns in all: any false difference of all pairs %.3f, against one %.3f; lower bound of a mean holds %.3f", n, all, against, mean)
	// Three standard errors of a share of 0.05, and of 0.93.
	if most := 0.05 + 3*math.Sqrt(0.05*0.95/float64(n)); all > most || against > most {
		t.Errorf("false differences in %.3f (all pairs) and %.3f (against one) of %d campaigns", all, against, n)
	}
	if mean < 0.93 {
		t.Errorf("lower bounds of means hold in %.3f", mean)
	}
}

// An interval excludes zero exactly where the adjusted p value is below 0.05, for
// Tukey and Dunnett.
func TestBoundsAndP(t *testing.T) {
	for i, tt := range trials[:12] {
		d := bandData(tt.campaign(t, uint64(i+1), func(s *simulate.Settings) { s.Products[0].MeanDB += 3 }).Closings(simulate.Selection{}))
		for _, against := range []int32{-1, 0} {
			s := usual
			s.Against = against
			for _, x := range mustCompare(t, d, s).Differences {
				if x.P <= 0.05 != (x.Lower > 0 || x.Upper < 0) {
					t.Errorf("%s: p %v, but bounds %v to %v", tt.name, x.P, x.Lower, x.Upper)
				}
			}
		}
	}
}

func share(n, of int) float64 { return float64(n) / float64(of) }
