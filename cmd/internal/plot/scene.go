package plot

import "slices"

// A scene is a list of marks from back to front.
type scene struct {
	height   float64
	Patterns []string // fills that the marks refer to
	Marks    []mark
}

// A mark is a path or a piece of text, with its place written out.
type mark struct {
	Class        string
	Path         string // empty for text
	Pattern      string // fill of a path
	X, Y, Anchor string
	Text         string
}

func (s *scene) path(class, d string) {
	if d != "" {
		s.Marks = append(s.Marks, mark{Class: class, Path: d})
	}
}

// filled draws a path filled with a pattern.
func (s *scene) filled(class, pattern, d string) {
	if d == "" {
		return
	}
	if !slices.Contains(s.Patterns, pattern) {
		s.Patterns = append(s.Patterns, pattern)
	}
	s.Marks = append(s.Marks, mark{Class: class, Path: d, Pattern: pattern})
}

// Where text stands against its place.
const (
	atStart  = ""
	atMiddle = "middle"
	atEnd    = "end"
)

func (s *scene) text(class string, x, y float64, anchor, text string) {
	if text != "" {
		s.Marks = append(s.Marks, mark{Class: class, X: num(x), Y: num(y), Anchor: anchor, Text: text})
	}
}

// A key explains one kind of mark: the glyph, then what it means.
type key struct {
	glyph func(s *scene, x, y float64) // drawn around (x, y), 22 units wide
	label string
}

const (
	glyphWidth = 22.0
	keyGap     = 18.0
	lineHeight = 18.0
)

// legend lays the keys out in lines from y downwards and returns the end of the
// last line.
func (s *scene) legend(y float64, keys []key) float64 {
	x := margin
	y += lineHeight
	for _, k := range keys {
		label := shorten(k.label, Width-2*margin-glyphWidth-6, textSize)
		w := glyphWidth + 6 + textWidth(label, textSize)
		if x > margin && x+w > Width-margin {
			x, y = margin, y+lineHeight
		}
		k.glyph(s, x+glyphWidth/2, y-4.5)
		s.text("p-quiet", x+glyphWidth+6, y, atStart, label)
		x += w + keyGap
	}
	return y + 6
}

// stroke is a glyph of a straight piece of line.
func stroke(class string) func(*scene, float64, float64) {
	return func(s *scene, x, y float64) { s.path(class, segment(x-glyphWidth/2, y, x+glyphWidth/2, y)) }
}

// sign is a glyph of one marker.
func sign(class string, shape func(x, y float64) string) func(*scene, float64, float64) {
	return func(s *scene, x, y float64) { s.path(class, shape(x, y)) }
}

// block is a glyph of a filled rectangle.
func block(class, pattern string) func(*scene, float64, float64) {
	return func(s *scene, x, y float64) {
		d := box(x-glyphWidth/2, y-6, x+glyphWidth/2, y+6)
		if pattern == "" {
			s.path(class, d)
			return
		}
		s.filled(class, pattern, d)
	}
}
