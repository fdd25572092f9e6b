package report

import "strconv"

// A CompareRow is the comparison of the products of one group in one band.
type CompareRow struct {
	Group                   []Label
	Band                    Band
	Points, Boxes, Closings int
	Levels                  []string
	Products                []CompareProduct    // by falling mean
	Differences             []CompareDifference // simultaneous and two-sided
	Components              []CompareComponent
	LogLikelihood           Number   // REML's
	Best                    []string // products not shown worse than the best
	Pick                    string   // empty: null
	Reason                  string   // empty: null
	Method, LettersMethod   string   // of the differences; of letters and best. Empty: null
	Against                 string   // empty: null
	Design                  string
	TargetDB, EquivalentDB  Number
	Gains                   []CompareGain
}

// A CompareProduct is one product over the boxes that carried it. Bounds are
// one-sided each, of the adjusted mean.
type CompareProduct struct {
	Gasket                             string
	Boxes, Fittings, Closings          int
	Limited, Readings                  int
	MeanDB, SEDB, DF, LowerDB, UpperDB Number
	Letters                            string // empty: null
	Verdict                            string
	Strips                             int // to fit all boxes of the comparison; 0: null
	Cost                               Number
	Currency                           string // empty: null
	Reason                             string // empty: null
}

// A CompareDifference is A less B. AtLeast: A has readings that may hide more;
// AtMost: B has.
type CompareDifference struct {
	A, B                                     string
	DifferenceDB, SEDB, DF, LowerDB, UpperDB Number
	PAdjusted                                Number
	AtLeast, AtMost                          bool
	EquivalentP                              Number
	Equivalent                               string // yes, no, or empty: null
	Reason                                   string // empty: null
}

// A CompareComponent is one variance of the model; the bounds of its SD are
// one-sided each.
type CompareComponent struct {
	Source                                         string
	VarianceDB2, SDDB, SDLowerDB, SDUpperDB, Share Number
}

// A CompareGain is what a product adds in one box over the one compared against.
type CompareGain struct {
	Box, Gasket          string
	FromDB, ToDB, GainDB float64
	AtLeast, AtMost      bool
}

// compareColumns are the columns of compare. Levels are in dB.
var compareColumns = []column[CompareRow]{
	{name: "band.name", of: func(r *CompareRow) any { return r.Band.Name }},
	{name: "band.lo_hz", of: func(r *CompareRow) any { return r.Band.LoHz }},
	{name: "band.hi_hz", of: func(r *CompareRow) any { return r.Band.HiHz }},
	{name: "products", of: func(r *CompareRow) any { return tableOf(productColumns, r.Products) }},
	{name: "differences", of: func(r *CompareRow) any { return tableOf(differenceColumns, r.Differences) }},
	{name: "components", of: func(r *CompareRow) any { return tableOf(componentColumns, r.Components) }},
	{name: "log_likelihood", of: func(r *CompareRow) any { return number(r.LogLikelihood) }},
	{name: "best", of: func(r *CompareRow) any { return list(r.Best) }},
	{name: "pick", of: func(r *CompareRow) any { return word(r.Pick) }},
	{name: "reason", of: func(r *CompareRow) any { return word(r.Reason) }},
	{name: "method", of: func(r *CompareRow) any { return word(r.Method) }},
	{name: "letters_method", of: func(r *CompareRow) any { return word(r.LettersMethod) }},
	{name: "against", of: func(r *CompareRow) any { return word(r.Against) }},
	{name: "design", of: func(r *CompareRow) any { return word(r.Design) }},
	{name: "points", of: func(r *CompareRow) any { return r.Points }},
	{name: "boxes", of: func(r *CompareRow) any { return r.Boxes }},
	{name: "closings", of: func(r *CompareRow) any { return r.Closings }},
	{name: "levels", of: func(r *CompareRow) any { return list(r.Levels) }},
	{name: "target_db", of: func(r *CompareRow) any { return number(r.TargetDB) }},
	{name: "equivalent_db", of: func(r *CompareRow) any { return number(r.EquivalentDB) }},
	{name: "gains", of: func(r *CompareRow) any { return tableOf(gainColumns, r.Gains) }},
	{name: "group", of: func(r *CompareRow) any { return r.Group }},
}

