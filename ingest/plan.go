package ingest

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A plan says which rows make up which run. It comes from a first pass over all
// files that looks at the columns run, date and state alone, so that rows of one
// run may stand anywhere.
type plan struct {
	named   map[string]*group // by the label in the column run
	unnamed map[int32]*group  // by file, rows without a label
	order   []*group          // as they first appear
	labels  int               // bytes of the labels of all
	runs    []*planned

	looked  sync.Once // the runs are named only where another run refers to one
	byLabel map[string]*planned
	aliases map[string][]*planned // by label in the data or file name
}

// A group is the rows that share a label, or lack one in the same file.
type group struct {
	label string
	path  string // of the file; empty for a label from the data
	parts []*part
	byDay map[cell.Day]*part // nil while there are few parts
}

// fewParts are found by looking at each: most runs have one day.
const fewParts = 4

// A part is a group's rows of one date.
type part struct {
	day       cell.Day
	open      bool // holds an open reading
	rows      spans
	seen      int32 // the last file that it has rows in, counted from 1
	*inCopies       // nil where it has no rows there
}

// inCopies is where a part's rows stand in the copies of files in which runs take
// turns.
type inCopies struct {
	extents spans
	bytes   int64 // of the rows in the files that were copied
}

// A planned run is what will be visited as one. There may be millions.
type planned struct {
	label string // that of the group, and what was put behind or before it
	group *group
	day   cell.Day
	split bool // one of several, told apart by their dates
	parts []*part
	link  *link // nil where files are not taken to be orderly, and before its turn
}

// alias is the label as it stands in the data, or was made from the file's name.
func (r *planned) alias() string { return r.group.label }

// path is that of the file, where the label was made from its name.
func (r *planned) path() string { return r.group.path }

func newPlan() *plan {
	return &plan{named: map[string]*group{}, unnamed: map[int32]*group{}}
}

// An origin is the file that rows without a label make up a run of: their own, or
// the runs.csv that lists it.
type origin struct {
	file        int32
	label, path string
}

// part finds the part to which a stretch of rows belongs.
func (p *plan) part(from origin, s reading.Stretch) *part {
	var g *group
	if run := cell.Unguarded(s.Run); len(run) > 0 {
		if g = p.named[string(run)]; g == nil {
			g = &group{label: string(run)}
			p.named[g.label] = g
			p.labels += len(g.label)
			p.order = append(p.order, g)
		}
	} else if g = p.unnamed[from.file]; g == nil {
		g = &group{label: from.label, path: from.path}
		p.unnamed[from.file] = g
		p.order = append(p.order, g)
	}
	if n := len(g.parts); n > 0 && g.parts[n-1].day == s.Date {
		x := g.parts[n-1]
		x.open = x.open || s.Open
		return x
	}
	x := g.at(s.Date)
	x.open = x.open || s.Open
	return x
}

// at is the part of a day.
func (g *group) at(day cell.Day) *part {
	if g.byDay == nil {
		for _, x := range g.parts {
			if x.day == day {
				return x
			}
		}
	} else if x := g.byDay[day]; x != nil {
		return x
	}
	x := &part{day: day}
	g.parts = append(g.parts, x)
	if g.byDay != nil {
		g.byDay[day] = x
	} else if len(g.parts) > fewParts {
		g.byDay = map[cell.Day]*part{}
		for _, x := range g.parts {
			g.byDay[x.day] = x
		}
	}
	return x
}

// settle decides which parts are runs of their own, and names them.
//
// A label from the data is split by date where open readings stand on two dates
// or more; else its open readings serve all its closings. Rows without a label
// make one run for each date of their file. Rows without a date join the others
// where there is one date only.
func (p *plan) settle() {
	for _, g := range p.order {
		dated, openDays := 0, 0
		for _, x := range g.parts {
			if x.day != cell.NoDay {
				dated++
				if x.open {
					openDays++
				}
			}
		}
		split := dated > 1 && (openDays > 1 || g.path != "")
		if !split {
			run := &planned{label: g.label, group: g, parts: g.parts, day: cell.NoDay}
			for _, x := range g.parts {
				if dated == 1 && x.day != cell.NoDay {
					run.day = x.day
				}
			}
			if g.path != "" && run.day != cell.NoDay {
				run.label += " " + run.day.String()
			}
			p.runs = append(p.runs, run)
			continue
		}
		for _, x := range g.parts {
			run := &planned{label: g.label, group: g, parts: []*part{x}, day: x.day, split: true}
			if x.day != cell.NoDay {
				run.label += " " + x.day.String()
			}
			p.runs = append(p.runs, run)
		}
	}
	sorted := slices.SortedStableFunc(slices.Values(p.runs), inTurn)
	for i := 1; i < len(sorted); i++ {
		if sorted[i-1].label == sorted[i].label {
			p.tellApart() // in the order in which they appear
			sorted = slices.SortedStableFunc(slices.Values(p.runs), inTurn)
			break
		}
	}
	p.runs = sorted
}

// inTurn is the order in which runs are visited.
func inTurn(a, b *planned) int {
	return cmp.Or(CompareLabels(a.label, b.label), strings.Compare(a.path(), b.path()))
}

// forget gives back what only the first pass asks for.
func (p *plan) forget() { p.named, p.unnamed, p.order = nil, nil, nil }

// names numbers the runs by their labels.
func (p *plan) names() {
	p.byLabel, p.aliases = map[string]*planned{}, map[string][]*planned{}
	for _, r := range p.runs {
		p.byLabel[r.label] = r
		p.aliases[r.alias()] = append(p.aliases[r.alias()], r)
	}
}

// tellApart puts the folder before labels made from file names where they would
// be the same, then the whole path, then a number.
func (p *plan) tellApart() {
	for _, rename := range []func(*planned) string{
		func(r *planned) string {
			return filepath.ToSlash(filepath.Join(filepath.Base(filepath.Dir(r.path())), r.label))
		},
		func(r *planned) string {
			return filepath.ToSlash(filepath.Join(filepath.Dir(r.path()), filepath.Base(r.label)))
		},
		nil, // a number, whatever the label was made from
	} {
		same := map[string][]*planned{}
		for _, r := range p.runs {
			same[r.label] = append(same[r.label], r)
		}
		for _, r := range p.runs { // p.runs gives the order; same is only looked up
			rivals := same[r.label]
			switch n := slices.Index(rivals, r); {
			case len(rivals) < 2:
			case rename == nil && n > 0:
				r.label = fmt.Sprintf("%s (%d)", r.label, n+1)
			case rename != nil && r.path() != "":
				r.label = rename(r)
			}
		}
	}
}

// find looks a run up by the name that a column reference gives.
func (p *plan) find(name string) (*planned, string) {
	p.looked.Do(p.names)
	if r := p.byLabel[name]; r != nil {
		return r, ""
	}
	switch same := p.aliases[name]; len(same) {
	case 0:
		return nil, "names a run that the data do not have"
	case 1:
		return same[0], ""
	default:
		return nil, fmt.Sprintf("names %d runs; write one of them, such as %s", len(same), same[0].label)
	}
}

// spans lists behind list where the run's rows stand, in order.
func (r *planned) spans(list []span) []span {
	for _, x := range r.parts {
		list = x.rows.appendTo(list)
	}
	if len(r.parts) > 1 {
		inOrder(list)
	}
	return list
}

// copied lists the files in whose copies rows of the run stand, in order.
func (r *planned) copied() []int32 {
	var list []int32
	for _, x := range r.parts {
		if x.inCopies == nil {
			continue
		}
		for _, s := range x.extents.appendTo(nil) {
			list = append(list, s.file)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}
