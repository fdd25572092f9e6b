package study

import (
	"fmt"
	"slices"
	"time"
)

// newFitting are the events that start a new fitting: after them the seal is not
// the one that was tested before.
var newFitting = map[string]bool{"replaced": true, "repaired": true, "cleaned": true, "adjusted": true}

// nameFittings fills in occasion.fitting. A label in the data stands. Without one,
// a fitting of a gasket in a box ends where another installation date is given,
// where an event renews it (an event counts from its own day on), and where
// another gasket was tested in the box in between.
func (c *campaign) nameFittings() (notes []string) {
	parted := c.partings()
	renewed := make(map[string][]time.Time) // by box
	for _, e := range c.summary.Events {
		if newFitting[e.Kind] {
			renewed[e.Box] = append(renewed[e.Box], e.Date)
		}
	}
	for _, days := range renewed {
		slices.SortFunc(days, time.Time.Compare)
	}
	undated := make(map[string]bool)
	var last *occasion
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
		if n := upTo(renewed[cl.Box], cl.Date); n > 0 {
			key += fmt.Sprintf(" after event %d", n)
		}
		if n := upTo(parted[seat{cl.Box, cl.Gasket}], cl.Date); n > 0 {
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

// A seat is where strips of one product are fitted one after another.
type seat struct{ box, gasket string }

// partings are the days, in order, on which tests of a gasket in a box began again
// after days on which only other gaskets were tested there.
func (c *campaign) partings() map[seat][]time.Time {
	out := make(map[seat][]time.Time)
	var days, own []time.Time                // of one box; of one gasket in it
	for left := c.closings; len(left) > 0; { // the closings of a box follow each other, and in them those of a gasket
		n, gaskets := 1, 1
		for ; n < len(left) && left[n].Box == left[0].Box; n++ {
			if left[n].Gasket != left[n-1].Gasket {
				gaskets++
			}
		}
		box := left[:n]
		left = left[n:]
		if gaskets == 1 {
			continue
		}
		days = daysOf(days[:0], box)
		for len(box) > 0 {
			n := 1
			for n < len(box) && box[n].Gasket == box[0].Gasket {
				n++
			}
			own = daysOf(own[:0], box[:n])
			for i := 1; i < len(own); i++ {
				from, _ := slices.BinarySearchFunc(days, own[i-1], time.Time.Compare)
				if !days[from+1].Equal(own[i]) { // a day of other gaskets alone lies between
					k := seat{box[0].Box, box[0].Gasket}
					out[k] = append(out[k], own[i])
				}
			}
			box = box[n:]
		}
	}
	return out
}

// daysOf lists the days of closings behind days, in order, each once.
func daysOf(days []time.Time, closings []*closing) []time.Time {
	for i, cl := range closings {
		if (i == 0 || cl.occasion != closings[i-1].occasion) && !cl.Date.IsZero() {
			days = append(days, cl.Date)
		}
	}
	slices.SortFunc(days, time.Time.Compare)
	return slices.CompactFunc(days, time.Time.Equal)
}

// upTo counts the days, which are in order, up to date; none where it is not known.
func upTo(days []time.Time, date time.Time) int {
	if date.IsZero() {
		return 0
	}
	n, _ := slices.BinarySearchFunc(days, date, func(d, date time.Time) int {
		if d.After(date) {
			return 1
		}
		return -1
	})
	return n
}
