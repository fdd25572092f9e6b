package plot

import (
	"math"
	"strconv"
	"strings"
)

// num is a coordinate in as few characters as a tenth of a unit needs.
func num(x float64) string {
	x = math.Round(x*10) / 10
	if x == 0 {
		return "0" // no negative zero
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

type xy struct{ x, y float64 }

// polyline connects points; pieces are the runs between gaps. Points that lie
// within tolerance of the line between their neighbours are left out. A piece of
// one point becomes a level stroke of the given length.
func polyline(pieces [][]xy, tolerance, alone float64) string {
	var b strings.Builder
	for _, piece := range pieces {
		if len(piece) == 1 {
			p := piece[0]
			piece = []xy{{p.x - alone/2, p.y}, {p.x + alone/2, p.y}}
		}
		for i, p := range simplified(piece, tolerance) {
			switch {
			case i == 0:
				b.WriteByte('M')
			case i == 1:
				b.WriteByte('L')
			default:
				b.WriteByte(' ')
			}
			b.WriteString(num(p.x))
			if y := num(p.y); strings.HasPrefix(y, "-") {
				b.WriteString(y)
			} else {
				b.WriteString(" " + y)
			}
		}
	}
	return b.String()
}

// simplified drops points by the rule of Ramer, Douglas and Peucker: those that
// are nearer than tolerance to the line between the points kept around them.
func simplified(points []xy, tolerance float64) []xy {
	if len(points) < 3 || tolerance <= 0 {
		return points
	}
	keep := make([]bool, len(points))
	keep[0], keep[len(points)-1] = true, true
	spans := [][2]int{{0, len(points) - 1}}
	for len(spans) > 0 {
		s := spans[len(spans)-1]
		spans = spans[:len(spans)-1]
		far, at := tolerance, -1
		for i := s[0] + 1; i < s[1]; i++ {
			if d := distance(points[i], points[s[0]], points[s[1]]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			spans = append(spans, [2]int{s[0], at}, [2]int{at, s[1]})
		}
	}
	var out []xy
	for i, k := range keep {
		if k {
			out = append(out, points[i])
		}
	}
	return out
}

// distance is that of p from the line through a and b.
func distance(p, a, b xy) float64 {
	dx, dy := b.x-a.x, b.y-a.y
	if dx == 0 && dy == 0 {
		return math.Hypot(p.x-a.x, p.y-a.y)
	}
	return math.Abs(dx*(a.y-p.y)-(a.x-p.x)*dy) / math.Hypot(dx, dy)
}

func segment(x1, y1, x2, y2 float64) string {
	return "M" + num(x1) + " " + num(y1) + "L" + num(x2) + " " + num(y2)
}

func box(x1, y1, x2, y2 float64) string {
	return "M" + num(x1) + " " + num(y1) + "H" + num(x2) + "V" + num(y2) + "H" + num(x1) + "Z"
}

// area is the closed shape between an upper and a lower line.
func area(upper, lower []xy) string {
	if len(upper) == 0 || len(lower) == 0 {
		return ""
	}
	var b strings.Builder
	for i, p := range upper {
		b.WriteString(pick(i == 0, "M", "L") + num(p.x) + " " + num(p.y))
	}
	for i := len(lower) - 1; i >= 0; i-- {
		b.WriteString("L" + num(lower[i].x) + " " + num(lower[i].y))
	}
	b.WriteByte('Z')
	return b.String()
}

func pick(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// The shapes of markers, told apart without colour.

func disc(r float64) func(x, y float64) string {
	return func(x, y float64) string {
		a := "a" + num(r) + " " + num(r) + " 0 1 0 "
		return "M" + num(x-r) + " " + num(y) + a + num(2*r) + " 0" + a + num(-2*r) + " 0Z"
	}
}

func diamond(x, y float64) string { return polygon(x, y, 0, -6.5, 5.5, 0, 0, 6.5, -5.5, 0) }
func square(x, y float64) string  { return polygon(x, y, -4.2, -4.2, 4.2, -4.2, 4.2, 4.2, -4.2, 4.2) }
func triangle(x, y float64) string {
	return polygon(x, y, 0, -5.5, 5.2, 4, -5.2, 4)
}
func arrowUp(x, y float64) string { return polygon(x, y, 0, -6, 4.5, 2, -4.5, 2) }
func bar(x, y float64) string     { return segment(x, y-6.5, x, y+6.5) }
func cross(x, y float64) string {
	return segment(x-4.5, y-4.5, x+4.5, y+4.5) + segment(x-4.5, y+4.5, x+4.5, y-4.5)
}

func polygon(x, y float64, offsets ...float64) string {
	var b strings.Builder
	for i := 0; i+1 < len(offsets); i += 2 {
		b.WriteString(pick(i == 0, "M", "L") + num(x+offsets[i]) + " " + num(y+offsets[i+1]))
	}
	b.WriteByte('Z')
	return b.String()
}
