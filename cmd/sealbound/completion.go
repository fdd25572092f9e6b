package main

import (
	"embed"
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"
)

//go:embed completion
var completionScripts embed.FS

// shells are those that the program has a completion script for.
var shells = []string{"bash", "zsh", "fish"}

// completionWord ends the arguments with which the scripts ask what may stand
// in the place of the word before it. The flag parser knows it by this name.
const completionWord = "--generate-bash-completion"

func completionCommand() *command {
	return &command{
		name:      "completion",
		summary:   "a script that lets the Tab key complete commands, flags and their values",
		arguments: strings.Join(shells, "|"),
		about: "Writes the script of a shell to standard output. It asks the program itself, so it never falls behind.\n" +
			"bash: sealbound completion bash > ~/.local/share/bash-completion/completions/sealbound (with the package bash-completion; without it: add eval \"$(sealbound completion bash)\" to ~/.bashrc)\n" +
			"zsh: sealbound completion zsh > ~/.zfunc/_sealbound, with fpath+=~/.zfunc before compinit in ~/.zshrc\n" +
			"fish: sealbound completion fish > ~/.config/fish/completions/sealbound.fish",
		example: "bash",
		offers:  shells,
		action: func(c call, words []string) error {
			if len(words) != 1 {
				return usage("say which shell: %s", strings.Join(shells, ", "))
			}
			script, err := completionScripts.ReadFile("completion/sealbound." + words[0])
			if err != nil {
				if near, ok := nearest(words[0], shells); ok {
					return usage("no script for %q; did you mean %s?", words[0], near)
				}
				return usage("no script for %q; there are %s", words[0], strings.Join(shells, ", "))
			}
			return put(c.stdout, string(script))
		},
	}
}

// An offer is a word that may stand in some place, and what it means.
type offer struct{ word, note string }

// complete answers a script: one offer a line, its meaning after a tab. words
// are those after the program's name, up to the one to complete, which may be
// empty.
func (p program) complete(c call, words []string) error {
	answer := func(*cli.Context) {
		for _, o := range p.offers(words) {
			line := o.word
			if o.note != "" {
				line += "\t" + o.note
			}
			fmt.Fprintln(c.stdout, line) // nobody is there to read of an error
		}
	}
	app := &cli.App{Name: "sealbound", EnableBashCompletion: true, BashComplete: answer, Writer: c.stderr, ErrWriter: c.stderr, HideHelp: true, HideVersion: true}
	for _, cmd := range p.commands() {
		app.Commands = append(app.Commands, &cli.Command{Name: cmd.name, BashComplete: answer, SkipFlagParsing: true, HideHelp: true})
	}
	asked := []string{"sealbound"}
	for _, w := range words {
		if w == "--" {
			return nil // paths follow, and the parser would take the question for one
		}
		asked = append(asked, w)
	}
	return app.RunContext(c.ctx, append(asked, completionWord))
}

// offers are the words that may stand in the place of the last of words. There
// are none where the shell should offer files.
func (p program) offers(words []string) []offer {
	if len(words) == 0 {
		words = []string{""}
	}
	last := words[len(words)-1]
	if len(words) == 1 {
		return beginning(last, "", p.beginnings())
	}
	cmd, err := p.find(words[0])
	switch {
	case words[0] == "help" && len(words) == 2:
		return beginning(last, "", p.beginnings())
	case err != nil:
		return nil
	}
	if o, asked := valueAsked(cmd.options, words[1:]); asked {
		return values(o, last, "")
	}
	name, value, has := strings.Cut(last, "=")
	if has && strings.HasPrefix(name, "-") {
		o, ok := find(cmd.options, strings.TrimLeft(name, "-"))
		if !ok {
			return nil
		}
		return values(o, value, name+"=")
	}
	if strings.HasPrefix(last, "-") {
		var all []offer
		for _, o := range cmd.options {
			if o.idle {
				continue
			}
			all = append(all, offer{"--" + o.name, o.usage})
			if o.short != "" {
				all = append(all, offer{"-" + o.short, o.usage})
			}
		}
		return beginning(last, "", append(all, offer{"--help", "what the command does, its flags, an example"}))
	}
	var all []offer
	for _, w := range cmd.offers {
		all = append(all, offer{word: w})
	}
	return beginning(last, "", all)
}

// beginnings are what may follow the program's name.
func (p program) beginnings() []offer {
	var all []offer
	for _, cmd := range p.commands() {
		all = append(all, offer{cmd.name, cmd.summary})
	}
	return append(all, offer{"help", "what a command does, its flags, an example"}, offer{"--version", "of the program"})
}

// valueAsked returns the flag whose value the last of words is, if it is one.
func valueAsked(options []option, words []string) (option, bool) {
	flag, asked := option{}, false
	for _, w := range words[:len(words)-1] {
		if asked || !strings.HasPrefix(w, "-") || strings.Contains(w, "=") { // a value, a path, or both in one word
			asked = false
			continue
		}
		o, ok := find(options, strings.TrimPrefix(strings.TrimPrefix(w, "-"), "-"))
		flag, asked = o, ok && !o.isSwitch()
	}
	return flag, asked
}

// values are those that a flag offers for a word, each with prefix before it. In
// a list joined by commas the last one is completed.
func values(o option, word, prefix string) []offer {
	if i := strings.LastIndex(word, ","); o.list && i >= 0 {
		prefix, word = prefix+word[:i+1], word[i+1:]
	}
	var all []offer
	for _, v := range o.offers {
		all = append(all, offer{word: v})
	}
	return beginning(word, prefix, all)
}

// beginning keeps the offers that begin with word and puts prefix before them.
func beginning(word, prefix string, all []offer) []offer {
	var some []offer
	for _, o := range all {
		if strings.HasPrefix(o.word, word) {
			some = append(some, offer{prefix + o.word, o.note})
		}
	}
	return some
}
