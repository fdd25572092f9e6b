package judge

import (
	"math"
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
