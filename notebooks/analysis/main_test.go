package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the analysis says of the demo campaign. The same figures come out where the
// rows are paired with pandas (attenuations in notebooks/answers.py): mean over boxes
// 0.261 dB, SD 0.786 dB, and t(0.95; 4) = 2.132 of any table.
const said = `Osmere   +1.36 dB over 178 pairs of readings
Larkhow  +0.80 dB over 170 pairs of readings
Windle   -0.14 dB over 146 pairs of readings
Tarnby   -0.55 dB over 175 pairs of readings
Pikelaw  -0.15 dB over 184 pairs of readings
latch less hinge: +0.26 dB, from -0.49 to +1.01 (95 % each side, 5 boxes)
`

func TestAnalyse(t *testing.T) {
	var out bytes.Buffer
	if err := analyse([]string{filepath.Join("..", "..", "testdata", "demo")}, &out); err != nil {
		t.Fatal(err)
	}
	if out.String() != said {
		t.Errorf("it says:\n%swant:\n%s", &out, said)
	}
}

func TestAnalyseWithoutData(t *testing.T) {
	var out bytes.Buffer
	if err := analyse([]string{t.TempDir()}, &out); err == nil || out.Len() > 0 {
		t.Errorf("an empty folder: error %v, output %q", err, &out)
	}
	// Readings without positions have no two sides to compare.
	file := filepath.Join(t.TempDir(), "a.csv")
	rows := "run,box,gasket,closing,state,freq_mhz,level_dbm\nA,,,,open,145,-30\nA,osier,wovenfelt,1,closed,145,-90\n"
	if err := os.WriteFile(file, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := analyse([]string{file}, &out); err == nil || out.Len() > 0 {
		t.Errorf("no positions: error %v, output %q", err, &out)
	}
}

// The README shows this program and what it says, to the letter.
func TestReadmeShowsIt(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	source, err := os.ReadFile("main.go")
	if err != nil {
		t.Fatal(err)
	}
	_, body, found := strings.Cut(string(source), "\npackage main\n")
	if !found {
		t.Fatal("no package clause")
	}
	for _, block := range []string{
		"```go\npackage main\n" + body + "```\n",
		"```\n$ go run ./notebooks/analysis testdata/demo\n" + said + "```\n",
	} {
		if !strings.Contains(string(readme), block) {
			t.Errorf("the README does not show:\n%s", block)
		}
	}
}
