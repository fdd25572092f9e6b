package campaign

import (
	"encoding/json"
	"sort"
	"strconv"
	"strings"
	"time"

	"sealbound/stats/simulate"
)

// A sideFile is a small file that lies beside the readings.
type sideFile struct {
	name string
	body []byte
}

// sideTable reports whether a name is one of the side tables.
func sideTable(name string) bool {
	switch strings.ToLower(name) {
	case "boxes.csv", "gaskets.csv", "events.csv", "setup.csv":
		return true
	}
	return false
}

func sideFiles(c *simulate.Campaign, l *Layout) ([]sideFile, error) {
	truth, err := truthFile(c, l)
	if err != nil {
		return nil, err
	}
	out := []sideFile{
		{"boxes.csv", boxTable(c, l)},
		{"gaskets.csv", gasketTable(c, l)},
		{"setup.csv", setupTable(l)},
		{"truth.json", truth},
	}
	if events := eventsOf(c, l); len(events) > 0 {
		out = append(out, sideFile{"events.csv", eventTable(events)})
	}
	if l.Readme != "" {
		out = append(out, sideFile{"README.md", []byte(l.Readme)})
	}
	return out, nil
}

// truthFile is the campaign's Truth as indented JSON.
func truthFile(c *simulate.Campaign, l *Layout) ([]byte, error) {
	date := l.Truth.Date
	if date.IsZero() {
		for _, e := range c.Settings().Sessions {
			if e.Date.After(date) {
				date = e.Date
			}
		}
	}
	truth, err := c.Truth(date, l.Truth.Share)
	if err != nil {
		return nil, err
	}
	body, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		return nil, err
	}
	return append(body, '\n'), nil
}

func boxTable(c *simulate.Campaign, l *Layout) []byte {
	known := map[string]BoxRow{}
	for _, b := range l.Boxes {
		known[b.Box] = b
	}
	rows := [][]string{{"box", "role", "type", "perimeter_mm", "channel_width_mm", "channel_depth_mm"}}
	for _, b := range c.Settings().Boxes {
		role := "test"
		if b.Control {
			role = "control"
		}
		r := known[b.Label]
		rows = append(rows, []string{b.Label, role, r.Type, filled(r.PerimeterMM), filled(r.ChannelWidthMM), filled(r.ChannelDepthMM)})
	}
	return table(rows)
}

func gasketTable(c *simulate.Campaign, l *Layout) []byte {
	known := map[string]GasketRow{}
	for _, g := range l.Gaskets {
		known[g.Gasket] = g
	}
	rows := [][]string{{"gasket", "width_mm", "thickness_mm", "strip_length_mm", "strip_price", "currency"}}
	for _, p := range c.Settings().Products {
		r := known[p.Label]
		rows = append(rows, []string{p.Label, filled(r.WidthMM), filled(r.ThicknessMM), filled(r.StripLengthMM), filled(r.StripPrice), r.Currency})
	}
	return table(rows)
}

// eventsOf returns the layout's events, else one for each strip that followed
// another in its box.
func eventsOf(c *simulate.Campaign, l *Layout) []Event {
	if l.Events != nil {
		return l.Events
	}
	var out []Event
	for _, b := range c.Settings().Boxes {
		for i, f := range b.Fittings {
			if i > 0 {
				out = append(out, Event{f.Installed, b.Label, "replaced", f.Product + " put in"})
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Date.Before(out[j].Date) })
	return out
}

func eventTable(events []Event) []byte {
	rows := [][]string{{"date", "box", "event", "text"}}
	for _, e := range events {
		rows = append(rows, []string{e.Date.Format(time.DateOnly), e.Box, e.Kind, e.Text})
	}
	return table(rows)
}

func setupTable(l *Layout) []byte {
	setup := l.Setup
	if setup == nil {
		setup = []Setup{{Field: "note", Value: "made-up data from a simulation; nothing here was measured"}}
	}
	rows := [][]string{{"run", "field", "value"}}
	for _, s := range setup {
		rows = append(rows, []string{s.Run, s.Field, s.Value})
	}
	return table(rows)
}

// filled writes a length or price; empty where it is not given.
func filled(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func table(rows [][]string) []byte {
	var b strings.Builder
	for _, row := range rows {
		for i, text := range row {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(cell(text))
		}
		b.WriteByte('\n')
	}
	return []byte(b.String())
}
