package report

import (
	"math"
	"testing"
)

func TestNumbersForAPerson(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{decibels(-0.04, 1), "0.0"}, {decibels(-0.06, 1), "-0.1"}, {decibels(61.8, 1), "61.8"}, {decibels(0, 2), "0.00"},
		{decibels(-10, 0), "-10"}, {decibels(-100.04, 1), "-100.0"},
		{signed(11.8, 1), "+11.8"}, {signed(-1.75, 2), "-1.75"}, {signed(0, 1), "0.0"},
		{signed(-0.04, 1), "-0.04"}, {signed(0.0004, 1), "+0.0004"}, {signed(-1e-9, 1), "0.000000"},
		{optional(nil, 1), "–"}, {optional(num(2), 1), "2.0"},
		{megahertz(433.92e6), "433.92"}, {megahertz(1e10), "10000"}, {megahertz(150e3), "0.15"}, {megahertz(1), "0.000001"}, {megahertz(30e6), "30"},
		{plainly(50), "50"}, {plainly(52.25), "52.25"}, {plainly(49.5269250280859), "49.527"},
		{percent(0.95), "95 %"}, {percent(0.999), "99.9 %"}, {percent(0.29), "29 %"},
		{counted(1, "closing"), "1 closing"}, {counted(2, "closing"), "2 closings"}, {counted(3, "box"), "3 boxes"},
		{counted(1, "box+fitting"), "1 box"}, {counted(2, "box+fitting"), "2 boxes"},
	} {
		if tt.got != tt.want {
			t.Errorf("%q, want %q", tt.got, tt.want)
		}
	}
}

// A bound that misses the target by little must not read as if it reached it.
func TestDigits(t *testing.T) {
	for _, tt := range []struct {
		se, margin Number
		want       int
	}{
		{nil, nil, 1}, {num(0.5), num(3), 1}, {num(0.05), num(3), 1}, {num(0.049), num(3), 2},
		{num(0.5), num(-0.04), 2}, {num(0.5), num(0.05), 1}, {num(0.5), num(0), 1}, {num(0.5), num(-0.0001), 4},
		{num(0.5), num(math.SmallestNonzeroFloat64), 6},
	} {
		if got := digits(&JudgeRow{SEDB: tt.se, MarginDB: tt.margin}); got != tt.want {
			t.Errorf("digits of %+v = %d, want %d", tt, got, tt.want)
		}
	}
}

func TestVerdictLine(t *testing.T) {
	row := func(change func(*JudgeRow)) string {
		r := clear()
		change(&r)
		return verdict(&r)
	}
	for _, tt := range []struct{ got, want string }{
		{row(func(r *JudgeRow) {}), "clears (mean); weakest point -1.8; closings with a point below: 2 of 10"},
		{row(func(r *JudgeRow) { r.Weakest.MarginDB, r.ClosingsBelowTarget = 0, 0 }), "clears (mean)"},
		{row(func(r *JudgeRow) { r.Weakest, r.ClosingsBelowTarget, r.Closings = nil, 1, 1 }), "clears (mean); closings with a point below: 1 of 1"},
		{row(func(r *JudgeRow) {
			r.Verdict, r.Needed = "undecided", &Needed{"box", 2, 0.8}
			r.ClosingsBelowTarget = 0
		}),
			"undecided (mean); about 2 boxes more would settle it; weakest point -1.8"},
		{row(func(r *JudgeRow) { r.Verdict = "falls short" }), "falls short (mean)"},
		{row(func(r *JudgeRow) { r.Verdict, r.On = "", "next" }), "no verdict (next)"},
		{row(func(r *JudgeRow) { r.Verdict = "clears in this set-up"; r.Weakest, r.ClosingsBelowTarget = nil, 0 }), "clears in this set-up (mean)"},
	} {
		if tt.got != tt.want {
			t.Errorf("%q, want %q", tt.got, tt.want)
		}
	}
}
