package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sealbound/cmd/internal/plot"
)

// A namedPicture is a picture with the name of its file and what stands below it.
type namedPicture struct {
	Name, Head, Caption string // Head: what tells it from others of its kind
	picture             *plot.Picture
}

// pictures are all pictures of a page, by section.
type pictures struct {
	curves, bounds, shares, trends, ranks []namedPicture
	curvesLeft, boundsLeft, sharesLeft    int // not drawn
	trendsLeft                            int
	taken                                 map[string]bool
}

func (p *pictures) all() []namedPicture {
	return slices.Concat(p.curves, p.bounds, p.shares, p.trends, p.ranks)
}

// name makes a file name that no other picture has.
func (p *pictures) name(parts ...string) string {
	base := slug(strings.Join(parts, "-"))
	name := base
	for i := 2; p.taken[name]; i++ {
		name = base + "-" + strconv.Itoa(i)
	}
	p.taken[name] = true
	return name
}

func (p *pictures) put(to *[]namedPicture, picture *plot.Picture, head, caption string, name ...string) {
	if picture != nil {
		*to = append(*to, namedPicture{p.name(name...), head, caption, picture})
	}
}

func (c *Campaign) pictures(l limits) *pictures {
	p := &pictures{taken: map[string]bool{}}
	p.drawCurves(c.Curves, l)
	p.drawBounds(c.Judge, l)
	if doc := c.Spread.Doc; doc != nil {
		p.drawShares(doc.Spread, l)
	}
	if doc := c.Wear.Doc; doc != nil {
		p.drawTrends(doc, l)
	}
	if doc := c.Compare.Doc; doc != nil {
		p.drawRanks(doc)
	}
	return p
}

// title of a group in a heading: its values.
func groupTitle(g []Label) string {
	var parts []string
	for _, l := range g {
		switch {
		case l.Value == "":
			parts = append(parts, "no "+l.Field)
		case l.Field == "gasket" || l.Field == "box":
			parts = append(parts, l.Value)
		default:
			parts = append(parts, l.Field+" "+l.Value)
		}
	}
	if len(parts) == 0 {
		return "all closings"
	}
	return strings.Join(parts, ", ")
}

func (p *pictures) drawCurves(sets []CurveSet, l limits) {
	for i := range sets {
		if i == l.curves {
			p.curvesLeft = len(sets) - l.curves
			break
		}
		s := &sets[i]
		caption := s.caption()
		curves := plot.Curves{
			Title: "Attenuation over frequency: " + groupTitle(s.Group), Desc: caption,
			FreqHz: s.FreqHz, MostDB: s.along(s.HeadroomDB), TargetDB: s.along(s.TargetDB),
			Bytes: l.curveBytes / min(len(sets), l.curves),
		}
		for _, c := range s.Lines {
			curves.Closings = append(curves.Closings, s.line(c))
		}
		if r := s.Range; r != nil {
			curves.Range = &plot.Range{Lines: r.Lines, LowestDB: s.along(r.Lowest), HighestDB: s.along(r.Highest)}
		}
		for _, c := range s.Means {
			curves.Means = append(curves.Means, s.line(c))
		}
		for _, b := range s.Bands {
			curves.Bands = append(curves.Bands, plot.Band{Name: b.Name, LoHz: b.LoHz, HiHz: b.HiHz})
		}
		if w := s.Weakest; w != nil {
			curves.Weakest = &plot.Weakest{FreqHz: w.FreqHz, MeanDB: w.MeanDB, LowerDB: w.LowerDB,
				Label: megahertz(w.FreqHz) + " MHz ≥ " + decibels(w.LowerDB, telling(w.MarginDB, 1)) + " dB"}
		}
		p.put(&p.curves, curves.Picture(), groupTitle(s.Group), caption, "attenuation", groupTitle(s.Group))
	}
}

// DrawnSets is how many of the groups a page draws over frequency, at most.
func DrawnSets(sets int) int { return min(sets, pageLimits[0].curves) }

// DrawnLines is how many closings of each of so many groups a page draws one by one, at
// most; more are drawn as the range that they fill.
func DrawnLines(sets int) int {
	return pageLimits[0].curveBytes / max(DrawnSets(sets), 1) / plot.LineBytes
}

