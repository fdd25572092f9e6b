package refcase

import (
	"go/parser"
	"go/token"
	"io/fs"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// The comparison must refuse what is wrong, or every test built on it is worth
// nothing.
func TestMetRefusesWrongValues(t *testing.T) {
	num := func(f float64) Number { return Number{Float: f, Defined: true} }
	for _, tt := range []struct {
		v    Value
		got  float64
		want bool
	}{
		{Value{Want: num(2), Rel: 1e-3}, 2.0019, true},
		{Value{Want: num(2), Rel: 1e-3}, 2.0021, false},
		{Value{Want: num(-2), Rel: 1e-3}, 2, false},
		{Value{Want: num(0), Abs: 1e-6}, 9e-7, true},
		{Value{Want: num(0), Abs: 1e-6}, 2e-6, false},
		{Value{Want: num(3)}, 3, true},
		{Value{Want: num(3)}, math.Nextafter(3, 4), false},
		{Value{Want: num(3), Rel: 1}, math.NaN(), false},
		{Value{Want: num(3), Rel: 1}, math.Inf(1), false},
		{Value{Want: num(math.Inf(1)), Rel: 1}, math.Inf(1), true},
		{Value{Want: num(math.Inf(1)), Rel: 1}, math.Inf(-1), false},
		{Value{Want: num(math.Inf(1)), Rel: 1}, 1e300, false},
		{Value{Want: Number{Float: math.NaN()}}, math.NaN(), true},
		{Value{Want: Number{Float: math.NaN()}, Abs: 1}, 0, false},
	} {
		if got := tt.v.Met(tt.got); got != tt.want {
			t.Errorf("%+v met by %v: %v, want %v", tt.v, tt.got, got, tt.want)
		}
	}
}

func TestEveryCaseReads(t *testing.T) {
	ids := IDs(t, "")
	if len(ids) < 70 {
		t.Errorf("%d cases", len(ids))
	}
	for _, id := range ids {
		c := Load(t, id)
		if c.ID != id || c.Section != id[:1] || c.Source == "" {
			t.Errorf("%s: id %q, section %q, source %q", id, c.ID, c.Section, c.Source)
		}
		if (len(c.Values) > 0) == (c.Table != nil) {
			t.Errorf("%s: %d values, table %v", id, len(c.Values), c.Table != nil)
		}
		if c.DataFile != "" {
			c.Columns(t)
		}
		if c.Table != nil {
			c.EachRow(t, func(r Row) {
				for column := range c.Table.Tolerance {
					r.Want(column)
				}
			})
		}
	}
}

func TestNullAndInfinity(t *testing.T) {
	undefined := 0
	Load(t, "b_dunnett_equal_n").EachRow(t, func(r Row) {
		if !r.Cell("d_mvtnorm").Defined {
			undefined++
		}
	})
	if undefined == 0 {
		t.Error("the table has rows without d_mvtnorm")
	}
	infinite := 0
	Load(t, "b_qtukey").EachRow(t, func(r Row) {
		if math.IsInf(r.Float("df"), 1) {
			infinite++
		}
	})
	if infinite == 0 {
		t.Error("the table has rows with infinite df")
	}
}

// Only tests may import this package.
func TestOnlyTestsImport(t *testing.T) {
	root := filepath.Join(Dir(t), "..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && (strings.HasPrefix(name, ".") && path != root || name == "testdata") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return nil // a file that is being written; the compiler will say so
		}
		for _, imp := range f.Imports {
			if strings.Trim(imp.Path.Value, `"`) == "sealbound/stats/internal/refcase" {
				t.Errorf("%s imports refcase", path)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
