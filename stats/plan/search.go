package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"sealbound/stats/interval"
)

// Costs are what a layout takes, in any one unit (money, hours); 0 or more.
type Costs struct {
	Closing float64 // each closing with its readings
	Session float64 // setting up once
	Box     float64 // each box
	Fitting float64 // each strip and its installation; a layout has one for each box
}

// Of returns the cost of a layout.
func (c Costs) Of(l Layout) float64 {
	return c.Closing*float64(l.Total()) + c.Session*float64(l.Sessions) + (c.Box+c.Fitting)*float64(l.Boxes)
}

// Limits bound a search, both ends included. The zero value of a Layout's field
// means 1 in Least, and MostBoxes, MostSessions, MostClosingsPerVisit in Most.
type Limits struct{ Least, Most Layout }

func (l Limits) filled() (Limits, error) {
	fill := func(n *int, value int) {
		if *n == 0 {
			*n = value
		}
	}
	fill(&l.Least.Boxes, 1)
	fill(&l.Least.Sessions, 1)
	fill(&l.Least.Closings, 1)
	fill(&l.Most.Boxes, MostBoxes)
	fill(&l.Most.Sessions, MostSessions)
	fill(&l.Most.Closings, MostClosingsPerVisit)
	if err := l.Least.check(); err != nil {
		return l, err
	}
	if err := l.Most.check(); err != nil {
		return l, err
	}
	if l.Least.Boxes > l.Most.Boxes || l.Least.Sessions > l.Most.Sessions || l.Least.Closings > l.Most.Closings {
		return l, fmt.Errorf("plan: %w: at least %+v and at most %+v", interval.ErrDomain, l.Least, l.Most)
	}
	return l, nil
}

// A Case is one of several products or bands that a layout has to serve: how its
// closings spread, and what is to be shown.
type Case struct {
	Variances
	Aim
}

// Cheapest returns the layout of least cost, within the limits, that reaches the
// power. Equal costs (to nine digits of the dearest layout's) go to fewer
// sessions, then fewer boxes, then fewer closings. Layouts in which a level that
// varies is not repeated are passed over (see Evaluate).
//
// Where none reaches it, the error is ErrOutOfReach and the outcome that of the
// largest layout, if it could be evaluated.
func Cheapest(v Variances, aim Aim, costs Costs, limits Limits) (Outcome, error) {
	o, err := CheapestForAll([]Case{{v, aim}}, costs, limits)
	if len(o) == 0 {
		return Outcome{}, err
	}
	return o[0], err
}

// CheapestForAll is Cheapest for several cases that one layout is to serve, each
// with the power of its own aim. It returns one outcome for each, of the same
// layout; none where the largest layout could not be evaluated for all.
func CheapestForAll(cases []Case, costs Costs, limits Limits) ([]Outcome, error) {
	s, err := NewSearch(cases, costs)
	if err != nil {
		return nil, err
	}
	return s.Cheapest(limits)
}

// A Search answers several questions about the same cases and costs, within other
// limits each, faster than one by one. It is not for concurrent use.
type Search struct {
	rules []*rule
	costs Costs
}

// NewSearch checks the cases and the costs.
func NewSearch(cases []Case, costs Costs) (*Search, error) {
	if len(cases) == 0 {
		return nil, fmt.Errorf("plan: %w: nothing to plan for", interval.ErrTooFew)
	}
	s := &Search{costs: costs}
	for _, c := range cases {
		if err := c.Aim.check(); err != nil {
			return nil, err
		}
		if err := c.Variances.check(); err != nil {
			return nil, err
		}
		r := newRule(c.Variances, c.Aim)
		if len(s.rules) > 0 {
			r.chi = s.rules[0].chi // the same for all
		}
		s.rules = append(s.rules, r)
	}
	if err := notNegative("cost", costs.Closing, costs.Session, costs.Box, costs.Fitting); err != nil {
		return nil, err
	}
	return s, nil
}

// Cheapest is CheapestForAll within the limits.
func (s *Search) Cheapest(limits Limits) ([]Outcome, error) {
	limits, err := limits.filled()
	if err != nil {
		return nil, err
	}
	if err := finite("cost", s.costs.Of(limits.Most)); err != nil {
		return nil, err
	}
	candidates := limits.layouts(s.rules, s.costs)
	if len(candidates) == 0 {
		return nil, fmt.Errorf("plan: %w: %s", ErrOutOfReach, unrepeated(limits.Most, s.rules))
	}
	hardest := 0 // the case that failed last is asked first
	for _, c := range candidates {
		failed, err := s.fails(c.layout, hardest)
		if err != nil {
			return nil, err
		}
		if failed < 0 {
			return s.outcomes(c.layout)
		}
		hardest = failed
	}
	o, err := s.outcomes(limits.Most)
	if err != nil {
		return nil, err
	}
	least := o[0]
	for _, x := range o {
		if x.Power < least.Power {
			least = x
		}
	}
	return o, fmt.Errorf("plan: %w: %d boxes, %d sessions and %d closings of each box in each session, the most within the limits, give power %.3g",
		ErrOutOfReach, least.Layout.Boxes, least.Layout.Sessions, least.Layout.Closings, least.Power)
}

// fails returns a case whose power the layout does not reach, -1 if there is none.
func (s *Search) fails(l Layout, first int) (int, error) {
	for i := range s.rules {
		if !s.rules[i].worthTrying(l) {
			return i, nil
		}
	}
	for i := range s.rules {
		k := (first + i) % len(s.rules)
		o, err := s.rules[k].outcome(l)
		if err != nil {
			return 0, err
		}
		if o.Power < s.rules[k].aim.Power {
			return k, nil
		}
	}
	return -1, nil
}

func (s *Search) outcomes(l Layout) ([]Outcome, error) {
	var out []Outcome
	for _, r := range s.rules {
		o, err := r.outcome(l)
		if err != nil {
			return nil, err
		}
		o.Cost = s.costs.Of(l)
		out = append(out, o)
	}
	return out, nil
}

// screen: an estimated variance hardly ever gives more power than a known one,
// once that is above one half; layouts that fall short of it by more than this
// are not evaluated.
const screen = 0.05

func (r *rule) worthTrying(l Layout) bool {
	known := knownPower(r.aim.MarginDB, math.Sqrt(l.strata(r.v).variance()), r.aim.Confidence)
	return known >= r.aim.Power-screen || r.aim.Power <= 0.5
}

// unrepeated says which level varies in one of the cases and is not repeated.
func unrepeated(l Layout, rules []*rule) string {
	for _, r := range rules {
		if reason := l.unrepeated(r.v); reason != "" {
			return reason
		}
	}
	return ""
}

type candidate struct {
	layout Layout
	cost   int64 // in units of 1e-9 of the dearest layout, so that equal sums tie
}

// layouts lists what may be evaluated, cheapest first.
func (l Limits) layouts(rules []*rule, costs Costs) []candidate {
	unit := costs.Of(l.Most) / 1e9
	var out []candidate
	for s := l.Least.Sessions; s <= l.Most.Sessions; s++ {
		for b := l.Least.Boxes; b <= l.Most.Boxes; b++ {
			for n := l.Least.Closings; n <= l.Most.Closings; n++ {
				c := candidate{layout: Layout{Boxes: b, Sessions: s, Closings: n}}
				if unrepeated(c.layout, rules) != "" {
					continue
				}
				if unit > 0 {
					c.cost = int64(math.Round(costs.Of(c.layout) / unit))
				}
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
	return out
}
