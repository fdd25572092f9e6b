package main

import (
	"slices"

	"sealbound/cmd/internal/study"
)

// idleOptions are flags of judge that another command takes too, though they play no
// part in it: one set of flags is often given to several commands. Their values are
// checked as in judge. Help does not show them, and a note tells that they were given.
func idleOptions(names ...string) []option {
	s := study.DefaultSettings() // nobody reads it
	var out []option
	for _, o := range slices.Concat(judgingOptions(&s), choosingOptions(&s)) {
		if slices.Contains(names, o.name) {
			o.idle = true
			out = append(out, o)
		}
	}
	return out
}
