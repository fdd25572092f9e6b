package study

import (
	"testing"
	"time"
)

// The horizon is the last test and twice the tested span, in whole days of the
// calendar: ages in years and back must not lose a day. No source beside the
// calendar.
func TestHorizonKeepsItsDay(t *testing.T) {
	for span := 300; span < 800; span++ {
		last := time.Date(2026, 5, 10, 0, 0, 0, 0, time.UTC)
		age := float64(span) * float64(day) / float64(year)
		y := &retest{asOf: last, ageNow: age}
		y.result.Horizon = age + 2*age
		if got, want := y.horizon(), last.AddDate(0, 0, 2*span); !got.Equal(want) {
			t.Errorf("span of %d days: horizon %s, want %s", span, civil(got), civil(want))
		}
	}
}
