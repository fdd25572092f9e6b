package judge

import (
	"slices"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// A frame is all that the grouping of closings alone says about their mean: the levels
// that can be told apart, the units. Points read in the same closings share it.
type frame struct {
	g        groups
	n        int
	levels   mixed.Levels
	err      error
	names    []string // of the levels, the closing last
	units    int      // of the level at which the mean is replicated
	unitName string
	balanced *mixed.Balanced // nil unless one level divides the closings evenly
}

// newFrame separates the levels of n closings.
func newFrame(g groups, n int) *frame {
	f := &frame{g: g, n: n}
	f.units, f.unitName = g.replicate(n)
	if f.levels, f.err = mixed.Separate(g.all(), n); f.err != nil {
		return f
	}
	for _, t := range f.levels.Terms {
		f.names = append(f.names, t.Factor.Name)
	}
	f.names = append(f.names, f.levels.Residual)
	if len(f.levels.Terms) == 1 {
		f.balanced, _ = mixed.NewBalanced(f.levels.Terms[0], f.levels.Residual, n)
	}
	return f
}

// frames finds the frame of closings, the last one again where they are the same.
type frames struct {
	d        Data
	visit    stats.Factor
	closings []int32
	last     *frame
}

func newFrames(d Data) *frames { return &frames{d: d, visit: d.visits()} }

func (f *frames) of(closings []int32) *frame {
	if f.last == nil || !slices.Equal(closings, f.closings) {
		f.closings = closings
		f.last = newFrame(groups{subset(f.d.Box, closings, "box"), subset(f.d.Fitting, closings, "fitting"),
			subset(f.d.Session, closings, "session"), subset(f.visit, closings, "visit")}, len(closings))
	}
	return f.last
}
