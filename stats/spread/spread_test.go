package spread

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"sealbound/stats"
)

// A campaign of readings under construction.
type campaign struct{ Data }

// add adds a closing with its readings, one per point; NaN for a missing one, and a
// limited one where limited says so.
func (c *campaign) add(box, fitting, session int32, age float64, limited func(point int) bool, db ...float64) {
	n := int32(c.Closings)
	c.Closings++
	grow := func(f *stats.Factor, code int32) {
		f.Codes, f.Levels = append(f.Codes, code), max(f.Levels, int(code)+1)
	}
	grow(&c.Box, box)
	grow(&c.Fitting, fitting)
	grow(&c.Session, session)
	c.AgeYears = append(c.AgeYears, age)
	for p, x := range db {
		if math.IsNaN(x) {
			continue
		}
		c.Closing, c.Point, c.DB = append(c.Closing, n), append(c.Point, int32(p)), append(c.DB, x)
		c.Limited, c.FloorKnown = append(c.Limited, limited != nil && limited(p)), append(c.FloorKnown, true)
	}
	c.Points = max(c.Points, len(db))
}

func (c *campaign) spread(t *testing.T, s Settings) Result {
	t.Helper()
	r, err := Spread(c.Data, s)
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []Quantity{r.Repeatability, r.Reproducibility, r.Unit} {
		if math.IsNaN(q.SD) != (q.Reason != "") {
			t.Errorf("SD %v with the reason %q", q.SD, q.Reason)
		}
	}
	return r
}

// layout makes a campaign of one point: boxes, strips each, sessions, closings.
func layout(seed uint64, boxes, strips, sessions, closings int) *campaign {
	rng := rand.New(rand.NewPCG(seed, 1))
	draws := make([]float64, sessions)
	for i := range draws {
		draws[i] = 0.8 * rng.NormFloat64()
	}
	c := &campaign{}
	for b := range boxes {
		box := 2 * rng.NormFloat64()
		for f := range strips {
			strip := rng.NormFloat64()
			for s := range sessions {
				visit := 0.5 * rng.NormFloat64()
				for range closings {
					c.add(int32(b), int32(b*strips+f), int32(s), nan, nil, 60+box+strip+draws[s]+visit+1.2*rng.NormFloat64())
				}
			}
		}
	}
	return c
}

func sources(r Result) (s string) {
	for _, c := range r.Components {
		s += c.Source + " "
	}
	return strings.TrimSpace(s)
}

// What the levels allow to be said, from full campaigns to a single strip.
func TestWhatTheLevelsAllow(t *testing.T) {
	for _, tt := range []struct {
		name                              string
		boxes, strips, sessions, closings int
		sources                           string
		repeatability, reproduced, unit   string // reasons; empty where defined
	}{
		{"everything", 4, 2, 3, 2, "box fitting session visit closing", "", "", ""},
		{"one strip in each box", 4, 1, 3, 2, "box+fitting session visit closing", "", "", ""},
		{"one closing in each visit", 4, 1, 3, 1, "box+fitting session visit+closing", "told apart", "", ""},
		{"one box", 1, 1, 3, 3, "session+visit closing", "", "", "one box only"},
		{"one box, two strips", 1, 2, 3, 3, "fitting session visit closing", "", "", "one box only"},
		{"one session", 4, 1, 1, 3, "box+fitting+visit closing", "", "one session only", "told apart"},
		{"one strip, one session", 1, 1, 1, 5, "closing", "", "one session only", "one box only"},
		{"two boxes", 2, 1, 2, 3, "box+fitting session visit closing", "", "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := layout(5, tt.boxes, tt.strips, tt.sessions, tt.closings)
			r := c.spread(t, usual)
			if got := sources(r); got != tt.sources {
				t.Errorf("components %s, want %s", got, tt.sources)
			}
			for what, x := range map[string][2]string{"repeatability": {r.Repeatability.Reason, tt.repeatability},
				"reproducibility": {r.Reproducibility.Reason, tt.reproduced}, "unit": {r.Unit.Reason, tt.unit}} {
				if (x[0] == "") != (x[1] == "") || !strings.Contains(x[0], x[1]) {
					t.Errorf("%s: reason %q, want %q", what, x[0], x[1])
				}
			}
			var shares float64
			for _, k := range r.Components {
				shares += k.Share
				if !(k.Lower <= k.SD && k.SD <= k.Upper) {
					t.Errorf("%+v: SD outside its bounds", k)
				}
			}
			near(t, "sum of the shares", shares, 1, 1e-12)
			if r.Boxes != tt.boxes || r.Fittings != tt.boxes*tt.strips || r.Sessions != tt.sessions || r.Closings != c.Closings {
				t.Errorf("counts %d %d %d %d", r.Boxes, r.Fittings, r.Sessions, r.Closings)
			}
		})
	}
}

