package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// fullCautions stand in every report: what a figure in dB leaves to others.
var fullCautions = []string{
	"Transmitting, however weakly, takes a licence or an exemption of the national spectrum authority for that frequency, power and place.",
	"Keep people below the limits of exposure to radio-frequency fields: ICNIRP guidelines of 2020, IEEE Std C95.1-2019, and national law.",
	"Old paint may hold lead or chromate: have it tested before grinding to bare metal, and keep to the national rules of workplace safety.",
	"Cut metal has sharp edges and lids pinch: wear gloves, and prop a lid before reaching under it.",
	"An empty box measured at some frequencies is no promise that equipment in it survives a pulse.",
	"Decisions about protection belong to a qualified engineer and to local codes.",
}

// account tells how the result came about: the set-up of the runs behind the cells,
// the side tables, and the files.
func (r *reporting) account(cells []*outlined) report.Account {
	c, s := r.settings.campaign, r.settings
	var closings []*closing
	in := make(map[*closing]bool)
	for _, x := range cells {
		for _, cl := range x.closings {
			if !in[cl] {
				in[cl] = true
				closings = append(closings, cl)
			}
		}
	}
	out := report.Account{Version: s.Version, Command: r.command, Cautions: fullCautions, Files: r.files.files, Setup: c.setup(nil), Side: c.side()}
	out.First, out.Last = dates(closings)
	out.Facts = append(c.facts(cells, closings), r.rig.facts(c.runsOf(closings))...)
	out.Facts = append(out.Facts, contextFacts(closings)...)
	return out
}

// dates are the first and the last of the closings; empty where none has one.
func dates(closings []*closing) (first, last string) {
	for _, cl := range closings {
		d := civil(cl.Date)
		if d == "" {
			continue
		}
		if first == "" || d < first {
			first = d
		}
		last = max(last, d)
	}
	return first, last
}

// runsOf are the labels of the runs of closings, and of those whose open readings
// they borrow, sorted.
func (c *campaign) runsOf(closings []*closing) []string {
	var labels []string
	for _, cl := range closings {
		labels = append(labels, cl.Run)
		if ref := c.runs[cl.run].reference; ref != "" {
			labels = append(labels, ref)
		}
	}
	sortLabels(labels)
	return slices.Compact(labels)
}

// facts count what was measured.
func (c *campaign) facts(cells []*outlined, closings []*closing) []report.Fact {
	first, last := dates(closings)
	when := first
	if first != last {
		when += " to " + last
	}
	if when == "" {
		when = "not in the data"
	}
	var points []int32
	for _, x := range cells {
		points = append(points, x.points...)
	}
	slices.Sort(points)
	points = slices.Compact(points)
	var hz []float64
	var places []string
	for _, p := range points {
		hz = append(hz, c.points[p].FreqHz)
		places = append(places, spot(c.points[p]))
	}
	hz = slices.Compact(hz)
	sortLabels(places)
	places = slices.Compact(places)
	frequencies := make([]string, len(hz))
	for i, f := range hz {
		frequencies[i] = strings.TrimSuffix(megahertz(f), " MHz")
	}
	what := listed(frequencies) + " MHz"
	if len(hz) > 12 {
		what = fmt.Sprintf("%d from %s to %s", len(hz), megahertz(hz[0]), megahertz(hz[len(hz)-1]))
	}
	out := []report.Fact{
		{Name: "Tested", Value: when},
		{Name: "Behind the answer", Value: fmt.Sprintf("%s of %s in %s", count(len(closings), "closing"), count(len(distinct(closings, "box")), "box"), count(len(distinct(closings, "session")), "session"))},
		{Name: "Frequencies", Value: what},
	}
	if len(places) > 1 || len(places) == 1 && places[0] != "" {
		out = append(out, report.Fact{Name: "Places of the antenna", Value: someOf(places)})
	}
	return out
}

