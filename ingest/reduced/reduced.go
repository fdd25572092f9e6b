// Package reduced reads and writes closing-level tables: one row per closing and
// band, holding the mean attenuation of the closing over the points of the band. It
// is the small form of a large archive, made by pack --reduce or by a query of the
// engine that holds the archive.
//
// What single points showed is gone: the weakest point, the lowest reading, the
// drift. The mean over points is in dB.
package reduced

import (
	"fmt"
	"strconv"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// Kind is what the metadata of a packed file call such a table.
const Kind = "closings"

// A Row is one closing in one band. Numbers that are not given are NaN.
type Row struct {
	Text            [reading.Columns]string // labels, of the columns in Texts
	Date, Installed cell.Day
	LoHz, HiHz      float64 // edges of the band
	AttenDB         float64 // mean over the points of the band, dB; of limited readings what they demonstrate
	Limited         bool    // some reading was at the receiver's floor: the mean is at least the figure
	LimitedShare    float64 // the share of the points at which it was; NaN: not known, so taken as all
	HeadroomDB      float64 // mean over the points
	// The open readings that served the closing: how often they were repeated, and
	// the SD of their means over the points, dB.
	OpenRepeats int
	OpenSDDB    float64
	Line        int
}

// Texts are the columns of labels, in their order in a file.
var Texts = func() []reading.Column {
	list := []reading.Column{reading.Run, reading.Session, reading.Box, reading.Gasket, reading.Fitting, reading.Closing, reading.Reference}
	for c := reading.FirstContext; c < reading.Columns; c++ {
		list = append(list, c)
	}
	return list
}()

// needed are the columns that a table must have.
var needed = []string{"box", "gasket", "closing", "band_lo_hz", "band_hi_hz", "atten_db"}

// The names of the columns that the long format lacks.
const (
	bandLo   = "band_lo_hz"
	bandHi   = "band_hi_hz"
	limited  = "limited"
	share    = "limited_share"
	headroom = "headroom_db"
	repeats  = "open_repeats"
	openSD   = "open_sd_db"
)

// Is reports whether these are the names of a closing-level table: a band instead of
// a frequency.
func Is(names []string) bool {
	lo, hi := false, false
	for _, n := range names {
		switch strings.ToLower(strings.TrimSpace(n)) {
		case bandLo:
			lo = true
		case bandHi:
			hi = true
		case "freq_hz", "freq_khz", "freq_mhz", "freq_ghz", "state":
			return false
		}
	}
	return lo && hi
}

// mark begins the label of a place that stands for a band: no label in the data
// holds a zero byte.
const mark = "\x00band "

// place is the label of one half of a band. A closing has two readings of a band,
// equal but for being limited: where some of its points were, one of the two is.
func place(lo, hi float64, half int) string {
	return mark + strconv.FormatFloat(lo, 'g', -1, 64) + " " + strconv.FormatFloat(hi, 'g', -1, 64) + " " + strconv.Itoa(half)
}

// Band reads a label that place has made; ok is false for other labels.
func Band(label string) (lo, hi float64, half int, ok bool) {
	rest, ok := strings.CutPrefix(label, mark)
	if !ok {
		return 0, 0, 0, false
	}
	if _, err := fmt.Sscanf(rest, "%g %g %d", &lo, &hi, &half); err != nil {
		return 0, 0, 0, false
	}
	return lo, hi, half, true
}

// Check says what keeps a row from being written, nil for nothing.
func (r *Row) Check() error {
	if column, what, _ := r.sound(); what != "" {
		return fmt.Errorf("%s %s", column, what)
	}
	return nil
}

// sound says what is wrong with a row, and in which column; nothing for most.
func (r *Row) sound() (column, what, mend string) {
	for _, c := range []reading.Column{reading.Box, reading.Gasket, reading.Closing} {
		if r.Text[c] == "" {
			return c.Name(), "is empty, and a closing needs it", "write the " + c.Name() + "'s label"
		}
	}
	within := func(v float64) bool { return v != v || v >= -reading.MostDB && v <= reading.MostDB }
	switch {
	case !(r.LoHz >= 0) || r.LoHz > mostHz:
		return bandLo, "is not the edge of a band", "write it in Hz"
	case !(r.HiHz > 0) || r.HiHz < r.LoHz || r.HiHz > mostHz:
		return bandHi, "is not above the band's lower edge", "write both edges in Hz"
	case r.AttenDB != r.AttenDB || !within(r.AttenDB):
		return "atten_db", "is not an attenuation that a set-up could show", fmt.Sprintf("attenuations lie within %d dB of zero", reading.MostDB)
	case r.LimitedShare < 0 || r.LimitedShare > 1:
		return share, "is not a share", "write a number from 0 to 1"
	case !within(r.HeadroomDB):
		return headroom, "is not an attenuation that a set-up could show", fmt.Sprintf("attenuations lie within %d dB of zero", reading.MostDB)
	case r.OpenRepeats < 0 || r.OpenRepeats > mostRepeats:
		return repeats, "is not a number of repeats", fmt.Sprintf("write a whole number up to %d", mostRepeats)
	case r.OpenSDDB < 0 || !within(r.OpenSDDB):
		return openSD, "is not a standard deviation", "write a number of dB"
	case r.Date != cell.NoDay && r.Installed > r.Date:
		return "installed", "lies after the date of the closing", "correct one of the two dates"
	}
	return "", "", ""
}

const (
	mostHz      = 1e15
	mostRepeats = 1000
)
