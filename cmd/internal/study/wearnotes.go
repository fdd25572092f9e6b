package study

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/trend"
	"sealbound/stats/wear"
)

// noteWear says what a result rests on, what it leaves out, and what it cannot show.
func (c *campaign) noteWear(y *retest, s Settings, n *notebook) {
	r, at := y.result, y.at()
	c.noteWearLeftOut(y, at, n)
	if y.replaced && !y.control {
		n.add("these strips have been replaced since: dates are as if the last of them had stayed", y.group.short())
	}
	if y.last != nil {
		y.noteLast(s, at, n)
	}
	if r.Method == wear.NoMethod {
		return
	}
	c.noteMethod(y, at, n)
	if m := s.FloorMarginDB; 10*r.Limited > r.Readings && m < nearFloorDB && y.besideFloor() {
		n.add(fmt.Sprintf("a receiver adds its own noise: a reading %g dB above the floor shows %.1f dB less attenuation than there is, which makes wear look smaller; --floor-margin %g leaves %.1f dB of it",
			m, addedNoise(m), nearFloorDB, addedNoise(nearFloorDB)), at)
	}
	switch {
	case y.control:
		n.add("a control box is never opened: what it shows is the drift of the instruments, not wear", at)
	case r.OneStart && r.Against == nil:
		n.add("all strips began on one day and there is no control box: age and calendar cannot be told apart, so a drift of the instruments would look like wear", at)
	}
	switch {
	case r.Fittings == 1 && !y.control:
		n.add("one strip: the slope speaks of this strip in this box", at)
	case s.Slopes == "common" && r.Fittings > 1:
		n.add("all strips are taken to wear alike (--slopes common): if they do not, the bounds are too narrow", at)
	case r.Fittings > 1 && !r.OwnSlopes && r.Method != wear.Likelihood && !slices.Contains(r.Dropped, "fitting_slope"):
		n.add("fewer than two strips with three sessions each: how strips differ in wear cannot be told", at)
	}
	if len(r.Dropped) > 0 {
		n.add("levels that show no spread are left out of the model, which is then fitted again; degrees of freedom are limited for it", at+": "+listed(r.Dropped))
	}
	for _, w := range r.Warnings {
		if w.Code != droppedCode {
			n.add(w.Text, at)
		}
	}
	if df := r.Slope.DF; df < 1.5 && r.Fittings > 1 {
		n.add("one degree of freedom, so the bounds of the slope are very wide: more strips or sessions mend it; --by gasket,box asks of each box by itself, and --slopes common supposes that all strips wear alike", at)
	}
	if r.Verdict == wear.NoTrend && r.Cross.Status == wear.Crosses {
		n.add("the slope is not told from zero, so the day on which the mean meets the target is where the fitted line goes, no more", at)
	}
	y.noteRank(s, at, n)
	y.noteSteps(at, n)
	if y.oldest-y.youngest > 0.05 {
		n.add("strips in use differ in age: figures and dates are for the mean of their ages", fmt.Sprintf("%s: %.1f to %.1f years on %s", at, y.youngest, y.oldest, civil(y.asOf)))
	}
	if r.Cross.Status == wear.Crosses || r.LowerCross.Status == wear.Crosses {
		n.add("dates after the last test hold if the line goes on as it is; none is given beyond twice the span of ages tested", "")
	}
	if k := r.Against; k != nil && k.Reason == "" {
		n.add("slope minus that of the control boxes: fitted together, so that what a session shares cancels", fmt.Sprintf("%s: %s, %s", at, count(k.Boxes, "control box"), count(k.Points, "point")))
	}
}

// nearFloorDB is the margin above the floor at which noise no longer matters to a slope.
const nearFloorDB = 10.0

// addedNoise is by how many dB the noise of a receiver raises a signal whose reading
// stands above the floor by a margin, both adding up in power; NaN at or below it.
func addedNoise(marginDB float64) float64 { return -10 * math.Log10(1-math.Pow(10, -marginDB/10)) }

// besideFloor tells whether readings that are not limited were held against a floor.
func (y *retest) besideFloor() bool {
	for i, headroom := range y.data.HeadroomDB {
		if !y.data.Limited[i] && !math.IsNaN(headroom) {
			return true
		}
	}
	return false
}

