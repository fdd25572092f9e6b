package ingest

import (
	"fmt"
	"math"
	"slices"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// leftOut describes a run whose open readings moved too much.
func (p *pairing) leftOut(label string, drift float64, at int) *LeftOut {
	l := &LeftOut{Run: label, DriftDB: drift, FreqHz: p.points.points[at].FreqHz}
	boxes := map[string]bool{}
	for i := range p.own {
		if ofClosing(p.b.Kind[i]) && !p.bad[i] {
			l.Readings++
			boxes[p.b.Labels.Text(p.b.Code(reading.Box, i))] = true
		}
	}
	for box := range boxes {
		l.Boxes = append(l.Boxes, box)
	}
	slices.SortFunc(l.Boxes, CompareLabels)
	return l
}

// result describes the run that was paired, its records excepted.
func (p *pairing) result(reference *planned, label string, drift float64, at int) *Run {
	run := &Run{Label: label, Points: p.points.points, Closings: p.describe(label), Counts: p.counts()}
	run.Reference = Reference{Run: reference.label, DriftDB: drift, DriftAt: at}
	day := cell.NoDay
	for i := range p.b.Len() {
		if p.b.Kind[i] == reading.Open && p.b.Date[i] != cell.NoDay {
			if day != cell.NoDay && p.b.Date[i] != day {
				day = cell.NoDay
				break
			}
			day = p.b.Date[i]
		}
	}
	run.Reference.Date = day.Time()
	values, unlabelled := p.repeats()
	run.Reference.Repeats = values
	if unlabelled {
		p.notes.add(noteUnlabelled, label, "")
	}
	if values == nil && run.Counts.OpenRepeats > 0 {
		p.notes.add(noteSparse, label, "")
	}
	return run
}

// describe lists the closings.
func (p *pairing) describe(label string) []Closing {
	b := p.b
	text := b.Labels.Text
	list := make([]Closing, len(p.closing.keys))
	for i, k := range p.closing.keys {
		c := &list[i]
		*c = Closing{Box: text(k.labels[0]), Gasket: text(k.labels[1]), Fitting: text(k.labels[2]), Label: text(k.labels[3]),
			Session: text(k.labels[4]), Installed: k.installed.Time(), Date: k.date.Time(), Run: label}
		if c.Session == "" {
			c.Session = k.date.String()
		}
		if c.Session == "" {
			c.Session = label
		}
	}
	if len(p.ownSets) > 0 {
		for i := range p.pairs {
			if q := &p.pairs[i]; q.own {
				list[q.closing].OwnReference = true
			}
		}
	}
	first := slices.Repeat([]int32{-1}, len(list))
	for _, r := range p.closed {
		n := p.closing.of[r]
		if f := first[n]; f < 0 || b.File[r] < b.File[f] || b.File[r] == b.File[f] && b.Line[r] < b.Line[f] {
			first[n] = r
		}
	}
	for n, r := range first {
		list[n].File, list[n].Line = p.paths(b.File[r]), int(b.Line[r])
	}
	p.fillContexts(list)
	return list
}

// fillContexts gives each closing what its rows say of instruments and
// surroundings: the value at the lowest point where they differ. What open and
// closed readings must share is taken from the open ones where the closed rows
// leave it empty.
func (p *pairing) fillContexts(list []Closing) {
	for c := reading.FirstContext; c < reading.Columns; c++ {
		codes := p.b.Text[c]
		if codes == nil {
			continue
		}
		values := make([]int32, len(list))
		varies := make([]bool, len(list))
		for _, r := range p.closed {
			n := p.closing.of[r]
			switch {
			case codes[r] == 0:
			case values[n] == 0:
				values[n] = codes[r]
			case values[n] != codes[r] && !varies[n]:
				varies[n] = true
				p.notes.add(noteVaries, c.Name(), fmt.Sprintf("%q of box %q in run %q", list[n].Label, list[n].Box, list[n].Run))
			}
		}
		for i := range p.pairs {
			q := &p.pairs[i]
			if c <= reading.LastPaired && values[q.closing] == 0 && q.openRow >= 0 {
				values[q.closing] = codes[q.openRow]
			}
		}
		for n, v := range values {
			if v != 0 {
				if list[n].Context == nil {
					list[n].Context = map[string]string{}
				}
				list[n].Context[c.Name()] = p.b.Labels.Text(v)
			}
		}
	}
}

// tally counts the run's own rows: by kind those that are used, and for count, stretch
// by stretch, those of a file that are used and skipped. Further readings of a row do
// not count.
func (p *pairing) tally(count func(file int32, used, skipped int)) {
	b := p.b
	p.kinds = [reading.Direct + 1]int{}
	for s, breaks := 0, b.Breaks(); s < len(breaks) && int(breaks[s]) < p.own; s++ {
		from, to := int(breaks[s]), p.own
		if s+1 < len(breaks) {
			to = min(to, int(breaks[s+1]))
		}
		skipped, further := 0, 0
		at := b.At[from:to]
		for k, bad := range p.bad[from:to] {
			if at[k] < 0 {
				further++
			} else if bad {
				skipped++
			}
		}
		used := to - from - further - skipped
		p.kinds[b.Kind[from]] += used
		count(b.File[from], used, skipped)
	}
}

// counts says what the run is made of; tally has gone before.
func (p *pairing) counts() Counts {
	var c Counts
	type setting struct{ tx, gain float64 }
	settings := map[setting]bool{}
	var last setting
	kinds := &p.kinds
	c.Open, c.Floor, c.Closed = kinds[reading.Open], kinds[reading.Noise], kinds[reading.Closed]+kinds[reading.Direct]
	if c.GainSettings = min(c.Open+c.Closed, 1); p.set {
		tx, gain, kind := p.b.Tx[:p.own], p.b.Gain[:p.own], p.b.Kind[:p.own]
		for i, bad := range p.bad[:p.own] {
			if bad || p.b.At[i] < 0 || kind[i] == reading.Noise {
				continue
			}
			if s := (setting{orZero(tx[i]), orZero(gain[i])}); s != last || len(settings) == 0 {
				settings[s], last = true, s
			}
		}
		c.GainSettings = len(settings)
	}
	for i := range p.opens {
		c.OpenRepeats = max(c.OpenRepeats, len(p.opens[i].rows))
	}
	relative := false
	for i := range p.pairs {
		q := &p.pairs[i]
		if q.sweeps > 1 {
			c.Sweeps++
		}
		switch {
		case math.IsNaN(q.open):
			if p.b.At[q.row] >= 0 {
				c.Given++
			}
		case q.floor == floorRow:
			c.FloorByRow++
		case q.floor == floorColumn:
			c.FloorByColumn++
		case q.floor == floorOption:
			c.FloorByOption++
		default:
			c.FloorUnknown++
			relative = relative || p.b.Unit[q.row].Relative()
		}
	}
	if relative && p.opt.FloorDBM != nil {
		p.notes.add(noteRelative, p.label, "")
	}
	return c
}
