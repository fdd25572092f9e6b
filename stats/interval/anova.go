package interval

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
)

// OneWayTable is the analysis of variance of values in groups.
type OneWayTable struct {
	Groups              int // with at least one value
	DFBetween, DFWithin float64
	SSBetween, SSWithin float64   // sums of squares, dB^2
	MSBetween, MSWithin float64   // mean squares, dB^2; MSWithin is NaN without repeats
	F, P                float64   // NaN where MSWithin is not defined or 0
	R2                  float64   // share of the total sum of squares between groups; NaN if that is 0
	SDWithin            float64   // sqrt(MSWithin), dB
	Means               []float64 // by code; NaN for a group without values
	Counts              []int     // by code
}

// OneWay analyses y in the groups of f. It returns ErrTooFew for fewer than two
// groups with values, ErrDomain if f does not fit y, and ErrNotFinite if a
// value is NaN or infinite.
//
// The common mean is taken out first, and each sum of squares is taken about its
// own mean.
func OneWay(y []float64, f stats.Factor) (OneWayTable, error) {
	if err := finite("value", y...); err != nil {
		return OneWayTable{}, err
	}
	if err := fits(y, f); err != nil {
		return OneWayTable{}, err
	}
	if len(y) == 0 {
		return OneWayTable{}, tooFew(0, 2)
	}
	grand, _, err := MeanSD(y)
	if err != nil {
		return OneWayTable{}, err
	}
	t := OneWayTable{Means: make([]float64, f.Levels), Counts: make([]int, f.Levels)}
	sums := make([]compensated, f.Levels)
	for i, v := range y {
		sums[f.Codes[i]].add(v - grand)
		t.Counts[f.Codes[i]]++
	}
	var between, within compensated
	for g := range sums {
		if t.Counts[g] == 0 {
			t.Means[g] = math.NaN()
			continue
		}
		t.Groups++
		n := float64(t.Counts[g])
		t.Means[g] = sums[g].value() / n // about the grand mean, until the end
		between.add(n * t.Means[g] * t.Means[g])
	}
	if t.Groups < 2 {
		return OneWayTable{}, fmt.Errorf("interval: %w: %d groups, at least 2 needed", ErrTooFew, t.Groups)
	}
	for i, v := range y {
		d := (v - grand) - t.Means[f.Codes[i]]
		within.add(d * d)
	}
	for g := range t.Means {
		t.Means[g] += grand
	}
	t.SSBetween, t.SSWithin = between.value(), within.value()
	t.DFBetween, t.DFWithin = float64(t.Groups-1), float64(len(y)-t.Groups)
	t.MSBetween = t.SSBetween / t.DFBetween
	t.MSWithin, t.F, t.P, t.R2, t.SDWithin = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if total := t.SSBetween + t.SSWithin; total > 0 {
		t.R2 = t.SSBetween / total
	}
	if t.DFWithin > 0 {
		t.MSWithin = t.SSWithin / t.DFWithin
		t.SDWithin = math.Sqrt(t.MSWithin)
		if t.MSWithin > 0 {
			t.F = t.MSBetween / t.MSWithin
			t.P = dist.FSurvival(t.F, t.DFBetween, t.DFWithin)
		}
	}
	return t, finite("sum of squares", t.SSBetween, t.SSWithin)
}

// fits checks that f groups the values of y.
func fits(y []float64, f stats.Factor) error {
	if len(f.Codes) != len(y) {
		return fmt.Errorf("interval: %w: %d values, %d codes of %s", ErrDomain, len(y), len(f.Codes), f.Name)
	}
	for _, c := range f.Codes {
		if c < 0 || int(c) >= f.Levels {
			return fmt.Errorf("interval: %w: code %d of %s, %d levels", ErrDomain, c, f.Name, f.Levels)
		}
	}
	return nil
}
