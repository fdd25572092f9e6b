package touchstone

import (
	"fmt"

	"sealbound/ingest/cell"
)

// noiseValues is how many numbers a row of noise data has: the frequency, the
// least noise figure, the source reflection (two) and the noise resistance.
const noiseValues = 5

var noiseNames = [noiseValues]string{"noise frequency", "noise figure", "noise reflection", "noise reflection", "noise resistance"}

// noiseBegins tells whether a line of five numbers in a version 1 two-port file
// begins the noise data: its frequency does not exceed the last of the network.
func (p *parser) noiseBegins(first token) bool {
	if p.file.Ports != 2 || p.last.line == 0 {
		return false
	}
	hz, fault := cell.Number([]byte(first.text), p.option.scale)
	return fault == nil && hz <= p.last.hz
}

// noiseRow checks a row of noise data, which is not kept.
func (p *parser) noiseRow(tokens []token, line int) {
	p.file.NoiseRows++
	if has := len(tokens); has != noiseValues {
		p.add(line, tokens[min(has-1, noiseValues)].column, "", "", fmt.Sprintf("%d values, a row of noise data has %d", has, noiseValues), "correct the row; network data come before noise data")
		return
	}
	p.frequency(tokens[0], line, &p.lastNoise, true) // nothing is paired by it
	for i, t := range tokens[1:] {
		if _, fault := cell.Number([]byte(t.text), 0); fault != nil {
			p.add(line, t.column, noiseNames[i+1], t.text, fault.What, fault.Mend)
		}
	}
}
