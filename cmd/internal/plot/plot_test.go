package plot

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var nan = math.NaN()

// nasty is text that would like to be something else.
const nasty = `<script>alert(1)</script> "&' </title> {{.}}`

func someCurves() Curves {
	return Curves{
		Title: nasty, Desc: nasty,
		FreqHz:   []float64{1e7, 1e8, 1e9},
		Closings: []Line{{DB: []float64{60, 61, 62}}, {DB: []float64{58, nan, 70}, Limited: []bool{false, false, true}}},
		Means:    []Line{{Label: nasty, DB: []float64{59, 61, 66}}},
		MostDB:   []float64{80, 75, 65}, TargetDB: []float64{50, 50, 50},
		Weakest: &Weakest{FreqHz: 1e7, MeanDB: 59, LowerDB: 55, Label: nasty},
		Bands:   []Band{{"HF", 3e6, 3e7}, {nasty, 3e7, 3e8}, {"UHF", 3e8, 3e9}},
	}
}

// everyPicture is one of each kind, with labels that try to break out.
func everyPicture() map[string]*Picture {
	return map[string]*Picture{
		"curves": someCurves().Picture(),
		"bounds": Bounds{Title: nasty, Desc: nasty, Next: nasty, Coverage: nasty, Groups: []BoundsGroup{{nasty, []BoundsRow{
			{Label: nasty, MeanDB: 60, LowerDB: 57, NextDB: 52, CoverageDB: -3, WantDB: 50, Verdict: nasty},
			{Label: "none", MeanDB: nan, LowerDB: nan, NextDB: nan, CoverageDB: nan, WantDB: nan, Verdict: "too few"}}}}}.Picture(),
		"shares": Shares{Title: nasty, Desc: nasty, Groups: []SharesGroup{{nasty, []SharesRow{
			{Label: nasty, TotalDB: 2, Parts: []Part{{nasty, 0.7, 1}, {"closing", 0.3, 5}}}, {Label: "none", TotalDB: nan}}}}}.Picture(),
		"trend": Trend{Title: nasty, Desc: nasty, Series: []string{nasty, "b"}, TargetDB: 50,
			Points: []TrendPoint{{0, 0, 62, false}, {1, 1, 61, true}}, Fit: []YearDB{{0, 62}, {3, 59}}, Lower: []YearDB{{0, 59}, {3, 50}},
			Marks: []TrendMark{{3, nasty}}}.Picture(),
		"ranks": Ranks{Title: nasty, Desc: nasty, Interval: nasty, WantDB: 50, Rows: []Rank{
			{Label: nasty, Letters: nasty, MeanDB: 60, LowerDB: 57, UpperDB: 63}, {Label: "b", MeanDB: 40, LowerDB: nan, UpperDB: nan, AtLeast: true}}}.Picture(),
	}
}

// A file must be XML that any program reads, with its words in it as text.
func TestFiles(t *testing.T) {
	for name, p := range everyPicture() {
		if p == nil {
			t.Errorf("%s: no picture", name)
			continue
		}
		var a, b bytes.Buffer
		if err := p.WriteFile(&a); err != nil {
			t.Fatal(err)
		}
		if err := p.WriteFile(&b); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: two writings differ (%v)", name, err)
		}
		elements, words := map[string]int{}, map[string]string{}
		d := xml.NewDecoder(&a)
		open := ""
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			switch e := token.(type) {
			case xml.StartElement:
				open = e.Name.Local
				elements[open]++
				for _, at := range e.Attr {
					if strings.Contains(at.Value, "NaN") || strings.Contains(at.Value, "Inf") {
						t.Errorf("%s: %s=%q", name, at.Name.Local, at.Value)
					}
				}
			case xml.CharData:
				words[open] += string(e)
			}
		}
		for e := range elements {
			switch e {
			case "svg", "title", "desc", "style", "rect", "text", "path", "defs", "pattern":
			default:
				t.Errorf("%s holds the element %s", name, e)
			}
		}
		if words["title"] != nasty+"\n" && words["title"] != nasty || !strings.HasPrefix(words["desc"], nasty) {
			t.Errorf("%s: title %q, description %q", name, words["title"], words["desc"])
		}
		if !strings.Contains(words["text"], "<script>") {
			t.Errorf("%s: the labels are not shown as text: %q", name, words["text"])
		}
	}
}

// The same in a page, where html/template is not told that these are safe.
func TestInline(t *testing.T) {
	ids := regexp.MustCompile(`(?:id="|#)([^")]*)`)
	for name, p := range everyPicture() {
		svg, err := p.Inline("f-" + name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(svg), "<script") || strings.Contains(string(svg), "ZgotmplZ") || strings.Contains(string(svg), "<style") {
			t.Errorf("%s: %.200s", name, svg)
		}
		for _, id := range ids.FindAllStringSubmatch(string(svg), -1) {
			if !strings.HasPrefix(id[1], "f-"+name) && !regexp.MustCompile(`^\d+;`).MatchString(id[1]) { // &#34; is no reference
				t.Errorf("%s: the identifier %q is not its own", name, id[1])
			}
		}
		for _, want := range []string{`role="img"`, "<title id=", "<desc id="} {
			if !strings.Contains(string(svg), want) {
				t.Errorf("%s lacks %s", name, want)
			}
		}
	}
}

