package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A SpreadRow says how a group spreads in one band. Levels in dB.
type SpreadRow struct {
	Group                                      []Label
	Band                                       Band
	Boxes, Fittings, Sessions, Closings        int
	MeanDB                                     Number
	Components                                 []SpreadComponent
	RepeatabilitySDDB, ReproducibilitySDDB     Number
	UnitSDDB                                   Number
	RepeatabilityLimitDB, ReproducibilityLimit Number
	LogLikelihood                              Number
	Outliers                                   []SpreadOutlier
	Verdict                                    string // empty: null
	Reason                                     string // why numbers are not defined; empty: null
	Undecided                                  string // why the verdict is not; it joins Reason

	SEDB Number // of the mean, for a campaign laid out evenly
	More []SpreadMore

	// For a person: the limit and its bounds that a tolerance is held against.
	LimitDB, LimitLowerDB, LimitUpperDB Number
}

// A SpreadComponent is one variance. A bound that does not exist is nil.
type SpreadComponent struct {
	Source               string
	VarianceDB2, SDDB    float64
	SDLowerDB, SDUpperDB Number
	Share                float64
}

// A SpreadOutlier points at what a test flags. Run and Closing are empty where it is
// about more than one.
type SpreadOutlier struct {
	Kind                string
	Box, Run, Closing   string
	File                string // of its first row
	Line                int
	DB                  float64
	Statistic, Critical float64
}

// SpreadMore is what the standard error of the mean would be with one more of
// something in the same campaign; nil where the data do not tell.
type SpreadMore struct {
	Unit   string // closing (in each visit), session, fitting (in each box) or box
	SEDB   Number
	Reason string // empty: null
}

var spreadColumns = []column[SpreadRow]{
	{name: "group", of: func(r *SpreadRow) any { return r.Group }},
	{name: "band.name", of: func(r *SpreadRow) any { return r.Band.Name }},
	{name: "band.lo_hz", of: func(r *SpreadRow) any { return r.Band.LoHz }},
	{name: "band.hi_hz", of: func(r *SpreadRow) any { return r.Band.HiHz }},
	spreadCount("boxes", "boxes", func(r *SpreadRow) int { return r.Boxes }),
	spreadCount("fittings", "strips", func(r *SpreadRow) int { return r.Fittings }),
	spreadCount("sessions", "ses-\nsions", func(r *SpreadRow) int { return r.Sessions }),
	spreadCount("closings", "clos-\nings", func(r *SpreadRow) int { return r.Closings }),
	spreadLevel("mean_db", "mean", func(r *SpreadRow) Number { return r.MeanDB }),
	{name: "components", of: func(r *SpreadRow) any { return tableOf(spreadComponentColumns, r.Components) }},
	spreadLevel("repeatability_sd_db", "same\nvisit", func(r *SpreadRow) Number { return r.RepeatabilitySDDB }),
	spreadLevel("reproducibility_sd_db", "another\nday", func(r *SpreadRow) Number { return r.ReproducibilitySDDB }),
	spreadLevel("unit_sd_db", "box\nadds", func(r *SpreadRow) Number { return r.UnitSDDB }),
	spreadLevel("repeatability_limit_db", "limit,\nsame visit", func(r *SpreadRow) Number { return r.RepeatabilityLimitDB }),
	spreadLevel("reproducibility_limit_db", "limit,\nanother day", func(r *SpreadRow) Number { return r.ReproducibilityLimit }),
	{name: "log_likelihood", of: func(r *SpreadRow) any { return number(r.LogLikelihood) }},
	{name: "outliers", of: func(r *SpreadRow) any { return tableOf(spreadOutlierColumns, r.Outliers) }},
	{name: "verdict", of: func(r *SpreadRow) any { return word(r.Verdict) }},
	{name: "reason", of: func(r *SpreadRow) any { return word(strings.Trim(r.Reason+"; "+r.Undecided, "; ")) }},
	{name: "se_db", of: func(r *SpreadRow) any { return number(r.SEDB) }},
	{name: "more", of: func(r *SpreadRow) any { return tableOf(spreadMoreColumns, r.More) }},
}

