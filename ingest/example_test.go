package ingest_test

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/apache/arrow/go/v15/arrow/array"

	"sealbound/ingest"
)

// An evening with an invented box: one open reading, read again at the end, the
// receiver's floor, and two closings at two frequencies. The second closing at
// 433 MHz stands less than 6 dB above the floor, so its attenuation is at least
// the figure.
func ExampleRead() {
	const evening = `run,date,box,gasket,closing,state,sweep,freq_mhz,level_dbm
A,2024-05-04,,,,open,start,145,-30.0
A,2024-05-04,,,,open,start,433,-32.0
A,2024-05-04,,,,floor,,145,-110.0
A,2024-05-04,,,,floor,,433,-95.0
A,2024-05-04,osier,wovenfelt,1,closed,,145,-91.5
A,2024-05-04,osier,wovenfelt,1,closed,,433,-88.0
A,2024-05-04,osier,wovenfelt,2,closed,,145,-93.0
A,2024-05-04,osier,wovenfelt,2,closed,,433,-92.0
A,2024-05-04,,,,open,end,145,-30.4
A,2024-05-04,,,,open,end,433,-32.0
`
	opt := ingest.DefaultOptions()
	opt.Stdin = strings.NewReader(evening)
	summary, err := ingest.Read(context.Background(), []string{"-"}, opt, func(r *ingest.Run) error {
		fmt.Printf("run %s, reference moved by %.1f dB\n", r.Label, r.Reference.DriftDB)
		closing := r.Attenuation.Column(0).(*array.Int32)
		point := r.Attenuation.Column(1).(*array.Int32)
		db := r.Attenuation.Column(2).(*array.Float64)
		limited := r.Attenuation.Column(3).(*array.Boolean)
		for i := range int(r.Attenuation.NumRows()) {
			c, p := r.Closings[closing.Value(i)], r.Points[point.Value(i)]
			sign := ""
			if limited.Value(i) {
				sign = "at least "
			}
			fmt.Printf("%s, %s, closing %s, %.0f MHz: %s%.1f dB\n", c.Box, c.Gasket, c.Label, p.FreqHz/1e6, sign, db.Value(i))
		}
		return nil
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	in := summary.Inputs[0]
	fmt.Printf("%d rows = %d used + %d skipped + %d blank\n", in.Rows, in.Used, in.Skipped, in.Blank)
	// Output:
	// run A, reference moved by 0.4 dB
	// osier, wovenfelt, closing 1, 145 MHz: 61.3 dB
	// osier, wovenfelt, closing 1, 433 MHz: 56.0 dB
	// osier, wovenfelt, closing 2, 145 MHz: 62.8 dB
	// osier, wovenfelt, closing 2, 433 MHz: at least 60.0 dB
	// 10 rows = 10 used + 0 skipped + 0 blank
}

// A cell that cannot be read is told with its place, what stands there, what is
// wrong and what would mend it. Reading goes on, so that all are told at once.
func ExampleBadInput() {
	const sheet = `run,date,box,gasket,closing,state,freq_mhz,level_dbm
A,2024-05-04,,,,open,145,-30.0
A,2024-05-04,osier,wovenfelt,1,closed,145,"-91,5"
A,2024-05-04,osier,wovenfelt,2,shut,145,-93.0
`
	opt := ingest.DefaultOptions()
	opt.Stdin = strings.NewReader(sheet)
	_, err := ingest.Read(context.Background(), []string{"-"}, opt, func(*ingest.Run) error { return nil })
	var bad *ingest.BadInput
	if errors.As(err, &bad) {
		for _, p := range bad.Problems {
			fmt.Printf("%d:%d %s %q\n", p.Line, p.Column, p.Field, p.Text)
		}
	}
	// Output:
	// 3:43 level_dbm "-91,5"
	// 4:32 state "shut"
}
