package report

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
)

func TestCSV(t *testing.T) {
	doc := judged()
	doc.Judge[0].Levels = []string{"box+fitting", "closing"}
	doc.Judge[0].MeanDB = num(0.30000000000000004)
	doc.Judge[1].Reason = "a \"quoted\", text\nin two lines"
	doc.Judge[2].Group = []Label{{"gasket", "@x"}, {"box", "\t7"}, {"session", "＝1"}}
	var b, notes bytes.Buffer
	if err := CSV(&b, doc, &notes); err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(records) != 4 {
		t.Fatalf("%d records, error %v", len(records), err)
	}
	cell := func(row int, name string) string {
		for i, n := range records[0] {
			if n == name {
				return records[row][i]
			}
		}
		t.Fatalf("no column %s", name)
		return ""
	}
	for _, tt := range []struct {
		row        int
		name, want string
	}{
		{1, "group_gasket", "copper mesh"}, {1, "group_session", ""}, {1, "band_lo_hz", "300000000"},
		{1, "levels", "box+fitting;closing"}, {1, "mean_db", "0.30000000000000004"}, {1, "weakest_margin_db", "-1.75"},
		{1, "lowest_limited", "true"}, {2, "weakest_freq_hz", ""}, {2, "margin_db", "-26.085"}, // a number, no text: no apostrophe
		{2, "reason", "a \"quoted\", text\nin two lines"}, {3, "group_gasket", "'@x"}, {3, "group_box", `\t7`},
		{3, "group_session", "'＝1"}, {3, "mean_db", ""}, {3, "verdicts_next", "too few"}, {3, "needed_more", "4"},
	} {
		if got := cell(tt.row, tt.name); got != tt.want {
			t.Errorf("row %d, %s: %q, want %q", tt.row, tt.name, got, tt.want)
		}
	}
	for _, want := range []string{"note: Run 2031-05-05 was left out", "Read 2 files: 1818 rows = 1800 used + 6 skipped + 12 blank."} {
		if !strings.Contains(notes.String(), want) {
			t.Errorf("the notes lack %q:\n%s", want, notes.String())
		}
	}
}
