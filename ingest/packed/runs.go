package packed

import (
	"encoding/json"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
)

// A stretch is rows that stand together and have the same run and date.
type stretch struct {
	run  string
	date cell.Day
	rows int
	open bool // an open reading is among them
}

// addRuns notes the stretches of a batch.
func (l *Layout) addRuns(b *reading.Batch, n int, label string) {
	for i := range n {
		k := len(l.runs) - 1
		if k < 0 || l.runs[k].run != label || l.runs[k].date != b.Date[i] {
			l.runs = append(l.runs, stretch{run: label, date: b.Date[i]})
			k++
		}
		l.runs[k].rows++
		l.runs[k].open = l.runs[k].open || b.Kind[i] == reading.Open
	}
}

// A runEntry is how a stretch is written.
type runEntry struct {
	Run  string `json:"run"`
	Date string `json:"date,omitempty"`
	Rows int    `json:"rows"`
	Open bool   `json:"open,omitempty"`
}

// writeRuns writes stretches as JSON.
func writeRuns(runs []stretch) string {
	list := make([]runEntry, len(runs))
	for i, s := range runs {
		list[i] = runEntry{s.run, s.date.String(), s.rows, s.open}
	}
	text, err := json.Marshal(list)
	if err != nil {
		panic(err) // texts and whole numbers
	}
	return string(text)
}

// readRuns reads what writeRuns wrote, of a file of so many rows.
func readRuns(text string, rows int) ([]stretch, *columnar.Fault) {
	wrong := &columnar.Fault{What: "its list of runs does not go with its rows", Mend: "pack it again"}
	var list []runEntry
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nil, wrong
	}
	runs, sum := make([]stretch, len(list)), 0
	for i, e := range list {
		day := cell.NoDay
		if e.Date != "" {
			var fault *cell.Fault
			if day, fault = cell.ParseDay([]byte(e.Date)); fault != nil {
				return nil, wrong
			}
		}
		if e.Rows <= 0 || e.Rows > rows-sum {
			return nil, wrong
		}
		sum += e.Rows
		runs[i] = stretch{e.Run, day, e.Rows, e.Open}
	}
	if sum != rows {
		return nil, wrong
	}
	return runs, nil
}
