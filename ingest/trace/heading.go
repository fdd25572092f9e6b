package trace

import (
	"slices"
	"strings"
)

// A quantity is what a column holds, as far as its heading tells.
type quantity int

const (
	other quantity = iota
	frequency
	level
	status
)

// Words that name a column, lower case. They are the words that analysers and
// spreadsheets use, in a few languages: common practice, no source.
var (
	frequencyWords = []string{"frequency", "freq", "f", "frequenz", "fréquence", "frecuencia", "frequenza"}
	levelWords     = []string{"level", "amplitude", "ampl", "power", "magnitude", "trace", "pegel", "leistung", "niveau", "nivel", "livello"}
	statusWords    = []string{"status", "state", "flag", "flags", "valid", "validity", "overload", "ovld", "overrange", "warning", "error", "quality", "zustand", "gültig", "fehler", "übersteuert"}
)

// A measure is a unit of a frequency or a level; unread ones are known to be
// something else.
type measure struct {
	quantity quantity
	scale    int // of a frequency: the unit is 10^scale Hz
	unread   bool
}

var measures = map[string]measure{
	"hz": {frequency, 0, false}, "khz": {frequency, 3, false}, "mhz": {frequency, 6, false}, "ghz": {frequency, 9, false},
	"thz": {frequency, 12, true},
	"dbm": {level, 0, false}, "dbuv": {level, 0, false},
	"db": {level, 0, true}, "dbmv": {level, 0, true}, "dbv": {level, 0, true}, "dbw": {level, 0, true},
	"dbua": {level, 0, true}, "dbpw": {level, 0, true}, "dbuv/m": {level, 0, true}, "dbua/m": {level, 0, true},
	"dbm/hz": {level, 0, true}, "w": {level, 0, true}, "mw": {level, 0, true}, "uw": {level, 0, true},
	"v": {level, 0, true}, "mv": {level, 0, true}, "uv": {level, 0, true},
	"s": {other, 0, true}, "ms": {other, 0, true}, "%": {other, 0, true}, "deg": {other, 0, true},
}

var micro = strings.NewReplacer("\u00b5", "u", "\u03bc", "u") // micro sign, Greek mu

// unitName is a unit in lower case, with u for micro.
func unitName(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	return micro.Replace(s)
}

// A heading is the name of a column, taken apart.
type heading struct {
	text string // as it stands
	at   int    // its offset in the line
	base string // lower case, without the unit
	unit string // as unitName gives it; empty where there is none
}

// parseHeading takes the unit off a name: Level (dBm), Level [dBm], Level, dBm,
// Level/dBm, level_dbm or Level dBm. What is no unit stays with the name.
func parseHeading(p piece) heading {
	h := heading{text: p.text, at: p.at, base: baseName(p.text)}
	before, after := "", ""
	try := func(base, unit string) bool {
		if _, known := measures[unitName(unit)]; known && base != "" && h.unit == "" {
			h.base, h.unit = baseName(base), unitName(unit)
		}
		return h.unit != ""
	}
	for _, pair := range []string{"()", "[]"} {
		if s, ok := strings.CutSuffix(p.text, pair[1:]); ok {
			if i := strings.LastIndexByte(s, pair[0]); i >= 0 && try(s[:i], s[i+1:]) {
				return h
			}
		}
	}
	for _, mark := range []string{"/", ","} {
		var ok bool
		if before, after, ok = strings.Cut(p.text, mark); ok && try(before, after) {
			return h
		}
	}
	for _, mark := range []string{"_", " "} {
		if i := strings.LastIndex(p.text, mark); i >= 0 && try(p.text[:i], p.text[i+1:]) {
			return h
		}
	}
	return h
}

func baseName(s string) string {
	s = strings.ToLower(strings.Join(strings.Fields(s), " "))
	return strings.TrimRight(s, " :_")
}

// quantity tells what the heading's name says it holds.
func (h heading) quantity() quantity {
	switch {
	case slices.Contains(frequencyWords, h.base):
		return frequency
	case slices.Contains(levelWords, h.base):
		return level
	case slices.Contains(statusWords, h.base):
		return status
	}
	return other
}

// named tells whether a profile's text names this column: all of the heading, or
// the heading without its unit.
func (h heading) named(text string) bool {
	return strings.EqualFold(h.text, text) || h.base == baseName(text) && h.base != ""
}

// levelUnit writes a unit of level as the profile does.
func levelUnit(unit string) string {
	return map[string]string{"dbm": "dBm", "dbuv": "dBuV"}[unit]
}
