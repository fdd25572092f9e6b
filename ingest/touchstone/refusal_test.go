package touchstone

import (
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// Every refusal: its place, its words, and what is left of the file.
func TestRefusals(t *testing.T) {
	const rows2 = "30 0.9 0 0.01 5 0.1 6 0.8 0\n"
	const ports2 = "[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n"
	const row3 = "1 1 0 1 0 1 0\n1 0 1 0 1 0\n1 0 1 0 1 0\n"
	for _, tt := range []struct {
		name, file, text string
		want             []string // line:column and words, in order
		rows             int      // of what is left; -1: nothing
	}{
		{"no ports in the name", "a.csv", "# Hz\n1 1 0\n", []string{"a.csv: the name does not say"}, -1},
		{"an odd name", "a.s+2p", "# Hz\n1 1 0\n", []string{"a.s+2p: the name does not say"}, -1},
		{"many ports", "a.s12p", "# Hz\n1 1 0\n", []string{"a.s12p: a network of 12 ports"}, -1},
		{"many ports by keyword", "a.ts", version2("[Number of Ports] 5\n", rows2), []string{"3:19: \"5\": a network of 5 ports"}, -1},
		{"empty", "a.s2p", "", []string{"a.s2p: the file is empty"}, -1},
		{"data without option line", "a.s2p", rows2, []string{"1:1: \"30\": no option line above"}, -1},
		{"no data", "a.s2p", "# Hz\n! end\n", []string{"2:1: no rows of data"}, -1},
		{"admittances", "a.s1p", "# Hz Y RI\n1 1 0\n", []string{"1:6: \"Y\": Y are admittance parameters"}, -1},
		{"impedances", "a.s1p", "# z\n1 1 0\n", []string{"1:3: \"z\": Z are impedance parameters"}, -1},
		{"two units", "a.s1p", "# Hz S MHz\n1 1 0\n", []string{"1:8: \"MHz\": the unit is given twice, first in column 3"}, -1},
		{"two formats", "a.s1p", "# DB RI\n1 1 0\n", []string{"1:6: \"RI\": the format is given twice"}, -1},
		{"R alone", "a.s1p", "# Hz S DB R\n1 1 0\n", []string{"1:11: \"R\": R without its resistance"}, -1},
		{"R without number", "a.s1p", "# Hz R DB\n1 1 0\n", []string{"1:8: reference resistance \"DB\": is not a number"}, -1},
		{"R zero", "a.s1p", "# Hz R 0\n1 1 0\n", []string{"1:8: reference resistance \"0\": is not above 0"}, -1},
		{"another option line", "a.s1p", "# Hz S DB\n# MHz S DB\n1 1 0\n", []string{"2:1: a second option line, and it differs from that on line 1"}, -1},
		{"option line among data", "a.s1p", "# Hz S DB\n1 1 0\n# Hz S DB\n1 1 0\n", []string{"3:1: \"#\": an option line among the data"}, -1},
		{"ts without version", "a.ts", "# Hz S DB\n1 1 0\n", []string{"2:1: \"1\": a .ts file that does not begin with [Version]"}, -1},
		{"falling frequency", "a.s1p", "# Hz S DB\n5 1 0\n4 1 0\n6 1 0\n", []string{"3:1: frequency \"4\": the frequency is not increasing: it is higher on line 2"}, 2},
		{"negative magnitude", "a.s1p", "# Hz S MA\n5 -1 0\n6 1 0\n", []string{"2:3: S11 \"-1\": a magnitude is never negative"}, 1},
		{"magnitude too large", "a.s1p", "# Hz S RI\n5 1.7e308 1.7e308\n6 1 0\n", []string{"2:3: S11 \"1.7e308\": lies more than 1000 dB"}, 1},
		{"level too low", "a.s1p", "# Hz S DB\n5 -1000.5 0\n6 -1000 0\n7 1 0\n", []string{"2:3: S11 \"-1000.5\": lies more than 1000 dB"}, 2},
		{"all numbers of a row", "a.s2p", "# Hz S DB\nx 1 0x1 1_0 inf nan 2,5 30dB ,\n1 1 0 1 0 1 0 1 0\n", []string{
			"2:1: frequency \"x\": is not a number", "2:5: S11 \"0x1\": is not a decimal", "2:9: S21 \"1_0\": is not a number",
			"2:13: S21 \"inf\"", "2:17: S12 \"nan\"", "2:21: S12 \"2,5\"", "2:25: S22 \"30dB\"", "2:30: S22 \",\""}, 1},
		{"text in the data", "a.s1p", "# Hz S DB\n1 1 0\nend of sweep\n", []string{
			"3:1: frequency \"end\"", "3:5: S11 \"of\"", "3:8: S11 \"sweep\""}, 1},
		{"noise where it cannot be", "a.s2p", "# Hz S DB\n1 1 0 1 0\n", []string{"2:9: 5 values, a 2-port row needs 9"}, 0},
		{"noise above the network", "a.s2p", "# Hz S DB\n1 1 0 1 0 1 0 1 0\n2 1 0 1 0\n", []string{"3:9: 5 values, a 2-port row needs 9"}, 1},
		{"bad noise", "a.s2p", "# Hz S DB\n1 1 0 1 0 1 0 1 0\n1 1 0 1 0\n1 1 0 1 0\n0.5 1 0 1 0\n2 1 0 x 0\n3 1 0 1 0 1 0 1 0\n", []string{
			"5:1: frequency \"0.5\": the frequency is not increasing", "6:7: noise reflection \"x\"", "7:11: 9 values, a row of noise data has 5"}, 1},
		{"row lost from a three-port", "a.s3p", "# Hz S MA\n" + row3 + "2 1 0 1 0 1 0\n1 0 1 0 1 0\n" + strings.Replace(row3, "1 ", "3 ", 1), []string{
			"7:1: a data set begins, and that of line 5 has 13 of 19 values"}, 2},
		{"first row lost from a three-port", "a.s3p", "# Hz S MA\n" + row3 + "1 0 1 0 1 0\n1 0 1 0 1 0\n" + strings.Replace(row3, "1 ", "3 ", 1), []string{
			"5:1: 6 values begin no data set", "6:1: 6 values begin no data set"}, 2},
		{"too many values", "a.s3p", "# Hz S MA\n1 1 0 1 0 1 0\n1 0 1 0 1 0\n1 0 1 0 1 0 1 0\n" + strings.Replace(row3, "1 ", "3 ", 1), []string{
			"4:13: the data set begun on line 2 has more than its 19 values"}, 1},
		{"too many values at once", "a.s3p", "# Hz S MA\n1" + strings.Repeat(" 1 0", 10) + "\n", []string{"2:39: 21 values, a 3-port data set has 19"}, 0},
		{"cut off at the end of a line", "a.s3p", "# Hz S MA\n" + row3 + "2 1 0 1 0 1 0\n", []string{"5:13: the last data set (line 5) has 7 of 19 values"}, 1},
		{"carriage returns alone", "a.s1p", "# Hz S DB\r1 1 0\r", []string{"1:10: a carriage return stands"}, -1},
		{"binary", "a.s1p", "# Hz S DB\n1 1 0\n\x00\n", []string{"3:1: a NUL byte"}, -1},
		{"keyword in version 1", "a.s1p", "# Hz S DB\n[Number of Ports] 1\n1 1 0\n", []string{"2:1: \"[Number of Ports] 1\": a keyword in a file that does not begin"}, -1},
		{"version late", "a.s1p", "# Hz S DB\n[Version] 2.0\n1 1 0\n", []string{"2:1: \"[Version] 2.0\": [Version] is not the first line"}, -1},
		{"another version", "a.ts", "[Version] 3.0\n# Hz\n", []string{"1:11: \"3.0\": is a version that is not read"}, -1},
		{"keyword not closed", "a.ts", "[Version 2.0\n# Hz\n", []string{"1:1: \"[Version 2.0\": a keyword without its closing bracket"}, -1},
		{"mixed mode", "a.ts", version2(ports2+"[Mixed-Mode Order] D2,1 C2,1\n", rows2), []string{"6:1: \"[Mixed-Mode Order] D2,1 C2,1\": mixed-mode parameters"}, -1},
		{"unknown keyword", "a.ts", version2(ports2+"[Weather] rain\n", rows2), []string{"6:1: \"[Weather] rain\": an unknown keyword"}, -1},
		{"keyword twice", "a.ts", version2(ports2+"[Number of Ports] 2\n", rows2), []string{"6:1: \"[Number of Ports] 2\": the keyword stands already on line 3"}, -1},
		{"keyword without value", "a.ts", version2(ports2+"[Matrix Format] ! lower\n", rows2), []string{"6:1: \"[Matrix Format]\": a keyword without its value"}, -1},
		{"unknown matrix", "a.ts", version2(ports2+"[Matrix Format] half\n", rows2), []string{"6:17: \"half\": is no matrix format"}, -1},
		{"unknown order", "a.ts", version2(strings.Replace(ports2, "21_12", "12-21", 1), rows2), []string{"4:23: \"12-21\": is no order"}, -1},
		{"not a count", "a.ts", version2("[Number of Ports] +2\n", rows2), []string{"3:19: \"+2\": is not a count"}, -1},
		{"text behind a keyword", "a.ts", version2(ports2, "")[:0] + "[Version] 2.0 final\n", []string{"1:15: \"final\": text behind the keyword", "1:1: no option line"}, -1},
		{"ports against the name", "a.s1p", version2(ports2, rows2), []string{"3:19: \"2\": the file's name says 1 ports"}, -1},
		{"no ports", "a.ts", version2("[Number of Frequencies] 1\n", rows2), []string{"4:1: [Number of Ports] is missing"}, -1},
		{"no order", "a.ts", version2("[Number of Ports] 2\n[Number of Frequencies] 1\n", rows2), []string{"5:1: [Two-Port Data Order] is missing"}, -1},
		{"no frequencies", "a.ts", version2("[Number of Ports] 1\n", "1 1 0\n"), []string{"4:1: [Number of Frequencies] is missing"}, -1},
		{"no option line in version 2", "a.ts", "[Version] 2.0\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n1 1 0\n[End]\n", []string{"4:1: no option line above [Network Data]"}, -1},
		{"data before network data", "a.ts", "[Version] 2.0\n# Hz\n1 1 0\n", []string{"3:1: \"1\": stands before [Network Data]"}, -1},
		{"no network data", "a.ts", "[Version] 2.0\n# Hz\n", []string{"2:1: [Network Data] is missing"}, -1},
		{"no end", "a.ts", strings.TrimSuffix(version2(ports2, rows2), "[End]\n"), []string{"7:1: [End] is missing"}, -1},
		{"end first", "a.ts", "[Version] 2.0\n# Hz\n[End]\n", []string{"3:1: \"[End]\": stands before [Network Data]"}, -1},
		{"keyword among data", "a.ts", version2(ports2, rows2+"[Matrix Format] Full\n"), []string{"8:1: \"[Matrix Format] Full\": stands behind [Network Data]"}, -1},
		{"information not closed", "a.ts", "[Version] 2.0\n# Hz\n[Begin Information]\n1\n", []string{"4:1: [Begin Information] without"}, -1},
		{"few references", "a.ts", version2("[Number of Ports] 2\n[Reference] 50\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n", rows2), []string{
			"5:1: \"[Two-Port Data Order] 21_12\": [Reference] has 1 of 2 resistances"}, -1},
		{"many references", "a.ts", version2(ports2+"[Reference] 50 60 70\n", rows2), []string{"6:19: \"70\": [Reference] has more than 2"}, -1},
		{"references before ports", "a.ts", version2("[Reference] 50\n", rows2), []string{"3:1: \"[Reference] 50\": stands before [Number of Ports]"}, -1},
		{"noise of a one-port", "a.ts", version2("[Number of Ports] 1\n[Number of Frequencies] 1\n[Number of Noise Frequencies] 1\n", "1 1 0\n[Noise Data]\n1 1 1 1 1\n"), []string{
			"8:1: \"[Noise Data]\": only a network of two ports"}, -1},
		{"noise without its count", "a.ts", version2(ports2, rows2+"[Noise Data]\n1 1 1 1 1\n"), []string{"8:1: \"[Noise Data]\": [Number of Noise Frequencies] is missing"}, -1},
		{"noise miscounted", "a.ts", version2(ports2+"[Number of Noise Frequencies] 3\n", rows2+"[Noise Data]\n1 1 1 1 1\n"), []string{
			"11:1: [Number of Noise Frequencies] is 3, and the file has 1"}, -1},
		{"a line of many words", "a.s1p", "# Hz S DB\n1 1 0\n" + strings.Repeat("1 ", mostWords+1) + "\n", []string{"3:2001: more than 1000 words"}, -1},
		{"a line without end", "a.s1p", "# Hz S DB\n1 1 0\n!" + strings.Repeat("x", MaxLine) + "\n", []string{"3:1: the line is longer than a megabyte"}, -1},
	} {
		f, count, problems := parse(t, tt.file, tt.text)
		if len(problems) != len(tt.want) {
			t.Errorf("%s: %d problems, want %d:\n%v", tt.name, len(problems), len(tt.want), listed(problems))
			continue
		}
		left := map[string]bool{}
		for _, p := range problems {
			left[p.Error()] = true
			if p.Mend == "" || p.File != tt.file {
				t.Errorf("%s: no mend or no file: %+v", tt.name, p)
			}
		}
		for _, want := range tt.want {
			if !strings.HasPrefix(want, tt.file) {
				want = tt.file + ":" + want
			}
			found := false
			for p := range left {
				if strings.HasPrefix(p, want) {
					delete(left, p)
					found = true
					break
				}
			}
			if !found {
				t.Errorf("%s: no problem %q among\n%v", tt.name, want, listed(problems))
			}
		}
		switch {
		case (f == nil) != (tt.rows < 0):
			t.Errorf("%s: file %+v, want %d rows", tt.name, f, tt.rows)
		case f != nil && len(f.Rows) != tt.rows:
			t.Errorf("%s: %d rows are left, want %d", tt.name, len(f.Rows), tt.rows)
		case f == nil && (count.Refused != count.Rows || count.Rows != dataLines(tt.text) && !strings.ContainsAny(tt.text, "\x00\r") && !strings.Contains(tt.name, "noise") && !strings.Contains(tt.name, "information") && len(tt.text) < MaxLine):
			t.Errorf("%s: count %+v, want all refused", tt.name, count)
		}
	}
}

// Used, refused and blank lines make up all.
func TestCount(t *testing.T) {
	const text = "# Hz S MA\n1 1 0 1 0 1 0\n1 0 1 0 1 0\n1 0 1 0 1 0\n\n! comment\n" + // 3 used
		"2 1 0 1 0 1 0\n1 0 1 x 1 0\n1 0 1 0 1 0\n" + // 3 refused: a cell
		"3 1 0 1 0 1 0\n1 0 1 0 1 0\n" + // 2 refused: short
		"4 1 0 1 0 1 0\n1 0 1 0 1 0\n1 0 1 0 1 0\n" + // 3 used
		"1 0 1 0\n" // refused: begins nothing
	f, count, problems := parse(t, "a.s3p", text)
	if want := (reading.Count{Rows: 12, Refused: 6}); count != want || len(problems) != 3 || len(f.Rows) != 2 {
		t.Errorf("count %+v, want %+v; %d rows, problems:\n%v", count, want, len(f.Rows), listed(problems))
	}
}

// listed puts problems on lines of their own.
func listed(problems []reading.Problem) string {
	var b strings.Builder
	for _, p := range problems {
		b.WriteString(p.Error() + "\n")
	}
	return b.String()
}

func TestLimits(t *testing.T) {
	const text = "# Hz S DB\n1 1 0\n2 1 0\n3 1 0\n4 1 0\n"
	for _, tt := range []struct {
		rows  int
		bytes int64
		want  string
	}{
		{2, MaxBytes, "a.s1p:4:1: more than 2 frequencies"},
		{MaxRows, 20, "a.s1p:3:1: the file is larger"},
	} {
		problems := reading.Problems{Limit: 9}
		p := newParser(strings.NewReader(text), "a.s1p", &problems)
		p.mostRows, p.lines.most = tt.rows, tt.bytes
		f, _, err := p.parse()
		all, _ := problems.Sorted()
		if f != nil || err != nil || len(all) != 1 || !strings.HasPrefix(all[0].Error(), tt.want) {
			t.Errorf("%+v %v %v, want %q", f, err, all, tt.want)
		}
	}
}

// dataLines counts the lines of a text that begin as data do.
func dataLines(text string) int {
	n := 0
	for _, line := range strings.Split(text, "\n") {
		if line != "" && !strings.ContainsAny(line[:1], "#[!") {
			n++
		}
	}
	return n
}

func TestManyProblems(t *testing.T) {
	const rows = mostProblems + 500
	problems := reading.Problems{Limit: 2 * rows}
	f, count, _ := Parse(strings.NewReader("# Hz S DB\n"+strings.Repeat("x 1 1\n", rows)), "a.s1p", &problems)
	all, omitted := problems.Sorted()
	if len(all) != mostProblems+1 || omitted != 0 || f == nil || count.Refused != rows {
		t.Fatalf("%d problems, %d omitted, count %+v", len(all), omitted, count)
	}
	if p := all[mostProblems]; !strings.Contains(p.What, "more than 10000 problems") || p.Line != mostProblems+2 {
		t.Errorf("%v", p)
	}
}
