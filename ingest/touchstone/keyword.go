package touchstone

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A matrix says which half of the parameters a row holds.
type matrix int

const (
	full matrix = iota
	lower
	upper
)

// keywords is what the keywords of version 2.0 have said; a line of 0 means that
// the keyword has not been seen.
type keywords struct {
	seen        map[string]int // keyword: line
	ports       int
	frequencies int
	noise       int
	references  []float64
	order       string // of S21 and S12: 21_12 or 12_21
	network     int    // line of [Network Data]
}

// keyword takes a line that begins with [ apart: the name in lower case with
// single blanks, and what follows it.
func keyword(body string) (name, rest string, restColumn int) {
	open := strings.IndexByte(body, '[')
	closing := strings.IndexByte(body[open:], ']')
	if closing < 0 {
		return "", "", 0
	}
	closing += open
	name = strings.ToLower(strings.Join(strings.Fields(body[open+1:closing]), " "))
	return name, body[closing+1:], closing + 1
}

// Where each keyword may stand.
var (
	headerKeywords = []string{"version", "number of ports", "two-port data order", "number of frequencies",
		"number of noise frequencies", "reference", "matrix format", "mixed-mode order", "begin information", "network data"}
	laterKeywords = []string{"noise data", "end"}
)

// keyword takes in a keyword line and reports whether to go on.
func (p *parser) keyword(body string, column, line int) bool {
	name, rest, offset := keyword(body)
	shown := strings.TrimSpace(body)
	words := split(rest, nil)
	for i := range words {
		words[i].column += offset
	}
	if name == "" {
		p.ruin(line, column, "", shown, "a keyword without its closing bracket", "write ] behind it")
		return false
	}
	if p.file.Version == "" {
		if name != "version" {
			p.ruin(line, column, "", shown, "a keyword in a file that does not begin with [Version]", "write [Version] 2.0 above all else if the file follows version 2.0; version 1 has no keywords")
			return false
		}
		if p.option != nil || p.count.Rows > 0 {
			p.ruin(line, column, "", shown, "[Version] is not the first line", "move it above the option line")
			return false
		}
	}
	if p.section == referenceValues {
		p.ruin(line, column, "", shown, fmt.Sprintf("[Reference] has %d of %d resistances", len(p.header.references), p.header.ports), "write one for each port")
		p.section = top
	}
	late := slices.Contains(laterKeywords, name)
	switch {
	case !late && !slices.Contains(headerKeywords, name):
		p.ruin(line, column, "", shown, "an unknown keyword", "save the file as version 1 or 2.0")
		return true
	case late && p.header.network == 0:
		p.ruin(line, column, "", shown, "stands before [Network Data]", "save the file again")
		return false
	case !late && p.header.network > 0:
		p.ruin(line, column, "", shown, "stands behind [Network Data]", "keep one network in a file; keywords come before its data")
		return false
	}
	if p.header.seen == nil {
		p.header.seen = map[string]int{}
	}
	if at, again := p.header.seen[name]; again {
		p.ruin(line, column, "", shown, fmt.Sprintf("the keyword stands already on line %d", at), "keep the one that holds")
		return true
	}
	p.header.seen[name] = line
	return p.heed(name, words, shown, column, line)
}

// heed does what a keyword in its place says.
func (p *parser) heed(name string, words []token, shown string, column, line int) bool {
	arguments, most := len(words), 1
	switch name {
	case "begin information", "network data", "noise data", "end":
		most = 0
	case "reference", "mixed-mode order":
		most = arguments
	}
	if arguments > most {
		extra := words[most]
		p.ruin(line, extra.column, "", extra.text, "text behind the keyword", "move it to a line of its own, or write it behind ! as a comment")
		return true
	}
	needs := func(mend string) bool {
		if arguments == 0 {
			p.ruin(line, column, "", shown, "a keyword without its value", mend)
		}
		return arguments > 0
	}
	switch name {
	case "version":
		return needs("write 2.0 behind it") && p.version(words[0], line)
	case "number of ports":
		if n, ok := p.number(words, shown, column, line); ok {
			p.ports(n, words[0], line)
		}
	case "number of frequencies":
		p.header.frequencies, _ = p.number(words, shown, column, line)
	case "number of noise frequencies":
		p.header.noise, _ = p.number(words, shown, column, line)
	case "two-port data order":
		if needs("write 21_12 or 12_21 behind it") {
			p.header.order = words[0].text
			if p.header.order != "21_12" && p.header.order != "12_21" {
				p.ruin(line, words[0].column, "", words[0].text, "is no order of S21 and S12", "write 21_12 or 12_21")
			}
		}
	case "matrix format":
		if needs("write Full, Lower or Upper behind it") {
			switch strings.ToLower(words[0].text) {
			case "full":
			case "lower":
				p.matrix = lower
			case "upper":
				p.matrix = upper
			default:
				p.ruin(line, words[0].column, "", words[0].text, "is no matrix format", "write Full, Lower or Upper")
			}
		}
	case "reference":
		if p.header.ports == 0 {
			p.ruin(line, column, "", shown, "stands before [Number of Ports]", "move it below")
			return false
		}
		p.section = referenceValues
		p.references(words, line)
	case "mixed-mode order":
		p.ruin(line, column, "", shown, "mixed-mode parameters are not read", "save single-ended S parameters, without [Mixed-Mode Order]")
	case "begin information":
		p.section = information
	case "network data":
		p.header.network = line
		return p.begin(line, column)
	case "noise data":
		p.beginNoise(line, column, shown)
	case "end":
		p.endRows()
		p.counts(line, column)
		p.section = end
	}
	return true
}