// caption says in words what the curves show.
func (s *CurveSet) caption() string {
	text := counted(s.Closings, "closing")
	if s.Places != "" {
		text += ", antenna at " + s.Places
	}
	text += "."
	if w := s.Weakest; w != nil {
		at := megahertz(w.FreqHz) + " MHz"
		if place := strings.TrimSpace(w.Position + " " + w.Polarization); place != "" {
			at += ", " + place
		}
		d := telling(w.MarginDB, 1)
		where := decibels(w.MarginDB, d) + " dB above"
		if w.MarginDB < 0 {
			where = decibels(-w.MarginDB, d) + " dB below"
		}
		text += fmt.Sprintf(" Weakest at %s: the lower bound of the mean is %s dB, %s the target.", at, decibels(w.LowerDB, d), where)
	} else {
		text += " No band has a bound at every point, so none is called the weakest."
	}
	limited := 0
	if s.Range != nil {
		limited = s.Range.Limited
	}
	for _, l := range s.Lines {
		for _, is := range l.Limited {
			if is {
				limited++
			}
		}
	}
	if limited > 0 {
		text += " " + counted(limited, "reading") + " limited by the receiver’s floor."
	}
	return text
}

// along lays a curve along all frequencies, NaN where it has nothing.
func (s *CurveSet) along(c Curve) []float64 {
	out := make([]float64, len(s.FreqHz))
	for i := range out {
		out[i] = math.NaN()
	}
	for k, at := range c.At {
		out[at] = c.DB[k]
	}
	return out
}

func (s *CurveSet) line(c Curve) plot.Line {
	l := plot.Line{Label: c.Label, DB: s.along(c)}
	if c.Limited != nil {
		l.Limited = make([]bool, len(s.FreqHz))
		for k, at := range c.At {
			l.Limited[at] = c.Limited[k]
		}
	}
	return l
}

func orNaN(n Number) float64 {
	if n == nil {
		return math.NaN()
	}
	return *n
}

// mostBars is how many rows a picture takes before another is begun.
const mostBars = 20

func (p *pictures) drawBounds(doc *Document, l limits) {
	rows := doc.Judge
	if len(rows) > l.bars {
		p.boundsLeft = len(rows) - l.bars
		rows = rows[:l.bars]
	}
	fill := levelsOf(doc.Settings)
	pages := chunks(len(rows), mostBars, func(i int) bool { return slices.Equal(rows[i-1].Group, rows[i].Group) })
	for k, page := range pages {
		b := plot.Bounds{Title: "Lower bounds against the target" + numbered(k, len(pages)),
			Next: "next closing ≥", Coverage: fill.Replace("{coverage} of closings ≥")}
		var words []string
		for i := page[0]; i < page[1]; i++ {
			r := &rows[i]
			if i == page[0] || !slices.Equal(rows[i-1].Group, r.Group) {
				b.Groups = append(b.Groups, plot.BoundsGroup{Name: groupTitle(r.Group)})
			}
			g := &b.Groups[len(b.Groups)-1]
			g.Rows = append(g.Rows, plot.BoundsRow{Label: r.Band.Name, MeanDB: orNaN(r.MeanDB), LowerDB: orNaN(r.LowerDB),
				NextDB: orNaN(r.NextLowerDB), CoverageDB: orNaN(r.CoverageLowerDB), WantDB: orNaN(r.TargetDB), Verdict: r.Verdict})
			word := groupTitle(r.Group) + ", " + r.Band.Name + ": " + r.Verdict
			if r.LowerDB != nil {
				word += ", mean ≥ " + optional(r.LowerDB, digits(r)) + " dB"
			}
			words = append(words, word)
		}
		caption := fill.Replace("One-sided lower bounds with {confidence} confidence each: of the mean, of the next closing, and of {coverage} of all closings. Where a marker is missing there is no such bound.")
		b.Desc = caption + " " + strings.Join(words, "; ") + "."
		p.put(&p.bounds, b.Picture(), "", caption, "bounds"+numberedName(k, len(pages)))
	}
}

// numbered tells pictures of one kind apart, where there are several.
func numbered(k, n int) string {
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(", %d of %d", k+1, n)
}

func numberedName(k, n int) string {
	if n < 2 {
		return ""
	}
	return "-" + strconv.Itoa(k+1)
}

