package simulate

import (
	"fmt"
	"time"
)

// A Plan lays out boxes, strips and sessions evenly; Settings fills them in.
type Plan struct {
	Products []Product
	Boxes    int  // test boxes, labelled box-1, box-2, ...
	Controls int  // control boxes, labelled control-1, ..., with the last product
	Crossed  bool // every box carries every product in turn, each box beginning with another; false: box i carries product i mod their number
	Strips   int  // strips of each product in each box that carries it, one after the other; at least 1
	Sessions int
	First    time.Time // date of the first session
	EveryDay int       // days from one session to the next, at least 1
	Points   []Point
}

// Apply returns the settings with the plan's products, boxes, sessions and
// points in place of theirs. The strips of a box share its sessions evenly, in
// order; where there are more strips than sessions, several are measured in one.
func (p Plan) Apply(s Settings) (Settings, error) {
	switch {
	case len(p.Products) == 0:
		return s, fmt.Errorf("simulate: no products")
	case p.Boxes < 1 || p.Sessions < 1 || p.Strips < 1 || p.EveryDay < 1 || p.Controls < 0:
		return s, fmt.Errorf("simulate: %d boxes, %d strips, %d sessions every %d days: each must be at least 1", p.Boxes, p.Strips, p.Sessions, p.EveryDay)
	}
	s.Products, s.Points = p.Products, p.Points
	s.Sessions, s.Boxes = make([]Session, p.Sessions), make([]Box, 0, p.Boxes+p.Controls)
	for i := range s.Sessions {
		s.Sessions[i].Date = p.day(i)
	}
	for i := range p.Boxes {
		s.Boxes = append(s.Boxes, Box{Label: fmt.Sprintf("box-%d", i+1), Fittings: p.strips(i)})
	}
	for i := range p.Controls {
		s.Boxes = append(s.Boxes, Box{
			Label: fmt.Sprintf("control-%d", i+1), Control: true,
			Fittings: []Fitting{{Product: p.Products[len(p.Products)-1].Label, Installed: p.First}},
		})
	}
	return s, nil
}

// strips lists what the box of an index carries over the sessions.
func (p Plan) strips(box int) []Fitting {
	turns := 1
	if p.Crossed {
		turns = len(p.Products)
	}
	n := turns * p.Strips
	out := make([]Fitting, n)
	for j := range out {
		product := p.Products[(box+j/p.Strips)%len(p.Products)]
		first := j * p.Sessions / n
		last := max(first, (j+1)*p.Sessions/n-1)
		out[j] = Fitting{Product: product.Label, Installed: p.day(first)}
		if last < p.Sessions-1 {
			out[j].Removed = p.day(last)
		}
	}
	return out
}

func (p Plan) day(session int) time.Time { return p.First.AddDate(0, 0, session*p.EveryDay) }
