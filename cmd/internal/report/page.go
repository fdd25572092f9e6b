package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A block is a piece of the page that a person reads. Text and markdown lay out
// the same blocks. Only what is set is shown.
type block struct {
	title   string
	text    string   // a paragraph
	bullets []string // a list
	lines   []string // each on its line
	whole   bool     // lines are never broken: editors jump to the place they name
	grid    *grid
}

// A grid is a table of cells; columns without any head are a list of facts.
type grid struct {
	columns []gridColumn
	n       int      // rows
	titles  []string // of the groups to which rows belong; nil: none
}

type gridColumn struct {
	head  string // may hold a newline
	text  bool   // text column, else numbers
	label bool   // repeats what titles say
	lift  string // may go to the titles, where it starts so
	cells []string
}

// page is the Document as a person reads it: the answer first, then the tables,
// what was assumed and left out, the account of the input, the cautions.
func page(doc *Document) ([]block, error) {
	t, err := results(doc)
	if err != nil {
		return nil, err
	}
	if err := finite(doc, t); err != nil {
		return nil, err
	}
	var blocks []block
	switch len(doc.Headlines) {
	case 0:
	case 1:
		blocks = append(blocks, block{text: doc.Headlines[0]})
	default:
		blocks = append(blocks, block{bullets: doc.Headlines})
	}
	switch doc.Command {
	case "judge":
		blocks = append(blocks, judgeBlocks(doc)...)
	case "check":
		blocks = append(blocks, checkBlocks(doc)...)
	case "compare":
		blocks = append(blocks, compareBlocks(doc)...)
	case "spread":
		blocks = append(blocks, spreadBlocks(doc)...)
	case "wear":
		blocks = append(blocks, wearBlocks(doc)...)
	case "plan":
		tables, err := planBlocks(doc)
		if err != nil {
			return nil, err
		}
		blocks = append(blocks, tables...)
	}
	if len(doc.Notes) > 0 {
		blocks = append(blocks, block{title: "Notes", bullets: doc.Notes})
	}
	for _, e := range doc.Explain {
		blocks = append(blocks, block{title: e.Title, lines: e.Lines})
	}
	blocks = append(blocks, inputBlocks(doc.Inputs)...)
	if len(doc.Settings) > 0 {
		blocks = append(blocks, block{text: "Settings: " + settingsText(doc.Settings) + "."})
	}
	if len(doc.Cautions) > 0 {
		blocks = append(blocks, block{lines: doc.Cautions})
	}
	return blocks, nil
}

// judgeTables are the tables of a judgement in their order.
var judgeTables = []struct {
	part, title, legend string
	shows               func(*Document) bool
}{
	{answer, "Against the target, dB",
		"Lower bounds (≥) are one-sided with {confidence} confidence: of the mean, of the next closing, of {coverage} of all closings.", nil},
	{weakness, "Where it is weakest, dB",
		"The weakest point is that of the smallest margin of the lower bound of its own mean ({confidence} confidence).", nil},
	{limited, "With the limited readings modelled, dB", "",
		func(d *Document) bool { return some(func(r *JudgeRow) bool { return r.Censored != nil })(d.Judge) }},
	{method, "What the bounds rest on, dB", "", func(d *Document) bool { return len(d.Explain) > 0 }},
}

func judgeBlocks(doc *Document) []block {
	if len(doc.Judge) == 0 {
		return nil
	}
	fill := levelsOf(doc.Settings)
	var blocks []block
	for _, t := range judgeTables {
		if t.shows != nil && !t.shows(doc) {
			continue
		}
		rows := doc.Judge
		if t.part == limited {
			rows = modelled(rows)
		}
		g := gridOf(placesOf(rows))
		sentences := append([]string{fill.Replace(t.legend)}, g.addPart(t.part, rows, fill)...)
		b := block{title: t.title, text: strings.TrimSpace(strings.Join(sentences, " ")), grid: g}
		if t.part == answer {
			b.bullets = reasonsOf(placesOf(doc.Judge))
		}
		blocks = append(blocks, b)
	}
	return blocks
}

// modelled are the rows with limited readings that were modelled, or tried to be.
func modelled(rows []JudgeRow) (out []JudgeRow) {
	for _, r := range rows {
		if r.Censored != nil {
			out = append(out, r)
		}
	}
	return out
}

// placesOf are the groups and bands of the rows.
func placesOf(rows []JudgeRow) []place {
	places := make([]place, len(rows))
	for i, r := range rows {
		places[i] = place{group: r.Group, band: r.Band.Name, reason: r.Reason}
	}
	return places
}

