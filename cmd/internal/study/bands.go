package study

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"sealbound/cmd/internal/report"
)

// ituBands are bands 4 to 12 of the ITU Radio Regulations, Article 2 (Rec. ITU-R
// V.431): band N reaches from 0.3 x 10^N to 3 x 10^N Hz, lower limit excluded,
// upper limit included.
var ituBands = []report.Band{
	{Name: "VLF", LoHz: 3e3, HiHz: 3e4}, {Name: "LF", LoHz: 3e4, HiHz: 3e5}, {Name: "MF", LoHz: 3e5, HiHz: 3e6},
	{Name: "HF", LoHz: 3e6, HiHz: 3e7}, {Name: "VHF", LoHz: 3e7, HiHz: 3e8}, {Name: "UHF", LoHz: 3e8, HiHz: 3e9},
	{Name: "SHF", LoHz: 3e9, HiHz: 3e10}, {Name: "EHF", LoHz: 3e10, HiHz: 3e11}, {Name: "THF", LoHz: 3e11, HiHz: 3e12},
}

// bandsFor returns the bands that the setting names, given the frequencies of the
// campaign in ascending order. Bands without a frequency are left out for itu.
func bandsFor(setting string, freqs []float64) ([]report.Band, error) {
	switch setting {
	case "itu":
		var used []report.Band
		for _, b := range ituBands {
			for _, f := range freqs {
				if f > b.LoHz && f <= b.HiHz {
					used = append(used, b)
					break
				}
			}
		}
		return used, nil
	case "each":
		var each []report.Band
		for _, f := range freqs {
			each = append(each, report.Band{Name: megahertz(f), LoHz: f, HiHz: f})
		}
		return each, nil
	case "all":
		if len(freqs) == 0 {
			return nil, nil
		}
		return []report.Band{{Name: "all", LoHz: freqs[0], HiHz: freqs[len(freqs)-1]}}, nil
	}
	return namedBands(setting)
}

func namedBands(setting string) ([]report.Band, error) {
	refuse := func(text string) error {
		return &UsageError{"bands", text, "allowed are itu, each, all, or NAME=LO-HI in MHz, several joined by commas, such as low=30-300,high=300-3000"}
	}
	var bands []report.Band
	for _, part := range strings.Split(setting, ",") {
		name, span, ok := strings.Cut(part, "=")
		lo, hi, ok2 := strings.Cut(span, "-")
		a, err1 := strconv.ParseFloat(strings.TrimSpace(lo), 64)
		b, err2 := strconv.ParseFloat(strings.TrimSpace(hi), 64)
		name = strings.TrimSpace(name)
		if !ok || !ok2 || name == "" || err1 != nil || err2 != nil || !(a >= 0) || !(b > a) || math.IsInf(b, 0) {
			return nil, refuse(part)
		}
		for _, other := range bands {
			if other.Name == name {
				return nil, refuse(part)
			}
		}
		bands = append(bands, report.Band{Name: name, LoHz: a * 1e6, HiHz: b * 1e6})
	}
	return bands, nil
}

// inBand reports whether f belongs to band i: lower edge excluded, upper included.
// A lower edge that no other band ends on is included too, so that a reading on
// the outermost edge is not lost.
func inBand(f float64, bands []report.Band, i int) bool {
	b := bands[i]
	if f == b.LoHz {
		for j, other := range bands {
			if j != i && other.HiHz == f {
				return false
			}
		}
		return !itu(b) // 30 MHz is HF, even where no other reading lies in HF
	}
	return f > b.LoHz && f <= b.HiHz
}

func itu(b report.Band) bool {
	for _, k := range ituBands {
		if k == b {
			return true
		}
	}
	return false
}

// megahertz prints a frequency in MHz with the digits it needs.
func megahertz(hz float64) string {
	return fmt.Sprintf("%s MHz", strconv.FormatFloat(math.Round(hz)/1e6, 'f', -1, 64))
}