// version heeds [Version].
func (p *parser) version(t token, line int) bool {
	if t.text != "2.0" {
		p.ruin(line, t.column, "", t.text, "is a version that is not read", "save the file as version 1 or 2.0; version 1 has no [Version]")
		return false
	}
	p.file.Version = t.text
	return true
}

// number reads the count that a keyword gives.
func (p *parser) number(words []token, shown string, column, line int) (int, bool) {
	if len(words) == 0 {
		p.ruin(line, column, "", shown, "a keyword without its value", "write the number behind it")
		return 0, false
	}
	t := words[0]
	n, err := strconv.Atoi(t.text)
	if err != nil || n < 1 || t.text[0] < '0' || t.text[0] > '9' {
		p.ruin(line, t.column, "", t.text, "is not a count", "write a whole number from 1")
		return 0, false
	}
	return n, true
}

// ports heeds [Number of Ports], which the file's name must not contradict.
func (p *parser) ports(n int, t token, line int) {
	switch {
	case p.endingPorts > 0 && n != p.endingPorts:
		p.ruin(line, t.column, "", t.text, fmt.Sprintf("the file's name says %d ports", p.endingPorts), "rename the file, such as to .ts, or correct the number")
	case n > MaxPorts:
		p.tooManyPorts(line, t.column, t.text, n)
	}
	p.header.ports = n
}

// references takes in resistances of [Reference], which may stand on the lines
// below it.
func (p *parser) references(words []token, line int) {
	for _, t := range words {
		if len(p.header.references) == p.header.ports {
			p.ruin(line, t.column, "", t.text, fmt.Sprintf("[Reference] has more than %d resistances", p.header.ports), "write one for each port")
			break
		}
		p.header.references = append(p.header.references, p.resistance(t, line))
	}
	if len(p.header.references) == p.header.ports {
		p.section = top
	}
}

// referenceOhm is the reference resistance of each port.
func (p *parser) referenceOhm() []float64 {
	if len(p.header.references) > 0 {
		return p.header.references
	}
	ohm := make([]float64, p.file.Ports)
	for i := range ohm {
		ohm[i] = p.option.ohm
	}
	return ohm
}

// begin heeds [Network Data]: by now all that the rows need must have been said.
func (p *parser) begin(line, column int) bool {
	missing := func(what, mend string) bool {
		p.ruin(line, column, "", "", what, mend)
		return false
	}
	switch {
	case p.option == nil:
		return missing("no option line above [Network Data]", "write one below [Version], such as # MHz S DB R 50, with the unit and format that the data have")
	case p.header.ports == 0 && p.header.seen["number of ports"] > 0, p.header.ports > MaxPorts:
		return false // told already
	case p.header.ports == 0:
		return missing("[Number of Ports] is missing", "write it above [Network Data]")
	case p.header.ports == 2 && p.matrix == full && p.header.order == "":
		return missing("[Two-Port Data Order] is missing: the second pair may be S21 or S12", "write [Two-Port Data Order] 21_12 or 12_21 above [Network Data]")
	}
	if p.header.seen["number of frequencies"] == 0 {
		missing("[Number of Frequencies] is missing", "write it above [Network Data]")
	}
	p.section = networkData
	p.layOut()
	return true
}

// beginNoise heeds [Noise Data].
func (p *parser) beginNoise(line, column int, shown string) {
	p.endRows()
	if p.header.ports != 2 {
		p.ruin(line, column, "", shown, "only a network of two ports has noise data", "remove them, or save the file again")
	}
	if p.header.seen["number of noise frequencies"] == 0 {
		p.ruin(line, column, "", shown, "[Number of Noise Frequencies] is missing", "write it above [Network Data]")
	}
	p.section = noiseData
}

// counts compares the rows with the counts that the keywords promised.
func (p *parser) counts(line, column int) {
	if n, has := p.header.frequencies, p.sets; n > 0 && n != has {
		p.ruin(line, column, "", "", fmt.Sprintf("[Number of Frequencies] is %d, and the file has %d", n, has), "save the file again: it may be cut off; else correct the number")
	}
	if n, has := p.header.noise, p.file.NoiseRows; n > 0 && n != has {
		p.ruin(line, column, "", "", fmt.Sprintf("[Number of Noise Frequencies] is %d, and the file has %d", n, has), "save the file again: it may be cut off; else correct the number")
	}
}