// chunks divides n rows into pieces of about most, where possible between groups.
func chunks(n, most int, same func(i int) bool) [][2]int {
	var out [][2]int
	for first := 0; first < n; {
		last := min(first+most, n)
		if last < n {
			at := last
			for at > first+most/2 && same(at) {
				at--
			}
			if !same(at) {
				last = at
			}
		}
		out = append(out, [2]int{first, last})
		first = last
	}
	return out
}

// sourceKinds order the sources of spread; a joined one takes the kind of its first.
var sourceKinds = []string{"box", "fitting", "session", "visit", "closing", "fitting_slope"}

// sourceName says a source in the words of the tester.
func sourceName(source string) string {
	parts := strings.Split(source, "+")
	for i, p := range parts {
		switch p {
		case "fitting":
			parts[i] = "strip"
		case "fitting_slope":
			parts[i] = "own wear"
		}
	}
	return strings.Join(parts, "+")
}

func (p *pictures) drawShares(rows []SpreadRow, l limits) {
	var known []SpreadRow
	for _, r := range rows {
		if len(r.Components) > 0 {
			known = append(known, r)
		}
	}
	if len(known) > l.bars {
		p.sharesLeft = len(known) - l.bars
		known = known[:l.bars]
	}
	pages := chunks(len(known), mostBars, func(i int) bool { return slices.Equal(known[i-1].Group, known[i].Group) })
	for k, page := range pages {
		s := plot.Shares{Title: "Where the spread comes from" + numbered(k, len(pages))}
		var words []string
		for i := page[0]; i < page[1]; i++ {
			r := &known[i]
			if i == page[0] || !slices.Equal(known[i-1].Group, r.Group) {
				s.Groups = append(s.Groups, plot.SharesGroup{Name: groupTitle(r.Group)})
			}
			row := plot.SharesRow{Label: r.Band.Name}
			total := 0.0
			word := groupTitle(r.Group) + ", " + r.Band.Name + ":"
			for _, c := range r.Components {
				total += c.VarianceDB2
				first, _, _ := strings.Cut(c.Source, "+")
				row.Parts = append(row.Parts, plot.Part{Source: sourceName(c.Source), Share: c.Share, Kind: slices.Index(sourceKinds, first) + 1})
				word += fmt.Sprintf(" %s %.0f %%,", sourceName(c.Source), 100*c.Share)
			}
			row.TotalDB = math.Sqrt(total)
			words = append(words, strings.TrimSuffix(word, ",")+", SD "+decibels(row.TotalDB, 1)+" dB")
			g := &s.Groups[len(s.Groups)-1]
			g.Rows = append(g.Rows, row)
		}
		caption := "Shares of the variance of one closing, and its SD over all sources. Levels joined with + cannot be told apart in these data."
		s.Desc = caption + " " + strings.Join(words, "; ") + "."
		p.put(&p.shares, s.Picture(), "", caption, "spread"+numberedName(k, len(pages)))
	}
}

// finiteCurves makes sure that only what is missing is missing.
func (c *Campaign) finiteCurves() error {
	for i := range c.Curves {
		s := &c.Curves[i]
		further := []Curve{s.HeadroomDB, s.TargetDB}
		if s.Range != nil {
			further = append(further, s.Range.Lowest, s.Range.Highest)
		}
		for _, curve := range slices.Concat(s.Lines, s.Means, further) {
			if len(curve.At) != len(curve.DB) || curve.Limited != nil && len(curve.Limited) != len(curve.At) {
				return fmt.Errorf("report: a curve of %s has levels without a frequency", groupTitle(s.Group))
			}
			for _, x := range curve.DB {
				if err := finiteValue(x); err != nil {
					return fmt.Errorf("report: a curve of %s %w", groupTitle(s.Group), err)
				}
			}
		}
	}
	if c.Wear.Doc == nil {
		return nil
	}
	for _, r := range c.Wear.Doc.Wear {
		if r.Trend == nil {
			continue
		}
		var all []float64
		for _, x := range r.Trend.Points {
			all = append(all, x.Years, x.DB)
		}
		for _, x := range slices.Concat(r.Trend.Fit, r.Trend.Lower) {
			all = append(all, x.Years, x.DB)
		}
		for _, m := range r.Trend.Moments {
			all = append(all, m.Years)
		}
		for _, x := range all {
			if err := finiteValue(x); err != nil {
				return fmt.Errorf("report: the years of %s, %s: a figure %w", groupTitle(r.Group), r.Band.Name, err)
			}
		}
	}
	return nil
}
