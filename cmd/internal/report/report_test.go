package report

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"sealbound/cmd/internal/texttab"
)

var update = flag.Bool("update", false, "rewrite the golden files")

var formats = []struct {
	name  string
	write func(w io.Writer, doc *Document) error
}{
	{"txt", func(w io.Writer, doc *Document) error { return Text(w, doc, 100) }},
	{"md", Markdown},
	{"json", JSON},
	{"csv", func(w io.Writer, doc *Document) error { return CSV(w, doc, io.Discard) }},
}

// The golden files are what the renderers printed and a person then read.
func TestGolden(t *testing.T) {
	for name, doc := range map[string]*Document{"judge": judged(), "check": checked()} {
		for _, f := range formats {
			path := filepath.Join("testdata", name+"."+f.name)
			var got bytes.Buffer
			if err := f.write(&got, doc); err != nil {
				t.Errorf("%s: %v", path, err)
				continue
			}
			if *update {
				if err := os.WriteFile(path, got.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got.Bytes(), want) {
				t.Errorf("%s differs; look at it and run with -update. Got:\n%s", path, got.String())
			}
		}
	}
}

// keys lists the keys of an object with their nesting, in the order written.
func keys(t *testing.T, d *json.Decoder) string {
	t.Helper()
	next := func() json.Token {
		tok, err := d.Token()
		if err != nil {
			t.Fatal(err)
		}
		return tok
	}
	var value func() string
	value = func() string {
		switch next() {
		case json.Delim('{'):
			var parts []string
			for d.More() {
				key := next().(string)
				parts = append(parts, key+value())
			}
			next()
			return "{" + strings.Join(parts, " ") + "}"
		case json.Delim('['):
			inner := ""
			for d.More() {
				if v := value(); inner == "" {
					inner = v
				}
			}
			next()
			return "[" + inner + "]"
		}
		return ""
	}
	return value()
}

// The names are the program's promise to those who read its JSON: they are
// written out here, not taken from the code.
func TestJSONNames(t *testing.T) {
	full := clear()
	full.Needed, full.Reason = &Needed{"closing", 3, 0.8}, "because"
	doc := judged()
	doc.Judge = []JudgeRow{full}
	doc.Explain = []Explanation{{"Copper mesh", []string{"mean = 63.25"}}}
	for _, tt := range []struct {
		doc  *Document
		want string
	}{
		{doc, `{tool version command settings{target_db bands by[] confidence coverage no_floor floor_dbm seed} inputs[{path rows used skipped blank}] results[` +
			`{group{gasket box} band{name lo_hz hi_hz} points boxes fittings sessions runs closings limited levels[] valid_for ` +
			`mean_db sd_db se_db df lower_db upper_db next_lower_db coverage_lower_db coverage_method ` +
			`weakest{freq_hz position polarization mean_db lower_db target_db margin_db} lowest_mean{freq_hz mean_db} ` +
			`lowest{atten_db limited freq_hz box closing date} closings_below_target censored{mean_db sd_db lower_db method} ` +
			`headroom_db headroom_low_db target_db margin_db on verdict verdicts{mean weakest coverage next} needed{unit more power} reason}` +
			`] notes[] headlines[] explain[{title lines[]}]}`},
		{checked(), `{tool version command settings{floor_margin_db} inputs[{path rows used skipped blank}] results[` +
			`{files rows runs sessions boxes gaskets closings frequencies limited drift_db headroom_db problems[{file line column field text what mend}]}` +
			`] notes[] headlines[]}`},
	} {
		var b bytes.Buffer
		if err := JSON(&b, tt.doc); err != nil {
			t.Fatal(err)
		}
		if got := keys(t, json.NewDecoder(&b)); got != tt.want {
			t.Errorf("keys\n%s\nwant\n%s", got, tt.want)
		}
	}
}

// What was put in comes out: numbers to the last bit, counts as integers, what
// is undefined as null.
func TestJSONValues(t *testing.T) {
	doc := judged()
	doc.Judge[0].MeanDB = num(0.30000000000000004)
	doc.Judge[0].SDDB = num(5e-324)
	doc.Judge[0].SEDB = num(math.Copysign(0, -1))
	doc.Judge[0].DF = num(1e21)
	doc.Judge[0].LowerDB = num(math.MaxFloat64)
	doc.Judge[0].ValidFor = `a<b>&"c"`
	var b bytes.Buffer
	if err := JSON(&b, doc); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Tool     string
		Settings map[string]any
		Results  []struct {
			Mean    float64 `json:"mean_db"`
			SD      float64 `json:"sd_db"`
			SE      float64 `json:"se_db"`
			DF      float64
			Lower   float64 `json:"lower_db"`
			Weakest *struct{ Polarization *string }
			Lowest  *struct{ Date *string }
			Valid   string `json:"valid_for"`
			Needed  *struct{ More int }
			Levels  []string
		}
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	r := got.Results
	if got.Tool != "sealbound" || r[0].Mean != 0.30000000000000004 || r[0].SD != 5e-324 || r[0].SE != 0 || math.Signbit(r[0].SE) ||
		r[0].DF != 1e21 || r[0].Lower != math.MaxFloat64 || r[0].Valid != `a<b>&"c"` {
		t.Errorf("values changed: %+v", r[0])
	}
	if r[0].Weakest == nil || r[0].Weakest.Polarization != nil || r[1].Weakest != nil || r[1].Lowest.Date != nil || r[0].Needed != nil {
		t.Errorf("undefined parts are not null: %s", b.String())
	}
	if r[2].Levels == nil || r[2].Needed.More != 4 || got.Settings["floor_dbm"] != nil {
		t.Errorf("an empty list, a count or a setting changed: %+v", r[2])
	}
	for _, want := range []string{`"valid_for":"a<b>&\"c\""`, `"closings":10,`, `"se_db":0,`, `"weakest":null`, `"freq_hz":433920000`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in the output", want)
		}
	}
}