// contextNames say what the context columns hold.
var contextNames = []struct{ field, name, unit string }{
	{"method", "Method", ""}, {"receiver", "Receiver", ""}, {"rbw_hz", "Resolution bandwidth", " Hz"}, {"detector", "Detector", ""},
	{"hold", "Hold", ""}, {"antenna", "Antenna", ""}, {"receiver_in", "Receiver stood", ""}, {"operator", "Operator", ""},
	{"latch", "Latch", ""}, {"torque_nm", "Torque", " N m"}, {"temp_c", "Temperature", " °C"}, {"humidity_pct", "Humidity", " %"}, {"battery_v", "Battery", " V"},
}

// contextFacts lists what the closings say of instruments and conditions.
func contextFacts(closings []*closing) []report.Fact {
	var out []report.Fact
	for _, k := range contextNames {
		if values := distinct(closings, k.field); len(values) > 0 {
			out = append(out, report.Fact{Name: k.name, Value: someOf(values) + k.unit})
		}
	}
	return out
}

// setup is setup.csv, verbatim; with runs, only what is about them or about all.
func (c *campaign) setup(runs []string) []report.SetupRow {
	var out []report.SetupRow
	for _, f := range c.summary.Setup {
		if runs == nil || f.Run == "" || slices.Contains(runs, f.Run) {
			out = append(out, report.SetupRow{Run: f.Run, Field: f.Field, Value: f.Value})
		}
	}
	return out
}

// side are the other side tables, as they were given.
func (c *campaign) side() []report.SideTable {
	length := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	var out []report.SideTable
	if len(c.summary.Boxes) > 0 {
		t := report.SideTable{Title: "Boxes", Heads: []string{"box", "role", "type", "perimeter, mm", "channel width, mm", "channel depth, mm"}}
		for _, b := range c.summary.Boxes {
			t.Rows = append(t.Rows, []string{b.Label, b.Role, b.Type, length(b.PerimeterMM), length(b.ChannelWidthMM), length(b.ChannelDepthMM)})
		}
		out = append(out, t)
	}
	if len(c.summary.Gaskets) > 0 {
		t := report.SideTable{Title: "Gaskets", Heads: []string{"gasket", "width, mm", "thickness, mm", "strip length, mm", "price of a strip"}}
		for _, g := range c.summary.Gaskets {
			t.Rows = append(t.Rows, []string{g.Label, length(g.WidthMM), length(g.ThicknessMM), length(g.StripLengthMM), strings.TrimSpace(length(g.StripPrice) + " " + g.Currency)})
		}
		out = append(out, t)
	}
	if len(c.summary.Events) > 0 {
		t := report.SideTable{Title: "Events", Heads: []string{"date", "box", "event", "what happened"}}
		for _, e := range c.summary.Events {
			t.Rows = append(t.Rows, []string{civil(e.Date), e.Box, e.Kind, e.Text})
		}
		slices.SortStableFunc(t.Rows, func(a, b []string) int { return cmp.Or(cmp.Compare(a[0], b[0]), ingest.CompareLabels(a[1], b[1])) })
		out = append(out, t)
	}
	return out
}

