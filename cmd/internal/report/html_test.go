package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

const nasty = `<script>alert(1)</script> "&' {{.}} </title>`

func someCampaign(groups int) *Campaign {
	x := func(v float64) Number { return &v }
	judge := &Document{Version: "test", Command: "judge", Settings: []Setting{{"target_db", 50.0}, {"confidence", 0.95}, {"coverage", 0.9}, {"on", "mean"}},
		Headlines: []string{"Gasket " + nasty + ": clears 50 dB."}, Notes: []string{nasty}}
	c := &Campaign{Title: nasty, Judge: judge, Spread: Part{Doc: &Document{Command: "spread"}}, Wear: Part{Why: nasty}, Compare: Part{Doc: &Document{Command: "compare"}}}
	for g := range groups {
		name := []Label{{"gasket", fmt.Sprintf("%s %d", nasty, g)}}
		set := CurveSet{Group: name, FreqHz: []float64{1e8, 2e8}, Closings: 1,
			Lines: []Curve{{At: []int32{0, 1}, DB: []float64{60, 61}}}, Means: []Curve{{Label: "mean", At: []int32{0, 1}, DB: []float64{60, 61}}},
			TargetDB: Curve{At: []int32{0, 1}, DB: []float64{50, 50}}}
		for _, band := range []string{"VHF", "UHF"} {
			judge.Judge = append(judge.Judge, JudgeRow{Group: name, Band: Band{Name: band, LoHz: 3e7, HiHz: 3e8}, Closings: 5, MeanDB: x(60.04), LowerDB: x(57.6), SEDB: x(0.5),
				TargetDB: x(50), MarginDB: x(-7.6), On: "mean", Verdict: "undecided", ValidFor: "new boxes"})
		}
		c.Curves = append(c.Curves, set)
	}
	c.Account = Account{Version: "test", Command: []string{"report", "a b", "it's"}, Cautions: []string{nasty}, Assumed: []string{nasty}, Unsaid: []string{nasty},
		Facts: []Fact{{nasty, nasty}}, Setup: []SetupRow{{nasty, nasty, nasty}}, Files: []File{{Input: Input{Path: nasty, Rows: 3, Used: 3}, Table: true, SHA256: "00"}}}
	return c
}

func htmlOf(t *testing.T, c *Campaign) string {
	t.Helper()
	var a, b bytes.Buffer
	if err := HTML(&a, c); err != nil {
		t.Fatal(err)
	}
	if err := HTML(&b, c); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("two pages differ (%v)", err)
	}
	return a.String()
}

