package campaign

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// tracesSeed is that of the example of traces.
const tracesSeed = 20240413

// WriteTraces writes the example of testdata/traces into the folder dir: what two
// analysers save of two invented boxes, with the tables runs.csv that say what each
// file is of. In spring a swept receiver, whose traces are Latin-1 with semicolons,
// decimal commas and lines above the header; in summer a network analyser. It
// refuses what Write refuses.
func WriteTraces(dir string, overwrite bool) error {
	files := tracesFiles()
	var names []string
	for _, f := range files {
		names = append(names, f.name)
	}
	return place(dir, names, overwrite, func(dir string) error { return writeSide(dir, files) })
}

// The frequencies of every trace.
var tracedMHz = []float64{30, 60, 145, 433.92, 868, 1300, 2450, 3000}

// A tracedBox is one box and how much it takes off at each frequency, dB.
type tracedBox struct {
	name    string
	fitting string
	truth   []float64
}

func tracedBoxes() []tracedBox {
	return []tracedBox{
		{"Fennbank", "braid of 2024", []float64{63, 62, 60, 58, 57, 56, 57, 58}},
		{"Sallow", "braid of 2024", []float64{71, 70, 69, 70, 73, 76, 82, 86}},
	}
}

// tracesFiles makes the files, in the order in which they are written.
func tracesFiles() []sideFile {
	random := rand.New(rand.NewPCG(tracesSeed, 0))
	var files []sideFile
	add := func(name, body string) { files = append(files, sideFile{name, []byte(body)}) }
	spring := listed("file,run,date,box,gasket,fitting,closing,sweep,state,receiver,encoding,delimiter,decimal,header_line,points,limited")
	summer := listed("file,run,date,box,gasket,fitting,closing,sweep,state,receiver")
	const profile = ",latin-1,semicolon,comma,6,8,"

	// One open reference, two sweeps, serves the day; levels are those of the
	// receiver, dBm, or of the network, dB.
	open := func(base float64) []float64 {
		levels := make([]float64, len(tracedMHz))
		for i, mhz := range tracedMHz {
			levels[i] = base - 3*math.Log10(mhz/30) + 0.15*random.NormFloat64()
		}
		return levels
	}
	add("spring/open-start.csv", sweptTrace(open(-22), math.Inf(-1)))
	spring.row("open-start.csv,A,2024-04-13,,,,,start,open,sweep receiver" + profile)
	add("summer/open-1.s2p", network(random, open(-31)))
	summer.row("open-1.s2p,B,2024-06-08,,,,,1,open,network analyser")
	const springFloor, summerFloor = -104, -121.0
	for _, b := range tracedBoxes() {
		visits := [2]float64{0.4 * random.NormFloat64(), 0.4 * random.NormFloat64()}
		for closing := 1; closing <= 5; closing++ {
			for day, base := range []float64{-22, -31} {
				luck := visits[day] + 0.8*random.NormFloat64()
				levels := make([]float64, len(tracedMHz))
				for i, level := range open(base) {
					levels[i] = level - b.truth[i] - luck + 0.6*random.NormFloat64()
				}
				name := fmt.Sprintf("%s-%d", strings.ToLower(b.name), closing)
				labels := fmt.Sprintf("%s,mossweave braid,%s,%d,,closed", b.name, b.fitting, closing)
				switch {
				case day == 1:
					add("summer/"+name+".s2p", network(random, levels))
					summer.row(name + ".s2p,B,2024-06-08," + labels + ",network analyser")
				case b.name == "Sallow" && closing == 5: // saved again by a spreadsheet
					add("spring/"+name+".csv", plainTrace(levels, springFloor))
					spring.row(name + ".csv,A,2024-04-13," + labels + ",sweep receiver,,,,,8,yes")
				default:
					text := sweptTrace(levels, springFloor)
					limited := ""
					if strings.Contains(text, "<") {
						limited = "yes"
					}
					add("spring/"+name+".csv", text)
					spring.row(name + ".csv,A,2024-04-13," + labels + ",sweep receiver" + profile + limited)
				}
			}
		}
	}
	add("spring/open-end.csv", sweptTrace(open(-22), math.Inf(-1)))
	spring.row("open-end.csv,A,2024-04-13,,,,,end,open,sweep receiver" + profile)
	add("summer/open-2.s2p", network(random, open(-31)))
	summer.row("open-2.s2p,B,2024-06-08,,,,,2,open,network analyser")
	floors := func(at float64) []float64 {
		levels := make([]float64, len(tracedMHz))
		for i := range levels {
			levels[i] = at + 0.5*random.NormFloat64()
		}
		return levels
	}
	add("spring/floor.csv", sweptTrace(floors(springFloor-8), math.Inf(-1)))
	spring.row("floor.csv,A,2024-04-13,,,,,,floor,sweep receiver" + profile)
	add("summer/floor.s2p", network(random, floors(summerFloor)))
	summer.row("floor.s2p,B,2024-06-08,,,,,,floor,network analyser")
	add("spring/runs.csv", spring.String())
	add("summer/runs.csv", summer.String())
	add("boxes.csv", "box,role,type\nFennbank,test,lantern chest\nSallow,test,lantern chest\n")
	add("setup.csv", "run,field,value\n,note,\"invented data from a seeded program; no chest, gasket or analyser of these names exists and nothing was measured\"\n")
	add("README.md", tracesReadme)
	return files
}