var spreadMoreColumns = []column[SpreadMore]{
	{name: "unit", of: func(m *SpreadMore) any { return m.Unit }},
	{name: "se_db", of: func(m *SpreadMore) any { return number(m.SEDB) }},
	{name: "reason", of: func(m *SpreadMore) any { return word(m.Reason) }},
}

var spreadComponentColumns = []column[SpreadComponent]{
	{name: "source", of: func(c *SpreadComponent) any { return c.Source },
		show: &shown[SpreadComponent]{head: "from", text: true, cell: func(c *SpreadComponent) string { return c.Source }}},
	{name: "variance_db2", of: func(c *SpreadComponent) any { return c.VarianceDB2 }},
	{name: "sd_db", of: func(c *SpreadComponent) any { return c.SDDB },
		show: &shown[SpreadComponent]{head: "SD", cell: func(c *SpreadComponent) string { return decibels(c.SDDB, 2) }}},
	{name: "sd_lower_db", of: func(c *SpreadComponent) any { return number(c.SDLowerDB) },
		show: &shown[SpreadComponent]{head: "SD ≥", cell: func(c *SpreadComponent) string { return optional(c.SDLowerDB, 2) }}},
	{name: "sd_upper_db", of: func(c *SpreadComponent) any { return number(c.SDUpperDB) },
		show: &shown[SpreadComponent]{head: "SD ≤", cell: func(c *SpreadComponent) string { return optional(c.SDUpperDB, 2) }}},
	{name: "share", of: func(c *SpreadComponent) any { return c.Share },
		show: &shown[SpreadComponent]{head: "share of\nvariance", cell: func(c *SpreadComponent) string { return strconv.FormatFloat(100*c.Share, 'f', 0, 64) + " %" }}},
}

var spreadOutlierColumns = []column[SpreadOutlier]{
	{name: "kind", of: func(o *SpreadOutlier) any { return o.Kind }},
	{name: "where.box", of: func(o *SpreadOutlier) any { return word(o.Box) }},
	{name: "where.run", of: func(o *SpreadOutlier) any { return word(o.Run) }},
	{name: "where.closing", of: func(o *SpreadOutlier) any { return word(o.Closing) }},
	{name: "where.file", of: func(o *SpreadOutlier) any { return word(o.File) }},
	{name: "where.line", of: func(o *SpreadOutlier) any { return o.Line }},
	{name: "statistic", of: func(o *SpreadOutlier) any { return o.Statistic }},
	{name: "critical", of: func(o *SpreadOutlier) any { return o.Critical }},
}

func spreadCount(name, head string, of func(*SpreadRow) int) column[SpreadRow] {
	return column[SpreadRow]{name: name, of: func(r *SpreadRow) any { return of(r) },
		show: &shown[SpreadRow]{head: head, cell: func(r *SpreadRow) string { return strconv.Itoa(of(r)) },
			shows: func(rows []SpreadRow) bool {
				return name != "fittings" || slices.ContainsFunc(rows, func(r SpreadRow) bool { return r.Fittings != r.Boxes })
			}}}
}

func spreadLevel(name, head string, of func(*SpreadRow) Number) column[SpreadRow] {
	digits := 2
	if name == "mean_db" {
		digits = 1
	}
	return column[SpreadRow]{name: name, of: func(r *SpreadRow) any { return number(of(r)) },
		show: &shown[SpreadRow]{head: head, cell: func(r *SpreadRow) string { return optional(of(r), digits) }}}
}

// mostOutliers is how many outliers a page names.
const mostOutliers = 20

