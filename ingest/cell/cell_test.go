package cell

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestNumber(t *testing.T) {
	for _, tt := range []struct {
		text  string
		scale int
		want  float64
	}{
		{"0", 0, 0}, {"-47.2", 0, -47.2}, {"+4.8", 0, 4.8}, {".5", 0, .5}, {"5.", 0, 5}, {"007", 0, 7},
		{"3.000000000E+07", 0, 3e7}, {"-4.512e+01", 0, -45.12}, {"1e3", 0, 1000},
		{"433.92", 6, 433920000}, {"0.868", 9, 868000000}, {"868", 3, 868000}, {"30.000001", 6, 30000001},
		{"123456789012345678901234567890", 0, 123456789012345678901234567890},
		{"9007199254740993", 0, 9007199254740992}, // 2^53 + 1, to even
		{"1e-400", 0, 0}, {"0.1e1", 0, 1},
	} {
		got, fault := Number([]byte(tt.text), tt.scale)
		if fault != nil || got != tt.want {
			t.Errorf("Number(%q, %d) = %v, %v; want %v", tt.text, tt.scale, got, fault, tt.want)
		}
	}
	if got, _ := Number([]byte("-0.0"), 0); math.Signbit(got) {
		t.Error("Number(-0.0) has a sign")
	}
	if got, _ := Number([]byte("-0e3"), 0); math.Signbit(got) {
		t.Error("Number(-0e3) has a sign")
	}
}

func TestNumberRefuses(t *testing.T) {
	for _, tt := range []struct{ text, what, mend string }{
		{"", "is empty", ""},
		{"NaN", "finite", ""}, {"-Inf", "finite", ""}, {"infinity", "finite", ""}, {"n/a", "finite", ""},
		{"0x1F", "decimal", ""}, {"-0X1p3", "decimal", ""},
		{"1_000", "underscore", ""},
		{"1,000", "thousands", "without separators"}, {"1,000.000", "thousands", ""}, {"12,345,678", "thousands", ""},
		{"1 000", "thousands", ""}, {"1'000.5", "thousands", ""}, {"1\u00a0000", "thousands", ""}, {"1\u202f000", "thousands", ""},
		{"61,8", "comma", "decimal point"}, {"-45,12", "comma", "decimal point"},
		{"\u221247.2", "dash", "minus"}, {"\u20135", "dash", "minus"},
		{"30 MHz", "behind", "column's name"}, {"-45.1dBm", "behind", ""}, {"1x8", "behind", ""},
		{"< -120.0", "below", "floor"}, {"<-120", "below", "floor"}, {">5", "above", "overloaded"},
		{"1e999", "larger", ""}, {"1e99999999999999999999", "larger", ""},
		{"1e", "", ""}, {"e5", "", ""}, {"1e+", "", ""}, {"--5", "", ""}, {"+", "", ""}, {".", "", ""}, {"1.2.3", "", ""}, {"1 2", "", ""}, {"OVERLOAD", "", ""},
	} {
		v, fault := Number([]byte(tt.text), 0)
		if fault == nil {
			t.Errorf("Number(%q) = %v, want a fault", tt.text, v)
			continue
		}
		if !strings.Contains(fault.What, tt.what) || !strings.Contains(fault.Mend, tt.mend) || fault.Mend == "" {
			t.Errorf("Number(%q): %q; %q lacks %q or %q", tt.text, fault.What, fault.Mend, tt.what, tt.mend)
		}
	}
}

// TestNumberRounds compares with strconv, which rounds correctly.
func TestNumberRounds(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200000 {
		digits := strconv.FormatUint(r.Uint64()>>r.IntN(64), 10)
		at := r.IntN(len(digits) + 1)
		text := digits[:at] + "." + digits[at:]
		if r.IntN(2) == 0 {
			text = "-" + text
		}
		scale := []int{0, 3, 6, 9}[r.IntN(4)]
		want, err := strconv.ParseFloat(text+"e"+strconv.Itoa(scale), 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, fault := Number([]byte(text), scale); fault != nil || got != want {
			t.Fatalf("Number(%q, %d) = %v, %v; want %v", text, scale, got, fault, want)
		}
	}
}

func TestParseDay(t *testing.T) {
	// Day numbers: Julian day of the date less 2440587.5, from calendar
	// arithmetic by hand (365 days a year and the leap days since 1970).
	for _, tt := range []struct {
		text string
		want Day
	}{
		{"1970-01-01", 0}, {"1970-01-02", 1}, {"1969-12-31", -1}, {"1971-01-01", 365}, {"1973-01-01", 1096}, {"2000-03-01", 11017},
		{"2024-02-29", 11017 + 8766 - 1},
		{"1970-01-02T23:59:60Z", 1}, {"1970-01-02 08:15", 1}, {"1970-01-02T00:00:00.125+05:30", 1}, {"1970-01-02T23:10-0800", 1}, {"1970-01-02t10:00z", 1}, {"1970-01-02T10:00+02", 1},
	} {
		got, fault := ParseDay([]byte(tt.text))
		if fault != nil || got != tt.want {
			t.Errorf("ParseDay(%q) = %d, %v; want %d", tt.text, got, fault, tt.want)
		}
		if s := tt.text[:10]; fault == nil && got.String() != s {
			t.Errorf("String of %q is %q", s, got.String())
		}
	}
	for _, text := range []string{"", "04.05.2026", "2026-5-4", "5/4/2026", "2026-02-30", "2025-02-29", "2026-13-01", "2026-00-10", "2026-05-00",
		"20260504", "2026-05-04T", "2026-05-04T25:00", "2026-05-04T10", "2026-05-04T10:61", "2026-05-04x10:00", "2026-05-04T10:00+25", "2026-05-04T10:00 h",
		"2026-05-04T10:00:00.", "0001-01-01", "2026-W19", "2026-05-0\u0664", "yesterday"} {
		if d, fault := ParseDay([]byte(text)); fault == nil || fault.Mend == "" {
			t.Errorf("ParseDay(%q) = %v, want a fault with a mend", text, d)
		}
	}
	if NoDay.String() != "" || !NoDay.Time().IsZero() {
		t.Error("NoDay is a day")
	}
}

// Every day from the first to the last that four digits can write is the one that
// the standard library counts, and each day has one successor.
func TestEveryDay(t *testing.T) {
	at := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC)
	for ; at.Year() <= 9999; at = at.AddDate(0, 0, 1) {
		text := at.Format("2006-01-02")
		if d, fault := ParseDay([]byte(text)); fault != nil || !d.Time().Equal(at) || d.String() != text {
			t.Fatalf("%s: %v, %v", text, d, fault)
		}
	}
	for _, text := range []string{"2026-02-29", "1900-02-29", "2026-04-31", "2026-00-10", "2026-13-01", "2026-01-00", "2026-01-32"} {
		if d, fault := ParseDay([]byte(text)); fault == nil {
			t.Errorf("%s: %v", text, d)
		}
	}
}