// productColumns are the columns of a product; cost is in the currency that
// gaskets.csv gives.
var productColumns = []column[CompareProduct]{
	inTable("gasket", func(p *CompareProduct) any { return p.Gasket }, answer, "gasket", true, func(p *CompareProduct) string { return p.Gasket }),
	countOf("boxes", func(p *CompareProduct) int { return p.Boxes }, answer, "boxes"),
	countOf("fittings", func(p *CompareProduct) int { return p.Fittings }, answer, "fit-\ntings"),
	countOf("closings", func(p *CompareProduct) int { return p.Closings }, answer, "clo-\nsings"),
	decibelOf("mean_db", func(p *CompareProduct) Number { return p.MeanDB }, answer, "mean", productDigits),
	decibelOf("se_db", func(p *CompareProduct) Number { return p.SEDB }, method, "SE of\nmean", productDigits),
	decibelOf("df", func(p *CompareProduct) Number { return p.DF }, method, "df", oneDigit[CompareProduct]),
	decibelOf("lower_db", func(p *CompareProduct) Number { return p.LowerDB }, answer, "mean ≥", productDigits),
	decibelOf("upper_db", func(p *CompareProduct) Number { return p.UpperDB }, method, "mean ≤", productDigits),
	inTable("letters", func(p *CompareProduct) any { return word(p.Letters) }, answer, "letters", true, func(p *CompareProduct) string { return p.Letters }),
	inTable("verdict", func(p *CompareProduct) any { return word(p.Verdict) }, answer, "verdict", true, func(p *CompareProduct) string { return p.Verdict }),
	shownWhere(inTable("strips", func(p *CompareProduct) any { return positive(p.Strips) }, answer, "strips", false, func(p *CompareProduct) string {
		if p.Strips == 0 {
			return undefined
		}
		return strconv.Itoa(p.Strips)
	}), func(p *CompareProduct) bool { return p.Strips > 0 }),
	shownWhere(inTable("cost", func(p *CompareProduct) any { return number(p.Cost) }, answer, "cost", false, func(p *CompareProduct) string {
		if p.Cost == nil {
			return undefined
		}
		return decibels(*p.Cost, 2)
	}), func(p *CompareProduct) bool { return p.Cost != nil }),
	shownWhere(inTable("currency", func(p *CompareProduct) any { return word(p.Currency) }, answer, "", true, func(p *CompareProduct) string { return p.Currency }),
		func(p *CompareProduct) bool { return p.Currency != "" }),
	countOf("limited", func(p *CompareProduct) int { return p.Limited }, method, "limited\nreadings"),
	countOf("readings", func(p *CompareProduct) int { return p.Readings }, method, "readings"),
	{name: "reason", of: func(p *CompareProduct) any { return word(p.Reason) }},
}

