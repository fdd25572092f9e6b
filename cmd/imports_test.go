// Package cmd holds no code: its test keeps the order of the whole project.
package cmd

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "sealbound"

// A rule says what the files of some packages may not import. A pattern ends in
// /... where it also means what lies below.
type rule struct {
	from   []string
	tests  bool     // test files too
	forbid []string // never these
	only   []string // of the module, these alone; nil: any
	why    string
}

var rules = []rule{
	{from: []string{"stats/..."}, forbid: []string{"os/...", "io/...", "encoding/...", "github.com/apache/arrow/..."},
		why: "statistics take numbers, whatever they come from"},
	{from: []string{"stats/..."}, tests: true, only: []string{"stats/..."}, forbid: []string{"github.com/urfave/..."},
		why: "statistics stand alone"},
	{from: []string{"ingest/..."}, tests: true, only: []string{"ingest/..."}, forbid: []string{"gonum.org/...", "github.com/urfave/..."},
		why: "reading is no statistics"},
	{from: []string{"cmd/internal/report/..."}, tests: true, only: []string{"cmd/internal/report/...", "cmd/internal/texttab", "cmd/internal/plot"},
		forbid: []string{"gonum.org/...", "github.com/..."}, why: "a report shows what was computed elsewhere"},
	{from: []string{"cmd/internal/texttab", "cmd/internal/atomicfile", "cmd/internal/plot", "cmd/internal/spill"}, tests: true, only: []string{},
		why: "these know nothing of the project"},
	{from: []string{"cmd/internal/study"}, only: []string{"ingest/...", "stats/...", "cmd/internal/report", "cmd/internal/spill"},
		why: "the study is where reading and statistics meet, and ends in a report"},
	{from: []string{"notebooks/..."}, only: []string{"ingest/...", "stats/..."}, forbid: []string{"github.com/urfave/..."},
		why: "a program of a user's own stands on what is public"},
	{from: []string{"cmd/sealbound"}, only: []string{"cmd/internal/..."}, forbid: []string{"gonum.org/...", "github.com/apache/..."},
		why: "the command line reads and computes nothing"},
	{from: []string{"..."}, tests: true, forbid: []string{"github.com/apache/arrow/go/v15/parquet/pqarrow/...", "github.com/apache/arrow/go/v15/arrow/compute/...",
		"github.com/apache/arrow/go/v15/arrow/flight/...", "google.golang.org/grpc/..."}, why: "they would link gRPC or 17 MB of kernels"},
}

// libraries are those that the project stands on; another needs its reason in
// DEVELOPERS.md.
var libraries = []string{"github.com/apache/arrow/go/v15/...", "gonum.org/v1/gonum/...", "github.com/montanaflynn/stats", "github.com/urfave/cli/v2"}

// forTests are packages that only test files may import.
var forTests = []string{"stats/internal/refcase"}

// A source is one file's imports.
type source struct {
	file    string // from the root, with slashes
	imports []string
}

func (s source) pkg() string  { return path.Dir(s.file) }
func (s source) isTest() bool { return strings.HasSuffix(s.file, "_test.go") }

// matches reports whether a path falls under a pattern.
func matches(pattern, p string) bool {
	before, below := strings.CutSuffix(pattern, "...")
	if !below {
		return p == pattern
	}
	return strings.HasPrefix(p, before) || p+"/" == before
}

func anyMatches(patterns []string, p string) bool {
	return slices.ContainsFunc(patterns, func(pattern string) bool { return matches(pattern, p) })
}

// broken lists the rules that a file breaks.
func broken(s source) []string {
	var out []string
	say := func(imported, why string) {
		out = append(out, fmt.Sprintf("%s imports %s: %s", s.file, imported, why))
	}
	for _, imported := range s.imports {
		inside, own := strings.CutPrefix(imported, module+"/")
		for _, r := range rules {
			if !anyMatches(r.from, s.pkg()) || s.isTest() && !r.tests || anyMatches(forTests, s.pkg()) && !r.tests {
				continue
			}
			if anyMatches(r.forbid, imported) || own && r.only != nil && !anyMatches(r.only, inside) {
				say(imported, r.why)
			}
		}
		if !own && strings.Contains(strings.Split(imported, "/")[0], ".") && !anyMatches(libraries, imported) {
			say(imported, "not one of the libraries that the project stands on")
		}
		if own && anyMatches(forTests, inside) && !s.isTest() && s.pkg() != inside {
			say(imported, "it is there for tests alone")
		}
	}
	return out
}

func TestImports(t *testing.T) {
	sources, err := readSources("..")
	if err != nil {
		t.Fatal(err)
	}
	meets := map[string]map[string]bool{} // package -> which of ingest and stats it imports
	for _, s := range sources {
		for _, complaint := range broken(s) {
			t.Error(complaint)
		}
		for _, imported := range s.imports {
			for _, side := range []string{"ingest", "stats"} {
				if matches(module+"/"+side+"/...", imported) && !s.isTest() {
					if meets[s.pkg()] == nil {
						meets[s.pkg()] = map[string]bool{}
					}
					meets[s.pkg()][side] = true
				}
			}
		}
	}
	for pkg, sides := range meets {
		if sides["ingest"] && sides["stats"] && pkg != "cmd/internal/study" && pkg != "notebooks/analysis" {
			t.Errorf("%s imports both ingest and stats: only cmd/internal/study does, and the analysis that shows how a user may", pkg)
		}
	}
}

