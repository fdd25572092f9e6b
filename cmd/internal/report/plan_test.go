package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"sealbound/cmd/internal/texttab"
)

func plannedDocument() *Document {
	boxes, sessions, closings := 6, 3, 4
	return &Document{
		Command: "plan", Headlines: []string{"Measure."},
		Settings: []Setting{{"confidence", 0.95}, {"coverage", 0.9}},
		Plan: PlanAnswer{
			Rows:     []PlanRow{{Closings: &closings, Sessions: &sessions, Boxes: &boxes, Power: num(0.8125)}, {HeadroomDB: num(74), Reason: "out of reach"}},
			Layouts:  []PlanLayout{{"proposed", 6, 3, 4, num(1640), 0.8125}, {What: "one box fewer", Power: 0.43}},
			WhatIfs:  []PlanWhatIf{{"the margin is smaller", 0.9999}},
			Failures: []PlanFailures{{0, 29, 0.95289}},
			Past:     []PlanPast{{Group: []Label{{"gasket", "foil"}}, Band: "UHF", Boxes: 2, Sessions: 3, Closings: 20, BoxSD: num(1.25), Power: num(0.0001)}},
		},
	}
}

// The names are those that scripts rely on, in their order; what was not asked for
// is null.
func TestPlanJSON(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, plannedDocument()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`{"closings":4,"sessions":3,"boxes":6,"power":0.8125,"headroom_db":null,"reason":null}`,
		`{"closings":null,"sessions":null,"boxes":null,"power":null,"headroom_db":74,"reason":"out of reach"}`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in %s", want, b.String())
		}
	}
	if !json.Valid(b.Bytes()) {
		t.Error("no JSON")
	}
}

// A probability that is not certain never reads as certain; what was not reached
// shows no layout.
func TestPlanText(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, plannedDocument(), 100); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"at most 0.43", "> 0.99", "< 0.01", "0.9528", "1640", "at least 90 % of all closings"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	for line := range strings.Lines(b.String()) {
		if strings.Contains(line, "one box fewer") && strings.Contains(line, "6") {
			t.Errorf("a layout that was not reached: %q", line)
		}
	}
}

// No format shows a number that is none, also in the tables for a person.
func TestPlanWritesNoNaN(t *testing.T) {
	for what, spoil := range map[string]func(p *PlanAnswer, x float64){
		"layout":   func(p *PlanAnswer, x float64) { p.Layouts[1].Power = x },
		"cost":     func(p *PlanAnswer, x float64) { p.Layouts[0].Cost = &x },
		"what if":  func(p *PlanAnswer, x float64) { p.WhatIfs[0].Power = x },
		"failures": func(p *PlanAnswer, x float64) { p.Failures[0].Confidence = x },
		"past":     func(p *PlanAnswer, x float64) { p.Past[0].BoxSD = &x },
	} {
		for _, x := range []float64{math.NaN(), math.Inf(1)} {
			doc := plannedDocument()
			spoil(&doc.Plan, x)
			var text, md bytes.Buffer
			if err := Text(&text, doc, 100); err == nil || text.Len() > 0 {
				t.Errorf("%s %v in text: %v", what, x, err)
			}
			if err := Markdown(&md, doc); err == nil || md.Len() > 0 {
				t.Errorf("%s %v in markdown: %v", what, x, err)
			}
		}
	}
	doc := plannedDocument()
	doc.Plan.Rows[0].Power = num(math.NaN())
	for _, f := range formats {
		var b bytes.Buffer
		if err := f.write(&b, doc); err == nil || b.Len() > 0 {
			t.Errorf("a power of NaN in %s: %v", f.name, err)
		}
	}
}

func TestPlanHostileLabels(t *testing.T) {
	hostile := "a|b\n\x1b[31m\u202e" + strings.Repeat("long", 40)
	doc := plannedDocument()
	doc.Plan.Past[0].Group[0].Value, doc.Plan.Past[0].Band = hostile, hostile
	doc.Plan.WhatIfs[0].What, doc.Plan.Layouts[0].What = hostile, hostile
	var b bytes.Buffer
	if err := Text(&b, doc, 100); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(b.String()) {
		line = strings.TrimSuffix(line, "\n")
		if texttab.Width(line) > 100 || strings.ContainsFunc(line, texttab.Unsafe) {
			t.Errorf("%d columns: %q", texttab.Width(line), line)
		}
	}
}
