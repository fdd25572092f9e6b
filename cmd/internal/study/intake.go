package study

import (
	"cmp"
	"slices"
	"strings"

	"sealbound/ingest"
)

// An intake makes what many runs have in common one while they are read: labels,
// points, the grids that runs are measured on, and what the closings of one strip
// share.
type intake struct {
	words     map[string]string
	size      int    // bytes of the words, and of the labels of the runs
	run       string // label of the run that is read: of a million, none is looked up
	codes     map[ingest.Point]int32
	points    []ingest.Point // as the runs gave them, by code
	grids     map[string]*grid
	last      *grid // of the run before
	lastAs    []ingest.Point
	occasions []*occasion
	contexts  map[string]*[]labelled
	closings  slab[closing]
	strips    slab[occasion]
	sittings  slab[sitting]
}

func newIntake() *intake {
	return &intake{words: make(map[string]string), codes: make(map[ingest.Point]int32),
		grids: make(map[string]*grid), contexts: make(map[string]*[]labelled)}
}

// word returns the one copy of a label.
func (in *intake) word(s string) string {
	if s == in.run {
		return in.run
	}
	w, ok := in.words[s]
	if !ok {
		w = strings.Clone(s)
		in.size += len(w)
		in.words[w] = w
	}
	return w
}

// A slab gives values to fill in, which are made many at a time: each by itself would
// take more, and be more to look after.
type slab[T any] struct{ left []T }

func (r *slab[T]) take(n int) []T {
	const atOnce = 1024
	if len(r.left) < n {
		r.left = make([]T, max(n, atOnce))
	}
	own := r.left[:n:n]
	r.left = r.left[n:]
	return own
}

// A grid is the points of a run in the order in which its readings are kept.
type grid struct {
	points []int32 // campaign points by place; while it is read, codes of the intake
	order  []int32 // places by ascending point; nil where they ascend already
}

// gridOf returns the grid of a run's points.
func (in *intake) gridOf(points []ingest.Point) *grid {
	if in.last != nil && slices.Equal(in.lastAs, points) {
		return in.last
	}
	codes, key := make([]int32, len(points)), make([]byte, 0, 4*len(points))
	kept := make([]ingest.Point, len(points))
	for i, p := range points {
		k, ok := in.codes[p]
		if !ok {
			k = int32(len(in.points))
			p.Position, p.Polarization = in.word(p.Position), in.word(p.Polarization)
			in.codes[p] = k
			in.points = append(in.points, p)
		}
		codes[i], kept[i] = k, in.points[k]
		key = append(key, byte(k), byte(k>>8), byte(k>>16), byte(k>>24))
	}
	g, ok := in.grids[string(key)]
	if !ok {
		g = &grid{points: codes}
		in.grids[string(key)] = g
	}
	in.last, in.lastAs = g, kept
	return g
}

// settle puts the campaign's points in place of the codes.
func (g *grid) settle(final []int32) {
	ascending := true
	for i, k := range g.points {
		g.points[i] = final[k]
		ascending = ascending && (i == 0 || g.points[i-1] < g.points[i])
	}
	if ascending {
		return
	}
	g.order = make([]int32, len(g.points))
	for i := range g.order {
		g.order[i] = int32(i)
	}
	slices.SortFunc(g.order, func(a, b int32) int { return cmp.Compare(g.points[a], g.points[b]) })
}

// occasionOf returns the occasion of a closing of the run of that index. The closings
// of one follow each other.
func (in *intake) occasionOf(cl *ingest.Closing, run int) *occasion {
	var last *sitting
	if n := len(in.occasions); n > 0 {
		o := in.occasions[n-1]
		if o.run == run && o.Date.Equal(cl.Date) && o.Session == cl.Session && o.Run == cl.Run && o.File == cl.File && o.in(cl.Context) {
			last = o.sitting
		}
		if last != nil && o.Box == cl.Box && o.Gasket == cl.Gasket && o.Fitting == cl.Fitting && o.Installed.Equal(cl.Installed) {
			return o
		}
	}
	if last == nil {
		last = &in.sittings.take(1)[0]
		*last = sitting{Date: cl.Date, Session: in.word(cl.Session), Run: in.word(cl.Run), File: in.word(cl.File), context: in.contextOf(cl.Context), run: run}
	}
	o := &in.strips.take(1)[0]
	*o = occasion{sitting: last, Box: in.word(cl.Box), Gasket: in.word(cl.Gasket), Fitting: in.word(cl.Fitting), Installed: cl.Installed}
	in.occasions = append(in.occasions, o)
	return o
}

// in reports whether the sitting has this context.
func (o *sitting) in(context map[string]string) bool {
	if len(context) != len(*o.context) {
		return false
	}
	for _, x := range *o.context {
		if v, ok := context[x.field]; !ok || v != x.value {
			return false
		}
	}
	return true
}

// noContext is that of most.
var noContext = new([]labelled)

// contextOf returns the one copy of a context, in the order of its fields.
func (in *intake) contextOf(context map[string]string) *[]labelled {
	if len(context) == 0 {
		return noContext
	}
	var key strings.Builder
	fields := sortedKeys(context)
	for _, f := range fields {
		key.WriteString(join(f, context[f]))
	}
	list, ok := in.contexts[key.String()]
	if !ok {
		list = new([]labelled)
		for _, f := range fields {
			*list = append(*list, labelled{in.word(f), in.word(context[f])})
		}
		in.contexts[key.String()] = list
	}
	return list
}
