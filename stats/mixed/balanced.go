package mixed

import (
	"fmt"
	"math"

	"sealbound/stats"
)

// A Balanced is the model y = mean + group + e for groups of one size, laid out once
// for any number of sets of values: the points of a band, say. Its REML fit has a
// closed form. With a groups of n values and the mean squares MSB and MSW of NewOneWay,
//
//	error variance MSW, variance of groups (MSB - MSW)/n, variance of the mean MSB/(a n)
//	where MSB <= MSW the groups are dropped: one variance, that of all values
//
// and the mean squares are independent with a-1 and a(n-1) degrees of freedom, also by
// the observed information, so that Satterthwaite's degrees of freedom follow. Source:
// S. Searle, G. Casella, C. McCulloch, Variance Components, 1992, section 3.8, from
// memory; checked against Design.Fit.
type Balanced struct {
	codes          []int32
	groups, each   int
	name, residual string
	dropped        []string // the name, for fits without the level
	warnings       []stats.Warning
}

// NewBalanced lays out the model of one random intercept for n values; ok is false
// unless there are at least two groups, of the same size and at least two values each.
func NewBalanced(t Term, residual string, n int) (b *Balanced, ok bool) {
	if t.hasSlope() || checkFactor(t.Factor, n) != nil {
		return nil, false
	}
	g := newGrouping(t.Factor.Codes, t.Factor.Levels)
	b = &Balanced{codes: g.codes, groups: g.levels(), name: t.Factor.Name, residual: Design{Residual: residual}.residual()}
	if b.groups < 2 || n%b.groups != 0 || n/b.groups < 2 {
		return nil, false
	}
	b.each = n / b.groups
	count := make([]int, b.groups)
	for _, c := range g.codes {
		if count[c]++; count[c] > b.each {
			return nil, false
		}
	}
	b.dropped = []string{b.name}
	b.warnings = []stats.Warning{droppedWarning(b.name)}
	return b, true
}

// Where the values are this near to a boundary of the model the iterative fit decides.
const (
	nearZero     = 1e-5 // MSB/MSW - 1
	nearNoError  = 1e-6 // MSW over the variance of all values
	nearConstant = 1e-9 // SD over the largest value
)

// Fit fits the model to y. ok is false where the number of values is another one, where
// they are not finite, hardly vary at all or within groups, or where it is a close thing
// whether the groups differ at all: then Design.Fit decides.
func (b *Balanced) Fit(y []float64) (f BalancedFit, ok bool) {
	if len(y) != len(b.codes) {
		return BalancedFit{}, false
	}
	var room [32]float64
	means := room[:0]
	if b.groups > len(room) {
		means = make([]float64, 0, b.groups)
	}
	means = means[:b.groups]
	n, each := float64(len(y)), float64(b.each)
	var mean, largest float64
	first, at, sum := y[0], b.codes[0], 0.0
	for i, c := range b.codes { // about the first value: a common level costs no digits
		if c != at { // the values of a group mostly follow each other
			means[at] = sum
			at, sum = c, means[c]
		}
		sum += y[i] - first
		if size := math.Abs(y[i]); size > largest {
			largest = size
		}
	}
	means[at] = sum
	for c := range means {
		means[c] /= each
		mean += means[c] / float64(b.groups)
	}
	var between, within float64
	for _, m := range means {
		between += (m - mean) * (m - mean) * each
	}
	for i, c := range b.codes {
		e := y[i] - first - means[c]
		within += e * e
	}
	total := (between + within) / (n - 1)
	f = BalancedFit{b: b, Mean: first + mean, between: between / float64(b.groups-1), within: within / (n - float64(b.groups))}
	switch {
	case !(largest <= magnitudeLimit), !(math.Sqrt(total) > nearConstant*largest), !(f.within > nearNoError*total),
		math.Abs(f.between-f.within) <= nearZero*f.within:
		return BalancedFit{}, false
	case f.between < f.within:
		f.dropped, f.between, f.within = true, total, total
	}
	return f, true
}

// A BalancedFit is a fitted Balanced model.
type BalancedFit struct {
	Mean            float64
	b               *Balanced
	between, within float64 // mean squares; the variance of all values twice where dropped
	dropped         bool
}

// Components are the variances as in Fit.Components.
func (f BalancedFit) Components() []Component {
	group := Component{Name: f.b.name, Dropped: f.dropped, Variance: (f.between - f.within) / float64(f.b.each)}
	rest := Component{Name: f.b.residual, Variance: f.within}
	group.SD, rest.SD = math.Sqrt(group.Variance), math.Sqrt(rest.Variance)
	return []Component{group, rest}
}

// N is the number of values.
func (f BalancedFit) N() int { return len(f.b.codes) }

// Dropped lists the level if it was estimated as zero. Read-only.
func (f BalancedFit) Dropped() []string {
	if f.dropped {
		return f.b.dropped
	}
	return nil
}

// Warnings are as in Fit.Warnings. Read-only.
func (f BalancedFit) Warnings() []stats.Warning {
	if f.dropped {
		return f.b.warnings
	}
	return nil
}

// Contrast is the mean, as Fit.Contrast gives it.
func (f BalancedFit) Contrast() Contrast {
	n := float64(len(f.b.codes))
	c := Contrast{Value: f.Mean, SE: math.Sqrt(f.between / n), DF: float64(f.b.groups - 1)}
	if f.dropped {
		c.DF = n - 1
	}
	return c
}

// Total is the sum of the variances, with the variance of the mean added if withMean
// is set, and its degrees of freedom by Satterthwaite: what Fit.VarianceOf gives for
// weights of one.
func (f BalancedFit) Total(withMean bool) (variance, df float64) {
	n, a, each := float64(len(f.b.codes)), float64(f.b.groups), float64(f.b.each)
	ofMean := 0.0
	if withMean {
		ofMean = 1 / n
	}
	if f.dropped {
		return f.within * (1 + ofMean), n - 1
	}
	between, within := f.between*(1/each+ofMean), f.within*(1-1/each)
	variance = between + within
	return variance, variance * variance / (between*between/(a-1) + within*within/(n-a))
}

// droppedWarning says that a level was estimated as zero.
func droppedWarning(name string) stats.Warning {
	return stats.Warning{Code: "component-at-zero",
		Text: fmt.Sprintf("the spread between levels of %s is estimated as zero; the model was fitted without it", name)}
}
