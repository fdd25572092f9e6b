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

// nameFittings fills in occasion.fitting. A label in the data stands. Without one,
// a fitting of a gasket in a box ends where another installation date is given,
// where an event renews it (an event counts from its own day on), and where
// another gasket was tested in the box in between.
func (c *campaign) nameFittings() (notes []string) {
	tested := make(map[string]map[string][]time.Time) // box, gasket: dates
	var last *occasion
	for _, cl := range c.closings {
		if cl.occasion == last || cl.Date.IsZero() {
			continue
		}
		last = cl.occasion
		if tested[cl.Box] == nil {
			tested[cl.Box] = make(map[string][]time.Time)
		}
		tested[cl.Box][cl.Gasket] = append(tested[cl.Box][cl.Gasket], cl.Date)
	}
	type place struct{ box, gasket string }
	parted := make(map[place][]time.Time)
	for box, gaskets := range tested {
		for gasket := range gaskets {
			parted[place{box, gasket}] = partings(gaskets, gasket)
		}
	}
	renewed := make(map[string][]ingest.Event) // by box
	for _, e := range c.summary.Events {
		if newFitting[e.Kind] {
			renewed[e.Box] = append(renewed[e.Box], e)
		}
	}
	undated := make(map[string]bool)
	last = nil
	for _, cl := range c.closings {
		if cl.occasion == last {
			continue
		}
		last = cl.occasion
		if cl.Fitting != "" {
			cl.fitting = cl.Fitting
			continue
		}
		key := civil(cl.Installed)
		if n := eventsBefore(renewed[cl.Box], cl.Date); n > 0 {
			key += fmt.Sprintf(" after event %d", n)
		}
		if n := stints(parted[place{cl.Box, cl.Gasket}], cl.Date); n > 0 {
			key += fmt.Sprintf(" stint %d", n+1)
		}
		cl.fitting = key
		if cl.Date.IsZero() && len(renewed[cl.Box]) > 0 && !undated[cl.Box] {
			undated[cl.Box] = true
			notes = append(notes, fmt.Sprintf("box %s has events but closings without a date: those closings are taken as before the first event", cl.Box))
		}
	}
	return notes
}

// eventsBefore counts the events up to a day.
func eventsBefore(events []ingest.Event, day time.Time) (n int) {
	for _, e := range events {
		if !day.IsZero() && !e.Date.After(day) {
			n++
		}
	}
	return n
}

// partings are the days, in order, on which tests of the gasket in a box began again
// after days on which only other gaskets were tested there.
func partings(tested map[string][]time.Time, gasket string) (out []time.Time) {
	if len(tested) < 2 {
		return nil
	}
	var others []time.Time
	for other, dates := range tested {
		if other != gasket {
			others = append(others, dates...)
		}
	}
	own := slices.Clone(tested[gasket])
	slices.SortFunc(own, time.Time.Compare)
	own = slices.CompactFunc(own, time.Time.Equal)
	slices.SortFunc(others, time.Time.Compare)
	for i := 1; i < len(own); i++ {
		at, _ := slices.BinarySearchFunc(others, own[i-1], func(d, after time.Time) int {
			if d.After(after) {
				return 1
			}
			return -1
		})
		if at < len(others) && others[at].Before(own[i]) {
			out = append(out, own[i])
		}
	}
	return out
}

// stints counts how often, up to date, tests were parted.
func stints(parted []time.Time, date time.Time) (n int) {
	if date.IsZero() {
		return 0
	}
	for n < len(parted) && !parted[n].After(date) {
		n++
	}
	return n
}
