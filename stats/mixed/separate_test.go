package mixed

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"

	"sealbound/stats"
)

// levelNames lists the terms and the residual of a result.
func levelNames(l Levels) []string {
	var out []string
	for _, t := range l.Terms {
		out = append(out, t.Factor.Name)
	}
	return append(out, l.Residual)
}

// The names follow from the design alone: reasoned by hand, no source.
func TestSeparate(t *testing.T) {
	for _, tt := range []struct {
		name     string
		factors  []stats.Factor
		want     []string
		constant []string
	}{
		{"one box, one fitting, one session", []stats.Factor{
			factor("box", 0, 0, 0, 0), factor("fitting", 0, 0, 0, 0), factor("session", 0, 0, 0, 0), factor("visit", 0, 0, 0, 0)},
			[]string{"closing"}, []string{"box", "fitting", "session", "visit"}},
		{"a fitting per box, one session", []stats.Factor{
			factor("box", 0, 0, 1, 1, 2, 2), factor("fitting", 0, 0, 1, 1, 2, 2), factor("session", 0, 0, 0, 0, 0, 0), factor("visit", 0, 0, 1, 1, 2, 2)},
			[]string{"box+fitting+visit", "closing"}, []string{"session"}},
		{"a closing per visit", []stats.Factor{
			factor("box", 0, 0, 0, 1, 1, 1), factor("fitting", 0, 0, 0, 1, 1, 1), factor("session", 0, 1, 2, 0, 1, 2), factor("visit", 0, 1, 2, 3, 4, 5)},
			[]string{"box+fitting", "session", "visit+closing"}, nil},
		{"one box over sessions", []stats.Factor{
			factor("box", 0, 0, 0, 0), factor("fitting", 0, 0, 0, 0), factor("session", 0, 0, 1, 1), factor("visit", 0, 0, 1, 1)},
			[]string{"session+visit", "closing"}, []string{"box", "fitting"}},
		{"everything apart", []stats.Factor{
			factor("box", 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1),
			factor("fitting", 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3),
			factor("session", 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1),
			factor("visit", 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7)},
			[]string{"box", "fitting", "session", "visit", "closing"}, nil},
		{"a session per fitting", []stats.Factor{
			factor("box", 0, 0, 0, 0, 1, 1, 1, 1), factor("fitting", 0, 0, 1, 1, 2, 2, 3, 3), factor("session", 0, 0, 1, 1, 2, 2, 3, 3), factor("visit", 0, 0, 1, 1, 2, 2, 3, 3)},
			[]string{"box", "fitting+session+visit", "closing"}, nil},
		{"one closing per box", []stats.Factor{
			factor("box", 0, 1, 2), factor("fitting", 0, 1, 2), factor("session", 0, 0, 0), factor("visit", 0, 1, 2)},
			[]string{"box+fitting+visit+closing"}, []string{"session"}},
		{"no factors", nil, []string{"closing"}, nil},
	} {
		n := 4
		if len(tt.factors) > 0 {
			n = len(tt.factors[0].Codes)
		}
		l, err := Separate(tt.factors, n)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if !slices.Equal(levelNames(l), tt.want) || !slices.Equal(l.Constant, tt.constant) || l.Warnings != nil {
			t.Errorf("%s: %v, constant %v, warnings %v; want %v, %v", tt.name, levelNames(l), l.Constant, l.Warnings, tt.want, tt.constant)
		}
	}
}

// Three ways of pairing four values share out all three degrees of freedom:
// the patterns add up to a multiple of the residual's, so the last is not
// identified although all partitions differ.
func TestSeparateDependent(t *testing.T) {
	l, err := Separate([]stats.Factor{factor("box", 0, 0, 1, 1), factor("session", 0, 1, 0, 1), factor("operator", 0, 1, 1, 0)}, 4)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"box", "session", "operator+closing"}; !slices.Equal(levelNames(l), want) || len(l.Warnings) != 1 || l.Warnings[0].Code != "levels-joined" {
		t.Errorf("%v with %v, want %v and one warning", levelNames(l), l.Warnings, want)
	}
}

// With two values in each of the four cells the cells' own pattern is the sum
// of the three pairings': visit joins the nearest of them, not the residual.
func TestSeparateDependentOnTerms(t *testing.T) {
	l, err := Separate([]stats.Factor{factor("box", 0, 0, 0, 0, 1, 1, 1, 1), factor("session", 0, 0, 1, 1, 0, 0, 1, 1),
		factor("operator", 0, 0, 1, 1, 1, 1, 0, 0), factor("visit", 0, 0, 1, 1, 2, 2, 3, 3)}, 8)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"box", "session", "operator+visit", "closing"}; !slices.Equal(levelNames(l), want) || len(l.Warnings) != 1 {
		t.Errorf("%v with %v, want %v and one warning", levelNames(l), l.Warnings, want)
	}
}

func TestSeparateRefuses(t *testing.T) {
	for _, f := range []stats.Factor{{Name: "box", Codes: []int32{0, 1}, Levels: 2}, {Name: "box", Codes: []int32{0, 1, 2}, Levels: 2}, {Name: "box", Codes: []int32{0, -1, 1}, Levels: 2}} {
		if _, err := Separate([]stats.Factor{f}, 3); !errors.Is(err, ErrInput) {
			t.Errorf("%+v: %v", f, err)
		}
	}
}

// What Separate returns is always identified, and neither the order of rows
// nor the numbering of levels changes it.
func TestSeparateLaws(t *testing.T) {
	for i := range 600 {
		rng := rand.New(rand.NewPCG(31, uint64(i)))
		n := 2 + rng.IntN(16)
		box := randomFactor(rng, "box", n, 1+rng.IntN(4))
		fitting := product("fitting", box, randomFactor(rng, "part", n, 1+rng.IntN(3)))
		session := randomFactor(rng, "session", n, 1+rng.IntN(4))
		visit := product("visit", fitting, session)
		factors := []stats.Factor{box, fitting, session, visit}
		l, err := Separate(factors, n)
		if err != nil {
			t.Fatal(err)
		}
		y := make([]float64, n)
		for j := range y {
			y[j] = 60 + 3*rng.NormFloat64()
		}
		d := Design{Y: y, Terms: l.Terms, Residual: l.Residual}
		if _, err := d.Fit(REML); errors.Is(err, ErrAliased) {
			t.Errorf("%d: %v: %v", i, levelNames(l), err)
		}
		order := rng.Perm(n)
		changed := make([]stats.Factor, len(factors))
		for k, f := range factors {
			to := rng.Perm(f.Levels)
			g := stats.Factor{Name: f.Name, Codes: make([]int32, n), Levels: f.Levels}
			for j, o := range order {
				g.Codes[j] = int32(to[f.Codes[o]])
			}
			changed[k] = g
		}
		m, err := Separate(changed, n)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(levelNames(l), levelNames(m)) || !slices.Equal(l.Constant, m.Constant) || !slices.Equal(l.Warnings, m.Warnings) {
			t.Errorf("%d: %v, %v changed to %v, %v", i, levelNames(l), l.Constant, levelNames(m), m.Constant)
		}
	}
}
