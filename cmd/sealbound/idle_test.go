package main

import (
	"bytes"
	"strings"
	"testing"
)

// Flags that several commands share may be given to all of them: the result is the
// same, and a note tells where one plays no part. Their values are checked all the same.
func TestIdleFlags(t *testing.T) {
	start := func(args ...string) (int, string, string) {
		var out, errs bytes.Buffer
		code := run(append([]string{"sealbound"}, args...), strings.NewReader(""), &out, &errs)
		return code, out.String(), errs.String()
	}
	const demo = "../../testdata/demo"
	for _, tt := range []struct {
		command string
		flags   []string
	}{
		{"spread", []string{"--target", "55", "--coverage", "0.8", "--this-setup", "--seed", "7"}},
		{"wear", []string{"--within", "30d", "--all-dates", "--this-setup", "--seed", "7"}},
		{"compare", []string{"--coverage", "0.8", "--seed", "7"}},
	} {
		usual := []string{tt.command, "--format", "json", "--bands", "UHF=300-3000", demo}
		_, want, _ := start(usual...)
		code, got, told := start(append(usual, tt.flags...)...)
		if code != 0 || got != want {
			t.Errorf("%s %v: exit %d, the same result: %v; %s", tt.command, tt.flags, code, got == want, told)
		}
		for _, f := range tt.flags {
			if strings.HasPrefix(f, "-") && !strings.Contains(told, "note: "+f+" plays no part in "+tt.command+"\n") {
				t.Errorf("%s: nothing told of %s: %q", tt.command, f, told)
			}
		}
		if _, help, _ := start(tt.command, "--help"); strings.Contains(help, "--seed") {
			t.Errorf("help of %s shows --seed", tt.command)
		}
		if code, out, _ := start(tt.command, "--seed", "x", demo); code != 2 || out != "" {
			t.Errorf("%s --seed x: exit %d, %q", tt.command, code, out)
		}
	}
}