func TestNothingToDraw(t *testing.T) {
	for name, p := range map[string]*Picture{
		"curves": Curves{}.Picture(), "curves without levels": Curves{FreqHz: []float64{1e6}, TargetDB: []float64{50}}.Picture(),
		"bounds": Bounds{Groups: []BoundsGroup{{"a", []BoundsRow{{MeanDB: nan, LowerDB: nan, NextDB: nan, CoverageDB: nan, WantDB: 50}}}}}.Picture(),
		"shares": Shares{Groups: []SharesGroup{{"a", []SharesRow{{Label: "b"}}}}}.Picture(),
		"trend":  Trend{}.Picture(), "ranks": Ranks{Rows: []Rank{{MeanDB: nan, LowerDB: nan, UpperDB: nan}}}.Picture(),
	} {
		if p != nil {
			t.Errorf("%s: a picture of nothing", name)
		}
	}
}

// One frequency, one level, one closing: still a picture, with ink in it.
func TestSinglePoint(t *testing.T) {
	p := Curves{FreqHz: []float64{1e8}, Closings: []Line{{DB: []float64{60}}}, Means: []Line{{Label: "mean", DB: []float64{60}}}, TargetDB: []float64{60}, MostDB: []float64{nan}}.Picture()
	if p == nil {
		t.Fatal("no picture")
	}
	for _, m := range p.scene.Marks {
		if strings.Contains(m.Path+m.X+m.Y, "NaN") || strings.Contains(m.Path, "Inf") {
			t.Errorf("%+v", m)
		}
	}
}

// Where lines would take too much they become the range that they fill, and the
// legend says so.
func TestManyClosings(t *testing.T) {
	c := someCurves()
	c.Closings = nil
	for k := range 400 {
		l := Line{DB: make([]float64, 3)}
		for i := range l.DB {
			l.DB[i] = 50 + 10*math.Sin(float64(k*3+i))
		}
		c.Closings = append(c.Closings, l)
	}
	count := func(class string) (n int) {
		for _, m := range c.Picture().scene.Marks {
			if m.Class == class {
				n++
			}
		}
		return n
	}
	if thin, areas := count("p-thin"), count("p-area"); thin != 401 || areas != 0 { // one in the legend
		t.Errorf("%d thin lines and %d areas, want 401 and 0", thin, areas)
	}
	c.Bytes = 5000
	if areas := count("p-area"); areas != 2 { // one in the legend
		t.Errorf("%d areas, want 2", areas)
	}
	var b bytes.Buffer
	if err := c.Picture().WriteFile(&b); err != nil {
		t.Fatal(err)
	}
	if b.Len() > 5000+9000 || !strings.Contains(b.String(), "range of 400 lines") {
		t.Errorf("%d bytes", b.Len())
	}
}

// A target lies where the axis says: between the grid lines of 40 and 60 dB the
// middle is 50.
func TestTargetLies(t *testing.T) {
	x := linear(40, 60, top+ground, top)
	if got, want := x.at(50), (x.at(40)+x.at(60))/2; got != want {
		t.Errorf("50 dB at %v, want %v", got, want)
	}
	if x.at(60) >= x.at(40) {
		t.Error("more attenuation does not stand higher")
	}
	f := logarithmic(1e7, 1e9, left, Width-right)
	if got, want := f.at(1e8), (f.at(1e7)+f.at(1e9))/2; math.Abs(got-want) > 1e-9 {
		t.Errorf("100 MHz at %v, want %v, halfway from 10 MHz to 1 GHz", got, want)
	}
}