// Five values by hand: 60, 61, 62, 63, 64 have s^2 = 2.5; chi-square at 4 degrees of
// freedom 9.48773 and 0.710723 (any table; R 4.2.2, qchisq).
func TestOneStripByHand(t *testing.T) {
	c := &campaign{}
	for i := range 5 {
		c.add(0, 0, 0, nan, nil, 60+float64(i))
	}
	r := c.spread(t, Settings{Confidence: 0.95, ToleranceDB: 5})
	near(t, "mean", r.MeanDB, 62, 1e-12)
	near(t, "SD", r.Repeatability.SD, math.Sqrt(2.5), 1e-9)
	near(t, "limit", r.Repeatability.LimitDB(), 2.8*math.Sqrt(2.5), 1e-9)
	near(t, "lower", r.Repeatability.Lower, math.Sqrt(2.5*4/9.48773), 1e-5)
	near(t, "upper", r.Repeatability.Upper, math.Sqrt(2.5*4/0.710723), 1e-5)
	if r.Verdict != Undecided { // 2.8 x SD lies between 2.9 and 10.5
		t.Errorf("verdict %s", r.Verdict)
	}
	near(t, "standard error", r.SEDB, math.Sqrt(2.5/5), 1e-9)
	if best, ok := r.Best(); !ok || best.Unit != "closing" {
		t.Errorf("best %+v", best)
	}
	near(t, "with one more closing", r.More[0].SEDB, math.Sqrt(2.5/6), 1e-9)
}

func TestVerdicts(t *testing.T) {
	c := layout(8, 1, 1, 4, 6)
	r := c.spread(t, usual)
	if r.Verdict != "" {
		t.Errorf("without a tolerance: %q", r.Verdict)
	}
	low, up := LimitFactor*r.Repeatability.Lower, LimitFactor*r.Repeatability.Upper
	day := LimitFactor * r.Reproducibility.Upper
	if !(low > 0 && up > low && day > up) {
		t.Fatalf("limits %v %v %v", low, up, day)
	}
	for _, tt := range []struct {
		tolerance float64
		on        Limit
		want      Verdict
	}{
		{up, "", Repeatable}, {up, Repeatability, Repeatable}, {math.Nextafter(up, 0), Repeatability, Undecided},
		{low, Repeatability, Undecided}, {math.Nextafter(low, 0), Repeatability, NotRepeatable},
		{up, Reproducibility, Undecided}, {day, Reproducibility, Repeatable},
	} {
		if got := c.spread(t, Settings{0.95, tt.tolerance, tt.on}).Verdict; got != tt.want {
			t.Errorf("tolerance %v on %q: %s, want %s", tt.tolerance, tt.on, got, tt.want)
		}
	}
	one := layout(8, 1, 1, 1, 6)
	if v := one.spread(t, Settings{0.95, 100, Reproducibility}).Verdict; v != TooFew {
		t.Errorf("one session: %s", v)
	}
	one.FloorKnown[3] = false
	if r := one.spread(t, Settings{0.95, 100, ""}); r.Verdict != Undecided || !r.FloorUnknown {
		t.Errorf("a floor that is not known may hide spread: %s", r.Verdict)
	}
	if v := one.spread(t, Settings{0.95, 0.01, ""}).Verdict; v != NotRepeatable {
		t.Errorf("what a floor hides would only add: %s", v)
	}
}

