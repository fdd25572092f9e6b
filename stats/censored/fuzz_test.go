package censored

import (
	"math"
	"testing"

	"sealbound/stats"
	"sealbound/stats/band"
)

// Whatever the data, the outcome is an error, a status, or finite figures.
func FuzzTwoStep(f *testing.F) {
	f.Add([]byte{0, 0, 1}, []byte{0, 0, 60, 0, 1, 61, 1, 0, 190, 1, 1, 62, 2, 0, 59, 2, 1, 188})
	f.Fuzz(func(t *testing.T, fitting, cells []byte) {
		in := band.Table{Points: 8, Fitting: stats.Factor{Levels: 3, Codes: make([]int32, len(fitting))}}
		for c, b := range fitting {
			in.Fitting.Codes[c] = int32(b % 3)
		}
		for i := 0; i+2 < len(cells); i += 3 {
			in.Closing, in.Point = append(in.Closing, int32(cells[i])), append(in.Point, int32(cells[i+1]))
			in.DB, in.Limited = append(in.DB, float64(cells[i+2]&127)), append(in.Limited, cells[i+2] > 127)
		}
		r, err := TwoStep(in, nil)
		if err != nil {
			return
		}
		if (r.Status == Estimated) != (len(r.Values) > 0) {
			t.Fatalf("%v with %d values", r.Status, len(r.Values))
		}
		for _, v := range r.Values {
			if math.IsNaN(v.DB) || math.IsInf(v.DB, 0) {
				t.Fatalf("%+v", v)
			}
		}
	})
}

func FuzzNested(f *testing.F) {
	f.Add([]byte{0, 0, 0, 60, 0, 0, 1, 61, 1, 0, 0, 190, 1, 0, 1, 62, 1, 1, 2, 58, 2, 1, 2, 60}, true)
	f.Fuzz(func(t *testing.T, rows []byte, slope bool) {
		var c Closings
		var box, session []int32
		for i := 0; i+3 < len(rows) && i < 80; i += 4 {
			box, session = append(box, int32(rows[i]%4)), append(session, int32(rows[i+1]%4))
			c.Years = append(c.Years, float64(rows[i+2]%5))
			c.DB, c.Limited = append(c.DB, float64(rows[i+3]&127)), append(c.Limited, rows[i+3] > 127)
		}
		c.Levels = []stats.Factor{{Name: "box", Codes: box, Levels: 4}, {Name: "session", Codes: session, Levels: 4}}
		if !slope {
			c.Years = nil
		}
		n, err := Nested(c)
		if err != nil {
			t.Fatal(err)
		}
		e := n.Mean(0.95, 0, 0)
		if n.Status != Estimated {
			if !math.IsNaN(e.Value) || !math.IsNaN(n.TotalSDDB) {
				t.Fatalf("%v with %+v", n.Status, e)
			}
			return
		}
		if math.IsNaN(n.MeanDB) || math.IsInf(n.MeanDB, 0) || e.Lower > e.Value || e.Upper < e.Value || math.IsInf(e.Lower, 0) || math.IsInf(e.Upper, 0) {
			t.Fatalf("%+v, %+v", n, e)
		}
	})
}
