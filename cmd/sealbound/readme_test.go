package main

import (
	"bytes"
	"context"
	"os"
	"regexp"
	"strings"
	"testing"
)

// What the README shows is what the program prints: the lines of each block that
// begins with a call stand in its output, in their order. A line of three dots
// stands for lines left out.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir("../..")
	blocks := regexp.MustCompile("(?s)```\n\\$ go run ./cmd/sealbound ([^\n]*)\n(.*?)```").FindAllStringSubmatch(string(text), -1)
	if len(blocks) < 5 {
		t.Fatalf("%d blocks with output", len(blocks))
	}
	for _, b := range blocks {
		args, err := splitArgs(b[1])
		if err != nil {
			t.Fatalf("%s: %v", b[1], err)
		}
		var stdout, stderr bytes.Buffer
		if code := realProgram().run(call{context.Background(), strings.NewReader(""), &stdout, &stderr}, append([]string{"sealbound"}, args...)); code != done {
			t.Errorf("%s: exit %d: %s", b[1], code, &stderr)
			continue
		}
		rest := strings.Split(stdout.String(), "\n")
		for _, line := range strings.Split(strings.TrimSpace(b[2]), "\n") {
			if strings.TrimSpace(line) == "..." || strings.TrimSpace(line) == "" {
				continue
			}
			at := 0
			for at < len(rest) && rest[at] != line && strings.TrimLeft(rest[at], " ") != line { // the first line stands trimmed
				at++
			}
			if at == len(rest) {
				t.Errorf("%s: the README shows a line that is not printed, or not there:\n%s", b[1], line)
				break
			}
			rest = rest[at+1:]
		}
	}
}
