// Package refcase reads the reference values under testdata/reference for the
// tests of the statistics packages. Only test files may import it: it opens
// files, which the statistics themselves never do.
//
// A case is a set of numbers from outside this project, each with the
// tolerance to which it is to be met and the call that gave it; see
// testdata/reference/README.md for the files and their conventions.
package refcase

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A Case is one file of testdata/reference/cases. It has Values or a Table,
// not both.
type Case struct {
	ID, Section, Title, Source string
	DataFile                   string         `json:"data"` // "" where the case has no input
	Params                     map[string]any // formula, levels, target, as the file has them
	Values                     []Value
	Table                      *Table
}

// A Value is one expected number.
type Value struct {
	Name string
	Want Number  `json:"value"`
	Rel  float64 `json:"rel_tol"`
	Abs  float64 `json:"abs_tol"`
	Call string  // the expression that gave Want
	Note string
}

// A Number is a float64 that may be undefined (null in the file; then it is
// NaN too), infinite or NaN.
type Number struct {
	Float   float64
	Defined bool
}

// UnmarshalJSON reads a JSON number, null, "Inf", "-Inf" or "NaN".
func (n *Number) UnmarshalJSON(b []byte) error {
	switch s := strings.Trim(string(b), `"`); s {
	case "null":
		*n = Number{Float: math.NaN()}
		return nil
	default:
		f, err := strconv.ParseFloat(s, 64)
		*n = Number{Float: f, Defined: true}
		return err
	}
}

// Informative reports whether the value only shows a contrast or what a
// package prints, and is not an answer to meet.
func (v Value) Informative() bool {
	return strings.HasPrefix(v.Name, "info.") || strings.HasPrefix(v.Name, "naive")
}

// Met reports whether got is within the tolerance of v: |got - want| <=
// max(abs, rel*|want|), equal infinities, and NaN where v is undefined or NaN.
func (v Value) Met(got float64) bool {
	want := v.Want.Float
	switch {
	case math.IsNaN(want):
		return math.IsNaN(got)
	case math.IsInf(want, 0) || math.IsInf(got, 0):
		return got == want
	}
	return math.Abs(got-want) <= math.Max(v.Abs, v.Rel*math.Abs(want))
}

// Load returns the case of that id and ends the test if there is none.
func Load(tb testing.TB, id string) *Case {
	tb.Helper()
	b, err := os.ReadFile(filepath.Join(Dir(tb), "cases", id+".json"))
	if err != nil {
		tb.Fatalf("reference case %s: %v", id, err)
	}
	c := new(Case)
	if err := json.Unmarshal(b, c); err != nil {
		tb.Fatalf("reference case %s: %v", id, err)
	}
	return c
}

// IDs returns, in order, the ids of the cases that begin with prefix ("a_",
// "c_pastes"); it ends the test if there are none.
func IDs(tb testing.TB, prefix string) []string {
	tb.Helper()
	paths, err := filepath.Glob(filepath.Join(Dir(tb), "cases", prefix+"*.json"))
	if err != nil || len(paths) == 0 {
		tb.Fatalf("no reference case begins with %q (%v)", prefix, err)
	}
	ids := make([]string, len(paths)) // Glob sorts
	for i, p := range paths {
		ids[i] = strings.TrimSuffix(filepath.Base(p), ".json")
	}
	return ids
}

// Dir returns the path of testdata/reference, found from the module's root.
func Dir(tb testing.TB) string {
	tb.Helper()
	dir, err := os.Getwd()
	if err != nil {
		tb.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "testdata", "reference")
		}
		up := filepath.Dir(dir)
		if up == dir {
			tb.Fatal("no go.mod above the test's directory")
		}
		dir = up
	}
}

// Has reports whether the case has a value of that name.
func (c *Case) Has(name string) bool {
	for _, v := range c.Values {
		if v.Name == name {
			return true
		}
	}
	return false
}

// Value returns the value of that name and ends the test if there is none.
func (c *Case) Value(tb testing.TB, name string) Value {
	tb.Helper()
	for _, v := range c.Values {
		if v.Name == name {
			return v
		}
	}
	tb.Fatalf("reference case %s has no value %q", c.ID, name)
	return Value{}
}

// Check compares got with the value of that name, at its own tolerance.
func (c *Case) Check(tb testing.TB, name string, got float64) {
	tb.Helper()
	if v := c.Value(tb, name); !v.Met(got) {
		tb.Errorf("%s: %s = %s", c.ID, name, v.mismatch(got))
	}
}

// CheckWithin is Check with a wider tolerance, for methods that are less sharp
// than the reference by nature; the caller says why.
func (c *Case) CheckWithin(tb testing.TB, name string, got, rel, abs float64) {
	tb.Helper()
	v := c.Value(tb, name)
	v.Rel, v.Abs = math.Max(v.Rel, rel), math.Max(v.Abs, abs)
	if !v.Met(got) {
		tb.Errorf("%s: %s = %s", c.ID, name, v.mismatch(got))
	}
}

func (v Value) mismatch(got float64) string {
	want := v.Want.Float
	return fmt.Sprintf("%.17g, want %.17g (off by %.3g, relative %.3g; allowed %.3g, relative %.3g) from %s",
		got, want, got-want, (got-want)/math.Abs(want), v.Abs, v.Rel, v.Call)
}

// Columns reads the case's input.
func (c *Case) Columns(tb testing.TB) Columns {
	tb.Helper()
	if c.DataFile == "" {
		tb.Fatalf("reference case %s has no data", c.ID)
	}
	return ReadColumns(tb, c.DataFile)
}

// Columns is a CSV file of testdata/reference/data by columns.
type Columns struct {
	tb     testing.TB
	file   string
	Header []string
	rows   [][]string
}

// ReadColumns reads a file of testdata/reference/data.
func ReadColumns(tb testing.TB, file string) Columns {
	tb.Helper()
	f, err := os.Open(filepath.Join(Dir(tb), "data", file))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		tb.Fatalf("%s: %v, %d lines", file, err, len(rows))
	}
	return Columns{tb: tb, file: file, Header: rows[0], rows: rows[1:]}
}

// Len returns the number of rows.
func (c Columns) Len() int { return len(c.rows) }

// Text returns a column as it is written.
func (c Columns) Text(name string) []string {
	c.tb.Helper()
	for j, h := range c.Header {
		if h == name {
			out := make([]string, len(c.rows))
			for i, r := range c.rows {
				out[i] = r[j]
			}
			return out
		}
	}
	c.tb.Fatalf("%s has no column %q", c.file, name)
	return nil
}

// Float returns a column as numbers.
func (c Columns) Float(name string) []float64 {
	c.tb.Helper()
	text := c.Text(name)
	out := make([]float64, len(text))
	for i, s := range text {
		f, err := strconv.ParseFloat(s, 64)
		if err != nil {
			c.tb.Fatalf("%s: row %d, column %s: %v", c.file, i+1, name, err)
		}
		out[i] = f
	}
	return out
}

// Codes returns a column as group codes 0, 1, ... in the order in which the
// labels first appear, and the labels.
func (c Columns) Codes(name string) (codes []int32, labels []string) {
	c.tb.Helper()
	seen := map[string]int32{}
	for _, s := range c.Text(name) {
		k, ok := seen[s]
		if !ok {
			k = int32(len(labels))
			seen[s] = k
			labels = append(labels, s)
		}
		codes = append(codes, k)
	}
	return codes, labels
}
