package packed

import (
	"math"
	"slices"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
)

// A segment is rows of a chunk that share state, unit, dates and labels.
type segment struct {
	from, to        int32
	kind            reading.Kind
	unit            reading.Unit
	date, installed cell.Day
}

// digest finds the segments of a chunk, checks that its readings are such as the long
// format has, and brings levels and floors of several units into one column each.
func (e *entry) digest(t *table) error {
	rows := e.chunk.Rows
	e.segments = e.segments[:0]
	if err := e.numbers(t, rows); err != nil {
		return err
	}
	e.changed = slices.Grow(e.changed[:0], rows)[:rows]
	clear(e.changed)
	for s := range slots {
		if c := t.column(e, s); c != nil && !c.Constant {
			switch kind := slots[s].field.Kind; {
			case len(c.Starts) > 0:
				for _, r := range c.Starts {
					e.changed[r] = true
				}
			case kind == columnar.Text:
				mark(e.changed, c.Codes)
			case kind == columnar.Day:
				mark(e.changed, c.Days)
			}
		}
	}
	if e.units != nil {
		mark(e.changed, e.units)
	}
	for from := 0; from < rows; {
		to := from + 1
		for to < rows && !e.changed[to] {
			to++
		}
		s, err := e.segment(t, from)
		if err != nil {
			return err
		}
		s.from, s.to = int32(from), int32(to)
		e.segments = append(e.segments, s)
		from = to
	}
	return nil
}

// mark notes the rows that differ from the one before.
func mark[T comparable](changed []bool, values []T) {
	if len(values) != len(changed) {
		return // a column that was not read
	}
	for i := 1; i < len(values); i++ {
		if values[i] != values[i-1] {
			changed[i] = true
		}
	}
}

// segment reads what the rows from row r on share.
func (e *entry) segment(t *table, r int) (segment, error) {
	get := func(c reading.Column) *columnar.Column { return t.column(e, slotOf(c)) }
	s := segment{kind: e.kinds[codes{get(reading.State)}.at(r)], unit: e.unit, date: days{get(reading.Date)}.at(r), installed: days{get(reading.Installed)}.at(r)}
	if e.units != nil {
		s.unit = e.units[r]
	}
	switch {
	case s.kind == unknown:
		return s, content("a row without a state")
	case s.unit == reading.NoUnit:
		return s, content("a row without a level")
	case s.unit == reading.Attenuated && s.kind != reading.Closed:
		return s, content("an attenuation that is not of a closed box")
	case s.date != cell.NoDay && s.installed > s.date:
		return s, content("a strip installed after it was read")
	}
	if s.kind == reading.Closed {
		for _, c := range []reading.Column{reading.Box, reading.Gasket, reading.Closing} {
			if col := get(c); col == nil || (codes{col}).at(r) == 0 {
				return s, content("a closed reading without box, gasket or closing")
			}
		}
		if s.unit == reading.Attenuated {
			s.kind = reading.Direct
		}
	}
	return s, nil
}

// numbers checks the columns of numbers and finds the level of each row.
func (e *entry) numbers(t *table, rows int) error {
	e.level, e.floor, e.unit, e.units = nil, nil, reading.NoUnit, nil
	for s := range slots {
		c := t.column(e, s)
		if c == nil || slots[s].field.Kind != columnar.Number {
			continue
		}
		given, lo, hi := c.Given, c.Lo, c.Hi
		switch {
		case slots[s].column == reading.Freq:
			if given < rows || lo <= 0 {
				return content("a row without a frequency")
			}
			continue
		case given > 0 && (lo < -reading.MostDB || hi > reading.MostDB):
			return content("a level beyond %d dB", reading.MostDB)
		}
		switch slots[s].column {
		case reading.Level, reading.Atten:
			if err := e.levels(c, slots[s].unit, given, rows); err != nil {
				return err
			}
		case reading.Floor:
			e.floor = either(e.floor, c, given, rows)
		}
	}
	if tx := t.column(e, slotOf(reading.Tx)); tx != nil && (e.unit.Relative() || e.units != nil) {
		for r := range rows {
			if u := e.unitAt(r); u.Relative() && !math.IsNaN(numberAt(tx, r)) {
				return content("a generator level beside a level that is relative to it")
			}
		}
	}
	return nil
}

func (e *entry) unitAt(r int) reading.Unit {
	if e.units != nil {
		return e.units[r]
	}
	return e.unit
}

// levels takes in a column of levels in one unit, of which so many rows have one.
func (e *entry) levels(c *columnar.Column, unit reading.Unit, given, rows int) error {
	if given == rows && e.unit == reading.NoUnit && e.units == nil {
		e.level, e.unit = c, unit
		return nil
	}
	if given == 0 {
		return nil
	}
	if e.units == nil {
		e.units = make([]reading.Unit, rows)
		for r := range e.units {
			e.units[r] = e.unit
		}
	}
	for r := range rows {
		if v := numberAt(c, r); v == v {
			if e.units[r] != reading.NoUnit {
				return content("a row with two levels")
			}
			e.units[r] = unit
		}
	}
	e.level = either(e.level, c, given, rows)
	return nil
}

// either puts the values of two columns into one, of which no row has two.
func either(a, b *columnar.Column, given, rows int) *columnar.Column {
	if a == nil || given == 0 {
		if a == nil {
			return b
		}
		return a
	}
	both := &columnar.Column{Numbers: make([]float64, rows)}
	for r := range rows {
		both.Numbers[r] = numberAt(b, r)
		if v := numberAt(a, r); v == v {
			both.Numbers[r] = v
		}
	}
	return both
}
