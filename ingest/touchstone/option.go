package touchstone

import (
	"fmt"
	"strings"

	"sealbound/ingest/cell"
)

// A format says what a pair of numbers is.
type format int

const (
	magnitudeAngle format = iota // linear magnitude and degrees
	decibelAngle                 // 20 log10 of the magnitude, and degrees
	realImaginary
)

// An option is what the option line says, defaults included.
type option struct {
	scale  int // the unit of frequency is 10^scale Hz
	format format
	ohm    float64
	text   string // as a canonical line, to tell whether a second one agrees
	line   int
}

var scales = map[string]int{"HZ": 0, "KHZ": 3, "MHZ": 6, "GHZ": 9}

var formats = map[string]format{"MA": magnitudeAngle, "DB": decibelAngle, "RI": realImaginary}

// Parameters that describe a network otherwise than by what passes and returns.
var otherParameters = map[string]string{"Y": "admittance", "Z": "impedance", "G": "inverse hybrid", "H": "hybrid"}

// optionLine reads the line that begins with #: unit, parameter, format and R
// with its value, in any order and case, each with a default: GHz S MA R 50.
func (p *parser) optionLine(tokens []token, line int) bool {
	if p.section != top {
		p.ruin(line, tokens[0].column, "", tokens[0].text, "an option line among the data", "keep one network in a file")
		return false
	}
	o := option{scale: 9, format: magnitudeAngle, ohm: 50, line: line}
	words := tokens
	if words[0].text == "#" {
		words = words[1:]
	} else { // #MHz without a blank
		words[0].text, words[0].column = words[0].text[1:], words[0].column+1
	}
	first := map[string]int{} // what has been said: where
	twice := func(kind string, t token) bool {
		if at, said := first[kind]; said {
			p.ruin(line, t.column, "", t.text, fmt.Sprintf("the %s is given twice, first in column %d", kind, at), "keep the one that holds")
			return true
		}
		first[kind] = t.column
		return false
	}
	for i := 0; i < len(words); i++ {
		t := words[i]
		word := strings.ToUpper(t.text)
		scale, isUnit := scales[word]
		format, isFormat := formats[word]
		other, isOther := otherParameters[word]
		switch {
		case isUnit:
			twice("unit", t)
			o.scale = scale
		case isFormat:
			twice("format", t)
			o.format = format
		case word == "S":
			twice("parameter", t)
		case isOther:
			p.ruin(line, t.column, "", t.text, fmt.Sprintf("%s are %s parameters, and only S parameters are read", word, other), "save the network as S parameters")
		case word == "R":
			twice("reference resistance", t)
			if i+1 == len(words) {
				p.ruin(line, t.column, "", t.text, "R without its resistance", "write the reference resistance in ohm behind it, such as R 50")
				break
			}
			i++
			o.ohm = p.resistance(words[i], line)
		default:
			p.ruin(line, t.column, "", t.text, "unknown word in the option line", "a unit is Hz, kHz, MHz or GHz, a format DB, MA or RI, the parameter S, the reference R 50")
		}
	}
	o.text = fmt.Sprint(o.scale, o.format, o.ohm)
	switch {
	case p.option == nil:
		p.option = &o
	case p.option.text != o.text:
		p.ruin(line, tokens[0].column, "", "", fmt.Sprintf("a second option line, and it differs from that on line %d", p.option.line), "keep the one that holds")
	}
	return true
}

// resistance reads a reference resistance in ohm, which is above 0.
func (p *parser) resistance(t token, line int) float64 {
	ohm, fault := cell.Number([]byte(t.text), 0)
	switch {
	case fault != nil:
		p.ruin(line, t.column, "reference resistance", t.text, fault.What, fault.Mend)
		return 50
	case ohm <= 0:
		p.ruin(line, t.column, "reference resistance", t.text, "is not above 0 ohm", "write it in ohm, such as 50")
		return 50
	}
	return ohm
}