// Adding to all attenuations changes the mean alone; scaling scales; the order of the
// closings does not show.
func TestLaws(t *testing.T) {
	for seed := range uint64(6) {
		c := layout(seed, 3+int(seed%3), 1+int(seed%2), 3, 2)
		c.DB[0] += 9
		base := c.spread(t, Settings{Confidence: 0.9, ToleranceDB: 4})
		moved := *c
		moved.DB = slices.Clone(c.DB)
		for i := range moved.DB {
			moved.DB[i] = 3*moved.DB[i] + 7
		}
		s := moved.spread(t, Settings{Confidence: 0.9, ToleranceDB: 12})
		near(t, "mean", s.MeanDB, 3*base.MeanDB+7, 1e-9)
		if s.Verdict != base.Verdict || len(s.Outliers) != len(base.Outliers) {
			t.Errorf("verdict %s, %s; outliers %v, %v", s.Verdict, base.Verdict, s.Outliers, base.Outliers)
		}
		turned := &campaign{}
		for i := c.Closings - 1; i >= 0; i-- {
			turned.add(c.Box.Codes[i], c.Fitting.Codes[i], c.Session.Codes[i], nan, nil, c.DB[i])
		}
		u := turned.spread(t, Settings{Confidence: 0.9})
		for i, k := range base.Components {
			for name, x := range map[string][3]float64{
				"SD": {k.SD, s.Components[i].SD, u.Components[i].SD}, "lower": {k.Lower, s.Components[i].Lower, u.Components[i].Lower},
				"upper": {k.Upper, s.Components[i].Upper, u.Components[i].Upper}} {
				near(t, k.Source+" "+name+" scaled", x[1], 3*x[0], 1e-4*(1+x[0]))
				near(t, k.Source+" "+name+" turned", x[2], x[0], 1e-4*(1+x[0]))
			}
		}
		if len(u.Outliers) != len(base.Outliers) {
			t.Errorf("another order: outliers %v, %v", u.Outliers, base.Outliers)
		}
	}
}

// Years of wear are not spread between days: with age in the model what is left is
// what a campaign without wear has.
func TestWearIsKeptApart(t *testing.T) {
	make := func(wear, own float64) *campaign {
		rng := rand.New(rand.NewPCG(9, 9))
		c := &campaign{}
		for s := range 5 {
			day := 0.3 * rng.NormFloat64()
			for b := range 4 {
				slope := wear + own*float64(b-1)
				for range 3 {
					c.add(int32(b), int32(b), int32(s), float64(s), nil, 60+2*float64(b)+slope*float64(s)+day+0.3*rng.NormFloat64())
				}
			}
		}
		return c
	}
	still, worn := make(0, 0).spread(t, usual), make(-2, 0).spread(t, usual)
	if still.Wear == nil || worn.Wear == nil {
		t.Fatal("age is not in the model")
	}
	near(t, "wear", worn.Wear.DBPerYear, still.Wear.DBPerYear-2, 1e-6)
	near(t, "mean age", worn.Wear.MeanAgeYears, 2, 1e-12)
	for i, k := range still.Components {
		near(t, k.Source, worn.Components[i].SD, k.SD, 1e-5)
	}
	if got := sources(worn); got != "box+fitting session visit fitting_slope closing" {
		t.Errorf("components %s", got)
	}
	own := make(-2, 1).spread(t, usual)
	k := own.Components[3]
	// Slopes 1 apart: their SD is sqrt(5/3); ages 0 to 4 are sqrt(2) off their mean.
	if k.Source != slopeSource || math.Abs(k.PerYear-math.Sqrt(5.0/3)) > 0.15 {
		t.Errorf("%+v", k)
	}
	near(t, "slope in dB", k.SD, k.PerYear*math.Sqrt2, 1e-12)
	near(t, "repeatability", own.Repeatability.SD, worn.Repeatability.SD, 0.05)
	without := make(-2, 0)
	without.AgeYears = nil
	if r := without.spread(t, usual); r.Wear != nil || r.Reproducibility.SD < 2*worn.Reproducibility.SD {
		t.Errorf("without ages the days take the wear: %v", r.Reproducibility.SD)
	}
	// Two sessions, or months, tell of no wear.
	short := make(-2, 0)
	for i := range short.AgeYears {
		short.AgeYears[i] /= 5
	}
	if r := short.spread(t, usual); r.Wear != nil {
		t.Error("ten months are not years")
	}
}

