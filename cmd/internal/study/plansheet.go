package study

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"

	spreadsheet "sealbound/ingest/cell"
	"sealbound/stats/plan"
)

// sheetHeader are the columns of a recording sheet, which are those of the input.
// Position and polarization stand there only where a point has them.
var sheetHeader = []string{"run", "date", "session", "box", "gasket", "fitting", "installed", "closing", "state", "sweep",
	"freq_mhz", "position", "polarization", "level_dbm", "gain_db", "tx_dbm", "operator", "note"}

// sheet lays out the recording sheet of the layout proposed.
func (p *planner) sheet() ([]byte, error) {
	if p.chosen == (plan.Layout{}) {
		return nil, misuse("sheet", p.s.SheetFile, "there is no plan to write a sheet for: "+p.row.Reason)
	}
	settings := plan.SheetSettings{Closings: p.chosen.Closings, Seed: p.s.Seed}
	for i := range p.chosen.Sessions {
		label := fmt.Sprintf("session-%d", i+1)
		if len(p.s.Dates) > 0 {
			label = civil(p.s.Dates[i])
		}
		settings.Sessions = append(settings.Sessions, label)
	}
	products := p.s.Gasket
	if len(products) == 0 {
		products = p.gasket
	}
	for _, box := range p.sheetBoxes() {
		settings.Boxes = append(settings.Boxes, plan.SheetBox{Label: box, Products: products})
	}
	settings.Points = p.sheetPoints()
	sheet, err := plan.NewSheet(settings)
	if err != nil {
		return nil, misuse("sheet", p.s.SheetFile, inWords(err))
	}
	p.headline("the recording sheet %s asks for %s in %s, in random order (seed %d): open reference, closings of each box, floor, open reference again. Fill in level_dbm; the empty sheet is refused.",
		p.s.SheetFile, count(len(sheet.Rows), "reading"), plural("act", "acts", sheet.Acts), p.s.Seed)
	if len(products) > 1 {
		p.n.add(fmt.Sprintf("sheet: %s in every box, one after the other; each change of product is a new fitting", count(len(products), "product")), "")
	}
	if len(p.s.Dates) == 0 {
		p.n.add("sheet: write the day into date (as in 2024-05-31), or give the days with --dates", "")
	}
	p.n.add("sheet: gain_db and tx_dbm are filled in for every row of a run or for none; installed is the day on which the strip went in", "")
	return sheetCSV(sheet, len(p.s.Dates) > 0)
}

// sheetBoxes names as many boxes as the layout has. Of more that are known some are
// drawn; where they are too few, new ones are named.
func (p *planner) sheetBoxes() []string {
	known := p.s.Box
	if p.past != nil {
		known = p.box
	}
	if n := p.chosen.Boxes; len(known) > n {
		known = slices.Clone(known)
		draw := rand.New(rand.NewPCG(p.s.Seed, boxStream))
		draw.Shuffle(len(known), func(i, j int) { known[i], known[j] = known[j], known[i] })
		left := len(known) - n
		known = slices.Clone(known[:n])
		sortLabels(known)
		p.n.add(fmt.Sprintf("sheet: %s drawn at random from those known, %d left out: %s", count(n, "box"), left, someOf(known)), "")
		return known
	}
	boxes := slices.Clone(known)
	for i := 1; len(boxes) < p.chosen.Boxes; i++ {
		if name := fmt.Sprintf("box-%d", i); !slices.Contains(boxes, name) {
			boxes = append(boxes, name)
		}
	}
	if n := len(boxes) - len(known); n > 0 {
		p.n.add(fmt.Sprintf("sheet: %s without a name of its own yet, called box-1 and so on: give yours with --box", count(n, "box")), "")
	}
	return boxes
}

// boxStream tells this use of a seed from others.
const boxStream = 0x626f786573 // "boxes" in ASCII

// sheetPoints are those named, each frequency at each position and polarization, or
// those of the past data.
func (p *planner) sheetPoints() []plan.Point {
	var out []plan.Point
	if len(p.s.FrequenciesMHz) == 0 && p.past != nil {
		for _, x := range p.pastPoints() {
			out = append(out, plan.Point{FreqHz: x.FreqHz, Position: x.Position, Polarization: x.Polarization})
		}
		return out
	}
	orNone := func(names []string) []string {
		if len(names) == 0 {
			return []string{""}
		}
		return names
	}
	for _, f := range p.s.FrequenciesMHz {
		for _, position := range orNone(p.s.Positions) {
			for _, polarization := range orNone(p.s.Polarizations) {
				out = append(out, plan.Point{FreqHz: f * 1e6, Position: position, Polarization: polarization})
			}
		}
	}
	return out
}

// sheetCSV writes a sheet in the input format, levels left empty. Sessions that are
// days fill the date.
func sheetCSV(sheet plan.Sheet, dated bool) ([]byte, error) {
	position := slices.ContainsFunc(sheet.Rows, func(r plan.SheetRow) bool { return r.Position != "" })
	polarization := slices.ContainsFunc(sheet.Rows, func(r plan.SheetRow) bool { return r.Polarization != "" })
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	line := make([]string, 0, len(sheetHeader))
	put := func(text func(name string) string) error {
		line = line[:0]
		for _, name := range sheetHeader {
			if name == "position" && !position || name == "polarization" && !polarization {
				continue
			}
			line = append(line, spreadsheet.Guarded(text(name)))
		}
		return w.Write(line)
	}
	if err := put(func(name string) string { return name }); err != nil {
		return nil, err
	}
	for _, r := range sheet.Rows {
		err := put(func(name string) string {
			switch name {
			case "run":
				return r.Run
			case "date":
				if dated {
					return r.Session
				}
			case "session":
				return r.Session
			case "box":
				return r.Box
			case "gasket":
				return r.Gasket
			case "fitting":
				return r.Fitting
			case "closing":
				return r.Closing
			case "state":
				return r.State
			case "sweep":
				return r.Sweep
			case "freq_mhz":
				return strconv.FormatFloat(r.FreqHz/1e6, 'f', -1, 64)
			case "position":
				return r.Position
			case "polarization":
				return r.Polarization
			case "note":
				if r.NewStrip {
					return "new strip"
				}
			}
			return ""
		})
		if err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
