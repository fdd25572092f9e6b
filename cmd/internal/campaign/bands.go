package campaign

import (
	"math"

	"sealbound/stats/simulate"
)

// ITU returns the bands of Rec. ITU-R V.431 that hold any of the points: band N
// from 0.3*10^N Hz, excluded, to 3*10^N Hz, included.
func ITU(points []simulate.Point) []simulate.Band {
	names := [...]string{4: "VLF", 5: "LF", 6: "MF", 7: "HF", 8: "VHF", 9: "UHF", 10: "SHF", 11: "EHF"}
	var out []simulate.Band
	for n := 4; n < len(names); n++ {
		b := simulate.Band{Name: names[n], LoHz: 3 * math.Pow10(n-1), HiHz: 3 * math.Pow10(n)}
		for _, p := range points {
			if b.Holds(p.FreqHz) {
				out = append(out, b)
				break
			}
		}
	}
	return out
}
