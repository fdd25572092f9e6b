package study

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	madeup "sealbound/cmd/internal/campaign"
	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
	"sealbound/stats/simulate"
)

// archive writes a made-up campaign and returns its folder.
func archive(t *testing.T, change func(*madeup.Options)) string {
	t.Helper()
	o := madeup.DefaultOptions()
	o.Products, o.AsBought, o.Frequencies, o.LoMHz, o.HiMHz, o.TiltDB = 1, false, 4, 100, 250, 0
	o.WearDB, o.SlopeSDDB, o.PointSDDB, o.ReadingSDDB, o.OpenSDDB = 0, 0, 0, 0, 0
	o.FloorDBM, o.Decimals, o.EveryDay = -160, 6, 10
	change(&o)
	settings, layout, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := madeup.Write(dir, settings, layout, false); err != nil {
		t.Fatal(err)
	}
	return dir
}

func planned(t *testing.T, s PlanSettings) *report.Document {
	t.Helper()
	p, err := Plan(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return p.Document
}

func only(n report.Number) float64 {
	if n == nil {
		return 0
	}
	return *n
}

// The plan from an archive, measured over and over: campaigns of its boxes, sessions
// and closings, with the spread that the archive was estimated to have and the margin
// planned for, are judged as judge does. The share that clears the target is the
// power that was said, within 3 points (standard error 1 point).
func TestPlanFromKeepsItsPower(t *testing.T) {
	const runs = 1500
	for name, tt := range map[string]struct {
		archive func(*madeup.Options)
		margin  float64
		costs   [4]float64
	}{
		"boxes and sessions": {func(o *madeup.Options) {
			o.Boxes, o.Sessions, o.Closings, o.Seed = 6, 5, 4, 11
			o.BoxSDDB, o.FittingSDDB, o.SessionSDDB, o.VisitSDDB, o.ClosingSDDB = 1.2, 0.5, 0.8, 0.4, 1.6
		}, 2.5, [4]float64{1, 12, 6, 4}},
		"one session": {func(o *madeup.Options) {
			o.Boxes, o.Sessions, o.Closings, o.Seed = 7, 1, 5, 12
			o.BoxSDDB, o.FittingSDDB, o.SessionSDDB, o.VisitSDDB, o.ClosingSDDB = 1, 0, 0, 0, 2
		}, 2, [4]float64{1, 30, 2, 0}},
		"one box": {func(o *madeup.Options) {
			o.Boxes, o.Sessions, o.Closings, o.Seed = 1, 6, 4, 13
			o.BoxSDDB, o.FittingSDDB, o.SessionSDDB, o.VisitSDDB, o.ClosingSDDB = 0, 0, 0.7, 0.5, 1.5
		}, 1.5, [4]float64{1, 5, 0, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			s := DefaultPlanSettings()
			s.From, s.Bands, s.MarginDB = []string{archive(t, tt.archive)}, "all", &tt.margin
			s.CostClosing, s.CostSession, s.CostBox, s.CostFitting = &tt.costs[0], &tt.costs[1], &tt.costs[2], &tt.costs[3]
			doc := planned(t, s)
			row, past := doc.Plan.Rows[0], doc.Plan.Past[0]
			if row.Boxes == nil {
				t.Fatalf("no plan: %q", doc.Headlines)
			}
			cleared := 0
			layout := simulate.Plan{Products: []simulate.Product{{Label: "foil", MeanDB: 50 + tt.margin}}, Boxes: *row.Boxes, Strips: 1,
				Sessions: *row.Sessions, First: time.Date(2031, 5, 4, 0, 0, 0, 0, time.UTC), EveryDay: 1, Points: []simulate.Point{{FreqHz: 1e8}}}
			for i := range runs {
				made, err := layout.Apply(simulate.Settings{Seed: uint64(1000 + i), Closings: *row.Closings, Sweeps: 1, OpenRepeats: 1, Open: simulate.Flat(-30),
					SD: simulate.Spread{BoxDB: only(past.BoxSD), FittingDB: only(past.FittingSD), SessionDB: only(past.SessionSD), VisitDB: only(past.VisitSD), ClosingDB: only(past.Closing)}})
				if err != nil {
					t.Fatal(err)
				}
				c, err := simulate.New(made)
				if err != nil {
					t.Fatal(err)
				}
				k := c.Closings(simulate.Selection{})
				d := judge.Data{Closings: len(k.Values), Box: k.Factors[simulate.BoxFactor], Fitting: k.Factors[simulate.FittingFactor],
					Session: k.Factors[simulate.SessionFactor], Run: k.Run}
				all := make([]int32, len(k.Values))
				for i := range all {
					all[i] = int32(i)
				}
				if m := d.MeanOf(k.Values, all, false, s.Confidence, judge.Source{}); m.Lower >= 50 {
					cleared++
				}
			}
			got := float64(cleared) / runs
			t.Logf("%d boxes, %d sessions, %d closings: planned %.3f, simulated %.3f", *row.Boxes, *row.Sessions, *row.Closings, *row.Power, got)
			if math.Abs(got-*row.Power) > 0.03 {
				t.Errorf("planned %.3f, simulated %.3f", *row.Power, got)
			}
			if *row.Power < s.Power {
				t.Errorf("power %.3f where %.2f was wanted", *row.Power, s.Power)
			}
		})
	}
}

// A large archive's components are near those that it was made with, wear and all:
// four standard errors of an SD estimated from that many units, SD/sqrt(2 (units-1)).
func TestPlanFromFindsTheSpread(t *testing.T) {
	dir := archive(t, func(o *madeup.Options) {
		o.Boxes, o.Sessions, o.Closings, o.Seed, o.EveryDay = 40, 10, 4, 21, 365
		o.BoxSDDB, o.FittingSDDB, o.SessionSDDB, o.VisitSDDB, o.ClosingSDDB = 1.2, 0, 0.6, 0.8, 1.5
		o.WearDB = -1.5
	})
	margin := 2.0
	s := DefaultPlanSettings()
	s.From, s.Bands, s.MarginDB = []string{dir}, "all", &margin
	doc := planned(t, s)
	past := doc.Plan.Past[0]
	for _, c := range []struct {
		level string
		got   report.Number
		want  float64
		units int
	}{{"box", past.BoxSD, 1.2, 40}, {"session", past.SessionSD, 0.6, 9}, {"visit", past.VisitSD, 0.8, 360}, {"closing", past.Closing, 1.5, 1200}} {
		if tol := 4 * c.want / math.Sqrt(2*float64(c.units-1)); c.got == nil || math.Abs(*c.got-c.want) > tol {
			t.Errorf("%s SD %v, made with %v, tolerance %.2f", c.level, only(c.got), c.want, tol)
		}
	}
	if notes := strings.Join(doc.Notes, "\n"); !strings.Contains(notes, "a straight line over the age") {
		t.Errorf("wear is not spoken of: %s", notes)
	}
	// Without the line, the wear of nine years would be a spread of sessions of over 4 dB.
	s.Within = 36500 * day
	if past := planned(t, s).Plan.Past[0]; only(past.SessionSD) < 3 {
		t.Errorf("session SD %v with the wear in it", only(past.SessionSD))
	}
}

// The margin is that of the past mean where none is given.
func TestPlanFromTakesTheMargin(t *testing.T) {
	dir := archive(t, func(o *madeup.Options) {
		o.Boxes, o.Sessions, o.Closings, o.Seed, o.MeanDB = 5, 3, 4, 31, 60
	})
	s := DefaultPlanSettings()
	s.From, s.Bands, s.TargetDB = []string{dir}, "all", 55
	doc := planned(t, s)
	j := s.Settings
	j.By, j.AllDates = []string{"gasket"}, true
	judged, err := Judge(context.Background(), s.From, j)
	if err != nil {
		t.Fatal(err)
	}
	if want, got := *judged.Judge[0].MeanDB-55, only(doc.Plan.Past[0].MarginDB); math.Abs(got-want) > 1e-9 {
		t.Errorf("margin %v, judge's mean lies %v above the target", got, want)
	}
	s.TargetDB = 75
	doc = planned(t, s)
	if row := doc.Plan.Rows[0]; row.Closings != nil || row.Power != nil || !strings.Contains(row.Reason, "does not lie above the target") {
		t.Errorf("below the target: %+v", row)
	}
}

// What the past did not repeat is said to be unknown, and what is assumed.
func TestPlanFromSaysWhatIsUnknown(t *testing.T) {
	margin, sd := 2.0, 1.0
	for name, tt := range map[string]struct {
		boxes, sessions int
		change          func(*PlanSettings)
		says, never     string
		most            [2]int // boxes, sessions that may be planned
	}{
		"one box":              {1, 4, func(*PlanSettings) {}, "the past data have one box", "the past data have one session", [2]int{1, 12}},
		"one session":          {5, 1, func(*PlanSettings) {}, "the past data have one session", "the past data have one box", [2]int{40, 1}},
		"one of each":          {1, 1, func(*PlanSettings) {}, "the past data have one box", "levels that the past data cannot tell apart", [2]int{1, 1}},
		"boxes said":           {1, 4, func(s *PlanSettings) { s.BoxSDDB = &sd }, "the spread which the past data show, an estimate", "the past data have one box", [2]int{40, 12}},
		"sessions asked for":   {5, 1, func(s *PlanSettings) { s.Sessions = Span{3, 3} }, "taken as 0, although several sessions are asked for", "one session is planned for", [2]int{40, 3}},
		"boxes asked for":      {1, 3, func(s *PlanSettings) { s.Boxes = Span{2, 4} }, "taken as 0, although several boxes are asked for", "one box with the strip", [2]int{4, 12}},
		"all known to be zero": {4, 3, func(s *PlanSettings) { s.VisitSDDB = new(float64) }, "the spread which the past data show, an estimate", "unknown", [2]int{40, 12}},
	} {
		t.Run(name, func(t *testing.T) {
			s := DefaultPlanSettings()
			s.From = []string{archive(t, func(o *madeup.Options) { o.Boxes, o.Sessions, o.Closings, o.Seed = tt.boxes, tt.sessions, 5, 41 })}
			s.Bands, s.MarginDB = "all", &margin
			tt.change(&s)
			doc := planned(t, s)
			notes := strings.Join(doc.Notes, "\n")
			if !strings.Contains(notes, tt.says) || strings.Contains(notes, tt.never) {
				t.Errorf("notes must say %q and not %q:\n%s", tt.says, tt.never, notes)
			}
			row := doc.Plan.Rows[0]
			if row.Boxes == nil || *row.Boxes > tt.most[0] || *row.Sessions > tt.most[1] {
				t.Errorf("%+v, %q", row, doc.Headlines)
			}
		})
	}
	// One closing, and readings all at the floor: no spread, and no plan.
	s := DefaultPlanSettings()
	s.MarginDB, s.Bands = &margin, "all"
	s.From = []string{archive(t, func(o *madeup.Options) { o.Boxes, o.Sessions, o.Closings = 1, 1, 1 })}
	if row := planned(t, s).Plan.Rows[0]; row.Closings != nil || !strings.Contains(row.Reason, "one closing shows no spread") {
		t.Errorf("one closing: %+v", row)
	}
	s.From = []string{archive(t, func(o *madeup.Options) { o.Boxes, o.Sessions, o.FloorDBM, o.OpenDBM = 3, 2, -80, -30 })}
	if row := planned(t, s).Plan.Rows[0]; row.Closings != nil || !strings.Contains(row.Reason, "limited readings at most points") {
		t.Errorf("all limited: %+v", row)
	}
}

// Products that the past tells less of take the spread of sessions from the others.
func TestPlanFromBorrows(t *testing.T) {
	dir := archive(t, func(o *madeup.Options) { o.Products, o.Crossed, o.Boxes, o.Sessions, o.Seed = 2, true, 4, 4, 51 })
	margin := 3.0
	s := DefaultPlanSettings()
	s.From, s.Bands, s.MarginDB = []string{dir}, "all", &margin
	doc := planned(t, s)
	if len(doc.Plan.Past) != 2 {
		t.Fatalf("%+v", doc.Plan.Past)
	}
	row := doc.Plan.Rows[0]
	for _, p := range doc.Plan.Past {
		if p.Power == nil || *p.Power < *row.Power || *row.Power < s.Power {
			t.Errorf("power %v of %v, the least is said to be %v", only(p.Power), p.Group, *row.Power)
		}
	}
	least := math.Min(only(doc.Plan.Past[0].Power), only(doc.Plan.Past[1].Power))
	if *row.Power != least {
		t.Errorf("power %v, least %v", *row.Power, least)
	}
}
