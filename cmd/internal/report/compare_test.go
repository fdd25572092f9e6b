package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
)

func comparedDoc() *Document {
	n := func(x float64) Number { return &x }
	return &Document{Version: "0", Command: "compare", Settings: []Setting{{Name: "confidence", Value: 0.95}},
		Headlines: []string{"HF: take mesh."},
		Compare: []CompareRow{{
			Band: Band{Name: "HF", LoHz: 3e6, HiHz: 3e7}, Boxes: 3, Points: 2, Closings: 12, TargetDB: n(50), Method: "Holm", LettersMethod: "Holm", Design: "nested",
			Products: []CompareProduct{
				{Gasket: "mesh", Boxes: 3, Fittings: 3, Closings: 6, MeanDB: n(62.04), SEDB: n(1), DF: n(2), LowerDB: n(60), UpperDB: n(64), Letters: "a", Verdict: "clears", Strips: 6, Cost: n(84), Currency: "EUR"},
				{Gasket: "=wool", Boxes: 3, Fittings: 3, Closings: 6, MeanDB: n(55), Verdict: "too few", Limited: 6, Readings: 12, Reason: "floor"}},
			Differences: []CompareDifference{{A: "mesh", B: "=wool", DifferenceDB: n(7.04), LowerDB: nil, UpperDB: n(9), PAdjusted: n(0.0002), AtMost: true, Equivalent: "no", Reason: "floor"}},
			Components:  []CompareComponent{{Source: "box", VarianceDB2: n(4), SDDB: n(2), Share: n(0.8)}},
			Best:        []string{"mesh"}, Pick: "mesh",
			Gains: []CompareGain{{Box: "ash", Gasket: "mesh", FromDB: 30, ToDB: 62, GainDB: 32}},
		}, {Band: Band{Name: "VHF"}, Reason: "no point was measured in every fitting"}}}
}

// namesIn returns the names of a JSON object in their order.
func namesIn(t *testing.T, raw json.RawMessage) []string {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(raw))
	if _, err := d.Token(); err != nil {
		t.Fatal(err)
	}
	var names []string
	for d.More() {
		k, err := d.Token()
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, k.(string))
		var skip json.RawMessage
		if err := d.Decode(&skip); err != nil {
			t.Fatal(err)
		}
	}
	return names
}

// The names that scripts rely on stand first and in their order; what is undefined
// is null, an empty list is a list.
func TestCompareJSON(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, comparedDoc()); err != nil {
		t.Fatal(err)
	}
	var doc struct{ Results []json.RawMessage }
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	want := strings.Fields("band products differences components log_likelihood best pick reason")
	if got := namesIn(t, doc.Results[0]); !slices.Equal(got[:len(want)], want) {
		t.Errorf("names %v", got)
	}
	var row struct {
		Products, Differences, Components []json.RawMessage
		Best                              []string
		Pick, Reason                      *string
		LogLikelihood                     *float64 `json:"log_likelihood"`
	}
	if err := json.Unmarshal(doc.Results[0], &row); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		raw  json.RawMessage
		want string
	}{
		{row.Products[0], "gasket boxes fittings closings mean_db se_db df lower_db upper_db letters verdict strips cost"},
		{row.Differences[0], "a b difference_db se_db df lower_db upper_db p_adjusted"},
		{row.Components[0], "source variance_db2 sd_db sd_lower_db sd_upper_db share"},
	} {
		want := strings.Fields(tt.want)
		if got := namesIn(t, tt.raw); !slices.Equal(got[:len(want)], want) {
			t.Errorf("names %v, want first %v", got, want)
		}
	}
	if row.LogLikelihood != nil || row.Reason != nil || *row.Pick != "mesh" {
		t.Errorf("%+v", row)
	}
	if !bytes.Contains(doc.Results[1], []byte(`"products":[]`)) || !bytes.Contains(doc.Results[1], []byte(`"best":[],"pick":null`)) {
		t.Errorf("a row without products: %s", doc.Results[1])
	}
	if !bytes.Contains(row.Products[1], []byte(`"letters":null`)) || !bytes.Contains(row.Products[1], []byte(`"strips":null,"cost":null`)) {
		t.Errorf("what is undefined: %s", row.Products[1])
	}
}

// CSV has a line for each product, difference, component and gain, and one for the
// whole; each line has as many cells as the header.
func TestCompareCSV(t *testing.T) {
	var b bytes.Buffer
	if err := CSV(&b, comparedDoc(), io.Discard); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll() // refuses ragged rows
	if err != nil {
		t.Fatal(err)
	}
	cell := func(line int, name string) string { return rows[line][slices.Index(rows[0], name)] }
	var records []string
	for i := range rows[1:] {
		records = append(records, cell(i+1, "record"))
	}
	want := strings.Fields("product product difference component gain comparison comparison")
	if !slices.Equal(records, want) {
		t.Fatalf("records %v, want %v", records, want)
	}
	for _, tt := range []struct {
		line       int
		name, want string
	}{
		{1, "mean_db", "62.04"}, {1, "cost", "84"}, {2, "gasket", "'=wool"}, {2, "lower_db", ""}, {3, "a", "mesh"}, {3, "difference_db", "7.04"},
		{4, "variance_db2", "4"}, {5, "gain_db", "32"}, {6, "pick", "mesh"}, {6, "band_name", "HF"}, {7, "reason", "no point was measured in every fitting"},
	} {
		if got := cell(tt.line, tt.name); got != tt.want {
			t.Errorf("line %d, %s: %q, want %q", tt.line, tt.name, got, tt.want)
		}
	}
}

// For a person: sides of limited readings are marked, a p value is never zero, and
// the lines fit.
func TestCompareText(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, comparedDoc(), 100); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"≤ +7.0", "<0.001", "not shown", "84.00  EUR", "Gain of each box", "(Holm)"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for line := range strings.Lines(text) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 100 {
			t.Errorf("%d wide: %s", n, line)
		}
	}
}

// Nothing that is not finite is written, in tables within rows too.
func TestCompareFinite(t *testing.T) {
	doc := comparedDoc()
	bad := math.Inf(1)
	doc.Compare[0].Differences[0].UpperDB = &bad
	var b bytes.Buffer
	if err := JSON(&b, doc); err == nil || b.Len() > 0 {
		t.Errorf("an infinite bound is written: %s", b.String())
	}
	if err := CSV(&b, doc, io.Discard); err == nil || b.Len() > 0 {
		t.Errorf("an infinite bound is written: %s", b.String())
	}
}