func (g *grid) add(c gridColumn, cell func(i int) string) {
	for i := range g.n {
		s := cell(i)
		if s == "" {
			s = undefined
		}
		c.cells = append(c.cells, s)
	}
	g.columns = append(g.columns, c)
}

// addPart adds the columns of one part and returns what all rows have in common
// as sentences.
func (g *grid) addPart(part string, rows []JudgeRow, fill *strings.Replacer) []string {
	var sentences []string
	for _, c := range judgeColumns {
		if c.show == nil || c.show.part != part || c.show.shows != nil && !c.show.shows(rows) {
			continue
		}
		g.add(gridColumn{head: fill.Replace(c.show.head), text: c.show.text, lift: c.show.lift},
			func(i int) string { return c.show.cell(&rows[i]) })
		last := g.columns[len(g.columns)-1]
		if last.lift == "" || slices.ContainsFunc(last.cells, func(s string) bool { return s != last.cells[0] }) {
			continue
		}
		g.columns = g.columns[:len(g.columns)-1]
		if last.cells[0] != undefined {
			sentences = append(sentences, last.lift+last.cells[0]+".")
		}
	}
	return sentences
}

// levelsOf puts the confidence and the coverage in force into heads and titles.
func levelsOf(settings []Setting) *strings.Replacer {
	of := func(name string) string {
		for _, s := range settings {
			if x, ok := s.Value.(float64); ok && s.Name == name {
				return percent(x)
			}
		}
		return name
	}
	return strings.NewReplacer("{confidence}", of("confidence"), "{coverage}", of("coverage"))
}

func checkBlocks(doc *Document) []block {
	var blocks []block
	for i := range doc.Check {
		r := &doc.Check[i]
		g := &grid{n: len(checkColumns)}
		g.add(gridColumn{text: true}, func(i int) string { return checkColumns[i].show.head })
		g.add(gridColumn{}, func(i int) string { return checkColumns[i].show.cell(r) })
		blocks = append(blocks, block{grid: g})
		if len(r.Problems) > 0 {
			var lines []string
			for _, p := range r.Problems {
				lines = append(lines, p.String())
			}
			blocks = append(blocks, block{title: "Problems", lines: lines, whole: true})
		}
	}
	return blocks
}

// manyFiles is the number of files beyond which only those that lost rows are
// listed one by one.
const manyFiles = 10

func inputBlocks(inputs []Input) []block {
	if len(inputs) == 0 {
		return nil
	}
	var sum Input
	for _, in := range inputs {
		sum.Rows, sum.Used, sum.Skipped, sum.Blank = sum.Rows+in.Rows, sum.Used+in.Used, sum.Skipped+in.Skipped, sum.Blank+in.Blank
	}
	from := inputs[0].Path
	if len(inputs) > 1 {
		from = counted(len(inputs), "file")
	}
	b := block{text: "Read " + from + ": " + account(sum) + "."}
	if len(inputs) == 1 {
		return []block{b}
	}
	var listed []Input
	for _, in := range inputs {
		if len(inputs) <= manyFiles || in.Skipped > 0 {
			listed = append(listed, in)
		}
	}
	if len(listed) == 0 {
		return []block{b}
	}
	b.grid = &grid{n: len(listed)}
	b.grid.add(gridColumn{head: "file", text: true}, func(i int) string { return listed[i].Path })
	for _, c := range []struct {
		head string
		of   func(Input) int
	}{
		{"rows", func(in Input) int { return in.Rows }}, {"used", func(in Input) int { return in.Used }},
		{"skipped", func(in Input) int { return in.Skipped }}, {"blank", func(in Input) int { return in.Blank }},
	} {
		b.grid.add(gridColumn{head: c.head}, func(i int) string { return strconv.Itoa(c.of(listed[i])) })
	}
	return []block{b}
}

func account(in Input) string {
	return fmt.Sprintf("%s = %d used + %d skipped + %d blank", counted(in.Rows, "row"), in.Used, in.Skipped, in.Blank)
}

// settingsText lists the settings that have a value.
func settingsText(settings []Setting) string {
	var parts []string
	for _, s := range settings {
		v := cellText(s.Value)
		if v == "" || v == "false" {
			continue
		}
		parts = append(parts, s.Name+"="+v)
	}
	return strings.Join(parts, ", ")
}

// cellText is a value as words: numbers in shortest exact digits, nothing for
// what is undefined.
func cellText(v any) string {
	switch v := v.(type) {
	case bool:
		return strconv.FormatBool(v)
	case int:
		return strconv.Itoa(v)
	case uint64:
		return strconv.FormatUint(v, 10)
	case float64:
		return shortest(v)
	case string:
		return v
	case []string:
		return strings.Join(v, ";")
	case []Problem:
		return strconv.Itoa(len(v))
	}
	return ""
}
