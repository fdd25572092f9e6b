// Package cell reads single cells of a table: strict numbers and civil dates.
// What it refuses, it refuses with a reason and a mend in words.
package cell

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"unicode/utf8"
)

// A Fault says what is wrong with a cell and what would mend it.
type Fault struct{ What, Mend string }

// maxExact is the largest mantissa that a float64 holds exactly.
const maxExact = 1 << 53

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// Number reads b as a decimal number times 10^scale, correctly rounded: with
// scale 6, 433.92 MHz is exactly 433920000 Hz. Blanks around it are not
// expected. It accepts an optional sign, digits with a decimal point, and an
// exponent; NaN, infinities, hexadecimal, underscores, thousands separators,
// decimal commas and units are faults. A negative zero becomes zero.
func Number(b []byte, scale int) (float64, *Fault) {
	if v, ok := quick(b, scale); ok {
		return v, nil
	}
	mantissa, exponent, ok := parts(b)
	if !ok {
		return 0, explain(b)
	}
	text := string(mantissa) + "e" + strconv.Itoa(exponent+scale)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		if errors.Is(err, strconv.ErrRange) || err == nil {
			return 0, &Fault{"is larger than any number this program holds", "check the exponent"}
		}
		return 0, explain(b)
	}
	return v + 0, nil
}

// quick reads the usual case without leaving exact arithmetic: at most 19 digits
// whose value is below 2^53, and one multiplication or division by an exact
// power of ten, which rounds once.
func quick(b []byte, scale int) (float64, bool) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative, i = b[0] == '-', 1
	}
	if len(b)-i > 20 {
		return 0, false
	}
	var m uint64
	digits, fraction, point := 0, 0, false
	for ; i < len(b); i++ {
		c := b[i]
		if c >= '0' && c <= '9' {
			m = m*10 + uint64(c-'0')
			digits++
			if point {
				fraction++
			}
		} else if c == '.' && !point {
			point = true
		} else {
			return 0, false
		}
	}
	if digits == 0 || digits > 19 || m > maxExact {
		return 0, false
	}
	v, ok := shift(m, scale-fraction)
	if !ok {
		return 0, false
	}
	if negative && v != 0 {
		v = -v
	}
	return v, true
}

// parts splits a number of the accepted form into its mantissa and exponent.
func parts(b []byte) (mantissa []byte, exponent int, ok bool) {
	i := 0
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		i++
	}
	digits, point := 0, false
	for ; i < len(b); i++ {
		if b[i] >= '0' && b[i] <= '9' {
			digits++
		} else if b[i] == '.' && !point {
			point = true
		} else {
			break
		}
	}
	if digits == 0 {
		return nil, 0, false
	}
	mantissa = b[:i]
	if i == len(b) {
		return mantissa, 0, true
	}
	if b[i] != 'e' && b[i] != 'E' {
		return nil, 0, false
	}
	i++
	sign := 1
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		if b[i] == '-' {
			sign = -1
		}
		i++
	}
	if i == len(b) {
		return nil, 0, false
	}
	for ; i < len(b); i++ {
		if b[i] < '0' || b[i] > '9' {
			return nil, 0, false
		}
		if exponent < 1e6 { // beyond any float64, whatever follows
			exponent = exponent*10 + int(b[i]-'0')
		}
	}
	return mantissa, sign * exponent, true
}

// explain names what keeps b from being a number.
func explain(b []byte) *Fault {
	lower := string(bytes.ToLower(b))
	unsigned := bytes.TrimLeft(b, "+-")
	switch {
	case len(b) == 0:
		return &Fault{"is empty", "write the number"}
	case b[0] == '<':
		return &Fault{"is not a number: a level below something", "write the floor beside the reading, or use a floor row; or write the number alone, and yes in a column limited"}
	case b[0] == '>':
		return &Fault{"is not a number: a level above something", "if the receiver was overloaded, read again with more attenuation"}
	}
	switch lower {
	case "nan", "+nan", "-nan", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity", "n/a", "na", "null", "none", "-", "--":
		return &Fault{"is not a finite number", "leave the row out, or write the reading"}
	}
	switch {
	case len(unsigned) > 1 && unsigned[0] == '0' && (unsigned[1] == 'x' || unsigned[1] == 'X'):
		return &Fault{"is not a decimal number", "write it in decimal digits"}
	case bytes.IndexByte(b, '_') >= 0:
		return &Fault{"is not a number: it holds an underscore", "write the digits without separators"}
	case thousands(unsigned):
		return &Fault{"is not a number: it holds thousands separators", "write the digits without separators, and a decimal point"}
	case bytes.Count(b, []byte(",")) == 1 && onlyNumberBytes(b):
		return &Fault{"is not a number: it holds a comma", "write a decimal point, and no thousands separators"}
	case bytes.HasPrefix(b, []byte("\u2212")), bytes.HasPrefix(b, []byte("\u2013")):
		return &Fault{"is not a number: its minus is a typographic dash", "write the minus as -"}
	}
	if n := numberPrefix(b); n > 0 {
		rest := bytes.TrimSpace(b[n:])
		if r, _ := utf8.DecodeRune(rest); len(rest) > 0 && (r > 127 || r >= 'A') {
			return &Fault{"is not a number alone: something stands behind it", "write the number alone; the unit belongs in the column's name"}
		}
	}
	return &Fault{"is not a number", "write digits with a decimal point, such as -47.2"}
}

// thousands reports whether b is digits in groups of three: 1,000.5 or 12 000
// or 1'000. One comma before three digits alone might also be a decimal comma;
// either reading of it needs the same mend.
func thousands(b []byte) bool {
	if i := bytes.IndexByte(b, '.'); i >= 0 {
		b = b[:i]
	}
	text := string(b)
	for _, sep := range []string{",", " ", "'", "\u00a0", "\u202f", "\u2009"} {
		groups := bytes.Split([]byte(text), []byte(sep))
		if len(groups) < 2 || len(groups[0]) < 1 || len(groups[0]) > 3 || !allDigits(groups[0]) {
			continue
		}
		ok := true
		for _, g := range groups[1:] {
			ok = ok && len(g) == 3 && allDigits(g)
		}
		if ok {
			return true
		}
	}
	return false
}

func allDigits(b []byte) bool {
	for _, c := range b {
		if c < '0' || c > '9' {
			return false
		}
	}
	return len(b) > 0
}

func onlyNumberBytes(b []byte) bool { return len(bytes.Trim(b, "+-0123456789.,eE")) == 0 }

// numberPrefix is the length of the longest prefix of b that is a number.
func numberPrefix(b []byte) int {
	for n := min(len(b), 40); n > 0; n-- {
		if _, _, ok := parts(b[:n]); ok {
			return n
		}
	}
	return 0
}

// shift is m times 10^e, rounded once; false where that takes more than one step.
func shift(m uint64, e int) (float64, bool) {
	v := float64(m)
	switch {
	case e == 0:
	case e < -22 || e > 22:
		return 0, false
	case e < 0:
		v /= powers[-e]
	default:
		v *= powers[e]
	}
	return v, true
}
