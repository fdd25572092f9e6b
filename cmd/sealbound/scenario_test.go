package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite what the scenarios expect")

// A scenario is a text file: comments, the files that it needs, and steps. A
// step is a call of the program and what it must print:
//
//	# What this shows.
//	-- file runs.csv --
//	...
//	$ judge runs.csv --require mean
//	-- stdin --
//	-- stdout --
//	-- stderr --
//	-- exit 1 --
//	-- written out.csv --
//
// Sections without content are left out. It runs in a folder of its own that
// holds the files and the project's testdata.
type scenario struct {
	head  string // comments and files, as they stand
	files map[string]string
	steps []step
}

type step struct {
	note  string // comments before the call
	args  string
	stdin string
	want  outcome
}

type outcome struct {
	stdout, stderr string
	exit           int
	written        string // name of a file that must be there
	content        string
}

// TestUsage runs the scenarios of the command line, with made-up results in the
// place of analyses.
func TestUsage(t *testing.T) { runScenarios(t, "testdata/usage", fakes()) }

// TestScenarios runs the scenarios of real data.
func TestScenarios(t *testing.T) {
	runScenarios(t, "testdata/scenarios", realProgram())
}

func runScenarios(t *testing.T, folder string, p program) {
	paths, err := filepath.Glob(filepath.Join(folder, "*.txt"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no scenario in %s: %v", folder, err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			path, err := filepath.Abs(path) // the working folder changes
			if err != nil {
				t.Fatal(err)
			}
			s, err := parseScenario(string(text))
			if err != nil {
				t.Fatal(err)
			}
			s.play(t, p)
			if *update {
				if err := os.WriteFile(path, []byte(s.String()), 0o644); err != nil {
					t.Fatal(err)
				}
			} else if s.String() != string(text) {
				t.Errorf("the scenario is not written as -update would write it")
			}
		})
	}
}

// play runs the steps; with -update what they print becomes what is expected.
func (s *scenario) play(t *testing.T, p program) {
	testdata, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if err := os.Symlink(testdata, "testdata"); err != nil {
		t.Fatal(err)
	}
	for name, content := range s.files {
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for i := range s.steps {
		step := &s.steps[i]
		args, err := splitArgs(step.args)
		if err != nil {
			t.Fatal(err)
		}
		var stdout, stderr bytes.Buffer
		got := outcome{written: step.want.written}
		got.exit = p.run(call{context.Background(), strings.NewReader(step.stdin), &stdout, &stderr}, append([]string{"sealbound"}, args...))
		got.stdout, got.stderr = stdout.String(), stderr.String()
		if got.written != "" {
			content, err := os.ReadFile(got.written)
			if err != nil {
				t.Errorf("$ %s\n%v", step.args, err)
			}
			got.content = string(content)
		}
		if !*update && got != step.want {
			t.Errorf("$ %s\ngot\n%swant\n%s", step.args, got, step.want)
		}
		step.want = got
	}
}

func parseScenario(text string) (*scenario, error) {
	s := &scenario{files: map[string]string{}}
	var into *string // the section that lines belong to
	var note string
	file := ""
	content := map[string]*string{}
	for line := range strings.Lines(text) {
		bare := strings.TrimSuffix(line, "\n")
		name, isSection := strings.CutPrefix(bare, "-- ")
		name, closed := strings.CutSuffix(name, " --")
		kind, arg, _ := strings.Cut(name, " ")
		switch {
		case strings.HasPrefix(bare, "$ "):
			s.steps = append(s.steps, step{note: note, args: bare[2:]})
			note, into, file = "", nil, ""
			continue
		case isSection && closed && kind == "file" && len(s.steps) == 0:
			s.head += note + line
			note, file = "", arg
			content[arg] = new(string)
			into = content[arg]
			continue
		case isSection && closed && len(s.steps) > 0:
			st := &s.steps[len(s.steps)-1]
			switch kind {
			case "stdin":
				into = &st.stdin
			case "stdout":
				into = &st.want.stdout
			case "stderr":
				into = &st.want.stderr
			case "written":
				st.want.written = arg
				into = &st.want.content
			case "exit":
				code, err := strconv.Atoi(arg)
				if err != nil {
					return nil, fmt.Errorf("%q: %v", bare, err)
				}
				st.want.exit, into = code, nil
			default:
				return nil, fmt.Errorf("unknown section %q", bare)
			}
			continue
		}
		if into != nil {
			*into += line
			if file != "" {
				s.head += line
			}
			continue
		}
		if bare != "" && !strings.HasPrefix(bare, "#") {
			return nil, fmt.Errorf("%q belongs to nothing", bare)
		}
		note += line
	}
	for name, c := range content {
		s.files[name] = *c
	}
	if len(s.steps) == 0 || note != "" {
		return nil, fmt.Errorf("no step, or comments after the last one: %q", note)
	}
	return s, nil
}

func (s *scenario) String() string {
	var b strings.Builder
	b.WriteString(s.head)
	for _, st := range s.steps {
		b.WriteString(st.note + "$ " + st.args + "\n")
		section(&b, "stdin", st.stdin)
		b.WriteString(st.want.String())
	}
	return b.String()
}

func (o outcome) String() string {
	var b strings.Builder
	section(&b, "stdout", o.stdout)
	section(&b, "stderr", o.stderr)
	if o.written != "" {
		fmt.Fprintf(&b, "-- written %s --\n%s", o.written, o.content)
	}
	fmt.Fprintf(&b, "-- exit %d --\n", o.exit)
	return b.String()
}

func section(b *strings.Builder, name, content string) {
	if content != "" {
		fmt.Fprintf(b, "-- %s --\n%s", name, content)
	}
}

// splitArgs splits like a shell at spaces, with '...' and "..." kept together.
func splitArgs(s string) ([]string, error) {
	var args []string
	arg, started, quote := "", false, rune(0)
	for _, r := range s {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			arg += string(r)
		case r == '\'' || r == '"':
			quote, started = r, true
		case r == ' ':
			if started {
				args = append(args, arg)
			}
			arg, started = "", false
		default:
			arg, started = arg+string(r), true
		}
	}
	if quote != 0 {
		return nil, fmt.Errorf("an open %c in %q", quote, s)
	}
	if started {
		args = append(args, arg)
	}
	return args, nil
}
