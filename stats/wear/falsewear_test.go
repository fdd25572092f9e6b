package wear

import (
	"testing"
)

// Ten boxes that do not wear, in sessions that differ: "wears" by chance in 5 % of
// campaigns. A model without the session's common offset says so in far more.
func TestFalseWear(t *testing.T) {
	for _, sessions := range []int{3, 4, 5, 6} {
		for _, slopeSD := range []float64{0, 0.2} {
			c := yearly(10, sessions, slopeSD)
			c.wear = 0
			if !long && (sessions != 5 || slopeSD > 0) {
				continue
			}
			v := c.cover(t, replicates(250, 2000), c.seed()+5e8, trial{Settings: plain()})
			t.Logf("%s: wears %.3f", c.name(), v.of(v.wears))
			if !reached(1-v.of(v.wears), 0.94, v.slope) {
				t.Errorf("%s: wears in %.3f of %d", c.name(), v.of(v.wears), v.slope)
			}
			if sessions < 5 || slopeSD > 0 {
				continue
			}
			chance, reps := 0, replicates(100, 500)
			for rep := range reps {
				m := c.make(t, c.seed()+6e8+uint64(rep))
				r := empty(plain())
				if err := r.take(m.d); err != nil {
					t.Fatal(err)
				}
				nested := sampleOf(m.d, r.Kept, r.Values, true)
				nested.session = nested.visit // as if every box had sessions of its own
				nested.count()
				l, why := fitLine(nested)
				if why != "" {
					t.Fatal(why)
				}
				chance += hit(l.slope(0.95).Upper < 0)
			}
			t.Logf("%s: %.3f where a session's offset is taken for each box's own", c.name(), float64(chance)/float64(reps))
			if 10*chance < reps {
				t.Errorf("%d of %d: the reason for crossing is gone", chance, reps)
			}
		}
	}
}
