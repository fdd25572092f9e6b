package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

// childVariable makes the test's own binary behave as the program, so that a
// test can send it a signal.
const childVariable = "SEALBOUND_TEST_CHILD"

// restrict takes rights from such a child, where tests know how to.
var restrict = func() error { return nil }

func TestMain(m *testing.M) {
	switch os.Getenv(childVariable) {
	case "":
	case "real":
		if err := restrict(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(99)
		}
		os.Exit(run(os.Args, os.Stdin, os.Stdout, os.Stderr))
	default:
		os.Exit(fakes().interruptible(os.Args, os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// An analysis that ends after the interrupt is not written either.
func TestInterruptBeforeWriting(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	p := program{judge: func(ctx context.Context, paths []string, s study.Settings) (*report.Document, error) {
		cancel()
		return fakeJudge(ctx, paths, s)
	}}
	var stdout, stderr bytes.Buffer
	if code := p.run(call{ctx, nil, &stdout, &stderr}, []string{"sealbound", "judge", "clears.csv"}); code != interrupted || stdout.Len() > 0 {
		t.Errorf("exit %d, %d bytes on standard output", code, stdout.Len())
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

func TestOutputThatCannotBeWritten(t *testing.T) {
	for _, args := range [][]string{{"judge", "clears.csv"}, {"help"}, {"--version"}, {}, {"judge", "-h"}} {
		var stderr bytes.Buffer
		code := fakes().run(call{context.Background(), nil, brokenWriter{}, &stderr}, append([]string{"sealbound"}, args...))
		if code != wrongUse || !strings.Contains(stderr.String(), "no space left") {
			t.Errorf("%q: exit %d, %q", args, code, stderr.String())
		}
	}
}

func TestOrderArgs(t *testing.T) {
	options := []option{
		{name: "target", value: "DB"}, {name: "output", short: "o", value: "FILE"}, {name: "floor", value: "DBM"}, {name: "explain"},
	}
	for _, tt := range []struct {
		args string
		want string // or the error
	}{
		{"a b", "-- a b"},
		{"--target 5 a", "--target=5 -- a"},
		{"a --target 5", "--target=5 -- a"},
		{"a --target 5 b --explain c", "--target=5 --explain=true -- a b c"},
		{"a -target=5", "--target=5 -- a"},
		{"a --target= b", "--target= -- a b"},
		{"a --target=x=y", "--target=x=y -- a"},
		{"--explain a", "--explain=true -- a"},
		{"--explain=false a", "--explain=false -- a"},
		{"a -o out", "--output=out -- a"},
		{"--floor -95 a", "--floor=-95 -- a"},
		{"- --floor -95.5", "--floor=-95.5 -- -"},
		{"-o - a", "--output=- -- a"},
		{"a -- --target -5 --", "-- a --target -5 --"},
		{"--target 5 -- a", "--target=5 -- a"},
		{"", "--"},
		{"target output", "-- target output"}, // names of flags are paths like any other
		{"--target 1 --target 2 a", "--target=1 --target=2 -- a"},
		{"a --target", "--target needs a value: DB"},
		{"--target --explain a", "--target needs a value: DB"},
		{"--target -o a", "--target needs a value: DB"},
		{"--target -- a", "--target needs a value: DB"},
		{"--trget 5", "unknown flag --trget; did you mean --target?"},
		{"--targ 5", "unknown flag --targ; did you mean --target?"},
		{"-9 a", "unknown flag -9"},
		{"--bands itu", "no flag --bands here: it belongs to judge"},
		{"a --help", "help was asked for"},
		{"-h --nonsense", "help was asked for"},
		{"--=5", "unknown flag --=5"},
		{"---target 5", "unknown flag ---target; did you mean --target?"},
	} {
		elsewhere := func(flag string) string {
			if flag == "bands" {
				return "judge"
			}
			return ""
		}
		got, err := orderArgs(options, strings.Fields(tt.args), elsewhere)
		text := strings.Join(got, " ")
		if err != nil {
			text = err.Error()
		}
		if text != tt.want {
			t.Errorf("orderArgs(%q) = %q, want %q", tt.args, text, tt.want)
		}
	}
}

// Every setting has a flag that reaches it, and each flag reaches one.
func TestFlagsReachSettings(t *testing.T) {
	file := filepath.Join(t.TempDir(), "curve.csv")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	dbm, sd := -95.5, 0.8
	day := func(s string) time.Time {
		d, err := time.Parse("2006-01-02", s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	want := study.Settings{
		TargetDB: 60, TargetFile: file, Bands: "low=30-300", By: []string{"gasket", "box", "latch"}, Confidence: 0.9, Coverage: 0.95,
		On: "weakest", FloorMarginDB: 10, FloorDBM: &dbm, NoFloor: true, DriftDB: 2, KeepDrifted: true, FreqMatchPPM: 5,
		Within: 30 * 24 * time.Hour, AllDates: true, Box: []string{"007", "a,b"}, Gasket: []string{"foil"},
		Since: day("2030-01-31"), Until: day("2030-12-31"), ThisSetup: true, SessionSDDB: &sd, BudgetFile: "budget.csv",
		Average: "power", LimitedRaiseDB: 15, Family: "holm", Pool: []string{"receiver"}, SkipBadRows: true,
		ProblemLimit: study.DefaultSettings().ProblemLimit, Seed: 7, Explain: true, Version: version, Stdin: strings.NewReader(""),
	}
	args := []string{"sealbound", "judge", "--target", "60", "x", "--target", file, "--bands=low=30-300", "--by", "gasket,box", "--by", "latch",
		"--confidence", "0.9", "--coverage", "0.95", "--on", "weakest", "--floor-margin", "10", "--drift", "2", "--keep-drifted",
		"--freq-match", "5", "--within", "30d", "--all-dates", "--box", `007,"a,b"`, "--gasket", "foil", "--since", "2030-01-31",
		"--until", "2030-12-31", "--this-setup", "--average", "power", "--limited-raise", "15", "--family", "holm",
		"--pool", "receiver", "--skip-bad-rows", "--seed", "7", "--explain", "y"}
	// Two pairs of flags exclude each other; both members are tried.
	for _, pair := range [][]string{{"--floor", "-95.5", "--session-sd", "0.8"}, {"--no-floor", "--budget", "budget.csv"}} {
		var got study.Settings
		var paths []string
		p := program{judge: func(_ context.Context, in []string, s study.Settings) (*report.Document, error) {
			got, paths = s, in
			return &report.Document{Command: "judge"}, nil
		}}
		var stderr bytes.Buffer
		if code := p.run(call{context.Background(), want.Stdin, io.Discard, &stderr}, append(slices.Clone(args), pair...)); code != done {
			t.Fatalf("exit %d: %s", code, stderr.String())
		}
		if !slices.Equal(paths, []string{"x", "y"}) {
			t.Errorf("paths %q", paths)
		}
		g, w, d := reflect.ValueOf(got), reflect.ValueOf(want), reflect.ValueOf(study.DefaultSettings())
		for i := range g.NumField() {
			name := g.Type().Field(i).Name
			if ofOthers := []string{"Against", "EquivalentDB", "AtAgeYears", "ToleranceDB", "ToleranceOn", "AsOf", "IntervalYears", "Slopes", "Today", "Progress"}; slices.Contains(ofOthers, name) || !g.Type().Field(i).IsExported() {
				continue // flags of compare, spread and wear, the clock and the terminal
			}
			expected := w.Field(i).Interface()
			if other := (pair[0] == "--floor") == (name == "NoFloor" || name == "BudgetFile"); other && slices.Contains([]string{"NoFloor", "BudgetFile", "FloorDBM", "SessionSDDB"}, name) {
				expected = d.Field(i).Interface()
			}
			if !reflect.DeepEqual(g.Field(i).Interface(), expected) {
				t.Errorf("%s is %v, want %v", name, g.Field(i), expected)
			}
			if name != "ProblemLimit" && w.Field(i).IsZero() {
				t.Errorf("%s is not tried", name)
			}
		}
	}
}

// The defaults that help names are those in force.
func TestDefaultsInHelp(t *testing.T) {
	s := study.DefaultSettings()
	for flag, value := range map[string]string{
		"target": plain(s.TargetDB), "bands": s.Bands, "on": s.On, "confidence": plain(s.Confidence), "average": s.Average,
		"floor-margin": plain(s.FloorMarginDB), "drift": plain(s.DriftDB), "freq-match": plain(s.FreqMatchPPM),
		"within": plain(s.Within.Hours()/24) + "d", "limited-raise": plain(s.LimitedRaiseDB), "coverage": plain(s.Coverage) + "0",
		"seed": plain(float64(s.Seed)),
	} {
		o, ok := find(judgeCommand(nil).options, flag)
		if !ok || !strings.HasSuffix(o.usage, "("+value+")") {
			t.Errorf("--%s: help says %q, in force is %s", flag, o.usage, value)
		}
	}
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// Every command's example is a call that works in the project's folder, and says
// something.
func TestExamplesAreTaken(t *testing.T) {
	project, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir()) // some write
	if err := os.Symlink(filepath.Join(project, "testdata"), "testdata"); err != nil {
		t.Fatal(err)
	}
	for _, cmd := range realProgram().commands() {
		args, err := splitArgs(cmd.example)
		if err != nil {
			t.Fatal(err)
		}
		var stdout, stderr bytes.Buffer
		code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, append([]string{"sealbound", cmd.name}, args...))
		if code != done || stdout.Len() == 0 {
			t.Errorf("%s %s: exit %d, %d bytes: %s", cmd.name, cmd.example, code, stdout.Len(), stderr.String())
		}
		if help := cmd.help(); !strings.Contains(help, "\nExample\n  sealbound "+cmd.name+" "+cmd.example+"\n") {
			t.Errorf("%s: help does not show the example", cmd.name)
		}
	}
}

// Expected: kitten/sitting and saturday/sunday 3 are the usual textbook pairs of
// the edit distance (from memory); ca/abc 3 tells optimal string alignment from
// the unrestricted distance, which is 2. The others are counted by hand.
func TestEdits(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"judge", "judge", 0},
		{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"ca", "abc", 3},
		{"jugde", "judge", 1}, {"taget", "target", 1}, {"é", "e", 1},
	} {
		if got := edits(tt.a, tt.b); got != tt.want {
			t.Errorf("edits(%q, %q) = %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"check", "judge", "simulate"}
	for word, want := range map[string]string{
		"jugde": "judge", "JUDGE": "judge", "sim": "simulate", "chek": "check", "wear": "", "": "", "x": "",
	} {
		got, ok := nearest(word, known)
		if !ok {
			got = ""
		}
		if got != want {
			t.Errorf("nearest(%q) = %q, want %q", word, got, want)
		}
	}
}
