package main

import (
	"strings"

	"sealbound/cmd/internal/texttab"
)

func welcome(commands []*command) string {
	var b strings.Builder
	paragraph(&b, "sealbound turns many runs of measuring sealed metal boxes into one answer that can be defended: does the lower bound of the attenuation still clear the target?")
	b.WriteString("\nSee it at work on a made-up campaign:\n\n")
	b.WriteString("  sealbound simulate --demo -o demo\n")
	b.WriteString("  sealbound judge demo\n")
	b.WriteString("\nThen on your own readings:\n\n")
	rows := [][]string{}
	for _, cmd := range commands {
		if strings.HasSuffix(cmd.arguments, "PATH...") {
			rows = append(rows, []string{"sealbound " + cmd.name + " " + cmd.arguments, cmd.summary})
		}
	}
	table(&b, rows)
	b.WriteString("\nAll commands: sealbound help. One of them: sealbound help judge.\n")
	return b.String()
}

// help answers help, and help COMMAND.
func (p program) help(c call, args []string) error {
	if len(args) == 0 {
		return put(c.stdout, overview(p.commands()))
	}
	cmd, err := p.find(args[0])
	if err != nil {
		return err
	}
	return put(c.stdout, cmd.help())
}

func overview(commands []*command) string {
	var b strings.Builder
	b.WriteString("sealbound COMMAND [flags] PATH...\n\n")
	rows := [][]string{}
	for _, cmd := range commands {
		rows = append(rows, []string{cmd.name, cmd.summary})
	}
	rows = append(rows, []string{"help COMMAND", "what a command does, its flags, an example"})
	table(&b, rows)
	b.WriteString("\nExamples\n")
	for _, cmd := range commands {
		b.WriteString("  sealbound " + cmd.name + " " + cmd.example + "\n")
	}
	b.WriteString("\nFlags may stand before or after the paths; -- ends the flags.\n")
	b.WriteString("Exit code: 0 done; 1 --require is not met; 2 wrong use or unusable input; 130 interrupted (143 by SIGTERM).\n")
	return b.String()
}

func (cmd *command) help() string {
	var b strings.Builder
	b.WriteString("sealbound " + cmd.name + " [flags] " + cmd.arguments + ": " + cmd.summary + "\n")
	for p := range strings.SplitSeq(cmd.about, "\n") {
		b.WriteString("\n")
		paragraph(&b, p)
	}
	b.WriteString("\nExample\n  sealbound " + cmd.name + " " + cmd.example + "\n")
	section := ""
	var rows [][]string
	flush := func() {
		if len(rows) > 0 {
			b.WriteString("\n" + section + "\n")
			table(&b, rows)
		}
		rows = nil
	}
	for _, o := range cmd.options {
		if o.idle {
			continue
		}
		if o.section != section {
			flush()
			section = o.section
		}
		flag := "--" + o.name
		if o.short != "" {
			flag = "-" + o.short + ", " + flag
		}
		if !o.isSwitch() {
			flag += " " + o.value
		}
		rows = append(rows, []string{flag, o.usage})
	}
	flush()
	return b.String()
}

func paragraph(b *strings.Builder, text string) {
	for _, line := range texttab.Wrap(text, lineWidth) {
		b.WriteString(line + "\n")
	}
}

func table(b *strings.Builder, rows [][]string) {
	t := texttab.Table{Columns: []texttab.Column{{}, {}}, Rows: rows, Indent: 2}
	for _, line := range t.Lines(lineWidth) {
		b.WriteString(line + "\n")
	}
}
