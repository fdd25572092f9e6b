// Package longcsv reads the long format: CSV with one row per reading and named
// columns in any order.
package longcsv

import (
	"fmt"
	"strings"

	"sealbound/ingest/reading"
)

// A named is what one column name means.
type named struct {
	column reading.Column
	unit   reading.Unit // of Level and Floor
	scale  int          // of Freq: power of ten to Hz
}

var known = map[string]named{
	"freq_hz":    {reading.Freq, 0, 0},
	"freq_khz":   {reading.Freq, 0, 3},
	"freq_mhz":   {reading.Freq, 0, 6},
	"freq_ghz":   {reading.Freq, 0, 9},
	"level_dbm":  {reading.Level, reading.DBm, 0},
	"level_dbuv": {reading.Level, reading.DBuV, 0},
	"level_db":   {reading.Level, reading.Decibel, 0},
	"floor_dbm":  {reading.Floor, reading.DBm, 0},
	"floor_dbuv": {reading.Floor, reading.DBuV, 0},
	"floor_db":   {reading.Floor, reading.Decibel, 0},
	"se_db":      {reading.Atten, 0, 0},
	"serial":     {reading.Box, 0, 0},
	"pol":        {reading.Polarization, 0, 0},
}

// limitedName is the column that tells of a figure that it is a limit.
const limitedName = "limited"

func init() {
	for c := reading.Column(0); c < reading.Columns; c++ {
		if c != reading.Freq && c != reading.Level && c != reading.Floor {
			known[c.Name()] = named{column: c}
		}
	}
}

// A header says where each column stands.
type header struct {
	at    [reading.Columns]int    // index of the cell, -1 where there is none
	name  [reading.Columns]string // as the file spells it, lower case
	cells int
	line  int
	scale int // of Freq
	level reading.Unit
	floor reading.Unit
	// limited is the cell that declares figures as limits, -1 where there is none: no
	// column of readings, for it says how another is meant
	limited int
	unused  []string
}

// A place is where a header cell stands.
type place struct{ line, column int }

// parseHeader reads the header's cells. Its problems lack the file's name; those
// of a missing column point at end, where a column could be added.
func parseHeader(cells [][]byte, places []place, end int) (*header, []reading.Problem) {
	h := &header{cells: len(cells), line: places[0].line, limited: -1}
	var problems []reading.Problem
	fail := func(i int, field, text, what, mend string) {
		problems = append(problems, reading.Problem{Line: places[i].line, Column: places[i].column, Field: field, Text: text, What: what, Mend: mend})
	}
	for c := range h.at {
		h.at[c] = -1
	}
	seen := map[string]int{}
	for i, cell := range cells {
		name := strings.ToLower(string(cell))
		if name == "" {
			fail(i, "", "", fmt.Sprintf("column %d of the header has no name", i+1), "name it, or remove the column and any trailing comma")
			continue
		}
		if first, ok := seen[name]; ok {
			fail(i, "", string(cell), fmt.Sprintf("the header names this column twice (columns %d and %d)", first+1, i+1), "remove or rename one of them")
			continue
		}
		seen[name] = i
		if name == limitedName {
			h.limited = i
			continue
		}
		k, ok := known[name]
		if !ok {
			h.unused = append(h.unused, string(cell))
			continue
		}
		if at := h.at[k.column]; at >= 0 {
			what := fmt.Sprintf("the header has %s and %s, which mean the same", h.name[k.column], name)
			if known[h.name[k.column]] != k {
				what = fmt.Sprintf("the header has %s and %s; one of them is permitted", h.name[k.column], name)
			}
			fail(i, "", string(cell), what, "keep one of the two")
			continue
		}
		h.at[k.column], h.name[k.column] = i, name
		switch k.column {
		case reading.Freq:
			h.scale = k.scale
		case reading.Level:
			h.level = k.unit
		case reading.Floor:
			h.floor = k.unit
		}
	}
	problems = append(problems, h.check(cells, places, end)...)
	if h.has(reading.Atten) { // these say nothing of a figure that is worked out already
		for _, c := range []reading.Column{reading.Tx, reading.Gain, reading.Floor, reading.Reference} {
			if h.has(c) {
				h.unused = append(h.unused, string(cells[h.at[c]]))
				h.at[c] = -1
			}
		}
	}
	return h, problems
}

func (h *header) has(c reading.Column) bool { return h.at[c] >= 0 }

