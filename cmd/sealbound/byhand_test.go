package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"runtime"
	"strings"
	"testing"

	"sealbound/cmd/internal/study"
)

func realProgram() program {
	return program{judge: study.Judge, check: study.Check, spread: study.Spread, wear: study.Wear, compare: study.Compare}
}

// judgeJSON runs judge and decodes its JSON.
func judgeJSON(t *testing.T, stdin string, args ...string) (rows []map[string]any, raw string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	args = append([]string{"sealbound", "judge", "--format", "json"}, args...)
	if code := realProgram().run(call{context.Background(), strings.NewReader(stdin), &stdout, &stderr}, args); code != done {
		t.Fatalf("%q: exit %d: %s", args, code, stderr.String())
	}
	var doc struct{ Results []map[string]any }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Results, stdout.String()
}

// Three closings of 60, 62 and 64 dB, reckoned on paper: mean 62, s = 2,
// se = 2/sqrt(3). Expected factors: t(0.95; 2) = 2.919986 (any t table; R 4.2.2,
// qt), k for 3 closings, confidence 0.95, coverage 0.90 = 6.1553 (formula of
// ISO 16269-6, noncentral t).
func TestByHand(t *testing.T) {
	const campaign = `run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm
R1,2031-05-04,,,,open,433.92,-20,
R1,2031-05-04,7,foil,1,closed,433.92,-80,-120
R1,2031-05-04,7,foil,2,closed,433.92,-82,-120
R1,2031-05-04,7,foil,3,closed,433.92,-84,-120
`
	const t2, k = 2.919986, 6.1553
	rows, _ := judgeJSON(t, campaign, "-")
	if len(rows) != 1 {
		t.Fatalf("%d rows", len(rows))
	}
	se := 2 / math.Sqrt(3)
	for name, want := range map[string]float64{
		"mean_db": 62, "sd_db": 2, "se_db": se, "df": 2, "lower_db": 62 - t2*se, "upper_db": 62 + t2*se,
		"next_lower_db":     62 - t2*2*math.Sqrt(1+1.0/3),
		"coverage_lower_db": 62 - k*2,
		"margin_db":         12 - t2*se,
		"headroom_db":       -20 - -120 - 6, // open - floor - margin
		"closings":          3, "points": 1,
	} {
		if got, ok := rows[0][name].(float64); !ok || math.Abs(got-want) > 1e-4 {
			t.Errorf("%s = %v, want %v", name, rows[0][name], want)
		}
	}
	if rows[0]["verdict"] != "clears in this set-up" {
		t.Errorf("verdict %q: one session and one open reading carry no error of the reference", rows[0]["verdict"])
	}
}

// The demo's answer is the same to the byte whatever the machine is set to.
func TestDemoIsTheSameEverywhere(t *testing.T) {
	t.Chdir("../..")
	_, want := judgeJSON(t, "", "testdata/demo")
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, n := range []int{1, 3} {
		runtime.GOMAXPROCS(n)
		t.Setenv("TZ", []string{"", "Pacific/Kiritimati"}[n%2])
		t.Setenv("LC_ALL", "de_DE.UTF-8")
		if _, got := judgeJSON(t, "", "testdata/demo"); got != want {
			t.Errorf("another answer with GOMAXPROCS %d", n)
		}
	}
}
