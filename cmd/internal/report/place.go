package report

import (
	"slices"
	"strings"
)

// A place is a group in a band.
type place struct {
	group  []Label
	band   string
	reason string // why something is not defined there
	again  bool   // the line goes on with the place of the one above
}

// gridOf begins a grid of one line per place with the labels of the groups and
// the bands.
func gridOf(places []place) *grid {
	g := &grid{n: len(places)}
	groups := make([][]Label, len(places))
	for i, p := range places {
		groups[i] = p.group
	}
	fields := labelFields(groups)
	for _, f := range fields {
		g.add(gridColumn{head: f, text: true, label: true}, func(i int) string { return labelValue(groups[i], f) })
	}
	if len(fields) > 0 {
		for _, group := range groups {
			g.titles = append(g.titles, groupName(group))
		}
	}
	g.add(gridColumn{head: "band", text: true}, func(i int) string {
		if places[i].again {
			return " "
		}
		return places[i].band
	})
	return g
}

// groupName is the name of a group in a sentence: gasket foil, box 007.
func groupName(group []Label) string {
	var parts []string
	for _, l := range group {
		parts = append(parts, l.Field+" "+l.Value)
	}
	return strings.Join(parts, ", ")
}

// reasonsOf gives the reasons, one line for the bands of a group that share one.
func reasonsOf(places []place) []string {
	var lines []string
	for i := 0; i < len(places); {
		end := i + 1
		for end < len(places) && places[end].reason == places[i].reason && slices.Equal(places[end].group, places[i].group) {
			end++
		}
		if reason := places[i].reason; reason != "" {
			var bands []string
			for _, p := range places[i:end] {
				bands = append(bands, p.band)
			}
			lines = append(lines, strings.TrimPrefix(groupName(places[i].group)+", "+strings.Join(bands, ", "), ", ")+": "+reason)
		}
		i = end
	}
	return lines
}
