package campaign

import (
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"sealbound/stats/simulate"
)

// flushAt is when the row buffer goes to the file, bytes.
const flushAt = 1 << 20

// A rowWriter turns sweeps into lines of CSV. What does not change within a
// sweep is put together once, so that a line costs two copies and a number.
type rowWriter struct {
	c        *simulate.Campaign
	settings simulate.Settings
	layout   *Layout
	gain     bool
	points   []string // of each point: frequency, position, polarization, each with a comma behind it
	tail     string   // the constant fields, each with a comma before it, and the line's end
	header   string
	buffer   []byte
	floor    []float64 // dBm of the run's floor where it goes into a column
	runs     int64     // written
	out      io.Writer
	err      error
}

func newRowWriter(c *simulate.Campaign, l *Layout) *rowWriter {
	w := &rowWriter{c: c, settings: c.Settings(), layout: l, gain: l.Gain || len(c.Settings().GainSteps) > 0}
	position, polarization := false, false
	for _, p := range w.settings.Points {
		position = position || p.Position != ""
		polarization = polarization || p.Polarization != ""
	}
	for _, p := range w.settings.Points {
		text := strconv.FormatFloat(p.FreqHz/freqUnits[l.FreqColumn], 'f', -1, 64) + ","
		if position {
			text += cell(p.Position) + ","
		}
		if polarization {
			text += cell(p.Polarization) + ","
		}
		w.points = append(w.points, text)
	}
	names := []string{"run"}
	names = addIf(names, l.Session, "session")
	names = append(names, "date", "box", "gasket")
	names = addIf(names, l.Fitting, "fitting")
	names = addIf(names, l.Installed, "installed")
	names = append(names, "closing")
	names = addIf(names, w.sweepColumn(), "sweep")
	names = append(names, "state")
	names = addIf(names, w.gain, "gain_db")
	names = append(names, l.FreqColumn)
	names = addIf(names, position, "position")
	names = addIf(names, polarization, "polarization")
	names = append(names, "level_dbm")
	names = addIf(names, w.floorColumn(), "floor_dbm")
	for _, f := range l.Fields {
		names = append(names, cell(f.Column))
		w.tail += "," + cell(f.Value)
	}
	w.tail += "\n"
	w.header = strings.Join(names, ",") + "\n"
	return w
}

func addIf(names []string, wanted bool, name string) []string {
	if wanted {
		return append(names, name)
	}
	return names
}

func (w *rowWriter) sweepColumn() bool { return w.settings.Sweeps > 1 || w.settings.OpenRepeats > 1 }

func (w *rowWriter) floorColumn() bool {
	return w.layout.Floor == FloorColumn && w.settings.Floor != nil
}

// file writes the header and the rows of the runs.
func (w *rowWriter) file(out io.Writer, runs []int) error {
	w.out, w.err, w.buffer = out, nil, append(w.buffer[:0], w.header...)
	for _, run := range runs {
		w.floor = nil
		if err := w.c.EachSweep(run, func(s simulate.Sweep) error { return w.sweep(run, s) }); err != nil {
			return err
		}
		if w.runs++; w.layout.Progress != nil {
			w.layout.Progress(w.runs, int64(len(w.c.Runs())))
		}
	}
	return w.flush()
}

func (w *rowWriter) flush() error {
	if w.err == nil {
		_, w.err = w.out.Write(w.buffer)
	}
	w.buffer = w.buffer[:0]
	return w.err
}

// sweep appends one row for each point that was read.
func (w *rowWriter) sweep(run int, s simulate.Sweep) error {
	if s.State == simulate.Floor && w.layout.Floor != FloorRows {
		w.floor = append(w.floor[:0], s.LevelDBM...)
		return nil
	}
	head := w.head(run, s)
	for i, level := range s.LevelDBM {
		if math.IsNaN(level) {
			continue
		}
		w.buffer = append(w.buffer, head...)
		w.buffer = append(w.buffer, w.points[i]...)
		w.buffer = appendFixed(w.buffer, level, w.layout.Decimals)
		if w.floorColumn() {
			w.buffer = append(w.buffer, ',')
			if s.State == simulate.Closed {
				w.buffer = appendFixed(w.buffer, w.floor[i], w.layout.Decimals)
			}
		}
		w.buffer = append(w.buffer, w.tail...)
		if len(w.buffer) >= flushAt {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// head is what the rows of a sweep begin with, up to the frequency.
func (w *rowWriter) head(run int, s simulate.Sweep) string {
	r := &w.c.Runs()[run]
	session := w.settings.Sessions[r.Session]
	cells := []string{r.Label}
	cells = addIf(cells, w.layout.Session, session.Name())
	cells = append(cells, session.Date.Format(time.DateOnly))
	box, gasket, fitting, installed, closing, sweep := "", "", "", "", "", ""
	if s.State == simulate.Closed {
		v := &w.c.Visits()[s.Visit]
		box, gasket, fitting = w.settings.Boxes[v.Box].Label, w.settings.Products[v.Product].Label, v.FittingLabel
		installed, closing = v.Installed.Format(time.DateOnly), strconv.Itoa(s.Closing)
		if w.settings.Sweeps > 1 {
			sweep = strconv.Itoa(s.Number)
		}
	}
	if s.State == simulate.Open && w.settings.OpenRepeats > 1 {
		sweep = openLabel(s.Number, w.settings.OpenRepeats)
	}
	cells = append(cells, box, gasket)
	cells = addIf(cells, w.layout.Fitting, fitting)
	cells = addIf(cells, w.layout.Installed, installed)
	cells = append(cells, closing)
	cells = addIf(cells, w.sweepColumn(), sweep)
	cells = append(cells, stateNames[s.State])
	cells = addIf(cells, w.gain, strconv.FormatFloat(s.GainDB, 'f', -1, 64))
	var b strings.Builder
	for _, c := range cells {
		b.WriteString(cell(c))
		b.WriteByte(',')
	}
	return b.String()
}

var stateNames = [...]string{simulate.Open: "open", simulate.Closed: "closed", simulate.Floor: "floor"}

// openLabel names an open sweep by when in its run it was read.
func openLabel(number, of int) string {
	switch number {
	case 1:
		return "start"
	case of:
		return "end"
	}
	return strconv.Itoa(number)
}

// cell quotes a text where CSV needs it (RFC 4180, 2).
func cell(text string) string {
	if !strings.ContainsAny(text, ",\"\r\n") && strings.TrimSpace(text) == text {
		return text
	}
	return `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// appendFixed appends a level with so many decimals, 0 to 9, rounded half away
// from zero, and never a minus sign before nothing but zeros.
func appendFixed(b []byte, x float64, decimals int) []byte {
	scaled := math.Round(x * powersOfTen[decimals])
	if math.Abs(scaled) >= 1<<53 {
		return strconv.AppendFloat(b, x, 'f', decimals, 64)
	}
	n := int64(scaled)
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	if decimals == 0 {
		return strconv.AppendInt(b, n, 10)
	}
	unit := int64(powersOfTen[decimals])
	b = strconv.AppendInt(b, n/unit, 10)
	b = append(b, '.')
	from := len(b)
	for range decimals {
		b = append(b, '0')
	}
	for rest, i := n%unit, len(b)-1; i >= from; i-- {
		b[i] = byte('0' + rest%10)
		rest /= 10
	}
	return b
}
