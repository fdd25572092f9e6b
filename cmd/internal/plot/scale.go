package plot

import (
	"math"
	"strconv"
	"strings"
)

// A scale maps a quantity to a coordinate.
type scale struct {
	lo, hi float64 // of the quantity, as log10 where log is set
	a, b   float64 // where they lie
	log    bool
}

func (s scale) at(v float64) float64 {
	if s.log {
		v = math.Log10(v)
	}
	return s.a + (v-s.lo)/(s.hi-s.lo)*(s.b-s.a)
}

// linear is a scale over [lo, hi]; an empty span is widened.
func linear(lo, hi, a, b float64) scale {
	if !(hi > lo) {
		lo, hi = lo-1, hi+1
	}
	return scale{lo: lo, hi: hi, a: a, b: b}
}

// logarithmic is a scale of positive quantities; a single one gets an octave on
// each side.
func logarithmic(lo, hi, a, b float64) scale {
	l, h := math.Log10(lo), math.Log10(hi)
	if pad := (h - l) * 0.03; pad > 0 {
		l, h = l-pad, h+pad
	} else {
		l, h = l-math.Log10(2), h+math.Log10(2)
	}
	return scale{lo: l, hi: h, a: a, b: b, log: true}
}

// A tick is a place on an axis with its label.
type tick struct {
	value float64
	label string
}

// round steps, each with the decimals that it needs.
func step(span float64, most int) (size float64, decimals int) {
	if !(span > 0) {
		return 1, 0
	}
	size = math.Pow(10, math.Floor(math.Log10(span/float64(most))))
	for _, k := range []float64{1, 2, 5, 10} {
		if span/(size*k) <= float64(most) {
			size *= k
			break
		}
	}
	if size < 1 {
		decimals = int(math.Ceil(-math.Log10(size) - 1e-9))
	}
	return size, decimals
}

// linearTicks are round values within [lo, hi], at most about the number given.
func linearTicks(lo, hi float64, most int) []tick {
	size, decimals := step(hi-lo, most)
	var out []tick
	for k := math.Ceil(lo/size - 1e-9); k*size <= hi+size*1e-9 && len(out) < 100; k++ {
		out = append(out, tick{k * size, decibels(k*size, decimals)})
	}
	return out
}

// rounded widens [lo, hi] to round values.
func rounded(lo, hi float64, most int) (float64, float64) {
	size, _ := step(hi-lo, most)
	return math.Floor(lo/size) * size, math.Ceil(hi/size) * size
}

// frequencyTicks are round frequencies in Hz, labelled in MHz, at most so many.
func (s scale) frequencyTicks(most int) []tick {
	lo, hi := math.Pow(10, s.lo), math.Pow(10, s.hi)
	var out []tick
	for _, digits := range [][]float64{{1, 2, 3, 4, 5, 6, 7, 8, 9}, {1, 2, 5}, {1, 3}, {1}} {
		out = nil
		for decade := math.Floor(s.lo); decade <= math.Ceil(s.hi); decade++ {
			for _, d := range digits {
				if v := d * math.Pow(10, decade); v >= lo && v <= hi {
					out = append(out, tick{v, megahertz(v)})
				}
			}
		}
		if len(out) <= most {
			break
		}
	}
	switch {
	case len(out) > most: // many decades: every so many of them
		every := (len(out) + most - 1) / most
		var few []tick
		for i := 0; i < len(out); i += every {
			few = append(few, out[i])
		}
		return few
	case len(out) < 2: // a narrow span
		out = linearTicks(lo, hi, most-3)
		for i := range out {
			out[i].label = megahertz(out[i].value)
		}
	}
	return out
}

// megahertz is a frequency in MHz in the digits it needs.
func megahertz(hz float64) string {
	return strconv.FormatFloat(math.Round(hz)/1e6, 'f', -1, 64)
}

// decibels is a level for a label: with a true minus sign, without a negative zero.
func decibels(x float64, digits int) string {
	s := strconv.FormatFloat(x, 'f', digits, 64)
	switch {
	case strings.Trim(s, "-0.") == "":
		return strings.TrimPrefix(s, "-")
	case s[0] == '-':
		return "−" + s[1:]
	}
	return s
}