// assumed says what the figures take for granted.
func (s Settings) assumed(cells []*outlined) []string {
	percent := func(share float64) string { return strconv.FormatFloat(math.Round(share*1e6)/1e4, 'f', -1, 64) + " %" }
	out := []string{
		"Attenuation is the open level less the closed level, in dB, at the same place and with the same instruments, levels and gains taken into account.",
		"One closing, the act of closing and latching the lid, is one repeat. Frequencies and places of one closing share its luck, so they are averaged first and never counted as repeats.",
	}
	if s.Average == "power" {
		out = append(out, "Over the points of a band the leaked power is averaged; over closings, dB.")
	} else {
		out = append(out, "Averages are of dB, over the points of a band and over closings.")
	}
	if s.AllDates {
		out = append(out, "The answer is an average over all tests. Where a seal wears, the present level is lower.")
	} else {
		out = append(out, fmt.Sprintf("The answer speaks of the last test: of each box the strip installed last, and its sessions within %d days of its last one.", int(s.Within/day)))
	}
	out = append(out, fmt.Sprintf("Each bound holds with %s confidence on its own and is one-sided. The band values of closings are taken as normal about their mean, spread over boxes, strips, sessions and visits as far as the data tell these apart (mixed model, REML).", percent(s.Confidence)))
	switch {
	case s.NoFloor:
		out = append(out, "The readings are vouched to be clear of the receiver’s floor.")
	default:
		out = append(out, fmt.Sprintf("A closed reading less than %g dB above the receiver’s floor is limited: it shows at least its figure, and is counted with no more.", s.FloorMarginDB))
	}
	if s.FloorDBM != nil {
		out = append(out, fmt.Sprintf("Where the data give no floor, it is %g dBm.", *s.FloorDBM))
	}
	if s.KeepDrifted {
		out = append(out, "Runs are kept however far their open reference moved.")
	} else {
		out = append(out, fmt.Sprintf("A run whose open reference moved by more than %g dB is left out.", s.DriftDB))
	}
	switch {
	case s.SessionSDDB != nil:
		out = append(out, fmt.Sprintf("The open reference spreads by %g dB (SD) from session to session, as given.", *s.SessionSDDB))
	case s.BudgetFile != "":
		out = append(out, "The uncertainty of the open reference is that of the budget in "+s.BudgetFile+".")
	}
	switch {
	case s.TargetFile != "":
		out = append(out, "The target is the curve in "+s.TargetFile+", straight in dB over the logarithm of the frequency.")
	case s.TargetDB == DefaultSettings().TargetDB:
		out = append(out, fmt.Sprintf("The target is %g dB at all frequencies: common practice, for which there is no source.", s.TargetDB))
	default:
		out = append(out, fmt.Sprintf("The target is %g dB at all frequencies.", s.TargetDB))
	}
	if s.Bands == "itu" {
		out = append(out, "Bands are those of the ITU Radio Regulations, lower edge excluded, upper edge included.")
	}
	if s.Family == "holm" {
		out = append(out, "Rows are picked as clearing with Holm’s correction for their number.")
	}
	return out
}

// unsaid says what nobody should read into the figures.
func (c *campaign) unsaid(cells []*outlined, rows []report.JudgeRow) []string {
	var hz []float64
	limited, readings := 0, 0
	for _, x := range cells {
		for _, p := range x.points {
			hz = append(hz, c.points[p].FreqHz)
		}
		readings, limited = readings+x.readings, limited+x.limited
	}
	slices.Sort(hz)
	hz = slices.Compact(hz)
	reach := "at " + megahertz(hz[0])
	between := "at other frequencies, or at places of the antenna that were not used"
	if len(hz) > 1 {
		reach = fmt.Sprintf("at %s from %s to %s", plural("frequency", "frequencies", len(hz)), megahertz(hz[0]), megahertz(hz[len(hz)-1]))
		between = "between and beyond them, or at places of the antenna that were not used"
	}
	out := []string{fmt.Sprintf("What happens %s: the readings are %s.", between, reach)}
	var one, here, unfloored []string
	for _, r := range rows {
		name := group{labels: r.Group}.short()
		if r.Boxes == 1 {
			one = append(one, name)
		}
		if strings.HasSuffix(r.Verdict, inThisSetup) {
			here = append(here, name)
		}
	}
	for _, x := range cells {
		if x.floorUnknown {
			unfloored = append(unfloored, x.group.short())
		}
	}
	if one = slices.Compact(one); len(one) > 0 {
		out = append(out, "How other boxes with the same gasket fare: one box was read of "+someOf(one)+".")
	}
	if here = slices.Compact(here); len(here) > 0 {
		out = append(out, "Whether another setting-up of the instruments shows the same: nothing in the data carries the error of the reference for "+someOf(here)+".")
	}
	if limited > 0 {
		out = append(out, fmt.Sprintf("How far the limited readings lie above their figures: %d of %d stood at the receiver’s floor.", limited, readings))
	}
	if unfloored = slices.Compact(unfloored); len(unfloored) > 0 {
		out = append(out, "Whether readings stood at the receiver’s floor where none is known: the figures are at least these, for "+someOf(unfloored)+".")
	}
	return append(out, "What a pulse, a current on a cable or a strong field does to equipment in the box: attenuation of a weak steady signal is all that was measured.")
}
