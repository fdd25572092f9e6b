package report

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
)

// The view of a campaign, as its template reads it.

type campaignView struct {
	Style      template.CSS
	Title      string
	Plate      []Fact // the plate on top
	Lead       string // before the answers; may be empty
	Answers    []string
	Foot       string // after them; may be empty
	Glance     *htmlTable
	Tables     []htmlBlock
	ByBox      *htmlTable
	ByBoxNote  string
	Curves     figuresView
	Bounds     figuresView
	Spread     partView
	Wear       partView
	Compare    partView
	Notes      []string
	Account    accountView
	Confidence string
}

// figuresView is some pictures and how many were left out.
type figuresView struct {
	Figures []figureView
	Left    int
	What    string // what was left out: groups, rows
}

type figureView struct {
	Title   string // empty: its section says it
	SVG     template.HTML
	Caption string
}

// partView is the answer to a further question.
type partView struct {
	Answers []string
	Figures figuresView
	Tables  []htmlBlock
	Notes   []string // beyond those of the judgement
	Why     string   // there is no answer
}

type accountView struct {
	Account
	Facts    []Fact
	Setup    *htmlTable
	Side     []*htmlTable
	Files    *htmlTable
	Combined string // one digest for all files, where they are not all listed
	Sum      string
	Command  string
	Settings string
}

func (c *Campaign) view(l limits) (*campaignView, error) {
	p := c.pictures(l)
	v := &campaignView{Style: pageStyle, Title: c.Title, Notes: c.Judge.Notes}
	v.Lead, v.Answers, v.Foot = answersOf(c.Judge)
	v.Glance = glance(c.Judge.Judge, l.rows)
	v.Tables = htmlBlocks(judgeBlocks(c.Judge), l.rows, 2)
	if c.ByBox != nil {
		v.ByBox = glance(c.ByBox.Judge, l.rows)
		v.ByBoxNote = "The last test of each box, judged for itself by the same bound. The figure is the margin over the target."
	}
	var err error
	figures := func(from []namedPicture, left int, what string) figuresView {
		out := figuresView{Left: left, What: what}
		for _, n := range from {
			svg, failed := n.picture.Inline("f-" + n.Name)
			if failed != nil {
				err = failed
			}
			out.Figures = append(out.Figures, figureView{n.Head, svg, n.Caption})
		}
		return out
	}
	v.Curves = figures(p.curves, p.curvesLeft, "group")
	v.Bounds = figures(p.bounds, p.boundsLeft, "row")
	v.Spread = c.part(c.Spread, l, spreadBlocks, 0, figures(p.shares, p.sharesLeft, "row"))
	v.Wear = c.part(c.Wear, l, wearBlocks, 1, figures(p.trends, p.trendsLeft, "row"))
	v.Compare = c.part(c.Compare, l, compareBlocks, 1, figures(p.ranks, 0, ""))
	if err != nil {
		return nil, err
	}
	v.Account = c.Account.view(c.Judge, l)
	v.Plate = c.plate()
	return v, nil
}

// answersOf parts what is said of each group from what is said of all, before and
// after.
func answersOf(doc *Document) (lead string, answers []string, foot string) {
	groups := 0
	for i := range doc.Judge {
		if i == 0 || !slices.Equal(doc.Judge[i].Group, doc.Judge[i-1].Group) {
			groups++
		}
	}
	answers = doc.Headlines
	if last := len(answers) - 1; last > 0 && strings.HasPrefix(answers[last], "Valid for ") {
		answers, foot = answers[:last], answers[last]
	}
	if len(answers) > groups && groups > 1 {
		lead, answers = answers[0], answers[1:]
	}
	return lead, answers, foot
}

// part is a further question with what it says beyond the judgement.
func (c *Campaign) part(p Part, l limits, blocks func(*Document) []block, open int, figures figuresView) partView {
	v := partView{Why: p.Why}
	if p.Doc == nil {
		return v
	}
	v.Answers, v.Figures, v.Tables = p.Doc.Headlines, figures, htmlBlocks(blocks(p.Doc), l.rows, open)
	for _, n := range p.Doc.Notes {
		if !slices.Contains(c.Judge.Notes, n) {
			v.Notes = append(v.Notes, n)
		}
	}
	return v
}