func spreadBlocks(doc *Document) []block {
	if len(doc.Spread) == 0 {
		return nil
	}
	fill := levelsOf(doc.Settings)
	rows := doc.Spread
	places := spreadPlaces(len(rows), func(i int) *SpreadRow { return &rows[i] })
	g := gridOf(places)
	for _, c := range spreadColumns {
		if c.show != nil && (c.show.shows == nil || c.show.shows(rows)) {
			g.add(gridColumn{head: c.show.head, text: c.show.text}, func(i int) string { return c.show.cell(&rows[i]) })
		}
	}
	var blocks []block
	if slices.ContainsFunc(rows, func(r SpreadRow) bool { return r.Verdict != "" }) {
		v := gridOf(places)
		for _, c := range []struct {
			head string
			of   func(*SpreadRow) Number
		}{
			{"limit", func(r *SpreadRow) Number { return r.LimitDB }}, {"limit ≥", func(r *SpreadRow) Number { return r.LimitLowerDB }},
			{"limit ≤", func(r *SpreadRow) Number { return r.LimitUpperDB }},
		} {
			v.add(gridColumn{head: c.head}, func(i int) string { return optional(c.of(&rows[i]), 2) })
		}
		v.add(gridColumn{head: "verdict", text: true}, func(i int) string { return rows[i].Verdict })
		blocks = append(blocks, block{title: "Against the tolerance, dB", text: fill.Replace("Bounds (≥, ≤) are one-sided with {confidence} confidence each. " +
			"Repeatable: the upper bound of the " + settingText(doc.Settings, "tolerance_on") + " limit is at most " + settingText(doc.Settings, "tolerance_db") + " dB; not repeatable: the lower bound is above it."), grid: v})
	}
	blocks = append(blocks, block{title: "How far results differ, dB",
		text:    "SDs of one closing: in the same visit (repeatability), of the same box and strip on another day (reproducibility), and what another box with another strip adds. A limit is 2.8 SDs: two results differ by more in one of twenty pairs.",
		bullets: reasonsOf(places), grid: g})
	type part struct {
		row *SpreadRow
		c   *SpreadComponent
	}
	var parts []part
	for i := range rows {
		for k := range rows[i].Components {
			parts = append(parts, part{&rows[i], &rows[i].Components[k]})
		}
	}
	if len(parts) > 0 {
		g := gridOf(spreadPlaces(len(parts), func(i int) *SpreadRow { return parts[i].row }))
		for _, c := range spreadComponentColumns {
			if c.show != nil {
				g.add(gridColumn{head: c.show.head, text: c.show.text}, func(i int) string { return c.show.cell(parts[i].c) })
			}
		}
		blocks = append(blocks, block{title: "Where the spread comes from, dB",
			text: fill.Replace("Bounds (≥, ≤) are one-sided with {confidence} confidence each. Levels joined with + cannot be told apart in these data."), grid: g})
	}
	if g := moreGrid(rows); g != nil {
		blocks = append(blocks, block{title: "Standard error of the mean, dB, now and with one more",
			text: "From the components above, for a campaign laid out evenly: one more closing in each visit, session of every strip, strip in every box, or box tested like the others. A dash: these data do not tell.", grid: g})
	}
	if lines := outlierLines(rows); len(lines) > 0 {
		blocks = append(blocks, block{title: "What stands out at 5 %: nothing was removed", lines: lines, whole: true})
	}
	return blocks
}

// settingText is the value of a setting.
func settingText(settings []Setting, name string) string {
	for _, s := range settings {
		if s.Name == name {
			return cellText(s.Value)
		}
	}
	return ""
}

// spreadPlaces are the groups and bands of n lines; those of one row stand once.
func spreadPlaces(n int, of func(i int) *SpreadRow) []place {
	places := make([]place, n)
	for i := range places {
		r := of(i)
		places[i] = place{group: r.Group, band: r.Band.Name, reason: r.Reason, again: i > 0 && r == of(i-1)}
	}
	return places
}

// moreGrid shows what one more of each would bring; nil where nothing is known.
func moreGrid(rows []SpreadRow) *grid {
	var known []*SpreadRow
	for i := range rows {
		if rows[i].SEDB != nil {
			known = append(known, &rows[i])
		}
	}
	if len(known) == 0 {
		return nil
	}
	g := gridOf(spreadPlaces(len(known), func(i int) *SpreadRow { return known[i] }))
	g.add(gridColumn{head: "now"}, func(i int) string { return optional(known[i].SEDB, 2) })
	for k, head := range []string{"closing", "session", "strip", "box"} {
		g.add(gridColumn{head: head}, func(i int) string {
			if x, ok := moreOf(known[i])[k].(float64); ok {
				return decibels(x, 2)
			}
			return undefined
		})
	}
	return g
}

