package ingest

import (
	"math"
	"testing"
)

// The floor margin is 6 dB; open -30 dBm. Figures by hand from
// open - max(closed, floor), limited where closed < floor + 6, headroom
// open - floor - 6.
func TestFloors(t *testing.T) {
	minus90 := -90.0
	withOption := func(o *Options) { o.FloorDBM = &minus90 }
	for _, tt := range []struct {
		name, text, want string
		headroom         float64
		change           func(*Options)
	}{
		{"beside the reading, clear of it", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -94 -100"), "B/1@100=64", 64, nil},
		{"beside the reading, too near", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -94.5 -100"), "B/1@100=>64.5", 64, nil},
		{"below the floor", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -103 -100"), "B/1@100=>70", 64, nil},
		{"another margin", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -94.5 -100"), "B/1@100=64.5", 67, func(o *Options) { o.FloorMarginDB = 3 }},
		{"floor rows, averaged in dB", lines(plainHeader,
			"a - - - open 100 -30",
			"a - - - floor 100 -99",
			"a - - - floor 100 -101",
			"a B G 1 closed 100 -94.5"), "B/1@100=>64.5", 64, nil},
		{"a floor row of the box goes before one of the run", lines(plainHeader,
			"a - - - open 100 -30",
			"a - - - floor 100 -60",
			"a B - - floor 100 -100",
			"a B G 1 closed 100 -94.5"), "B/1@100=>64.5", 64, nil},
		{"a floor row of the closing goes before one of the box", lines(plainHeader,
			"a - - - open 100 -30",
			"a B - - floor 100 -60",
			"a B - 1 floor 100 -100",
			"a B G 1 closed 100 -94.5"), "B/1@100=>64.5", 64, nil},
		{"a floor row of another box does not count", lines(plainHeader,
			"a - - - open 100 -30",
			"a C - - floor 100 -60",
			"a B G 1 closed 100 -94.5"), "B/1@100=64.5?", math.NaN(), nil},
		{"a floor row of another gasket does not count", lines(plainHeader,
			"a - - - open 100 -30",
			"a B H - floor 100 -60",
			"a B G 1 closed 100 -94.5"), "B/1@100=64.5?", math.NaN(), nil},
		{"the cell beside the reading goes before floor rows", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a - - - floor 100 -60 -",
			"a B G 1 closed 100 -94.5 -100"), "B/1@100=>64.5", 64, nil},
		{"a floor read with its own gain, generator off", lines(plainHeader+" tx_dbm gain_db",
			"a - - - open 100 -30 0 0",
			"a - - - floor 100 -70 - 30",
			"a B G 1 closed 100 -54.5 10 30"), "B/1@100=64.5", 74, nil}, // closed -94.5, floor -110: clear
		{"a floor beside a reading with gain and power", lines(plainHeader+" tx_dbm gain_db floor_dbm",
			"a - - - open 100 -30 0 0 -",
			"a B G 1 closed 100 -65 10 30 -70"), "B/1@100=>75", 74, nil}, // closed -105, floor -110: 5 dB above
		{"the setting", lines(plainHeader,
			"a - - - open 100 -30",
			"a B G 1 closed 100 -88"), "B/1@100=>58", 54, withOption},
		{"the setting is a raw level", lines(plainHeader+" tx_dbm gain_db",
			"a - - - open 100 -30 0 0",
			"a B G 1 closed 100 -88 10 20"), "B/1@100=>88", 84, withOption},
		{"the data go before the setting", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -94 -100"), "B/1@100=64", 64, withOption},
		{"the setting does not fit an S21", lines("run box gasket closing state freq_mhz level_db",
			"a - - - open 100 -30",
			"a B G 1 closed 100 -88"), "B/1@100=58?", math.NaN(), withOption},
		{"readings vouched for", lines(plainHeader,
			"a - - - open 100 -30",
			"a B G 1 closed 100 -88"), "B/1@100=58", math.NaN(), func(o *Options) { o.NoFloor = true }},
		{"vouching does not undo a floor", lines(plainHeader+" floor_dbm",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 -103 -100"), "B/1@100=>70", 64, func(o *Options) { o.NoFloor = true }},
		{"sweeps are averaged before the floor is looked at", lines(plainHeader+" floor_dbm sweep",
			"a - - - open 100 -30 - -",
			"a B G 1 closed 100 -92 -100 1",
			"a B G 1 closed 100 -95 -100 2"), "B/1@100=63.5", 64, nil}, // -93.5 on average, though one is too near
		{"an attenuation's limit is its headroom", lines("box gasket closing freq_mhz atten_db",
			"B G 1 100 >72.5"), "B/1@100=>72.5", 72.5, nil},
		{"an attenuation without a mark has no headroom", lines("box gasket closing freq_mhz atten_db",
			"B G 1 100 72.5"), "B/1@100=72.5", math.NaN(), nil},
		{"sweeps of attenuations", lines("box gasket closing freq_mhz atten_db sweep",
			"B G 1 100 70 1",
			"B G 1 100 >72 2"), "B/1@100=>71", 71, nil},
		{"a level below something is its own limit", lines(plainHeader+" limited",
			"a - - - open 100 -30 -",
			"a B G 1 closed 100 <-120 yes"), "B/1@100=>90", 90, nil},
		{"so is a level declared to be one", lines(plainHeader+" limited",
			"a - - - open 100 -30 no",
			"a B G 1 closed 100 -120 TRUE"), "B/1@100=>90", 90, nil},
		{"so is an attenuation declared to be one", lines("box gasket closing freq_mhz atten_db limited",
			"B G 1 100 72.5 1"), "B/1@100=>72.5", 72.5, nil},
		{"with no margin, for the receiver says it itself", lines(plainHeader+" floor_dbm limited",
			"a - - - open 100 -30 - -",
			"a B G 1 closed 100 <=-60 -100 yes"), "B/1@100=>30", 30, nil},
		{"but never below the floor", lines(plainHeader+" floor_dbm limited",
			"a - - - open 100 -30 - -",
			"a B G 1 closed 100 \u2264-120 -100 yes"), "B/1@100=>70", 64, nil},
		{"a floor below something is at most that", lines(plainHeader+" limited",
			"a - - - open 100 -30 -",
			"a - - - floor 100 <-100 yes",
			"a B G 1 closed 100 -94.5 -"), "B/1@100=>64.5", 64, nil},
	} {
		opt := DefaultOptions()
		if tt.change != nil {
			tt.change(&opt)
		}
		res := good(t, opt, tt.text)
		r := res.runs[0]
		if got := r.table(); got != tt.want || !same(r.rows[0].headroom, tt.headroom) {
			t.Errorf("%s: %s with headroom %v, want %s with %v", tt.name, got, r.rows[0].headroom, tt.want, tt.headroom)
		}
	}
}