func TestTicks(t *testing.T) {
	for _, tt := range []struct {
		lo, hi float64
		most   int
		want   string
	}{
		{0, 10, 5, "0 2 4 6 8 10"}, {38, 73, 6, "40 50 60 70"}, {-22, 80, 6, "−20 0 20 40 60 80"}, {0, 0.4, 4, "0.0 0.1 0.2 0.3 0.4"}, {1.9, 2.1, 3, "1.9 2.0 2.1"},
	} {
		var got []string
		for _, k := range linearTicks(tt.lo, tt.hi, tt.most) {
			got = append(got, k.label)
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%v to %v: %q, want %q", tt.lo, tt.hi, got, tt.want)
		}
	}
	for _, tt := range []struct {
		lo, hi float64
		want   string
	}{
		{7.1e6, 5.76e9, "10 30 100 300 1000 3000"}, {3e7, 3e8, "50 100 200"}, {1e3, 1e12, ""}, {433e6, 433e6, ""}, {430e6, 440e6, ""}, {1e2, 1e12, ""},
	} {
		s := logarithmic(tt.lo, tt.hi, left, Width-right)
		ticks := s.frequencyTicks(8)
		var got []string
		last := math.Inf(-1)
		for _, k := range ticks {
			got = append(got, k.label)
			hz, err := strconv.ParseFloat(k.label, 64)
			if err != nil || math.Abs(hz*1e6-k.value) > 1e-6*k.value {
				t.Errorf("%q stands at %v Hz", k.label, k.value)
			}
			if at := s.at(k.value); at < left-1 || at > Width-right+1 || at <= last {
				t.Errorf("%v to %v: %q lies at %v", tt.lo, tt.hi, k.label, at)
			} else {
				last = at
			}
		}
		if len(ticks) < 2 || len(ticks) > 9 || tt.want != "" && strings.Join(got, " ") != tt.want {
			t.Errorf("%v to %v: %q, want %q", tt.lo, tt.hi, got, tt.want)
		}
	}
}

// What is left out of a line lies within the tolerance of what is kept.
func TestSimplified(t *testing.T) {
	var line []xy
	for i := range 500 {
		line = append(line, xy{float64(i), 40 * math.Sin(float64(i)/20) * math.Cos(float64(i*i)/3000)})
	}
	for _, tolerance := range []float64{0.1, 1, 5} {
		kept := simplified(line, tolerance)
		if len(kept) >= len(line) || kept[0] != line[0] || kept[len(kept)-1] != line[len(line)-1] {
			t.Errorf("tolerance %v: %d of %d points kept", tolerance, len(kept), len(line))
		}
		k := 0
		for _, p := range line {
			for kept[k+1].x < p.x {
				k++
			}
			if d := distance(p, kept[k], kept[k+1]); d > tolerance {
				t.Fatalf("tolerance %v: %v lies %v away", tolerance, p, d)
			}
		}
	}
}

func TestBelow(t *testing.T) {
	got := below([]xy{{0, 0}, {10, 20}, {20, 20}, {30, 0}, {40, 0}, {50, 20}}, 10)
	want := [][]xy{{{5, 10}, {10, 20}, {20, 20}, {25, 10}}, {{45, 10}, {50, 20}}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		for k := range want[i] {
			if got[i][k] != want[i][k] {
				t.Errorf("%v, want %v", got, want)
			}
		}
	}
}

func TestNum(t *testing.T) {
	for x, want := range map[float64]string{0: "0", -0.04: "0", 1.25: "1.3", -3.14: "-3.1", 100: "100", 0.5: "0.5"} {
		if got := num(x); got != want {
			t.Errorf("num(%v) = %q, want %q", x, got, want)
		}
	}
}

func TestShorten(t *testing.T) {
	if got := shorten("short", 100, textSize); got != "short" {
		t.Errorf("%q", got)
	}
	long := strings.Repeat("long ", 50)
	got := shorten(long, 100, textSize)
	if !strings.HasSuffix(got, "…") || textWidth(got, textSize) > 100 {
		t.Errorf("%q is %v wide", got, textWidth(got, textSize))
	}
	for _, line := range wrapText(long, 200, headSize) {
		if textWidth(line, headSize) > 200 {
			t.Errorf("%q is too wide", line)
		}
	}
}

// Letters, lines that matter and letters on tints keep a contrast of 4.5 to 1.
//
// Source of the formula and the limit: WCAG 2.2, success criterion 1.4.3 and the
// definitions of contrast ratio and relative luminance.
func TestContrast(t *testing.T) {
	luminance := func(colour string) float64 {
		hex := strings.TrimPrefix(colour, "#")
		if len(hex) == 3 {
			hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
		}
		sum := 0.0
		for i, w := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += w * c
		}
		return sum
	}
	if l := luminance("#fff"); math.Abs(l-1) > 1e-12 {
		t.Fatalf("white has %v", l)
	}
	for name, p := range map[string]palette{"light": light, "dark": dark} {
		of := map[string]float64{}
		for _, c := range p {
			of[c.name] = luminance(c.value)
		}
		contrast := func(a, b string) float64 {
			return (max(of[a], of[b]) + 0.05) / (min(of[a], of[b]) + 0.05)
		}
		for _, pair := range [][2]string{{"ink", "paper"}, {"quiet", "paper"}, {"found", "paper"}, {"want", "paper"},
			{"ink", "tint1"}, {"ink", "tint2"}, {"ink", "tint3"}, {"ink", "tint4"}, {"ink", "tint5"}, {"ink", "tint6"}} {
			if c := contrast(pair[0], pair[1]); c < 4.5 {
				t.Errorf("%s: %s on %s has a contrast of %.2f", name, pair[0], pair[1], c)
			}
		}
	}
	if strings.Contains(string(fileStyle), "var(") {
		t.Error("a file of its own leaves colours to custom properties")
	}
}