// check finds what is missing and what does not go together.
func (h *header) check(cells [][]byte, places []place, end int) []reading.Problem {
	var problems []reading.Problem
	at := func(c reading.Column, what, mend string) {
		i := h.at[c]
		problems = append(problems, reading.Problem{Line: places[i].line, Column: places[i].column, Text: string(cells[i]), What: what, Mend: mend})
	}
	missing := func(c []string, what, mend string) {
		p := reading.Problem{Line: h.line, Column: end, What: what, Mend: mend}
		for i, cell := range cells {
			if s := suggest(string(cell)); s != "" && has(c, s) {
				p.Column, p.Text, p.Mend = places[i].column, string(cell), "rename this column "+s
				if !strings.Contains(micro.Replace(strings.ToLower(p.Text)), s[strings.LastIndexByte(s, '_')+1:]) {
					p.Mend = "rename this column " + strings.Join(c[:len(c)-1], ", ") + " or " + c[len(c)-1]
				}
				break
			}
		}
		problems = append(problems, p)
	}
	if !h.has(reading.Freq) {
		missing([]string{"freq_hz", "freq_khz", "freq_mhz", "freq_ghz"}, "no column gives the frequency",
			"name one freq_hz, freq_khz, freq_mhz or freq_ghz")
	}
	if h.has(reading.Level) && h.has(reading.Atten) {
		second := reading.Atten
		if h.at[reading.Level] > h.at[reading.Atten] {
			second = reading.Level
		}
		at(second, "the header has levels and attenuations", "keep the levels, or put the attenuations into a file of their own")
	}
	if open, closed := sideBySide(cells); !h.has(reading.Level) && !h.has(reading.Atten) && (h.has(reading.State) || open < 0 || closed < 0) {
		missing([]string{"level_dbm", "level_dbuv", "level_db", "atten_db"}, "no column gives a level or an attenuation",
			"name one level_dbm, level_dbuv or level_db, or atten_db")
	}
	if open, closed := sideBySide(cells); !h.has(reading.State) && open >= 0 && closed >= 0 {
		problems = append(problems, reading.Problem{Line: h.line, Column: places[open].column, Text: string(cells[open]),
			What: fmt.Sprintf("open and closed levels seem to stand side by side, in this column and %q", cells[closed]),
			Mend: "give each level a row of its own: the level in level_dbm, and open or closed in state"})
	} else if !h.has(reading.State) && !h.has(reading.Atten) {
		missing([]string{"state"}, "no column state says which readings are open and which are closed",
			"add a column state holding open, closed or floor")
	}
	if h.has(reading.Level) && h.has(reading.Floor) && h.level.Relative() != h.floor.Relative() {
		at(reading.Floor, fmt.Sprintf("%s cannot be compared with %s", h.name[reading.Floor], h.name[reading.Level]), "give level and floor in the same unit")
	}
	return problems
}

// sideBySide finds two columns named like an open and a closed level, -1 where
// there are none.
func sideBySide(cells [][]byte) (open, closed int) {
	open, closed = -1, -1
	for i, c := range cells {
		name := strings.ToLower(string(c))
		switch {
		case strings.HasPrefix(name, "open"), strings.HasPrefix(name, "reference"), strings.HasPrefix(name, "ref_"), strings.HasPrefix(name, "ref "):
			open = i
		case strings.HasPrefix(name, "closed"), strings.HasPrefix(name, "sealed"), strings.HasPrefix(name, "shut"):
			closed = i
		}
	}
	return open, closed
}

func has(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// micro writes the micro sign and the Greek letter as u.
var micro = strings.NewReplacer("\u00b5", "u", "\u03bc", "u")

// suggest guesses which column a foreign name means, empty where it cannot.
func suggest(name string) string {
	n := strings.TrimSpace(strings.ToLower(name))
	if units[n] || n == "" || strings.ContainsAny(n[:1], "+-.<>0123456789") {
		return "" // a unit or a figure names nothing
	}
	holds := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(n, w) {
				return true
			}
		}
		return false
	}
	switch {
	case holds("freq", "hz"):
		for _, u := range []string{"ghz", "mhz", "khz", "hz"} {
			if holds(u) {
				return "freq_" + u
			}
		}
		return "freq_hz"
	case holds("atten", "shielding", "se (db"):
		return "atten_db"
	case holds("dbm"):
		return "level_dbm"
	case strings.Contains(micro.Replace(n), "dbuv"):
		return "level_dbuv"
	case holds("s21") || holds("level", "power", "amplitude") && holds("db"):
		return "level_db"
	case holds("level", "pegel"):
		return "level_dbm"
	}
	return ""
}

// familiar counts the cells that are names of columns.
func familiar(cells []string) int {
	n := 0
	for _, c := range cells {
		if _, ok := known[strings.ToLower(strings.TrimSpace(strings.Trim(strings.TrimSpace(c), `"`)))]; ok {
			n++
		} else if suggest(c) != "" {
			n++
		}
	}
	return n
}

// delimiter names the delimiter of a line that is not delimited by commas, empty
// where commas or nothing delimit it.
func delimiter(line string) string {
	commas := familiar(strings.Split(line, ","))
	for _, d := range []struct{ sep, name string }{{";", "semicolons"}, {"\t", "tabs"}, {"|", "bars"}} {
		if parts := strings.Split(line, d.sep); len(parts) > 1 {
			n := familiar(parts)
			if n > commas || n == commas && len(parts) > 1 && !strings.Contains(line, ",") {
				return d.name
			}
		}
	}
	return ""
}
