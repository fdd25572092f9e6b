package judge

import (
	"math"
	"strings"
	"testing"
)

func TestZeroVerdictIsNoPass(t *testing.T) {
	var v Verdict
	if v == Clears {
		t.Error("the zero value passes")
	}
}

func TestVerdictOrder(t *testing.T) {
	nan := math.NaN()
	// The order of decision is a rule of the project, no outside source.
	for _, tt := range []struct {
		name string
		e    evidence
		want Verdict
	}{
		{"no bound", evidence{lower: nan, upper: nan, target: 50}, TooFew},
		{"no bound before headroom", evidence{lower: nan, upper: nan, target: 50, headroom: 30}, TooFew},
		{"no target", evidence{lower: 60, upper: 61, target: nan}, TooFew},
		{"on the target", evidence{lower: 50, upper: 51, upperRaised: 51, target: 50, headroom: nan}, Clears},
		{"clears though the headroom is small", evidence{lower: 50, upper: 51, target: 50, headroom: 45}, Clears},
		{"below", evidence{lower: 40, upper: 45, upperRaised: 45, target: 50, headroom: 80}, FallsShort},
		{"below, even beside a small headroom", evidence{lower: 40, upper: 45, upperRaised: 45, target: 50, headroom: 48}, FallsShort},
		{"limited readings might hide more", evidence{lower: 40, upper: 45, upperRaised: 52, limitedShare: 0.1, target: 50, headroom: 80}, Undecided},
		{"too many limited", evidence{lower: 40, upper: 45, upperRaised: 46, limitedShare: 0.21, target: 50, headroom: 80}, Undecided},
		{"a fifth limited still decides", evidence{lower: 40, upper: 45, upperRaised: 46, limitedShare: 0.2, target: 50, headroom: 80}, FallsShort},
		{"no floor known", evidence{lower: 40, upper: 45, upperRaised: 45, floorUnknown: true, target: 50, headroom: nan}, Undecided},
		{"set-up too short", evidence{lower: 40, upper: 45, upperRaised: 65, limitedShare: 1, target: 50, headroom: 46}, OutOfReach},
		{"target between the bounds", evidence{lower: 49, upper: 52, upperRaised: 52, target: 50, headroom: 80}, Undecided},
		{"no upper bound", evidence{lower: 49, upper: nan, upperRaised: nan, target: 50, headroom: 80}, Undecided},
	} {
		if got := tt.e.verdict(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

// More closings do not settle what readings hide: with no floor known a mean below
// the target never falls short, and neither does one whose limited readings may reach
// the target. By the order of the verdicts; no source.
func TestNeededWhereReadingsHide(t *testing.T) {
	values := []float64{44, 45, 51, 47, 54}
	r := mustJudge(t, dataOf(values, oneStrip), usual)
	if r.Verdicts[OnMean] != Undecided || r.Needed == nil {
		t.Errorf("seen as they are: %v, needed %+v", r.Verdicts[OnMean], r.Needed)
	}
	d := dataOf(values, oneStrip)
	d.FloorKnown[1] = false
	if r = mustJudge(t, d, usual); r.Needed != nil || !strings.Contains(r.NeededReason, "no floor is known") {
		t.Errorf("no floor known: needed %+v, %q", r.Needed, r.NeededReason)
	}
	d = dataOf(values, oneStrip)
	d.Limited[4], d.HeadroomDB[4] = true, 54
	if r = mustJudge(t, d, usual); r.Needed != nil || !strings.Contains(r.NeededReason, "limited readings") {
		t.Errorf("one limited: needed %+v, %q", r.Needed, r.NeededReason)
	}
	for i := range values { // above the target nothing hidden speaks against it
		d.DB[i] += 4
	}
	if r = mustJudge(t, d, usual); r.Verdicts[OnMean] != Undecided || r.Needed == nil {
		t.Errorf("above the target: %v, needed %+v, %q", r.Verdicts[OnMean], r.Needed, r.NeededReason)
	}
}

// A point is out of reach where the least headroom known of it is below its target,
// though other readings of it, given as attenuations, tell none.
func TestWeakestOutOfReach(t *testing.T) {
	d := dataOf([]float64{40, 41, 40.5, 39, 40, 41}, oneStrip)
	d.Limited[5], d.HeadroomDB[5] = true, 41
	r := mustJudge(t, d, usual)
	if r.Verdicts[OnMean] != OutOfReach || r.Verdicts[OnWeakest] != OutOfReach {
		t.Errorf("verdicts %v", r.Verdicts)
	}
}
