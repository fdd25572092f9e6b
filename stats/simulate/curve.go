package simulate

import (
	"fmt"
	"math"
	"sort"
)

// A Curve gives a quantity over frequency: straight lines between its knots
// over the logarithm of the frequency, level beyond the first and the last. An
// empty curve is 0 everywhere.
type Curve []Knot

// A Knot is one corner of a Curve.
type Knot struct {
	FreqHz float64 // above 0, rising from knot to knot
	Value  float64 // in the unit of what the curve describes
}

// Flat returns the curve that has one value everywhere.
func Flat(value float64) Curve { return Curve{{FreqHz: 1, Value: value}} }

// At returns the curve's value at a frequency above 0.
func (c Curve) At(freqHz float64) float64 {
	i := sort.Search(len(c), func(i int) bool { return c[i].FreqHz >= freqHz })
	switch {
	case len(c) == 0:
		return 0
	case i == 0:
		return c[0].Value
	case i == len(c):
		return c[i-1].Value
	}
	a, b := c[i-1], c[i]
	share := math.Log(freqHz/a.FreqHz) / math.Log(b.FreqHz/a.FreqHz)
	return a.Value + float64((b.Value-a.Value)*share)
}

func (c Curve) check(name string) error {
	for i, k := range c {
		if !finite(k.Value) || !finite(k.FreqHz) || k.FreqHz <= 0 {
			return fmt.Errorf("simulate: %s: knot %d is not a number at a frequency above 0", name, i+1)
		}
		if i > 0 && k.FreqHz <= c[i-1].FreqHz {
			return fmt.Errorf("simulate: %s: the frequencies of the knots do not rise at knot %d", name, i+1)
		}
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
