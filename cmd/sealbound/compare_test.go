package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

type comparedRow struct {
	Products []struct {
		Gasket                    string
		Boxes, Fittings, Closings int
		MeanDB                    *float64 `json:"mean_db"`
		SEDB                      *float64 `json:"se_db"`
		DF                        *float64 `json:"df"`
		LowerDB                   *float64 `json:"lower_db"`
		Letters                   *string
		Verdict                   string
		Strips                    *int
		Cost                      *float64
	}
	Differences []struct {
		A, B         string
		DifferenceDB *float64 `json:"difference_db"`
		SEDB         *float64 `json:"se_db"`
		DF           *float64 `json:"df"`
		LowerDB      *float64 `json:"lower_db"`
		UpperDB      *float64 `json:"upper_db"`
		PAdjusted    *float64 `json:"p_adjusted"`
		Reason       *string
	}
	Components []struct {
		Source      string
		VarianceDB2 *float64 `json:"variance_db2"`
	}
	LogLikelihood *float64 `json:"log_likelihood"`
	Best          []string
	Pick, Reason  *string
	Method        *string
}

// compareJSON runs compare and decodes its one row.
func compareJSON(t *testing.T, readings string, flags ...string) comparedRow {
	t.Helper()
	var stdout, stderr bytes.Buffer
	args := append([]string{"sealbound", "compare", "-", "--format", "json"}, flags...)
	if code := realProgram().run(call{context.Background(), strings.NewReader(readings), &stdout, &stderr}, args); code != done {
		t.Fatalf("exit %d: %s", code, stderr.String())
	}
	var doc struct{ Results []comparedRow }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Results) != 1 {
		t.Fatalf("%d rows, want 1", len(doc.Results))
	}
	return doc.Results[0]
}

