package study

import (
	"math"
	"slices"
	"strings"
	"testing"

	"sealbound/ingest"
)

// Counted on paper: pieces of a quarter of the perimeter from strips of a length.
func TestStripsFor(t *testing.T) {
	for _, tt := range []struct {
		perimeter, strip float64
		want             int
	}{
		{1720, 2100, 1}, // 430 mm: four and more pieces from one strip
		{1720, 1720, 1}, // just four
		{1720, 1719, 2}, // three
		{1720, 1000, 2}, // two
		{2040, 1000, 4}, // 510 mm: one
		{2040, 510, 4},
		{2040, 509, 8}, // each side butted from two
		{2040, 100, 24},
		{1290, 430, 4}, {1, 3.0 / 4, 2},
		{0, 100, 0}, {100, 0, 0}, {math.NaN(), 100, 0}, {100, math.NaN(), 0}, {-4, 1, 0}, {1e300, 1e-300, 0}, {1e12, 1, 0},
	} {
		if got := stripsFor(tt.perimeter, tt.strip); got != tt.want {
			t.Errorf("perimeter %g, strips of %g: %d, want %d", tt.perimeter, tt.strip, got, tt.want)
		}
	}
}

// An oblong box never takes more than the square of its perimeter, where a strip is
// at least a quarter of the perimeter: its sides, cut where they are longer than a
// strip, fit into as many strips first-fit.
func TestOblongTakesNoMore(t *testing.T) {
	const perimeter = 1000
	for strip := 250.0; strip <= 1100; strip += 0.5 {
		most := stripsFor(perimeter, strip)
		for long := 250.0; long < 500; long += 2.5 {
			var pieces []float64
			for _, side := range []float64{long, long, 500 - long, 500 - long} {
				for ; side > strip; side -= strip {
					pieces = append(pieces, strip)
				}
				pieces = append(pieces, side)
			}
			slices.Sort(pieces)
			slices.Reverse(pieces)
			var left []float64
			for _, p := range pieces {
				at := slices.IndexFunc(left, func(x float64) bool { return x >= p-1e-9 })
				if at < 0 {
					left = append(left, strip)
					at = len(left) - 1
				}
				left[at] -= p
			}
			if len(left) > most {
				t.Fatalf("strips of %g: %d for sides of %g and %g, %d by the rule", strip, len(left), long, 500-long, most)
			}
		}
	}
}

// What the side tables lack is said.
func TestBill(t *testing.T) {
	c := &campaign{summary: &ingest.Summary{
		Boxes: []ingest.Box{{Label: "a", PerimeterMM: 1720, ChannelWidthMM: 12}, {Label: "b", PerimeterMM: 2040, ChannelWidthMM: 16}, {Label: "bare", PerimeterMM: nan}},
		Gaskets: []ingest.Gasket{{Label: "mesh", StripLengthMM: 1000, StripPrice: 14, Currency: "EUR", WidthMM: 12, ThicknessMM: 7},
			{Label: "gift", StripLengthMM: 1000, StripPrice: nan}, {Label: "cloth", StripLengthMM: nan, StripPrice: 3},
			{Label: "rubber", WidthMM: 11, ThicknessMM: 8}},
	}}
	for _, tt := range []struct {
		gasket, missing string
		boxes           []string
		strips          int
		cost            float64
	}{
		{"mesh", "", []string{"a", "b"}, 6, 84}, {"mesh", "perimeter_mm for box bare", []string{"a", "bare"}, 0, nan},
		{"mesh", "no row for box c", []string{"c"}, 0, nan}, {"gift", "no strip_price", []string{"a"}, 2, nan},
		{"cloth", "no strip_length_mm", []string{"a"}, 0, nan}, {"felt", "no row for it", []string{"a"}, 0, nan},
	} {
		b := c.billFor(tt.gasket, tt.boxes)
		same := b.cost == tt.cost || math.IsNaN(b.cost) && math.IsNaN(tt.cost)
		if b.strips != tt.strips || !same || !strings.Contains(b.missing, tt.missing) || tt.missing == "" && b.missing != "" {
			t.Errorf("%s in %v: %+v", tt.gasket, tt.boxes, b)
		}
	}
	n := &notebook{}
	c.noteFit([]string{"mesh", "rubber", "felt"}, []string{"a", "b"}, "rubber", n)
	text := strings.Join(n.lines(), "\n")
	if !strings.Contains(text, "mesh, 12 mm wide: a") || strings.Contains(text, "mesh, 12 mm wide: a and b") || !strings.Contains(text, "not thicker than rubber (8 mm)") {
		t.Errorf("notes on the fit:\n%s", text)
	}
	n = &notebook{}
	c.noteFit([]string{"mesh"}, []string{"b"}, "", n)
	if lines := n.lines(); lines != nil {
		t.Errorf("a product that fits is warned of: %v", lines)
	}
}
