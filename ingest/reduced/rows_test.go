package reduced

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"sealbound/ingest/cell"
)

// Rows come back as they were taken, whichever labels they have.
func TestRows(t *testing.T) {
	rows := NewRows(Texts)
	made := func(i int) Row {
		r := Row{Date: cell.Day(i), Installed: cell.NoDay, LoHz: 1, HiHz: float64(2 + i%3), AttenDB: 60, Limited: i%2 == 0, LimitedShare: 0.5, HeadroomDB: 90, OpenRepeats: i % 4, OpenSDDB: 0.1, Line: i + 2}
		for k, c := range Texts {
			if (i+k)%3 > 0 {
				r.Text[c] = fmt.Sprint("label ", i*k%50)
			}
		}
		return r
	}
	n := 2*blockRows + 3
	for i := range n {
		r := made(i)
		if err := rows.Add(&r); err != nil {
			t.Fatal(err)
		}
	}
	var r Row
	for i := n - 1; i >= 0; i-- {
		if rows.At(i, &r); !reflect.DeepEqual(r, made(i)) {
			t.Fatalf("row %d: %+v, not %+v", i, r, made(i))
		}
	}
	if rows.Len() != n {
		t.Errorf("%d rows, not %d", rows.Len(), n)
	}
}

// Tables that do not fit into memory are refused in words.
func TestManyRows(t *testing.T) {
	defer func(rows, texts int) { mostRows, mostTexts = rows, texts }(mostRows, mostTexts)
	good := "box,gasket,closing,band_lo_hz,band_hi_hz,atten_db\n" + strings.Repeat("b,wool,1,1e6,2e6,60\n", 3) + "another box,wool,1,1e6,2e6,60\n"
	bad := strings.Replace(good, ",60\n", ",60 dB\n", -1)
	for _, tt := range []struct {
		text        string
		rows, texts int
		want        string
	}{
		{good, 4, 100, ""},
		{good, 3, 100, "more than 3 rows; divide it"},
		{good, 4, 10, "labels of a table of closings take up more than 0 MB"},
		{bad, 3, 100, "more than 3 rows"},
	} {
		mostRows, mostTexts = tt.rows, tt.texts
		_, _, err := OpenCSV("x.csv", 0, bytes.NewReader([]byte(tt.text)), int64(len(tt.text)))
		if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("%d rows, %d bytes: %v, not %q", tt.rows, tt.texts, err, tt.want)
		}
	}
}
