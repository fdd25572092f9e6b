package report

import (
	"math"
	"strconv"
	"strings"
)

const undefined = "–"

// decibels rounds x to digits decimals for a person, without a negative zero.
func decibels(x float64, digits int) string {
	s := strconv.FormatFloat(x, 'f', digits, 64)
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}

func optional(n Number, digits int) string {
	if n == nil {
		return undefined
	}
	return decibels(*n, digits)
}

// plainly shows a figure as it was given, such as a target; one that was worked
// out, such as the mean of a curve, to thousandths.
func plainly(x float64) string {
	return strconv.FormatFloat(math.Round(x*1000)/1000, 'f', -1, 64)
}

// signed shows a margin with its sign, in as many digits as it takes to tell it
// from zero: a bound 0.04 dB below the target must not look as if it reached it.
func signed(x float64, digits int) string {
	s := decibels(x, telling(x, digits))
	if x > 0 {
		return "+" + s
	}
	return s
}

// telling returns digits, or as many more as show that x is not zero, up to six.
func telling(x float64, digits int) int {
	for x != 0 && digits < 6 && math.Abs(x) < 0.5*math.Pow10(-digits) {
		digits++
	}
	return digits
}

// megahertz shows a frequency in MHz with the digits it needs, to the Hz.
func megahertz(hz float64) string {
	s := strconv.FormatFloat(hz/1e6, 'f', 6, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// percent shows a share as in "95 %".
func percent(share float64) string {
	return strconv.FormatFloat(math.Round(share*1e8)/1e6, 'f', -1, 64) + " %"
}

// counted is a number with its noun: 1 closing, 2 closings, 3 boxes. Of levels that
// the data cannot tell apart (box+fitting) the outermost is named: one more of it
// brings what lies within.
func counted(n int, noun string) string {
	s := strconv.Itoa(n) + " "
	noun, _, _ = strings.Cut(noun, "+")
	switch {
	case n == 1:
		return s + noun
	case strings.HasSuffix(noun, "x"):
		return s + noun + "es"
	}
	return s + noun + "s"
}
