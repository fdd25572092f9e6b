// Analysis asks something that no command asks: does a lid leak more on its latch
// side than on its hinge side? It reads with ingest and bounds with stats/interval.
package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/apache/arrow/go/v15/arrow/array"

	"sealbound/ingest"
	"sealbound/stats/interval"
)

func main() {
	if err := analyse(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
}

func analyse(paths []string, out io.Writer) error {
	pairs := map[string][]float64{} // by box: latch less hinge, dB, of each closing and frequency
	opt := ingest.DefaultOptions()
	opt.OmitReadings = true // the attenuations will do
	summary, err := ingest.Read(context.Background(), paths, opt, func(r *ingest.Run) error {
		closing := r.Attenuation.Column(0).(*array.Int32) // columns as in ingest.Attenuation
		point := r.Attenuation.Column(1).(*array.Int32)
		db := r.Attenuation.Column(2).(*array.Float64)
		limited := r.Attenuation.Column(3).(*array.Boolean)
		for latch := 1; latch < int(r.Attenuation.NumRows()); latch++ {
			hinge := latch - 1 // rows come by closing, frequency, position
			h, l := r.Points[point.Value(hinge)], r.Points[point.Value(latch)]
			if h.Position == "hinge" && l.Position == "latch" && h.FreqHz == l.FreqHz && closing.Value(hinge) == closing.Value(latch) &&
				!limited.Value(hinge) && !limited.Value(latch) { // "at least" has no difference
				box := r.Closings[closing.Value(latch)].Box
				pairs[box] = append(pairs[box], db.Value(latch)-db.Value(hinge))
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	var boxes []float64 // the repeats: all closings of a box share its lid
	for _, b := range summary.Boxes {
		if m, _, err := interval.MeanSD(pairs[b.Label]); err == nil && b.Role != "control" {
			boxes = append(boxes, m)
			fmt.Fprintf(out, "%-8s %+.2f dB over %d pairs of readings\n", b.Label, m, len(pairs[b.Label]))
		}
	}
	mean, sd, err := interval.MeanSD(boxes)
	if err != nil {
		return err
	}
	e, err := interval.MeanBounds(len(boxes), mean, sd, 0.95)
	if err == nil {
		fmt.Fprintf(out, "latch less hinge: %+.2f dB, from %+.2f to %+.2f (95 %% each side, %d boxes)\n", mean, e.Lower, e.Upper, len(boxes))
	}
	return err
}
