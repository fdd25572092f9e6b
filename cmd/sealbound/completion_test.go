package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What may stand in the place of the last word.
func TestOffers(t *testing.T) {
	p := realProgram()
	for _, tt := range []struct {
		words []string
		want  string // the words offered
	}{
		{[]string{"ju"}, "judge"},
		{[]string{"s"}, "spread simulate"},
		{[]string{"--v"}, "--version"},
		{[]string{"help", "pl"}, "plan"},
		{[]string{"help", "plan", "x"}, ""},
		{[]string{"nonsense", ""}, ""},
		{[]string{"completion", ""}, "bash zsh fish"},
		{[]string{"judge", ""}, ""}, // files
		{[]string{"judge", "re"}, ""},
		{[]string{"judge", "x", "--form"}, "--format"},
		{[]string{"judge", "--limited"}, "--limited-raise"},
		{[]string{"judge", "-o"}, "-o"},
		{[]string{"judge", "-o", ""}, ""},
		{[]string{"judge", "-o", "--on", ""}, ""}, // the value of -o was --on: a path is next
		{[]string{"judge", "--on", ""}, "mean weakest coverage next"},
		{[]string{"judge", "--on", "w"}, "weakest"},
		{[]string{"judge", "--on=w"}, "--on=weakest"},
		{[]string{"judge", "--nonsense=w"}, ""},
		{[]string{"judge", "--explain", "--on", "n"}, "next"},
		{[]string{"judge", "--require", "mean,"}, "mean,mean mean,weakest mean,coverage mean,next"},
		{[]string{"judge", "--require=mean,w"}, "--require=mean,weakest"},
		{[]string{"judge", "--bands", ""}, "itu each all"},
		{[]string{"judge", "--target", ""}, ""},
		{[]string{"judge", "--by", "gasket,op"}, "gasket,operator"},
		{[]string{"spread", "--on", ""}, "repeatability reproducibility"},
		{[]string{"simulate", "--files", ""}, "one session run"},
		{[]string{"judge", "--", "--on", ""}, ""},
	} {
		var stdout, stderr bytes.Buffer
		args := append(append([]string{"sealbound"}, tt.words...), completionWord)
		if code := p.run(call{context.Background(), nil, &stdout, &stderr}, args); code != done || stderr.Len() > 0 {
			t.Errorf("%q: exit %d, %s", tt.words, code, stderr.String())
		}
		var got []string
		for line := range strings.Lines(stdout.String()) {
			word, _, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
			got = append(got, word)
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%q: offers %q, want %q", tt.words, got, tt.want)
		}
	}
}

// Every flag of every command is offered, and every value that help names.
func TestEverythingIsOffered(t *testing.T) {
	p := realProgram()
	for _, cmd := range p.commands() {
		if got := p.offers([]string{cmd.name[:len(cmd.name)-1]}); !slices.ContainsFunc(got, func(o offer) bool { return o.word == cmd.name }) {
			t.Errorf("%s is not offered: %v", cmd.name, got)
		}
		for _, o := range cmd.options {
			if o.idle {
				continue
			}
			if got := p.offers([]string{cmd.name, "--" + o.name}); len(got) == 0 || !slices.Contains(got, offer{"--" + o.name, o.usage}) {
				t.Errorf("%s --%s is not offered: %v", cmd.name, o.name, got)
			}
			if o.value != strings.ToLower(o.value) || !strings.Contains(o.value, "|") {
				continue
			}
			if got := p.offers([]string{cmd.name, "--" + o.name, ""}); len(got) != strings.Count(o.value, "|")+1 {
				t.Errorf("%s --%s offers %v, takes %s", cmd.name, o.name, got, o.value)
			}
		}
	}
}

// Each shell that is there completes with its script. In zsh what shows the
// offers is replaced, since it needs a terminal.
func TestShells(t *testing.T) {
	dir := t.TempDir()
	if err := os.Symlink(os.Args[0], filepath.Join(dir, "sealbound")); err != nil {
		t.Fatal(err)
	}
	work := filepath.Join(dir, "work")
	if err := os.Mkdir(work, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"readings.csv", "rest.csv"} {
		if err := os.WriteFile(filepath.Join(work, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	asks := []struct {
		words string // the last one is completed
		want  string
	}{
		{"sealbound ju", "judge"},
		{"sealbound judge --form", "--format"},
		{"sealbound judge --on w", "weakest"},
		{"sealbound judge --format=c", "--format=csv"},
		{"sealbound judge --require mean,w", "mean,weakest"},
		{"sealbound completion f", "fish"},
		{"sealbound judge --target 50 read", "files"},
	}
	for shell, script := range map[string]string{
		"bash": `set -eu; eval "$(sealbound completion bash)"
line=$*; COMP_WORDBREAKS=$' \t\n=:'; COMP_WORDS=(${line//=/ = }); COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
_sealbound sealbound
case $line in *=*) before=${line##* }; before=${before%%=*}=;; *) before=;; esac
if ((${#COMPREPLY[@]})); then echo "$before${COMPREPLY[*]}"; else echo files; fi`,
		"zsh": `compdef() { :; }; _files() { print files; }
_describe() { local o=${@[-1]}; print -r -- "${(P)o%%:*}"; }
eval "$(sealbound completion zsh)"
words=(${=1}); CURRENT=${#words}
_sealbound`,
		"fish": `sealbound completion fish | source
for offer in (complete -C "$argv[1]")
    set -l word (string split \t -- $offer)[1]
    if test -e $word
        echo files
    else
        echo $word
    end
end`,
	} {
		path, err := exec.LookPath(shell)
		if err != nil {
			t.Logf("%s is not here", shell)
			continue
		}
		for _, ask := range asks {
			args := []string{"-c", script, shell, ask.words}
			if shell == "fish" {
				args = []string{"--no-config", "-c", script, ask.words}
			}
			if shell == "zsh" {
				args = append([]string{"-f"}, args...)
			}
			child := exec.Command(path, args...)
			child.Dir = work
			child.Env = append(os.Environ(), childVariable+"=1", fmt.Sprintf("PATH=%s:%s", dir, os.Getenv("PATH")), "HOME="+dir)
			out, err := child.CombinedOutput()
			if got := strings.TrimSpace(string(out)); err != nil || got != ask.want {
				t.Errorf("%s: %q gives %q (%v), want %q", shell, ask.words, got, err, ask.want)
			}
		}
	}
}
