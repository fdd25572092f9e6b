package wear

import (
	"math"

	"sealbound/stats/dist"
	"sealbound/stats/trend"
)

// stepConfidence is that of the test that points at a step.
const stepConfidence = 0.95

// stepsOf points at the largest step between two sessions of each fitting, where it
// exceeds what is usual by more than least dB and the spread within sessions does
// not explain it (stats/trend, LargestStep). Usual is the median rate of change from
// session to session: wear goes on from year to year, a step does not. A step that
// all fittings of both sessions share, three or more, is told once: it points at the
// set-up rather than at the seals.
func stepsOf(d Data, kept []int32, values []float64, least float64) []Step {
	fittings, sessions, times := visitsOf(d, kept, values)
	codes := fittingCodes(d, kept)
	type place struct{ before, after int }
	measured, stepped, shift := make(map[place]int), make(map[place]int), make(map[place]float64)
	var found []Step
	var places []place
	for f, visits := range fittings {
		for k := 1; k < len(visits); k++ {
			measured[place{visits[k-1].session, visits[k].session}]++
		}
		s, at, ok := stepOf(visits, times, least)
		if !ok {
			continue
		}
		p := place{at, at}
		for k := 1; k < len(visits); k++ {
			if visits[k].session == at {
				p.before = visits[k-1].session
			}
		}
		s.Fitting, s.Before, s.After = codes[f], sessions[p.before], sessions[p.after]
		found, places = append(found, s), append(places, p)
		stepped[p]++
		shift[p] += s.ShiftDB
	}
	var out []Step
	told := make(map[place]bool)
	for i, s := range found {
		p := places[i]
		n := stepped[p]
		if n >= 3 && n == measured[p] && sameSign(found, places, p) {
			if !told[p] {
				told[p] = true
				s.Fitting, s.ShiftDB = -1, shift[p]/float64(n)
				out = append(out, s)
			}
			continue
		}
		out = append(out, s)
	}
	return out
}

func sameSign[P comparable](steps []Step, places []P, p P) bool {
	first := 0
	for i, s := range steps {
		if places[i] != p {
			continue
		}
		if first != 0 && sign(s.ShiftDB) != first {
			return false
		}
		first = sign(s.ShiftDB)
	}
	return true
}

// fittingCodes are the codes in the data of the fittings among the closings kept.
func fittingCodes(d Data, kept []int32) []int32 {
	f := subset(d.Fitting, kept, "fitting")
	out := make([]int32, f.Levels)
	for i, c := range f.Codes {
		out[c] = d.Fitting.Codes[kept[i]]
	}
	return out
}

// stepOf looks at one fitting; after is the session that follows the step.
func stepOf(visits []visited, times []float64, least float64) (s Step, after int, ok bool) {
	if len(visits) < leastSessions {
		return s, 0, false // two sessions have one step, and nothing that is usual
	}
	var t, y, rates []float64
	for k, v := range visits {
		for _, x := range v.values {
			t, y = append(t, times[v.session]), append(y, x)
		}
		if k > 0 && v.time > visits[k-1].time {
			rates = append(rates, (v.mean-visits[k-1].mean)/(v.time-visits[k-1].time))
		}
	}
	if len(rates) < 2 {
		return s, 0, false
	}
	largest, err := trend.LargestStep(t, y)
	if err != nil {
		return s, 0, false
	}
	usual := median(rates) * (largest.After - largest.Before)
	beyond := largest.ShiftDB - usual
	if !(math.Abs(beyond) > least) {
		return s, 0, false
	}
	if !math.IsNaN(largest.T) && largest.ShiftDB != 0 {
		p := float64(largest.Steps) * 2 * dist.TSurvival(math.Abs(largest.T*beyond/largest.ShiftDB), largest.DF)
		if p > 1-stepConfidence {
			return s, 0, false
		}
	}
	for _, v := range visits {
		if v.time == largest.After {
			after = v.session
		}
	}
	return Step{ShiftDB: largest.ShiftDB, UsualDB: usual}, after, true
}