func TestJSONOfNothing(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, &Document{Command: "judge"}); err != nil {
		t.Fatal(err)
	}
	want := `{"tool":"sealbound","version":"","command":"judge","settings":{},"inputs":[],"results":[],"notes":[],"headlines":[]}`
	if got := strings.ReplaceAll(b.String(), "\n", ""); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// A display that shows raw JSON must not obey what stands in a label.
func TestJSONStringsAreSafe(t *testing.T) {
	label := "a\x1b[2J\u009b\u202e\U000e0041\u2028\xffé箱"
	doc := judged()
	doc.Judge[0].Group[0].Value = label
	var b bytes.Buffer
	if err := JSON(&b, doc); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsFunc(strings.ReplaceAll(b.String(), "\n", ""), texttab.Unsafe) {
		t.Errorf("unsafe: %q", b.String())
	}
	var got struct {
		Results []struct{ Group map[string]string }
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if want := strings.ToValidUTF8(label, "\ufffd"); got.Results[0].Group["gasket"] != want {
		t.Errorf("label %q came back as %q", want, got.Results[0].Group["gasket"])
	}
}

// No format writes a number that is none, and none writes a part before it sees.
func TestNoFormatWritesNaN(t *testing.T) {
	spoil := map[string]func(d *Document, x float64){
		"a level":    func(d *Document, x float64) { d.Judge[1].UpperDB = &x },
		"a part":     func(d *Document, x float64) { d.Judge[0].Weakest.LowerDB = x },
		"a band":     func(d *Document, x float64) { d.Judge[2].Band.HiHz = x },
		"a setting":  func(d *Document, x float64) { d.Settings[0].Value = x },
		"the check":  func(d *Document, x float64) { *d = *checked(); d.Check[0].DriftDB = &x },
		"the lowest": func(d *Document, x float64) { d.Judge[1].Lowest.AttenDB = x },
	}
	for what, set := range spoil {
		for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			for _, f := range formats {
				doc := judged()
				set(doc, x)
				var b bytes.Buffer
				if err := f.write(&b, doc); err == nil || b.Len() > 0 {
					t.Errorf("%s of %v in %s: error %v, %d bytes written", what, x, f.name, err, b.Len())
				}
			}
		}
	}
	doc := judged()
	doc.Settings[0].Value = struct{}{}
	if err := JSON(io.Discard, doc); err == nil {
		t.Error("a setting of an unknown type was written")
	}
	if err := JSON(io.Discard, &Document{Command: "unknown"}); err == nil {
		t.Error("an unknown command was written")
	}
}

// A Document holds every number in a column: none is forgotten by the formats.
// (Every field of the row set to a number of its own must be found in the CSV.)
func TestEveryFieldHasAColumn(t *testing.T) {
	for _, rows := range []any{&[]JudgeRow{{}}, &[]CheckRow{{}}} {
		v := reflect.ValueOf(rows).Elem()
		n := 1000
		fields := fillFields(v.Index(0), &n)
		doc := &Document{Command: "judge"}
		if judge, ok := rows.(*[]JudgeRow); ok {
			doc.Judge = *judge
		} else {
			doc.Command, doc.Check = "check", *rows.(*[]CheckRow)
		}
		var b bytes.Buffer
		if err := JSON(&b, doc); err != nil {
			t.Fatal(err)
		}
		for name, want := range fields {
			if !strings.Contains(b.String(), want) {
				t.Errorf("%s: %s, %s is in no column", v.Type(), name, want)
			}
		}
	}
}