// Labels stand in the page as text, wherever they come from, and nothing is asked
// from elsewhere.
func TestHTMLStandsAlone(t *testing.T) {
	html := htmlOf(t, someCampaign(2))
	for _, bad := range []string{"<script", "ZgotmplZ", "http://", "https://", "javascript:", "@import", "NaN"} {
		if strings.Contains(html, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if refs := regexp.MustCompile(`(?:src|href|url)\s*[=(]\s*"?([^")]*)`).FindAllStringSubmatch(html, -1); len(refs) == 0 {
		t.Error("no reference found, not even within the page")
	} else {
		for _, r := range refs {
			if !strings.HasPrefix(r[1], "#") && r[1] != "data:," {
				t.Errorf("the page refers to %q", r[1])
			}
		}
	}
	if n := strings.Count(html, "&lt;script&gt;alert(1)&lt;/script&gt;"); n < 15 {
		t.Errorf("the label is shown %d times only", n)
	}
	for _, want := range []string{`<html lang="en">`, "sealbound report &#39;a b&#39; &#39;it&#39;\\&#39;&#39;s&#39;", "−7.6", "3 rows = 3 used", "Not to be had from these data"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, th := range regexp.MustCompile(`<th[^e][^>]*>`).FindAllString(html, -1) {
		if !strings.Contains(th, "scope=") {
			t.Errorf("a head without scope: %s", th)
		}
	}
}

func TestHTMLRefusesWhatIsNoNumber(t *testing.T) {
	inf := math.Inf(1)
	for name, spoil := range map[string]func(*Campaign){
		"row":       func(c *Campaign) { c.Judge.Judge[0].MeanDB = &inf },
		"curve":     func(c *Campaign) { c.Curves[0].Lines[0].DB[1] = math.NaN() },
		"lengths":   func(c *Campaign) { c.Curves[0].Means[0].At = nil },
		"other row": func(c *Campaign) { c.Spread.Doc.Spread = []SpreadRow{{MeanDB: &inf}} },
	} {
		c := someCampaign(1)
		spoil(c)
		var b bytes.Buffer
		if err := HTML(&b, c); err == nil || b.Len() > 0 {
			t.Errorf("%s: error %v and %d bytes", name, err, b.Len())
		}
	}
	var b bytes.Buffer
	if err := SheetHTML(&b, &Sheet{Verdict: Pass, Rows: []SheetRow{{MeanDB: &inf}}}); err == nil || b.Len() > 0 {
		t.Errorf("sheet: error %v and %d bytes", err, b.Len())
	}
}

// However much there is, the page keeps its size and says what it leaves out.
func TestHTMLKeepsItsSize(t *testing.T) {
	c := someCampaign(3000)
	for i := range 20000 {
		c.Account.Files = append(c.Account.Files, File{Input: Input{Path: fmt.Sprintf("runs/%05d.csv", i), Rows: 1, Used: 1}, Table: true, SHA256: strings.Repeat("0", 64)})
	}
	html := htmlOf(t, c)
	if len(html) > PageLimit {
		t.Errorf("%d bytes", len(html))
	}
	for _, want := range []string{"more rows are not shown", "more groups are not drawn", "All files together"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func TestFiguresNames(t *testing.T) {
	c := someCampaign(3)
	c.Curves[1].Group = []Label{{"gasket", "../../etc/passwd"}}
	c.Curves[2].Group = []Label{{"gasket", "銀"}}
	figures, err := Figures(c)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, f := range figures {
		if !regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?\.svg$`).MatchString(f.Name) || len(f.Name) > 80 || seen[f.Name] {
			t.Errorf("the name %q", f.Name)
		}
		seen[f.Name] = true
		var b bytes.Buffer
		if _, err := f.WriteTo(&b); err != nil || !strings.HasPrefix(b.String(), "<?xml") {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
	if len(figures) != 4 { // three groups and the bounds
		t.Errorf("%d pictures", len(figures))
	}
}

func TestVisible(t *testing.T) {
	for in, want := range map[string]string{
		"plain é 銀\n": "plain é 銀\n", "a\u202eb": `a\u202eb`, "a\x1b[31m": `a\x1b[31m`, "a\xffb": `a\xffb`, "a\uffffb": `a\uffffb`, "a\x00b": `a\x00b`,
	} {
		if got := string(visible([]byte(in))); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
}

// The command line comes back as it was when a shell reads it.
func TestQuoted(t *testing.T) {
	words := []string{"report", "a b", "it's", `"`, "$HOME", "`id`", "*", "", "-o", "x.html", "银", "a\\b", "--box=\"a\"\"b\""}
	out, err := exec.Command("sh", "-c", `printf '%s\n' `+quoted(words)).Output()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(out), strings.Join(words, "\n")+"\n"; got != want {
		t.Errorf("the shell read %q, want %q", got, want)
	}
}

// The digest of many files is that of what sha256sum prints for them.
func TestCombined(t *testing.T) {
	lines := "aa  one.csv\nbb  two.csv\n"
	sum := sha256.Sum256([]byte(lines))
	if got := combined([]File{{Input: Input{Path: "one.csv"}, SHA256: "aa"}, {Input: Input{Path: "two.csv"}, SHA256: "bb"}}); got != hex.EncodeToString(sum[:]) {
		t.Errorf("%s", got)
	}
	table, all := filesTable(make([]File, 5), 2)
	if len(table.Groups[0].Rows) != 2 || table.More != 3 || all == "" {
		t.Errorf("%d rows, %d more, %q", len(table.Groups[0].Rows), table.More, all)
	}
}

func TestChunks(t *testing.T) {
	group := []int{0, 0, 0, 1, 1, 1, 1, 2, 2, 2}
	got := chunks(len(group), 5, func(i int) bool { return group[i] == group[i-1] })
	if fmt.Sprint(got) != "[[0 3] [3 7] [7 10]]" {
		t.Errorf("%v", got)
	}
	if got := chunks(7, 3, func(int) bool { return true }); fmt.Sprint(got) != "[[0 3] [3 6] [6 7]]" {
		t.Errorf("one long group: %v", got)
	}
}

func TestSheetHTML(t *testing.T) {
	x := func(v float64) Number { return &v }
	s := &Sheet{Box: nasty, Gasket: nasty, Verdict: Fail, Sentence: nasty, Closings: 5, Sessions: 1, TargetText: "50 dB", Confidence: 0.95,
		Rows: []SheetRow{
			{LoHz: 1e8, HiHz: 1e8, FreqHz: 1e8, Place: nasty, TargetDB: x(50), MeanDB: x(49.96), LowestDB: x(48.2), LowerDB: x(49.97), MarginDB: x(-0.03), HeadroomDB: x(70), Digits: 1, Result: Fail},
			{LoHz: 4e8, HiHz: 8e8, FreqHz: 5.123456e8, TargetDB: x(50), LowestDB: x(55), LowestLimited: true, Digits: 1, Result: BeyondRange}},
		Setup: []SetupRow{{"", nasty, "2 m"}}, ModelledOn: "Modelled on nothing.", Account: Account{Files: []File{{Input: Input{Path: nasty}, SHA256: "00"}}}}
	var b bytes.Buffer
	if err := SheetHTML(&b, s); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	// A margin of 0.03 dB must not be shown as none.
	for _, want := range []string{"−0.03", "49.97", "≥ 55.0", "512.3 (400.0 to 800.0)", ">fail<", "beyond dynamic range", "Modelled on nothing.", "Signature", "Photograph", "2 m"} {
		if !strings.Contains(html, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
	if strings.Contains(html, "<script") {
		t.Error("a label became markup")
	}
}