// plate is what one wants to know of a report before reading it.
func (c *Campaign) plate() []Fact {
	fill := levelsOf(c.Judge.Settings)
	target := settingText(c.Judge.Settings, "target_db")
	if _, err := strconv.ParseFloat(target, 64); err == nil {
		target += " dB"
	}
	var when []Fact
	switch first, last := c.Account.First, c.Account.Last; {
	case first == "":
		when = []Fact{{"Tested", "no dates"}}
	case first == last:
		when = []Fact{{"Tested", first}}
	default:
		when = []Fact{{"First test", first}, {"Last test", last}}
	}
	boxes, closings := map[string]bool{}, 0
	for _, s := range c.Curves {
		closings += s.Closings
	}
	rows := c.Judge.Judge
	if c.ByBox != nil {
		rows = c.ByBox.Judge
	}
	for i := range rows {
		boxes[labelValue(rows[i].Group, "box")] = true
	}
	return append(when, []Fact{
		{"Target", target}, {"Decided by", boundName(settingText(c.Judge.Settings, "on")) + ", " + strings.ReplaceAll(fill.Replace("{confidence}"), " ", "\u00a0") + " confidence"},
		{"Behind it", fmt.Sprintf("%s, %s", counted(closings, "closing"), counted(len(boxes), "box"))},
	}...)
}

// boundName says in words which bound decides.
func boundName(on string) string {
	switch on {
	case "mean":
		return "lower bound of the mean"
	case "weakest":
		return "weakest frequency"
	case "coverage":
		return "bound of the share of closings"
	case "next":
		return "bound of the next closing"
	}
	return on
}

func (a Account) view(doc *Document, l limits) accountView {
	v := accountView{Account: a, Facts: a.Facts, Command: "sealbound " + quoted(a.Command)}
	if doc != nil {
		v.Settings = settingsText(doc.Settings)
	}
	if len(a.Setup) > 0 {
		t := SideTable{Title: "setup.csv, as it stands", Heads: []string{"run", "field", "value"}}
		for _, r := range a.Setup {
			t.Rows = append(t.Rows, []string{r.Run, r.Field, r.Value})
		}
		v.Setup = t.html(l.rows)
	}
	for _, t := range a.Side {
		v.Side = append(v.Side, t.html(l.rows))
	}
	v.Files, v.Combined = filesTable(a.Files, l.files)
	sum := Input{}
	for _, f := range a.Files {
		sum.Rows, sum.Used, sum.Skipped, sum.Blank = sum.Rows+f.Rows, sum.Used+f.Used, sum.Skipped+f.Skipped, sum.Blank+f.Blank
	}
	v.Sum = counted(len(a.Files), "file") + ", " + account(sum) + "."
	return v
}

func (t SideTable) html(most int) *htmlTable {
	out := &htmlTable{Caption: t.Title}
	for _, h := range t.Heads {
		out.Heads = append(out.Heads, htmlHead{Text: h, Num: strings.HasSuffix(h, ", mm")})
	}
	g := htmlGroup{}
	for i, row := range t.Rows {
		if i == most {
			out.More = len(t.Rows) - most
			break
		}
		var cells []htmlCell
		for k, text := range row {
			cells = append(cells, htmlCell{Text: text, Label: t.Heads[k], Num: out.Heads[k].Num})
		}
		g.Rows = append(g.Rows, cells)
	}
	out.Groups = []htmlGroup{g}
	return out
}

// filesTable lists the files with their digests; where there are too many, those
// that lost rows first, and one digest stands for all.
func filesTable(files []File, most int) (t *htmlTable, all string) {
	heads := []string{"file", "rows", "used", "skipped", "blank", "SHA-256"}
	t = &htmlTable{Caption: "Files"}
	for i, h := range heads {
		t.Heads = append(t.Heads, htmlHead{Text: h, Num: i > 0 && i < 5})
	}
	shown := files
	if len(files) > most {
		all = combined(files)
		shown = slices.Clone(files)
		slices.SortStableFunc(shown, func(a, b File) int { return b.Skipped - a.Skipped })
		t.More, shown = len(files)-most, shown[:most]
	}
	g := htmlGroup{}
	for _, f := range shown {
		digest := f.SHA256
		if digest == "" {
			digest = "not to be had: it cannot be read again"
		}
		row := []htmlCell{{Text: f.Path, Label: heads[0], Head: true}}
		for k, n := range []int{f.Rows, f.Used, f.Skipped, f.Blank} {
			text := strconv.Itoa(n)
			if !f.Table {
				text = undefined
			}
			row = append(row, htmlCell{Text: text, Label: heads[k+1], Num: true})
		}
		g.Rows = append(g.Rows, append(row, htmlCell{Text: digest, Label: heads[5], Kind: "digest"}))
	}
	t.Groups = []htmlGroup{g}
	return t, all
}

// combined is one digest for many files: that of the lines "digest  path" of each,
// as the usual tools print them.
func combined(files []File) string {
	sum := sha256.New()
	for _, f := range files {
		fmt.Fprintf(sum, "%s  %s\n", f.SHA256, f.Path)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// quoted writes words so that a shell reads them back.
func quoted(words []string) string {
	var out []string
	for _, w := range words {
		plain := w != "" && !strings.ContainsFunc(w, func(r rune) bool {
			return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./=,:+@%", r))
		})
		if !plain {
			w = "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
		}
		out = append(out, w)
	}
	return strings.Join(out, " ")
}