// What one more of each brings, balanced, from the variances by hand.
func TestOneMoreOfEach(t *testing.T) {
	r := empty()
	r.Components = []Component{{Source: "box+fitting", Variance: 4}, {Source: "session", Variance: 1}, {Source: "visit", Variance: 0.5}, {Source: "closing", Variance: 2}}
	box, session, visit := stats.Factor{Name: "box", Levels: 4}, stats.Factor{Name: "session", Levels: 3}, stats.Factor{Name: "visit", Levels: 12}
	for i := range 24 {
		box.Codes, session.Codes, visit.Codes = append(box.Codes, int32(i/6)), append(session.Codes, int32(i/2%3)), append(visit.Codes, int32(i/2))
	}
	fitting := box
	fitting.Name = "fitting"
	r.more([]stats.Factor{box, fitting, session, visit})
	near(t, "now", r.SEDB, math.Sqrt(4.0/4+1.0/3+0.5/12+2.0/24), 1e-12)
	for i, want := range []float64{
		math.Sqrt(4.0/4 + 1.0/3 + 0.5/12 + 2.0/36), math.Sqrt(4.0/4 + 1.0/4 + 0.5/16 + 2.0/32), nan, math.Sqrt(4.0/5 + 1.0/3 + 0.5/15 + 2.0/30),
	} {
		if m := r.More[i]; math.IsNaN(want) != math.IsNaN(m.SEDB) || math.Abs(m.SEDB-want) > 1e-12 || math.IsNaN(want) != (m.Reason != "") {
			t.Errorf("%s: %v, want %v (%s)", m.What, m.SEDB, want, m.Reason)
		}
	}
	if best, ok := r.Best(); !ok || best.Unit != "box" {
		t.Errorf("best %+v", best)
	}
	// One session: what it would average cannot be known; more closings help a little.
	r = empty()
	r.Constant = []string{"session"}
	r.Components = []Component{{Source: "box+fitting+visit", Variance: 4}, {Source: "closing", Variance: 2}}
	visit.Codes, visit.Levels = box.Codes, 4
	one := single(24)
	one.Name = "session"
	r.more([]stats.Factor{box, fitting, one, visit})
	for i, defined := range []bool{true, false, false, true} {
		if m := r.More[i]; math.IsNaN(m.SEDB) == defined {
			t.Errorf("%s: %v (%s)", m.What, m.SEDB, m.Reason)
		}
	}
}

// The working shows every figure of the result.
func TestExplain(t *testing.T) {
	c := layout(4, 4, 1, 3, 5)
	c.DB[7] += 40
	r := c.spread(t, usual)
	text := strings.Join(r.Explain, "\n")
	for _, x := range []float64{r.MeanDB, r.Repeatability.SD, r.Repeatability.LimitDB(), r.Reproducibility.SD, r.Unit.SD, r.SEDB, r.Outliers[0].Statistic} {
		if !strings.Contains(text, fmt.Sprintf("%.3f", x)) {
			t.Errorf("%.3f is not in\n%s", x, text)
		}
	}
	for _, word := range []string{"Grubbs closing", "2.8 x", "robust", "one more box"} {
		if !strings.Contains(text, word) {
			t.Errorf("%q is not in\n%s", word, text)
		}
	}
	if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Error(text)
	}
}

func TestMalformed(t *testing.T) {
	c := layout(1, 2, 1, 2, 2)
	c.DB[3] = math.Inf(1)
	if _, err := Spread(c.Data, usual); err == nil {
		t.Error("an infinite attenuation was taken")
	}
}
