package report

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"
)

func wide(x float64) Number { return &x }

func wornDocument() *Document {
	row := WearRow{
		Group: []Label{{"gasket", "wovenfelt"}}, Band: Band{"UHF", 3e8, 3e9}, Boxes: 12, Fittings: 14, Sessions: 36, Limited: 12345,
		Method: "REML", SpanYears: wide(12.25), InterceptDB: wide(61.5), Slope: wide(-10.123), SlopeSE: wide(0.25), SlopeDF: wide(3),
		SlopeLower: wide(-11.7), SlopeUpper: wide(-9.0004), P: wide(0.0000004),
		Components:    []WearComponent{{Source: "fitting_slope", VarianceDB2: 0.04, SDDB: 0.2}},
		LogLikelihood: wide(-123.4), AsOf: "2030-05-01", AgeYears: wide(12.25), MeanNowDB: wide(55.123), LowerNowDB: wide(49.999),
		CrossesOn: "2031-01-01", LowerCrossesAft: "2050-12-31", RetestBy: "2031-05-01", RankS: wide(-10), RankP: wide(0.0167),
		TheilSen: wide(-10.1), Verdict: "no trend shown", On: "mean", TargetDB: wide(50), Points: 8, Closings: 180,
		Against: &WearControl{Boxes: 1, Slope: wide(0.2), Difference: wide(-10.3), SE: wide(0.3), DF: wide(3), Lower: wide(-11), Upper: wide(-9), P: wide(0.001)},
		Steps:   []WearStep{{Box: "osier", Before: "a", After: "b", ShiftDB: -5, UsualDB: -1}},
		Strips:  []WearStrip{{Box: "osier", From: "2018-05-01", To: "2020-05-01", Sessions: 3, MeanDB: 60, Slope: wide(-1)}, {Box: "osier", From: "2021-05-01", To: "2021-05-01", Sessions: 1, MeanDB: 63}},
	}
	few := WearRow{Group: row.Group, Band: Band{"SHF", 3e9, 3e10}, Boxes: 1, Fittings: 1, Sessions: 1, Verdict: "too few", Reason: "1 session", RetestBy: "2030-05-01", DueNow: true}
	return &Document{Command: "wear", Version: "0", Settings: []Setting{{Name: "confidence", Value: 0.95}}, Wear: []WearRow{row, few}}
}

// The names are those that programs rely on, in their order; extra ones follow.
func TestWearJSON(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, wornDocument()); err != nil {
		t.Fatal(err)
	}
	at := 0
	for _, name := range []string{"group", "band", "boxes", "fittings", "sessions", "limited", "method", "span_years", "intercept_db",
		"slope_db_per_year", "slope_se", "slope_df", "slope_lower", "slope_upper", "p_value", "components", "log_likelihood", "as_of",
		"age_years", "mean_now_db", "lower_now_db", "crosses_on", "crosses_after", "lower_crosses_on", "lower_crosses_after", "retest_by",
		"kendall", "theil_sen_db_per_year", "verdict", "reason"} {
		k := strings.Index(b.String()[at:], `"`+name+`":`)
		if k < 0 {
			t.Fatalf("no %s after %q", name, b.String()[max(0, at-40):at])
		}
		at += k
	}
	for _, want := range []string{`"kendall":{"s":-10,"p":0.0167}`, `"crosses_on":"2031-01-01","crosses_after":null,"lower_crosses_on":null,"lower_crosses_after":"2050-12-31"`,
		`"source":"fitting_slope","variance_db2":0.04,"sd_db":0.2,"sd_lower_db":null,"sd_upper_db":null,"share":null`, `"kendall":null`, `"control":null`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in\n%s", want, b.String())
		}
	}
}

// Text fits a terminal even with large numbers, and says what is due.
func TestWearText(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, wornDocument(), 100); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(b.String()) {
		if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > 100 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	for _, want := range []string{"none", "due now", "49.999", "> 2050-12-31", "< 0.001", "-10.30", "Boxes that had several strips"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}
