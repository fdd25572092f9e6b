package study

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// Of each fitting the sessions within a span of the one nearest to an age; the
// first without an age. Dates counted on a calendar.
func TestAtAge(t *testing.T) {
	date := func(s string) time.Time {
		if s == "" {
			return time.Time{}
		}
		d, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	var all []*closing
	add := func(box, gasket, installed string, days ...string) {
		for _, d := range days {
			all = append(all, &closing{occasion: &occasion{sitting: &sitting{Date: date(d), Session: d, context: noContext}, Box: box, Gasket: gasket, Installed: date(installed), fitting: installed}})
		}
	}
	add("a", "mesh", "2020-01-01", "2020-02-01", "2020-03-01", "2021-01-15", "2022-02-01")
	add("b", "mesh", "", "2021-06-01", "2023-06-03") // age from its first test
	add("c", "foil", "", "")                         // no date
	age := func(x float64) *float64 { return &x }
	for _, tt := range []struct {
		name   string
		years  *float64
		within int
		want   []string
	}{
		{"first", nil, 90, []string{"2020-02-01", "2020-03-01", "2021-06-01", ""}},
		{"first, narrow", nil, 10, []string{"2020-02-01", "2021-06-01", ""}},
		{"about one year", age(1), 30, []string{"2021-01-15", "2021-06-01", ""}}, // one year after 2021-06-01 is a day nearer to it than to 2023-06-03
		{"about two years", age(2), 30, []string{"2022-02-01", "2023-06-03", ""}},
		{"older than all", age(50), 400, []string{"2021-01-15", "2022-02-01", "2023-06-03", ""}},
	} {
		n := &notebook{}
		g := atAge(group{closings: all}, tt.years, time.Duration(tt.within)*day, n)
		var got []string
		for _, cl := range g.closings {
			got = append(got, civil(cl.Date))
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
		notes := strings.Join(n.lines(), "\n")
		if !strings.Contains(notes, "left out: sessions of a fitting") {
			t.Errorf("%s: nothing is said of what was left out:\n%s", tt.name, notes)
		}
	}
	n := &notebook{}
	atAge(group{closings: all}, age(2), 30*day, n)
	if notes := strings.Join(n.lines(), "\n"); !strings.Contains(notes, "mesh 2.0 to 2.1") {
		t.Errorf("ages: %s", notes)
	}
}