func readSources(root string) ([]source, error) {
	var out []source
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && p != root && (name == "testdata" || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_")) {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), p, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		s := source{file: filepath.ToSlash(rel)}
		for _, i := range f.Imports {
			imported, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			s.imports = append(s.imports, imported)
		}
		out = append(out, s)
		return nil
	})
	if err == nil && len(out) < 10 {
		err = fmt.Errorf("only %d Go files below %s", len(out), root)
	}
	return out, err
}

// The rules themselves, on imports that must not be and on some that may.
func TestRules(t *testing.T) {
	for _, tt := range []struct {
		file, imports string
		want          int
	}{
		{"stats/band/band.go", "math sort sealbound/stats gonum.org/v1/gonum/mat", 0},
		{"stats/band/band.go", "os", 1},
		{"stats/band/band.go", "io", 1},
		{"stats/band/band.go", "io/fs", 1},
		{"stats/band/band.go", "encoding/json", 1},
		{"stats/stats.go", "sealbound/ingest", 1},
		{"stats/stats.go", "github.com/apache/arrow/go/v15/arrow", 1},
		{"stats/stats.go", "sealbound/cmd/internal/report", 1},
		{"stats/stats.go", "iolike.org/x", 1}, // no library of ours, and no io
		{"stats/band/band_test.go", "os encoding/json sealbound/stats/internal/refcase", 0},
		{"stats/band/band_test.go", "sealbound/ingest", 1},
		{"stats/band/band.go", "sealbound/stats/internal/refcase", 1},
		{"stats/internal/refcase/refcase.go", "os encoding/json", 0},
		{"ingest/longcsv/scan.go", "os io encoding/csv sealbound/ingest github.com/apache/arrow/go/v15/arrow/array", 0},
		{"ingest/read.go", "sealbound/stats", 1},
		{"ingest/read_test.go", "sealbound/stats/band", 1},
		{"ingest/read.go", "gonum.org/v1/gonum/stat", 1},
		{"ingest/read.go", "sealbound/cmd/internal/study", 1},
		{"ingest/parquet/read.go", "github.com/apache/arrow/go/v15/parquet/pqarrow", 1},
		{"ingest/parquet/read.go", "github.com/apache/arrow/go/v15/parquet/file", 0},
		{"cmd/internal/report/text.go", "io sealbound/cmd/internal/texttab", 0},
		{"cmd/internal/report/text.go", "sealbound/stats", 1},
		{"cmd/internal/report/text.go", "sealbound/cmd/internal/study", 1},
		{"cmd/internal/texttab/table.go", "sealbound/cmd/internal/report", 1},
		{"cmd/internal/study/judge.go", "sealbound/ingest sealbound/stats/judge sealbound/cmd/internal/report", 0},
		{"cmd/internal/study/judge.go", "sealbound/cmd/internal/atomicfile", 1},
		{"notebooks/analysis/main.go", "io os sealbound/ingest sealbound/stats/interval github.com/apache/arrow/go/v15/arrow/array", 0},
		{"notebooks/analysis/main.go", "sealbound/cmd/internal/study", 1},
		{"cmd/sealbound/main.go", "github.com/urfave/cli/v2 sealbound/cmd/internal/study", 0},
		{"cmd/sealbound/main.go", "sealbound/stats/judge", 1},
		{"cmd/sealbound/main.go", "sealbound/ingest", 1},
		{"cmd/sealbound/main.go", "github.com/montanaflynn/stats", 0},
		{"cmd/sealbound/main.go", "google.golang.org/grpc", 2},
		{"cmd/sealbound/main.go", "github.com/spf13/cobra", 1},
	} {
		s := source{tt.file, strings.Fields(tt.imports)}
		if got := broken(s); len(got) != tt.want {
			t.Errorf("%s importing %s: %d complaints, want %d: %q", tt.file, tt.imports, len(got), tt.want, got)
		}
	}
}

// The binary must not link gRPC, which parts of the Arrow library bring in.
func TestNoGRPC(t *testing.T) {
	list := exec.Command("go", "list", "-deps", "./cmd/sealbound")
	list.Dir = ".."
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	deps := strings.Fields(string(out))
	if !slices.Contains(deps, module+"/cmd/sealbound") {
		t.Fatalf("no list of packages: %s", out)
	}
	for _, dep := range deps {
		if strings.HasPrefix(dep, "google.golang.org/grpc") {
			t.Errorf("%s is linked", dep)
		}
	}
}

// Whoever opens the project finds these entries and no others.
func TestTopLevel(t *testing.T) {
	allowed := []string{"cmd", "stats", "ingest", "notebooks", "testdata", "README.md", "DEVELOPERS.md", "go.mod", "go.sum"}
	names, err := topLevel("..")
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(names, "go.mod") {
		t.Fatalf("not the project's folder: %q", names)
	}
	for _, name := range names {
		if !strings.HasPrefix(name, ".") && !slices.Contains(allowed, name) {
			t.Errorf("%s does not belong there", name)
		}
	}
}

// topLevel lists what git has; without git, what lies there.
func topLevel(root string) ([]string, error) {
	var names []string
	git := exec.Command("git", "ls-files", "-z")
	git.Dir = root
	if out, err := git.Output(); err == nil && len(out) > 0 {
		for file := range strings.SplitSeq(strings.TrimRight(string(out), "\x00"), "\x00") {
			first, _, _ := strings.Cut(file, "/")
			names = append(names, first)
		}
		slices.Sort(names)
		return slices.Compact(names), nil
	}
	entries, err := os.ReadDir(root)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names, err
}