// noteMethod says how limited readings were dealt with.
func (c *campaign) noteMethod(y *retest, at string, n *notebook) {
	r := y.result
	var out []string
	for _, p := range r.LimitedOut {
		out = append(out, place(c.points[y.points[p]]))
	}
	switch r.Method {
	case wear.ClearOf:
		n.add("points where any reading is limited are left out: with a limit in its place wear would be hidden",
			fmt.Sprintf("%s: %d of %s used, left out: %s", at, len(r.Points), count(r.Common, "point"), someOf(out)))
	case wear.TwoStep:
		text := fmt.Sprintf("%s: %d of %s", at, r.Limited, count(r.Readings, "reading"))
		if len(out) > 0 {
			text += "; left out, limited throughout a strip's tests: " + someOf(out)
		}
		n.add("limited readings are modelled as normal above their limit, within each strip; the slope rests on those values", text)
	case wear.Likelihood:
		n.add("one point with limited closings: slope and mean by maximum likelihood, which takes the closings to be normal",
			fmt.Sprintf("%s: %d of %s limited", at, r.Limited, count(r.Readings, "closing")))
	}
}

// noteLast says what the mean of the last test rests on.
func (y *retest) noteLast(s Settings, at string, n *notebook) {
	r := y.last
	n.add("no slope: the mean and its bound are those of the last test of each box, as judge gives them", at)
	if !y.asOf.Equal(y.lastTest) {
		n.add("without a slope nothing can be said of another date than the last test's", at)
	}
	switch u := r.ReferenceU; {
	case r.ThisSetup:
		n.add("one session and no repeated open reading: nothing carries the error of the reference, so the bound holds in this set-up only", at)
	case u.UDB > 0 && r.Mean.Method != "sign":
		n.add(fmt.Sprintf("one session: the uncertainty of the open reference (%s) is in the bound", u.Name), at)
	}
}

// noteRank says what so many sessions can show by rank.
func (y *retest) noteRank(s Settings, at string, n *notebook) {
	k := y.result.Rank
	if math.IsNaN(k.P) {
		return
	}
	if k.Least > 1-s.Confidence {
		few := ""
		if need, err := trend.FewestValues(s.Confidence, true); err == nil {
			few = fmt.Sprintf(" (%d are the fewest that can)", need)
		}
		n.add(fmt.Sprintf("by rank no trend can be shown with %s%s: the smallest two-sided p they can give is %.2g; the slope rests on the normal distribution alone",
			count(k.Sessions, "session"), few, k.Least), at)
	}
	if k.P <= 1-s.Confidence && y.result.Verdict == wear.NoTrend {
		n.add("by rank there is a trend in these strips, though the slope and its bounds show none for the gasket", fmt.Sprintf("%s: p two-sided %.2g", at, k.P))
	}
	if !k.Exact {
		n.add("the test by rank is a normal approximation here", at)
	}
}

func (y *retest) noteSteps(at string, n *notebook) {
	for _, step := range y.result.Steps {
		who := "all strips alike, so look at the set-up first"
		if step.Fitting >= 0 {
			is := y.strip(step.Fitting)
			who = "box " + is.box
			if is.fitting != "" {
				who += ", strip " + is.fitting
			}
		}
		n.add("a larger change between two sessions than usual: see what happened between them, to the seal or the set-up", fmt.Sprintf("%s: %+.1f dB from session %s to %s where %+.1f is usual, %s", at,
			step.ShiftDB, y.session(step.Before), y.session(step.After), step.UsualDB, who))
	}
}

func (c *campaign) noteWearLeftOut(y *retest, at string, n *notebook) {
	r := y.result
	if len(r.PointsOut) > 0 {
		var names []string
		for _, p := range r.PointsOut {
			names = append(names, place(c.points[y.points[p.Point]]))
		}
		n.add("points left out because not every strip has them", fmt.Sprintf("%s: %s left out: %s", at, plural("point", "points", len(names)), someOf(names)))
	}
	for _, out := range r.ClosingsOut {
		cl := y.closings[out.Closing]
		why := out.Why
		if out.Points > 0 {
			why = fmt.Sprintf("%d of %d points", out.Points, out.Of)
		}
		n.add("closings left out", fmt.Sprintf("%s: closing %s of box %s in run %s, %s", at, cl.Label, cl.Box, cl.Run, why))
	}
	guessed := make(map[fittingKey]bool)
	for i, cl := range y.closings {
		if cl.Installed.IsZero() && (y.data.Control == nil || !y.data.Control[i]) {
			guessed[cl.fittingKey()] = true
		}
	}
	if len(guessed) > 0 && r.Method != wear.NoMethod {
		n.add("age counts from the first test where no installation date is given", fmt.Sprintf("%s: %s", y.group.short(), plural("strip", "strips", len(guessed))))
	}
}