// A listing gathers the rows of a runs.csv.
type listing struct{ strings.Builder }

func listed(header string) *listing {
	l := &listing{}
	l.row(header)
	return l
}

func (l *listing) row(cells string) { l.WriteString(cells + "\n") }

// decimal writes a number with a comma.
func decimal(format string, v float64) string {
	return strings.Replace(fmt.Sprintf(format, v), ".", ",", 1)
}

// sweptTrace writes levels as the swept receiver does: Latin-1, CRLF, semicolons,
// decimal commas; < where a level lies below what it can tell from its noise.
func sweptTrace(levels []float64, floor float64) string {
	lines := []string{"Ger\xe4t;Wobbelempf\xe4nger (erfunden)", "Aufl\xf6sebandbreite;1,0 kHz", "Temperatur;18,5 \xb0C", "Punkte;8", "", "Frequenz [MHz];Pegel [dBm]"}
	for i, level := range levels {
		text := decimal("%.2f", level)
		if level < floor {
			text = "< " + decimal("%.1f", floor)
		}
		lines = append(lines, decimal("%.3f", tracedMHz[i])+";"+text)
	}
	return strings.Join(lines, "\r\n") + "\r\n"
}

// plainTrace writes levels as a comma-separated table.
func plainTrace(levels []float64, floor float64) string {
	text := "Frequency (MHz),Level (dBm)\n"
	for i, level := range levels {
		if level < floor {
			text += fmt.Sprintf("%.3f,<%.1f\n", tracedMHz[i], floor)
		} else {
			text += fmt.Sprintf("%.3f,%.2f\n", tracedMHz[i], level)
		}
	}
	return text
}

// network writes levels as |S21| of a two-port: the second pair of each row. The
// other parameters are made up around them.
func network(random *rand.Rand, levels []float64) string {
	text := "! invented; saved after calibration at the ends of the cables\n# MHz S DB R 50\n!freq S11 S21 S12 S22, each dB and degrees\n"
	for i, level := range levels {
		angle := func() float64 { return 360*random.Float64() - 180 }
		back := -8 - 4*random.Float64()
		text += fmt.Sprintf("%.3f %.2f %.1f %.2f %.1f %.2f %.1f %.2f %.1f\n", tracedMHz[i], back, angle(), level, angle(), level+0.2*random.NormFloat64(), angle(), back-1, angle())
	}
	return text
}

const tracesReadme = `# Traces of two analysers: invented data

Everything here is made up by a seeded program. There is no chest, gasket or
analyser of these names, and no level was measured.

The story: a society that looks after old lighthouses keeps spare lamp controllers
in two steel lantern chests, Fennbank and Sallow, sealed with mossweave braid. On a
Saturday in spring and one in summer each chest was closed five times and read at
eight frequencies, one sweep saved in a file.

- spring/: a swept receiver and its generator. Its traces are Latin-1 text with
  semicolons, decimal commas and five lines above the header; one was saved again
  by a spreadsheet. Levels that it could not tell from its noise are written as
  upper bounds (< -104,0).
- summer/: a network analyser, calibrated at the ends of the cables: .s2p files, of
  which |S21| is read.
- runs.csv in each: what each trace is a reading of, and how it is written.
- boxes.csv, setup.csv: side tables.

Worth finding: Sallow is the better chest, and above 2 GHz better than the receiver
of spring could show.

Made by: go run ./cmd/sealbound simulate --traces -o testdata/traces
`
