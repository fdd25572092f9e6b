package report

import (
	"fmt"
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
	heads []string // may hold a newline
	text  []bool   // text column, else numbers
	rows  [][]string
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
		blocks = append(blocks, block{text: strings.Join(doc.Cautions, " ")})
	}
	return blocks, nil
}

// judgeTables are the tables of a judgement in their order.
var judgeTables = []struct {
	part, title string
	shows       func([]JudgeRow) bool
}{
	{answer, "Against the target, dB ({confidence} confidence, one-sided)", nil},
	{single, "What one closing shows, dB ({confidence} confidence, one-sided)", nil},
	{point, "What single points show: the lower bound of each point's own mean, dB ({confidence} confidence)", nil},
	{limited, "With the limited readings modelled, dB ({confidence} confidence, one-sided)",
		some(func(r *JudgeRow) bool { return r.Censored != nil })},
	{method, "What the bounds rest on", nil},
}

func judgeBlocks(doc *Document) []block {
	if len(doc.Judge) == 0 {
		return nil
	}
	groups := make([][]Label, len(doc.Judge))
	for i, r := range doc.Judge {
		groups[i] = r.Group
	}
	fill := levelsOf(doc.Settings)
	var blocks []block
	for _, t := range judgeTables {
		if t.shows != nil && !t.shows(doc.Judge) {
			continue
		}
		g := &grid{rows: make([][]string, len(doc.Judge))}
		for _, f := range labelFields(groups) {
			g.add(f, true, func(i int) string { return labelValue(groups[i], f) })
		}
		g.add("band", true, func(i int) string { return doc.Judge[i].Band.Name })
		lifted := g.columns(t.part, doc.Judge, fill)
		b := block{title: fill.Replace(t.title), text: lifted, grid: g}
		if t.part == answer {
			b.bullets = reasons(doc.Judge)
		}
		blocks = append(blocks, b)
	}
	return blocks
}

// reasons names the rows that have one.
func reasons(rows []JudgeRow) []string {
	var lines []string
	for _, r := range rows {
		if r.Reason == "" {
			continue
		}
		var names []string
		for _, l := range r.Group {
			names = append(names, l.Value)
		}
		lines = append(lines, strings.Join(append(names, r.Band.Name), ", ")+": "+r.Reason)
	}
	return lines
}

func (g *grid) add(head string, text bool, cell func(i int) string) {
	g.heads = append(g.heads, head)
	g.text = append(g.text, text)
	for i := range g.rows {
		s := cell(i)
		if s == "" {
			s = undefined
		}
		g.rows[i] = append(g.rows[i], s)
	}
}

// columns adds the columns of one part and returns what all rows have in common
// as sentences.
func (g *grid) columns(part string, rows []JudgeRow, fill *strings.Replacer) (lifted string) {
	var sentences []string
	for _, c := range judgeColumns {
		if c.show == nil || c.show.part != part || c.show.shows != nil && !c.show.shows(rows) {
			continue
		}
		if c.show.lift != "" {
			if s, same := common(rows, c.show.cell); same {
				if s != "" {
					sentences = append(sentences, c.show.lift+s+".")
				}
				continue
			}
		}
		g.add(fill.Replace(c.show.head), c.show.text, func(i int) string { return c.show.cell(&rows[i]) })
	}
	return strings.Join(sentences, " ")
}

func common(rows []JudgeRow, cell func(*JudgeRow) string) (string, bool) {
	first := cell(&rows[0])
	for i := range rows {
		if cell(&rows[i]) != first {
			return "", false
		}
	}
	return first, true
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
		g := &grid{heads: []string{"", ""}, text: []bool{true, false}}
		for _, c := range checkColumns {
			g.rows = append(g.rows, []string{c.show.head, c.show.cell(r)})
		}
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
	g := &grid{heads: []string{"file", "rows", "used", "skipped", "blank"}, text: []bool{true, false, false, false, false}}
	for _, in := range inputs {
		if len(inputs) <= manyFiles || in.Skipped > 0 {
			g.rows = append(g.rows, []string{in.Path, strconv.Itoa(in.Rows), strconv.Itoa(in.Used), strconv.Itoa(in.Skipped), strconv.Itoa(in.Blank)})
		}
	}
	if len(g.rows) > 0 {
		b.grid = g
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
