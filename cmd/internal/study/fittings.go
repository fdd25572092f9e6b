package study

import (
	"fmt"
	"slices"
	"time"

	"sealbound/ingest"
)

// newFitting are the events that start a new fitting: after them the seal is not
// the one that was tested before.
var newFitting = map[string]bool{"replaced": true, "repaired": true, "cleaned": true, "adjusted": true}

// nameFittings fills in closing.fitting. A label in the data stands. Without one,
// a fitting of a gasket in a box ends where another installation date is given,
// where an event renews it (an event counts from its own day on), and where
// another gasket was tested in the box in between.
func (c *campaign) nameFittings() (notes []string) {
	tested := make(map[string]map[string][]time.Time) // box, gasket: dates
	for _, cl := range c.closings {
		if cl.Date.IsZero() {
			continue
		}
		if tested[cl.Box] == nil {
			tested[cl.Box] = make(map[string][]time.Time)
		}
		tested[cl.Box][cl.Gasket] = append(tested[cl.Box][cl.Gasket], cl.Date)
	}
	undated := make(map[string]bool)
	for i := range c.closings {
		cl := &c.closings[i]
		if cl.Fitting != "" {
			cl.fitting = cl.Fitting
			continue
		}
		key := civil(cl.Installed)
		if n := eventsBefore(c.summary.Events, *cl); n > 0 {
			key += fmt.Sprintf(" after event %d", n)
		}
		if n := stints(tested[cl.Box], cl.Gasket, cl.Date); n > 0 {
			key += fmt.Sprintf(" stint %d", n+1)
		}
		cl.fitting = key
		if cl.Date.IsZero() && hasEvents(c.summary.Events, cl.Box) && !undated[cl.Box] {
			undated[cl.Box] = true
			notes = append(notes, fmt.Sprintf("box %s has events but closings without a date: those closings are taken as before the first event", cl.Box))
		}
	}
	return notes
}

// eventsBefore counts the events that renewed the seal of the closing's box up to
// its day.
func eventsBefore(events []ingest.Event, cl closing) (n int) {
	for _, e := range events {
		if e.Box == cl.Box && newFitting[e.Kind] && !cl.Date.IsZero() && !e.Date.After(cl.Date) {
			n++
		}
	}
	return n
}

func hasEvents(events []ingest.Event, box string) bool {
	return slices.ContainsFunc(events, func(e ingest.Event) bool { return e.Box == box && newFitting[e.Kind] })
}

// stints counts how often, before date, tests of the gasket in a box were parted by
// days on which only other gaskets were tested there.
func stints(tested map[string][]time.Time, gasket string, date time.Time) (n int) {
	if len(tested) < 2 || date.IsZero() {
		return 0
	}
	own := slices.Clone(tested[gasket])
	slices.SortFunc(own, time.Time.Compare)
	own = slices.CompactFunc(own, time.Time.Equal)
	for i := 1; i < len(own) && !own[i].After(date); i++ {
		parted := false
		for other, dates := range tested {
			if other == gasket {
				continue
			}
			for _, d := range dates {
				parted = parted || d.After(own[i-1]) && d.Before(own[i])
			}
		}
		if parted {
			n++
		}
	}
	return n
}
