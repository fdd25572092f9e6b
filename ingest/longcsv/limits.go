package longcsv

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// level reads a level, limited where the column limited says so: then there was at
// most that, and an attenuation is at least what it shows. A < may stand before it.
func (l *loader) level() (float64, bool) {
	text := l.r.Cell(l.header.at[reading.Level])
	if !l.limit {
		return l.number(reading.Level, 0, true), false
	}
	if l.known && l.kind == reading.Open {
		l.problem(reading.Level, "an open reading is known as an upper bound only, and nothing can be compared with it", "read the reference with more power, or remove the row")
		return 0, true
	}
	limit, _ := cell.Below(string(text))
	return l.figureOf(reading.Level, []byte(limit), 0), true
}

// declared reads the column limited.
func (l *loader) declared() {
	at := l.header.limited
	if at < 0 || at < l.same {
		return
	}
	text := l.r.Cell(at)
	is, ok := yes(text)
	if l.limit = is; !ok {
		p := reading.Problem{File: l.path, Field: limitedName, Text: string(text), What: "does not say whether the figure is a limit", Mend: "write yes or no"}
		p.Line, p.Column = l.r.Place(at)
		l.bad = true
		l.b.Problems.Add(p)
	}
}

// yes reads a cell that says yes or, mostly by being empty, no.
func yes(b []byte) (is, ok bool) {
	switch strings.ToLower(string(b)) {
	case "yes", "true", "1":
		return true, true
	case "", "no", "false", "0":
		return false, true
	}
	return false, false
}

// attenuation reads a figure, limited where a > stands before it or the column limited
// says so.
func (l *loader) attenuation() (float64, bool) {
	text := l.r.Cell(l.header.at[reading.Atten])
	limited := l.limit
	if len(text) > 0 && text[0] == '>' {
		limited = true
		text = bytes.TrimPrefix(text[1:], []byte("="))
	} else if bytes.HasPrefix(text, []byte("\u2265")) {
		limited, text = true, text[len("\u2265"):]
	}
	v, fault := cell.Number(bytes.TrimSpace(text), 0)
	switch {
	case fault != nil && len(text) > 0 && text[0] == '<':
		l.problem(reading.Atten, "is an attenuation below something", "write the figure itself, or > before what it is at least")
	case fault != nil:
		l.problem(reading.Atten, fault.What, fault.Mend)
	case math.Abs(v) > reading.MostDB:
		l.problem(reading.Atten, "is not an attenuation that a set-up could show", fmt.Sprintf("attenuations lie within %d dB of zero", reading.MostDB))
	}
	return v, limited
}