// referenceCSV reads a data set of testdata/reference.
func referenceCSV(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "data", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// PlantGrowth (Dobson 1983; R's datasets): ten plants under each of three
// conditions. Plants stand for boxes, conditions for gaskets, grams for dB.
// Expected: R 4.2.2, TukeyHSD with exact quantiles and Dunnett's test by quadrature
// (case e_plantgrowth of testdata/reference).
func TestPlantGrowthByCommand(t *testing.T) {
	var b strings.Builder
	b.WriteString("box,gasket,closing,freq_mhz,atten_db\n")
	for i, row := range referenceCSV(t, "e_plantgrowth.csv") {
		fmt.Fprintf(&b, "plant %d,%s,1,100,%s\n", i+1, row[0], row[1])
	}
	r := compareJSON(t, b.String(), "--target", "4")
	if *r.Method != "Tukey-Kramer" || len(r.Differences) != 3 {
		t.Errorf("method %s, %d differences", *r.Method, len(r.Differences))
	}
	for _, tt := range []struct {
		a, b                  string
		diff, lower, upper, p float64
	}{
		{"trt2", "trt1", 0.865, 0.17378394859713797, 1.5562160514028625, 0.012006423979493421},
		{"trt2", "ctrl", 0.494, -0.19721605140286247, 1.185216051402862, 0.19799599129957302},
		{"ctrl", "trt1", 0.371, -0.3202160514028618, 1.0622160514028627, 0.39087114420210689},
	} {
		found := false
		for _, d := range r.Differences {
			if d.A != tt.a || d.B != tt.b {
				continue
			}
			found = true
			within(t, tt.a+"-"+tt.b, d.DifferenceDB, tt.diff, 1e-9)
			within(t, tt.a+"-"+tt.b+" lower", d.LowerDB, tt.lower, 1e-7)
			within(t, tt.a+"-"+tt.b+" upper", d.UpperDB, tt.upper, 1e-7)
			within(t, tt.a+"-"+tt.b+" p", d.PAdjusted, tt.p, 1e-7)
			within(t, tt.a+"-"+tt.b+" df", d.DF, 27, 1e-9)
		}
		if !found {
			t.Errorf("no difference %s - %s", tt.a, tt.b)
		}
	}
	if !slices.Equal(r.Best, []string{"trt2", "ctrl"}) || *r.Products[0].Letters != "a" || *r.Products[2].Letters != "b" {
		t.Errorf("best %v, products %+v", r.Best, r.Products)
	}
	within(t, "residual variance", r.Components[0].VarianceDB2, 0.38859592592592596, 1e-9)

	r = compareJSON(t, b.String(), "--target", "4", "--against", "ctrl")
	if *r.Method != "Dunnett" || len(r.Differences) != 2 {
		t.Fatalf("method %s, %d differences", *r.Method, len(r.Differences))
	}
	for _, d := range r.Differences {
		want := map[string][3]float64{
			"trt1": {-1.0215122241247985, 0.27951222412479759, 0.32269568576878138},
			"trt2": {-0.15651222412479826, 1.1445122241247978, 0.15348586151512472},
		}[d.A]
		within(t, d.A+" lower", d.LowerDB, want[0], 1e-7)
		within(t, d.A+" upper", d.UpperDB, want[1], 1e-7)
		within(t, d.A+" p", d.PAdjusted, want[2], 1e-7)
	}
}

// Machines (Milliken & Johnson 1992; nlme): six workers on three machines, three
// times each. Workers stand for boxes, machines for gaskets, scores for dB; a
// worker on a machine is a fitting, a score a closing. Expected: lme4 1.1.31 with
// score ~ Machine + (1|Worker) + (1|Worker:Machine), emmeans 1.8.4.1 (case
// e_machines_block). The means' degrees of freedom are kept within the six workers
// less one.
func TestMachinesByCommand(t *testing.T) {
	var b strings.Builder
	b.WriteString("box,gasket,closing,freq_mhz,atten_db\n")
	for i, row := range referenceCSV(t, "e_machines_block.csv") {
		fmt.Fprintf(&b, "worker %s,machine %s,%d,100,%s\n", row[2], row[1], i%3+1, row[0])
	}
	r := compareJSON(t, b.String())
	for i, want := range []struct {
		gasket string
		mean   float64
	}{{"machine C", 66.272222222218445}, {"machine B", 60.322222222217933}, {"machine A", 52.355555555548371}} {
		p := r.Products[i]
		if p.Gasket != want.gasket || p.Boxes != 6 || p.Fittings != 6 || p.Closings != 18 {
			t.Errorf("product %d: %+v", i, p)
		}
		within(t, p.Gasket, p.MeanDB, want.mean, 1e-6)
		within(t, p.Gasket+" se", p.SEDB, 2.4858302138021338, 1e-5)
		within(t, p.Gasket+" df", p.DF, 5, 1e-9)
		within(t, p.Gasket+" lower", p.LowerDB, want.mean-2.015048373*2.4858302138021338, 1e-4) // t(0.95; 5), any t table
	}
	for _, d := range r.Differences {
		want := map[string][2]float64{
			"machine C-machine B": {5.9500000000005135, 0.05067064584652811},
			"machine C-machine A": {13.916666666670073, 0.00021158282791200887},
			"machine B-machine A": {7.96666666666956, 0.011140472688176879},
		}[d.A+"-"+d.B]
		within(t, d.A+"-"+d.B, d.DifferenceDB, want[0], 1e-6)
		within(t, d.A+"-"+d.B+" se", d.SEDB, 2.176975475797129, 1e-5)
		within(t, d.A+"-"+d.B+" df", d.DF, 10, 1e-4)
		within(t, d.A+"-"+d.B+" p", d.PAdjusted, want[1], 1e-4*want[1]+1e-9)
	}
	within(t, "log-likelihood", r.LogLikelihood, -107.84378400411399, 1e-6)
	for i, want := range []float64{22.85844444444342, 13.909456790123281, 0.9246296296296322} { // box, fitting, closing
		within(t, r.Components[i].Source, r.Components[i].VarianceDB2, want, 1e-4)
	}
	// One product clears 60 dB, so it is the pick without knowing any price.
	r = compareJSON(t, b.String(), "--target", "60")
	if r.Pick == nil || *r.Pick != "machine C" {
		t.Errorf("pick %v, products %+v", r.Pick, r.Products)
	}
}

// The flags of a comparison reach its settings; those it shares with judge too.
func TestCompareFlags(t *testing.T) {
	var got study.Settings
	p := program{compare: func(_ context.Context, _ []string, s study.Settings) (*report.Document, error) {
		got = s
		return &report.Document{Command: "compare"}, nil
	}}
	args := strings.Fields("sealbound compare x --against rubber --equivalent 2.5 --at-age 1.5 --by latch --target 60 --confidence 0.9 --within 10d")
	var stdout, stderr bytes.Buffer
	if code := p.run(call{context.Background(), nil, &stdout, &stderr}, args); code != done {
		t.Fatalf("exit %d: %s", code, stderr.String())
	}
	if got.Against != "rubber" || got.EquivalentDB != 2.5 || got.AtAgeYears == nil || *got.AtAgeYears != 1.5 ||
		!slices.Equal(got.By, []string{"latch"}) || got.TargetDB != 60 || got.Confidence != 0.9 || got.Within.Hours() != 240 {
		t.Errorf("%+v", got)
	}
}

// --require mean asks that every product clears.
func TestCompareRequire(t *testing.T) {
	for verdict, want := range map[string]int{"clears": done, "clears in this set-up": notCleared, "undecided": notCleared} {
		p := program{compare: func(context.Context, []string, study.Settings) (*report.Document, error) {
			return &report.Document{Command: "compare", Compare: []report.CompareRow{{Band: report.Band{Name: "HF"}, Products: []report.CompareProduct{
				{Gasket: "foil", Verdict: "clears"}, {Gasket: "mesh", Verdict: verdict}}}}}, nil
		}}
		var stdout, stderr bytes.Buffer
		code := p.run(call{context.Background(), nil, &stdout, &stderr}, []string{"sealbound", "compare", "x", "--require", "mean"})
		if code != want || want == notCleared && !strings.Contains(stderr.String(), "mesh, HF: mean "+verdict) {
			t.Errorf("%s: exit %d: %s", verdict, code, stderr.String())
		}
	}
}

// Rows in another order give the same answer to the byte.
func TestCompareRowOrder(t *testing.T) {
	lines := []string{}
	for box := range 4 {
		for g, name := range []string{"foil", "mesh", "wool"} {
			for k := range 3 {
				for _, f := range []int{100, 200} {
					lines = append(lines, fmt.Sprintf("%d,%s,%d,%d,%.2f", box, name, k, f,
						60+4*float64(g)+2*math.Sin(float64(box+1)*7)+math.Sin(float64(5*box+3*g))+0.5*math.Cos(float64(9*box+4*g+11*k+f))))
				}
			}
		}
	}
	answer := func() string {
		var stdout, stderr bytes.Buffer
		in := "box,gasket,closing,freq_mhz,atten_db\n" + strings.Join(lines, "\n") + "\n"
		if code := realProgram().run(call{context.Background(), strings.NewReader(in), &stdout, &stderr},
			strings.Fields("sealbound compare - --explain --equivalent 3 --against foil --format json")); code != done {
			t.Fatal(stderr.String())
		}
		return stdout.String()
	}
	want := answer()
	slices.Reverse(lines)
	if answer() != want {
		t.Error("reversed rows give another answer")
	}
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[len(a)-2:], b[len(b)-2:]) })
	if answer() != want {
		t.Error("shuffled rows give another answer")
	}
}
