package trace

import (
	"fmt"
	"math"
	"path"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// figure reads a number of dB or dBm.
func (r *runsReader) figure(i int, run *Run) {
	f := figures[r.columns[i]]
	db, fault := cell.Number([]byte(r.pieces[i].text), 0)
	switch {
	case fault != nil:
		r.wrong(i, fault.What, fault.Mend)
	case math.Abs(db) > reading.MostDB:
		r.wrong(i, "is not a level that a receiver could show", fmt.Sprintf("levels lie within %d dB of zero", reading.MostDB))
	default:
		unit := f.unit
		if unit == reading.DBuV {
			db, unit = db+unit.Offset(), reading.DBm
		}
		run.Figures = append(run.Figures, Figure{f.column, unit, db})
	}
}

// profile makes the profile of the row at hand, or finds that of a row before it
// with the same cells. A profile with a problem is made anew, to tell it again.
func (r *runsReader) profile(cells string) *Profile {
	if p, ok := r.profiles[cells]; ok {
		return p
	}
	var p Profile
	sound := true
	for i, c := range r.pieces {
		if _, ok := fieldNamed(r.columns[i]); !ok {
			continue
		}
		if fault := p.Set(r.columns[i], c.text); fault != nil {
			r.wrong(i, fault.What, fault.Mend)
			sound = false
		}
	}
	if what := p.contradiction(); what != "" && sound {
		r.bad, sound = true, false
		r.add(reading.Problem{Line: r.number, Column: 1, What: what, Mend: "correct the cells of the profile"})
	}
	if sound {
		r.profiles[cells] = &p
	}
	return &p
}

// file reads the name of a trace file, which stays within the folder and has one
// row.
func (r *runsReader) file(i int, text string, look func(string) *cell.Fault) string {
	name := path.Clean(strings.ReplaceAll(text, `\`, "/"))
	before, twice := r.first[name]
	switch {
	case text == "":
		r.wrong(i, "is empty", "write the name of the trace file")
	case path.IsAbs(name), name == ".", name == "..", strings.HasPrefix(name, "../"), len(name) > 1 && name[1] == ':':
		r.wrong(i, "is no file within the folder", "put the trace file beside "+RunsName+" or below, and write its name from there")
	case twice:
		r.wrong(i, fmt.Sprintf("the file has a row already, on line %d", before), "keep one row for each trace file")
	case look != nil:
		if fault := look(name); fault != nil {
			r.wrong(i, fault.What, fault.Mend)
		}
	}
	if text != "" && !twice {
		r.first[name] = r.number
	}
	return name
}

// day reads a date that may be left out.
func (r *runsReader) day(i int) cell.Day {
	if r.pieces[i].text == "" {
		return cell.NoDay
	}
	day, fault := cell.ParseDay([]byte(r.pieces[i].text))
	if fault != nil {
		r.wrong(i, fault.What, fault.Mend)
	}
	return day
}
