package plan

import (
	"errors"
	"math"
	"testing"

	"sealbound/stats/interval"
)

// Every layout within small limits evaluated one by one, the cheapest taken by
// the stated order: the search must find the same, wherever it may skip.
func TestCheapestAgainstAll(t *testing.T) {
	limits := must(Limits{Most: Layout{Boxes: 6, Sessions: 3, Closings: 5}}.filled())(t)
	points := map[chiKey][]float64{} // the same for all; saves time
	found, none := 0, 0
	for _, v := range []Variances{
		{Box: 1, Session: 0.5, Visit: 0.2, Closing: 2},
		{Fitting: 0.3, Session: 1, Closing: 4},
		{Box: 2, Closing: 1},
		{Visit: 1, Closing: 1},
		{Closing: 3},
	} {
		for _, aim := range []Aim{{3, 0.95, 0.8}, {2, 0.9, 0.4}, {0.6, 0.95, 0.9}} {
			r := newRule(v, aim)
			r.chi = points
			every := evaluated(t, r, limits.Most)
			for _, costs := range []Costs{{Closing: 1, Session: 20, Box: 5}, {Closing: 0.1, Session: 1, Box: 3, Fitting: 4}, {}, {Closing: 1}} {
				all, err := (&Search{rules: []*rule{r}, costs: costs}).Cheapest(limits)
				var got Outcome
				if len(all) == 1 {
					got = all[0]
				}
				want, ok := cheapestOf(every, aim, costs)
				if !ok {
					none++
					if largest := every[len(every)-1]; !errors.Is(err, ErrOutOfReach) || got.Layout != limits.Most || got.Power != largest.Power {
						t.Errorf("%+v %+v %+v: %+v, %v; none reaches it, the largest is %+v", v, costs, aim, got, err, largest)
					}
					continue
				}
				found++
				if err != nil || got != want {
					t.Errorf("%+v %+v %+v: %+v, %v, want %+v", v, costs, aim, got, err, want)
				}
			}
		}
	}
	if found < 20 || none < 5 {
		t.Errorf("%d found, %d out of reach", found, none)
	}
}

// evaluated lists every layout up to most, by sessions, boxes, closings, but those
// in which a level that varies is not repeated.
func evaluated(t *testing.T, r *rule, most Layout) []Outcome {
	t.Helper()
	var out []Outcome
	for s := 1; s <= most.Sessions; s++ {
		for b := 1; b <= most.Boxes; b++ {
			for n := 1; n <= most.Closings; n++ {
				if l := (Layout{Boxes: b, Sessions: s, Closings: n}); l.unrepeated(r.v) == "" {
					out = append(out, must(r.outcome(l))(t))
				}
			}
		}
	}
	return out
}

// cheapestOf returns the cheapest that reaches the power, the first of several.
func cheapestOf(every []Outcome, aim Aim, c Costs) (cheapest Outcome, ok bool) {
	for _, o := range every {
		l := o.Layout
		o.Cost = float64(l.Closings*l.Boxes*l.Sessions)*c.Closing + float64(l.Sessions)*c.Session + float64(l.Boxes)*(c.Box+c.Fitting)
		if o.Power >= aim.Power && (!ok || o.Cost < cheapest.Cost-1e-9) {
			cheapest, ok = o, true
		}
	}
	return cheapest, ok
}

// Without costs all layouts tie, and the one of fewest sessions, then boxes, then
// closings is taken.
func TestCheapestTies(t *testing.T) {
	aim := Aim{MarginDB: 2, Confidence: 0.95, Power: 0.8}
	o := must(Cheapest(Variances{Closing: 1}, aim, Costs{}, Limits{}))(t)
	if n := must(Closings(1, aim))(t); o.Layout != (Layout{1, 1, n.Closings}) || o.Power != n.Power {
		t.Errorf("%+v, want %+v", o, n)
	}
	v := Variances{Box: 1, Closing: 1}
	o = must(Cheapest(v, aim, Costs{}, Limits{}))(t)
	if fewer, err := Evaluate(Layout{o.Layout.Boxes - 1, 1, MostClosingsPerVisit}, v, aim); o.Layout.Sessions != 1 || err != nil || fewer.Power >= 0.8 {
		t.Errorf("%+v; with a box less %+v, %v", o, fewer, err)
	}
	// 0.1 + 0.2 is not 0.3: costs that are equal but for rounding tie.
	many := Limits{Most: Layout{6, 6, 6}}
	tenths := must(Cheapest(Variances{Session: 1, Closing: 1}, aim, Costs{Closing: 0.1, Session: 0.3}, many))(t)
	whole := must(Cheapest(Variances{Session: 1, Closing: 1}, aim, Costs{Closing: 1, Session: 3}, many))(t)
	if tenths.Layout != whole.Layout {
		t.Errorf("%+v, in other units %+v", tenths, whole)
	}
}

func TestCheapestLimits(t *testing.T) {
	aim := Aim{MarginDB: 2, Confidence: 0.95, Power: 0.8}
	v := Variances{Box: 1, Session: 0.4, Closing: 2}
	o := must(Cheapest(v, aim, Costs{Closing: 1, Session: 30, Box: 10}, Limits{Least: Layout{Boxes: 4, Sessions: 3, Closings: 2}, Most: Layout{Boxes: 9, Closings: 8}}))(t)
	if l := o.Layout; l.Boxes < 4 || l.Boxes > 9 || l.Sessions < 3 || l.Closings < 2 || l.Closings > 8 {
		t.Errorf("%+v", o)
	}
	// Three boxes at most, and they differ by more than the margin.
	o, err := Cheapest(Variances{Box: 9, Closing: 1}, Aim{1, 0.95, 0.8}, Costs{Closing: 1}, Limits{Most: Layout{Boxes: 3}})
	if !errors.Is(err, ErrOutOfReach) || o.Layout.Boxes != 3 || !(o.Power > 0 && o.Power < 0.8) {
		t.Errorf("%+v, %v", o, err)
	}
	if _, err := Cheapest(v, aim, Costs{}, Limits{Most: Layout{Boxes: 1}}); !errors.Is(err, ErrOutOfReach) {
		t.Errorf("one box: %v", err)
	}
	for _, bad := range []Limits{{Least: Layout{Boxes: -1}}, {Most: Layout{Sessions: 13}}, {Least: Layout{Closings: 5}, Most: Layout{Closings: 4}}} {
		if o, err := Cheapest(v, aim, Costs{}, bad); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("%+v: %+v, %v", bad, o, err)
		}
	}
	for _, bad := range []Costs{{Closing: -1}, {Box: math.NaN()}, {Session: math.Inf(1)}, {Fitting: 1e308, Box: 1e308}} {
		if o, err := Cheapest(v, aim, bad, Limits{}); err == nil {
			t.Errorf("%+v: %+v", bad, o)
		}
	}
}

// The dearest question, to which no layout is the answer, and a usual one.
func BenchmarkCheapest(b *testing.B) {
	for name, aim := range map[string]Aim{"none": {0.35, 0.95, 0.9}, "usual": {1.5, 0.95, 0.8}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				_, err := Cheapest(Variances{Box: 1, Session: 0.2, Visit: 0.2, Closing: 2}, aim, Costs{Closing: 1, Session: 40, Box: 10}, Limits{})
				if err != nil && !errors.Is(err, ErrOutOfReach) {
					b.Fatal(err)
				}
			}
		})
	}
}
