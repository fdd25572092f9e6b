package ingest

import (
	"path/filepath"
	"testing"
)

// One run may stand in traces and in a packed file, in whichever order they are read.
func TestTracesBesidePackedFile(t *testing.T) {
	traces := folder(t, map[string]string{
		"runs.csv": "file,run,date,box,gasket,closing,state\no.csv,R,2026-01-01,,,,open\nc.csv,R,2026-01-01,tin,felt,1,closed\n",
		"o.csv":    "freq_hz,level_dbm\n1e8,-30\n2e8,-31\n",
		"c.csv":    "freq_hz,level_dbm\n1e8,-90\n2e8,-91\n",
	})
	packed := packTo(t, "x.parquet", folder(t, map[string]string{"b.csv": "run,date,box,gasket,closing,state,freq_hz,level_dbm\n" +
		"R,2026-01-01,tin,felt,2,closed,1e8,-92\nR,2026-01-01,tin,felt,2,closed,2e8,-93\n"}))
	for _, paths := range [][]string{{traces, packed}, {packed, traces}} {
		closings, attenuations := 0, 0
		res := readVisiting(t, DefaultOptions(), func(r *Run) {
			closings += len(r.Closings)
			attenuations += int(r.Attenuation.NumRows())
		}, paths...)
		if res.err != nil || closings != 2 || attenuations != 4 {
			t.Errorf("%s first: %d closings, %d attenuations, %v %v", filepath.Base(paths[0]), closings, attenuations, res.err, res.sum.Problems)
		}
	}
}
