// Package campaign writes made-up campaigns as files in the input format: long
// CSV of readings, the side tables and the truth beside them. It also holds the
// settings of the demo campaign and of the yardstick for speed.
package campaign

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// A Layout says how a campaign is written. Start from DefaultLayout.
type Layout struct {
	Files      Files       // how the readings are divided among files
	Name       string      // of the file where there is a single one
	Decimals   int         // of the levels, 0 to 9
	FreqColumn string      // freq_hz, freq_khz, freq_mhz or freq_ghz
	Floor      FloorLayout // how the floor is given, where the campaign has one
	Session    bool        // write the column session; else a reader takes the date
	Fitting    bool        // write the column fitting
	Installed  bool        // write the column installed
	Gain       bool        // write gain_db even where no gain was changed

	Fields  []Field // columns with one value in all rows: receiver, rbw_hz, method, ...
	Boxes   []BoxRow
	Gaskets []GasketRow
	Events  []Event // events.csv; nil: one "replaced" for each strip that followed another
	Setup   []Setup // setup.csv; nil: one row that says the data are made up
	Readme  string  // README.md; empty: none

	Truth Truth

	Progress func(done, total int64) // told runs written, from the calling goroutine; nil: not told
}

// Truth says what truth.json speaks of.
type Truth struct {
	Date  time.Time // what ages count to; zero: the last session
	Share float64   // of future closings above the level it gives, above 0 and below 1
}

// Files is how readings are divided among files.
type Files int

// The divisions.
const (
	OneFile    Files = iota
	PerSession       // session-NAME.csv
	PerRun           // run-NAME.csv
)

// ParseFiles reads one, session or run.
func ParseFiles(text string) (Files, error) {
	for f, name := range fileNames {
		if name == text {
			return Files(f), nil
		}
	}
	return OneFile, fmt.Errorf("campaign: %q is none of %s", text, strings.Join(fileNames[:], ", "))
}

var fileNames = [...]string{OneFile: "one", PerSession: "session", PerRun: "run"}

func (f Files) String() string {
	if f < 0 || int(f) >= len(fileNames) {
		return fmt.Sprintf("Files(%d)", int(f))
	}
	return fileNames[f]
}

// FloorLayout is how the floor is given.
type FloorLayout int

// The ways.
const (
	FloorRows   FloorLayout = iota // rows with state floor
	FloorColumn                    // floor_dbm beside each closed reading
	NoFloor                        // not at all
)

// A Field is a column with the same value in every row.
type Field struct{ Column, Value string }

// A BoxRow completes boxes.csv; boxes without one have empty cells. Lengths in mm.
type BoxRow struct {
	Box, Type                                   string
	PerimeterMM, ChannelWidthMM, ChannelDepthMM float64
}

// A GasketRow completes gaskets.csv; products without one have empty cells.
type GasketRow struct {
	Gasket                                          string
	WidthMM, ThicknessMM, StripLengthMM, StripPrice float64
	Currency                                        string
}

// An Event is a row of events.csv. Kind: replaced, repaired, cleaned, adjusted,
// dropped or note.
type Event struct {
	Date            time.Time
	Box, Kind, Text string
}

// A Setup is a row of setup.csv. Run empty: the whole campaign.
type Setup struct{ Run, Field, Value string }

// DefaultLayout writes one file, levels with two decimals, frequencies in Hz,
// floor rows, and the columns fitting and installed.
func DefaultLayout() Layout {
	return Layout{
		Files: OneFile, Name: "readings.csv", Decimals: 2, FreqColumn: "freq_hz",
		Floor: FloorRows, Fitting: true, Installed: true, Truth: Truth{Share: 0.90},
	}
}

// freqUnits is how many Hz each frequency column counts in.
var freqUnits = map[string]float64{"freq_hz": 1, "freq_khz": 1e3, "freq_mhz": 1e6, "freq_ghz": 1e9}

func (l *Layout) check() error {
	switch {
	case l.Files < OneFile || l.Files > PerRun:
		return fmt.Errorf("campaign: no such division into files: %v", l.Files)
	case l.Floor < FloorRows || l.Floor > NoFloor:
		return fmt.Errorf("campaign: no such way to give the floor: %d", l.Floor)
	case l.Files == OneFile && (!strings.HasSuffix(l.Name, ".csv") || strings.ContainsAny(l.Name, `/\`) || sideTable(l.Name)):
		return fmt.Errorf("campaign: %q cannot name the file of readings; it must end in .csv and be no side table", l.Name)
	case l.Decimals < 0 || l.Decimals > 9:
		return fmt.Errorf("campaign: %d decimals; 0 to 9 can be written", l.Decimals)
	case freqUnits[l.FreqColumn] == 0:
		return fmt.Errorf("campaign: %q is no frequency column", l.FreqColumn)
	}
	for _, f := range l.Fields {
		if f.Column == "" {
			return errors.New("campaign: a field without a column name")
		}
	}
	return nil
}
