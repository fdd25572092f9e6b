package sidetable

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// Carried is a side table that a packed file holds: boxes, gaskets, events or setup,
// as CSV.
type Carried struct{ Name, CSV string }

// CSV writes the side table of the given name (boxes, gaskets, events, setup) with
// all its columns, so that reading it gives the same rows; empty where it has none.
func (t *Tables) CSV(name string) string {
	rows := t.rows(name)
	if len(rows) == 0 {
		return ""
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.Write(layouts[name].columns) // a Builder takes all
	for _, r := range rows {
		for i := range r {
			r[i] = cell.Guarded(r[i])
		}
		_ = w.Write(r)
	}
	w.Flush()
	return b.String()
}

func (t *Tables) rows(name string) (rows [][]string) {
	switch name {
	case "boxes":
		for i := range t.Boxes {
			rows = append(rows, t.Boxes[i].cells())
		}
	case "gaskets":
		for i := range t.Gaskets {
			rows = append(rows, t.Gaskets[i].cells())
		}
	case "events":
		for i := range t.Events {
			rows = append(rows, t.Events[i].cells())
		}
	case "setup":
		for _, s := range t.Setup {
			rows = append(rows, s.cells())
		}
	}
	return rows
}

func number(v float64) string {
	if v != v {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func (b *Box) cells() []string {
	return []string{b.Label, b.Role, b.Type, number(b.PerimeterMM), number(b.ChannelWidthMM), number(b.ChannelDepthMM)}
}

func (g *Gasket) cells() []string {
	return []string{g.Label, number(g.WidthMM), number(g.ThicknessMM), number(g.StripLengthMM), number(g.StripPrice), g.Currency}
}

func (e *Event) cells() []string {
	return []string{e.Date.Format(time.DateOnly), e.Box, e.Kind, e.Text}
}

func (s SetupField) cells() []string { return []string{s.Run, s.Field, s.Value} }

// Merge adds the rows of other, which stood in path, where t does not have them.
// Another row of a label that t has is a problem: which one is right?
func (t *Tables) Merge(other *Tables, path string, problems *reading.Problems) {
	if t.boxes == nil {
		t.boxes = map[string]string{}
	}
	if t.gaskets == nil {
		t.gaskets = map[string]string{}
	}
	clash := func(what, label, first string) {
		problems.Add(reading.Problem{File: path, Text: label, What: fmt.Sprintf("the row of this %s is another one than at %s", what, first),
			Mend: "make the two the same, and pack again"})
	}
	for _, b := range other.Boxes {
		first, known := t.boxes[b.Label]
		if !known {
			t.boxes[b.Label] = path
			t.Boxes = append(t.Boxes, b)
		} else if i := slices.IndexFunc(t.Boxes, func(x Box) bool { return x.Label == b.Label }); i < 0 || !slices.Equal(t.Boxes[i].cells(), b.cells()) {
			clash("box", b.Label, first)
		}
	}
	for _, g := range other.Gaskets {
		first, known := t.gaskets[g.Label]
		if !known {
			t.gaskets[g.Label] = path
			t.Gaskets = append(t.Gaskets, g)
		} else if i := slices.IndexFunc(t.Gaskets, func(x Gasket) bool { return x.Label == g.Label }); i < 0 || !slices.Equal(t.Gaskets[i].cells(), g.cells()) {
			clash("gasket", g.Label, first)
		}
	}
	events := len(t.Events)
	for _, e := range other.Events {
		if !slices.ContainsFunc(t.Events[:events], func(x Event) bool { return slices.Equal(x.cells(), e.cells()) }) {
			t.Events = append(t.Events, e)
		}
	}
	setup := len(t.Setup)
	for _, s := range other.Setup {
		if !slices.Contains(t.Setup[:setup], s) {
			t.Setup = append(t.Setup, s)
		}
	}
}
