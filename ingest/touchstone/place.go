package touchstone

import (
	"bytes"
	"strings"

	"sealbound/ingest/reading"
)

// Place finds the frequency that begins a line again. Of a level it says the line
// alone: what it was worked out from may stand on others.
func Place(data []byte, line int, c reading.Column) reading.Place {
	p := reading.Place{Line: line, Column: 1}
	for n := 1; n < line; n++ {
		i := bytes.IndexByte(data, '\n')
		if i < 0 {
			return p
		}
		data = data[i+1:]
	}
	text, _, _ := bytes.Cut(data, []byte("\n"))
	body, _, _ := strings.Cut(string(bytes.TrimSuffix(text, []byte("\r"))), "!")
	if tokens := split(body, nil); len(tokens) > 0 {
		p.Column = tokens[0].column
		if c == reading.Freq {
			p.Field, p.Text = "frequency", strings.ToValidUTF8(tokens[0].text, "\uFFFD")
		}
	}
	return p
}