var differenceColumns = []column[CompareDifference]{
	inTable("a", func(d *CompareDifference) any { return d.A }, answer, "a", true, func(d *CompareDifference) string { return d.A }),
	inTable("b", func(d *CompareDifference) any { return d.B }, answer, "b", true, func(d *CompareDifference) string { return d.B }),
	inTable("difference_db", func(d *CompareDifference) any { return number(d.DifferenceDB) }, answer, "a − b", false, func(d *CompareDifference) string {
		if d.DifferenceDB == nil {
			return undefined
		}
		return sideOf(d.AtLeast, d.AtMost) + signed(*d.DifferenceDB, differenceDigits(d))
	}),
	decibelOf("se_db", func(d *CompareDifference) Number { return d.SEDB }, method, "SE", differenceDigits),
	decibelOf("df", func(d *CompareDifference) Number { return d.DF }, method, "df", oneDigit[CompareDifference]),
	decibelOf("lower_db", func(d *CompareDifference) Number { return d.LowerDB }, answer, "from", differenceDigits),
	decibelOf("upper_db", func(d *CompareDifference) Number { return d.UpperDB }, answer, "to", differenceDigits),
	inTable("p_adjusted", func(d *CompareDifference) any { return number(d.PAdjusted) }, answer, "p", false, func(d *CompareDifference) string { return pValueText(d.PAdjusted) }),
	{name: "at_least", of: func(d *CompareDifference) any { return d.AtLeast }},
	{name: "at_most", of: func(d *CompareDifference) any { return d.AtMost }},
	{name: "equivalent_p", of: func(d *CompareDifference) any { return number(d.EquivalentP) }},
	shownWhere(inTable("equivalent", func(d *CompareDifference) any {
		if d.Equivalent == "" {
			return nil
		}
		return d.Equivalent == "yes"
	}, answer, "as good", true, func(d *CompareDifference) string {
		if d.Equivalent == "no" {
			return "not shown"
		}
		return d.Equivalent
	}), func(d *CompareDifference) bool { return d.Equivalent != "" }),
	{name: "reason", of: func(d *CompareDifference) any { return word(d.Reason) }},
}

var componentColumns = []column[CompareComponent]{
	inTable("source", func(k *CompareComponent) any { return k.Source }, method, "spread of", true, func(k *CompareComponent) string { return k.Source }),
	{name: "variance_db2", of: func(k *CompareComponent) any { return number(k.VarianceDB2) }},
	decibelOf("sd_db", func(k *CompareComponent) Number { return k.SDDB }, method, "SD", oneDigit[CompareComponent]),
	decibelOf("sd_lower_db", func(k *CompareComponent) Number { return k.SDLowerDB }, method, "SD ≥", oneDigit[CompareComponent]),
	decibelOf("sd_upper_db", func(k *CompareComponent) Number { return k.SDUpperDB }, method, "SD ≤", oneDigit[CompareComponent]),
	{name: "share", of: func(k *CompareComponent) any { return number(k.Share) }},
}

var gainColumns = []column[CompareGain]{
	inTable("box", func(g *CompareGain) any { return g.Box }, answer, "box", true, func(g *CompareGain) string { return g.Box }),
	inTable("gasket", func(g *CompareGain) any { return g.Gasket }, answer, "gasket", true, func(g *CompareGain) string { return g.Gasket }),
	inTable("from_db", func(g *CompareGain) any { return g.FromDB }, answer, "from", false, func(g *CompareGain) string { return decibels(g.FromDB, 1) }),
	inTable("to_db", func(g *CompareGain) any { return g.ToDB }, answer, "to", false, func(g *CompareGain) string { return decibels(g.ToDB, 1) }),
	inTable("gain_db", func(g *CompareGain) any { return g.GainDB }, answer, "gain", false,
		func(g *CompareGain) string { return sideOf(g.AtLeast, g.AtMost) + signed(g.GainDB, 1) }),
	{name: "at_least", of: func(g *CompareGain) any { return g.AtLeast }},
	{name: "at_most", of: func(g *CompareGain) any { return g.AtMost }},
}

// positive is a count, nil for none.
func positive(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// sideOf marks a difference: at least, at most, or, with readings hidden on both
// sides, neither.
func sideOf(least, most bool) string {
	switch {
	case least && most:
		return "~ "
	case least:
		return "≥ "
	case most:
		return "≤ "
	}
	return ""
}

// pValueText shows a p value in three decimals, never as zero.
func pValueText(p Number) string {
	switch {
	case p == nil:
		return undefined
	case *p < 0.0005:
		return "<0.001"
	}
	return decibels(*p, 3)
}

func oneDigit[R any](*R) int { return 1 }

// productDigits are two where the standard error is below 0.05 dB.
func productDigits(p *CompareProduct) int { return fine(p.SEDB) }

func differenceDigits(d *CompareDifference) int { return fine(d.SEDB) }

func fine(se Number) int {
	if se != nil && *se < 0.05 {
		return 2
	}
	return 1
}