// outlierLines name each outlier with its place.
func outlierLines(rows []SpreadRow) (lines []string) {
	n := 0
	for _, r := range rows {
		for _, o := range r.Outliers {
			if n++; n > mostOutliers {
				continue
			}
			name := strings.TrimPrefix(groupName(r.Group)+", "+r.Band.Name, ", ")
			lines = append(lines, fmt.Sprintf("%s: %s: %s: %s", o.place(), name, o.unit(), o.test()))
		}
	}
	if n > mostOutliers {
		lines = append(lines, fmt.Sprintf("and %d more; --format json has them all", n-mostOutliers))
	}
	return lines
}

func (o SpreadOutlier) place() string {
	if o.Line == 0 {
		return o.File
	}
	return o.File + ":" + strconv.Itoa(o.Line)
}

// unit names what stands out: closing 3 of box 7, run R1.
func (o SpreadOutlier) unit() string {
	switch {
	case o.Closing != "":
		return fmt.Sprintf("closing %s, box %s, run %s", o.Closing, o.Box, o.Run)
	case o.Run != "":
		return fmt.Sprintf("visit of box %s in run %s", o.Box, o.Run)
	}
	return "box " + o.Box
}

// test says what was found: a value, mean or SD, and how far it is beyond what chance
// gives.
func (o SpreadOutlier) test() string {
	test, _, _ := strings.Cut(o.Kind, " ")
	what := "mean"
	switch {
	case test == "Cochran" || strings.Contains(o.Kind, " k "):
		what = "SD of closings"
	case strings.HasSuffix(o.Kind, "closing"):
		what = "value"
	}
	if test == "Mandel" {
		test = o.Kind[:len("Mandel h")]
	}
	return fmt.Sprintf("%s %s dB, %s %s > %s", what, decibels(o.DB, 2), test, decibels(o.Statistic, 3), decibels(o.Critical, 3))
}

// spreadLines is the spread as lines of one component each, for formats that have no
// tables within rows. Outliers are words.
func spreadLines(doc *Document) table {
	t := table{}
	for _, c := range spreadColumns {
		if c.name == "components" {
			for _, k := range spreadComponentColumns {
				t.names = append(t.names, "component."+k.name)
			}
			continue
		}
		if c.name == "more" {
			for _, unit := range moreUnits {
				t.names = append(t.names, "more."+unit+"_se_db")
			}
			continue
		}
		t.names = append(t.names, c.name)
	}
	for i := range doc.Spread {
		r := &doc.Spread[i]
		for k := range max(1, len(r.Components)) {
			var cells []any
			for _, c := range spreadColumns {
				switch {
				case c.name == "components" && k < len(r.Components):
					for _, x := range spreadComponentColumns {
						cells = append(cells, x.of(&r.Components[k]))
					}
				case c.name == "components":
					cells = append(cells, make([]any, len(spreadComponentColumns))...)
				case c.name == "more":
					cells = append(cells, moreOf(r)...)
				case c.name == "outliers":
					var words []string
					for _, o := range r.Outliers {
						words = append(words, o.place()+" "+o.unit()+" "+o.test())
					}
					cells = append(cells, list(words))
				default:
					cells = append(cells, c.of(r))
				}
			}
			t.rows = append(t.rows, cells)
		}
	}
	return t
}

var moreUnits = []string{"closing", "session", "fitting", "box"}

// moreOf lists the standard errors in the order of moreUnits.
func moreOf(r *SpreadRow) (cells []any) {
	for _, unit := range moreUnits {
		at := slices.IndexFunc(r.More, func(m SpreadMore) bool { return m.Unit == unit })
		if at < 0 {
			cells = append(cells, nil)
		} else {
			cells = append(cells, number(r.More[at].SEDB))
		}
	}
	return cells
}