// fillFields sets each number and text below v to a value of its own.
func fillFields(v reflect.Value, n *int) map[string]string {
	set := map[string]string{}
	var walk func(name string, v reflect.Value)
	walk = func(name string, v reflect.Value) {
		*n++
		switch v.Kind() {
		case reflect.Pointer:
			v.Set(reflect.New(v.Type().Elem()))
			walk(name, v.Elem())
		case reflect.Struct:
			for i := range v.NumField() {
				walk(name+"."+v.Type().Field(i).Name, v.Field(i))
			}
		case reflect.Slice:
			v.Set(reflect.MakeSlice(v.Type(), 1, 1))
			walk(name+"[0]", v.Index(0))
		case reflect.Int:
			v.SetInt(int64(*n))
			set[name] = cellText(*n)
		case reflect.Float64:
			v.SetFloat(float64(*n) + 0.5)
			set[name] = shortest(float64(*n) + 0.5)
		case reflect.String:
			v.SetString("text " + cellText(*n))
			set[name] = `"text ` + cellText(*n) + `"`
		case reflect.Bool:
			v.SetBool(true)
		}
	}
	walk(v.Type().Name(), v)
	return set
}

// Whatever labels and notes hold, text stays within the width and steers no
// display, and markdown keeps as many cells in each row as there are heads.
func TestHostileLabels(t *testing.T) {
	hostile := "a|b\n\x1b[31m<script>\u202e`*_[x](y)\\|" + strings.Repeat("long", 40)
	doc := judged()
	for i := range doc.Judge {
		doc.Judge[i].Group[0].Value = hostile
		doc.Judge[i].Group[1].Field = "box" // same fields, other values
		doc.Judge[i].Band.Name = hostile
	}
	doc.Notes = append(doc.Notes, hostile, "# no head", "- no list")
	doc.Headlines[0] = hostile
	doc.Inputs[0].Path = hostile
	doc.Explain = []Explanation{{hostile, []string{"  mean = 1", hostile}}}
	var text, md bytes.Buffer
	if err := Text(&text, doc, 100); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(text.String()) {
		line = strings.TrimSuffix(line, "\n")
		if texttab.Width(line) > 100 || strings.ContainsFunc(line, texttab.Unsafe) {
			t.Errorf("%d columns: %q", texttab.Width(line), line)
		}
	}
	if err := Markdown(&md, doc); err != nil {
		t.Fatal(err)
	}
	cells := 0
	for line := range strings.Lines(md.String()) {
		line = strings.TrimSuffix(line, "\n")
		if strings.ContainsFunc(line, texttab.Unsafe) {
			t.Errorf("unsafe: %q", line)
		}
		if strings.Contains(line, "<") && !strings.HasPrefix(line, "    ") || strings.HasPrefix(line, "# no") || strings.HasPrefix(line, "- - ") {
			t.Errorf("markup: %q", line)
		}
		if !strings.HasPrefix(line, "|") {
			cells = 0
			continue
		}
		bare := strings.ReplaceAll(strings.ReplaceAll(line, `\\`, ""), `\|`, "")
		if n := strings.Count(bare, "|"); cells == 0 {
			cells = n
		} else if n != cells {
			t.Errorf("%d bars instead of %d: %s", n, cells, line)
		}
	}
}

func TestManyFiles(t *testing.T) {
	doc := judged()
	doc.Inputs = nil
	for i := range 30 {
		doc.Inputs = append(doc.Inputs, Input{Path: "run" + cellText(i) + ".csv", Rows: 10, Used: 10})
	}
	doc.Inputs[7] = Input{Path: "run7.csv", Rows: 12, Used: 7, Skipped: 4, Blank: 1}
	var b bytes.Buffer
	if err := Text(&b, doc, 100); err != nil {
		t.Fatal(err)
	}
	for want, n := range map[string]int{"Read 30 files: 302 rows = 297 used + 4 skipped + 1 blank.": 1, "run7.csv": 1, "run8.csv": 0} {
		if strings.Count(b.String(), want) != n {
			t.Errorf("%q should appear %d times:\n%s", want, n, b.String())
		}
	}
}
