package report

import (
	"bufio"
	"io"
	"strings"

	"sealbound/cmd/internal/texttab"
)

// Markdown writes the same page as Text, with tables as GitHub shows them. What
// comes from the data is escaped, so that a label can neither break a table nor
// bring in markup. Nothing is written if any number is not finite.
func Markdown(w io.Writer, doc *Document) error {
	blocks, err := page(doc)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	put := func(parts ...string) {
		for _, s := range parts {
			out.WriteString(s) // errors stick; Flush reports the first
		}
		out.WriteByte('\n')
	}
	put("# sealbound ", escaped(doc.Command))
	for _, b := range blocks {
		if b.title != "" {
			put()
			put("## ", escaped(b.title))
		}
		if b.text != "" {
			put()
			put(paragraph(b.text))
		}
		if b.grid != nil {
			put()
			b.grid.markdown(put)
		}
		for i, s := range b.bullets {
			if i == 0 {
				put()
			}
			put("- ", paragraph(s))
		}
		for i, s := range b.lines {
			if i == 0 {
				put()
			}
			put("    ", texttab.Clean(s)) // a block of code: nothing in it is markup
		}
	}
	return out.Flush()
}

func (g *grid) markdown(put func(...string)) {
	heads, rule := "|", "|"
	for _, c := range g.columns {
		heads += " " + escaped(joinHead(c.head)) + " |"
		if c.text {
			rule += " --- |"
		} else {
			rule += " ---: |"
		}
	}
	put(heads)
	put(rule)
	for i := range g.n {
		line := "|"
		for _, c := range g.columns {
			line += " " + escaped(c.cells[i]) + " |"
		}
		put(line)
	}
}

// joinHead puts a head of two lines on one; a hyphen at the break was only there
// for the break.
func joinHead(head string) string {
	return strings.ReplaceAll(strings.ReplaceAll(head, "-\n", ""), "\n", " ")
}

var markup = strings.NewReplacer(
	`\`, `\\`, "`", "\\`", `*`, `\*`, `_`, `\_`, `[`, `\[`, `]`, `\]`, `|`, `\|`, `~`, `\~`, `$`, `\$`,
	`<`, `&lt;`, `>`, `&gt;`, `&`, `&amp;`)

// escaped takes away the meaning that characters have within a line of markdown.
func escaped(s string) string { return markup.Replace(texttab.Clean(s)) }

// paragraph also takes away the meaning of what begins a line: of a head, a list
// or a rule.
func paragraph(s string) string {
	s = escaped(s)
	if s != "" && strings.ContainsRune("#+-=:", rune(s[0])) {
		return `\` + s
	}
	return s
}
