package cell

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// beside checks Leading, and the shape of one number read from another, against
// Number on the same cell.
func beside(t *testing.T, from, text []byte, scale int) {
	t.Helper()
	end := bytes.IndexAny(text, ",\r\n")
	v, n := Leading(text, scale)
	var want float64
	if n > 0 {
		var fault *Fault
		if want, fault = Number(text[:max(end, 0)], scale); end != n || fault != nil || math.Float64bits(v) != math.Float64bits(want) {
			t.Fatalf("%q times 1e%d: Leading gives %v and %d bytes, Number %v, %v", text, scale, v, n, want, fault)
		}
	}
	var s Shape
	if v, n := s.Read(text); v != 0 || n != 0 {
		t.Fatalf("no shape reads %v from %q", v, text)
	}
	if _, k := Leading(from, scale); k > 0 {
		s.Learn(from, k, scale)
	}
	if v, k := s.Read(text); k > 0 && (k != n || math.Float64bits(v) != math.Float64bits(want)) {
		t.Fatalf("%q times 1e%d in the shape of %q: %v and %d bytes, want %v and %d", text, scale, from, v, k, want, n)
	}
}

// What the quick ways read, they read as strconv does; and they do read what a
// column mostly holds.
func TestLeading(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	const behind = ",another cell of the row\n"
	for range 200_000 {
		decimals, scale := r.IntN(7), 3*r.IntN(4)
		text := strconv.FormatFloat((r.Float64()-.5)*math.Pow(10, float64(r.IntN(12))), 'f', decimals, 64)
		v, n := Leading([]byte(text+behind), scale)
		want, err := strconv.ParseFloat(fmt.Sprintf("%se%d", text, scale), 64)
		if digits := len(bytes.Trim([]byte(text), "-.")) - min(decimals, 1); err != nil || digits < 16 && n != len(text) || n > 0 && v != want {
			t.Fatalf("%q times 1e%d: %v, %d bytes, %v; want %v", text, scale, v, n, err, want)
		}
		var s Shape
		s.Learn([]byte(text+behind), n, scale)
		got, k := s.Read([]byte(text + behind))
		if len(text) < 8 && k != n {
			t.Fatalf("the shape of %q does not read it", text)
		}
		if k > 0 && (k != n || got != v) {
			t.Fatalf("%q in its own shape: %v, %d bytes", text, got, k)
		}
	}
	for _, text := range []string{"", "-", ".", "-.", "1e3", "0x1p2", "1_000", "nan", "Inf", "1.2.3", "1 ", " 1", "٣", "18446744073709551617", "9007199254740993"} {
		if v, n := Leading([]byte(text+behind), 0); n > 0 {
			t.Errorf("%q: %v, %d bytes", text, v, n)
		}
	}
	for _, text := range []string{"-0,", "+5.\n", ".25\r\n", "00012,", "-0.00,"} {
		beside(t, []byte(text), []byte(text+behind), 6)
		if _, n := Leading([]byte(text), 0); n == 0 {
			t.Errorf("%q is not read", text)
		}
	}
}

// FuzzLeading reads the beginning of arbitrary bytes as a number, in the shape of
// another too.
func FuzzLeading(f *testing.F) {
	for _, text := range []string{"-81.27,x\n", "10351422,-30.11,", "-0.00\r\n", "99999999999.125,", "1e3,", "-,", "5.\n", "+.5,", "12345678,", "1234567.8,", "12345678.9,", "9007199254740993,"} {
		f.Add([]byte("-12.34,"), []byte(text+"more than a few bytes"), 0)
		f.Add([]byte(text), []byte(text+"more than a few bytes"), 6)
	}
	f.Fuzz(func(t *testing.T, from, text []byte, scale int) {
		beside(t, from, text, scale%12)
	})
}
