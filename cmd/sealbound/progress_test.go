package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

// A clock that is set by hand.
type handClock struct{ at time.Time }

func (c *handClock) now() time.Time { return c.at }

// Nothing in the first second, then at most five drawings a second; a message takes
// the line back first, and nothing is drawn after it.
func TestScreen(t *testing.T) {
	var out bytes.Buffer
	clock := &handClock{time.Date(2030, 5, 4, 12, 0, 0, 0, time.UTC)}
	s := newScreen(&out, clock.now)
	for i := range 300 { // three seconds
		s.progress("reading", int64(i), 400)
		clock.at = clock.at.Add(10 * time.Millisecond)
		if i == 99 && out.Len() > 0 {
			t.Errorf("in the first second: %q", out.String())
		}
	}
	drawn := strings.Split(out.String(), clearsLine)[1:]
	if want := "reading 25 %,reading 30 %,reading 35 %,reading 40 %,reading 45 %,reading 50 %,reading 55 %,reading 60 %,reading 65 %,reading 70 %"; strings.Join(drawn, ",") != want {
		t.Errorf("drawn %q", drawn)
	}
	out.Reset()
	if _, err := s.Write([]byte("sealbound: interrupted\n")); err != nil {
		t.Error(err)
	}
	clock.at = clock.at.Add(time.Hour)
	s.progress("reading", 400, 400)
	s.end()
	if got, want := out.String(), clearsLine+"sealbound: interrupted\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Work that was short leaves the terminal untouched; total 0 means not known.
func TestShortWorkOnScreen(t *testing.T) {
	var out bytes.Buffer
	clock := &handClock{}
	s := newScreen(&out, clock.now)
	s.progress("reading", 1, 2)
	clock.at = clock.at.Add(time.Minute)
	s.progress("reading", 1, 0)
	s.end()
	if out.Len() > 0 {
		t.Errorf("got %q", out.String())
	}
}

// An analysis draws on a screen, and the line is gone before its result is written;
// elsewhere it is told of no progress at all.
func TestProgressOfAnalysis(t *testing.T) {
	clock := &handClock{}
	work := func(_ context.Context, _ []string, s study.Settings) (*report.Document, error) {
		if s.Progress != nil {
			clock.at = clock.at.Add(2 * time.Second)
			s.Progress("computing", 1, 2)
		}
		return &report.Document{}, nil
	}
	var out bytes.Buffer
	c := call{ctx: context.Background(), stderr: newScreen(&out, clock.now)}
	if _, err := c.analyse(work, []string{"x"}, study.DefaultSettings()); err != nil {
		t.Fatal(err)
	}
	if got, want := out.String(), clearsLine+"computing 50 %"+clearsLine; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	out.Reset()
	c.stderr = &out
	if _, err := c.analyse(work, []string{"x"}, study.DefaultSettings()); err != nil || out.Len() > 0 {
		t.Errorf("got %q, %v", out.String(), err)
	}
}

// Files, pipes and the null device are no terminals.
func TestNoTerminal(t *testing.T) {
	file, err := os.Create(t.TempDir() + "/log")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	for _, f := range []*os.File{file, null, w} {
		if onScreen(f) != f {
			t.Errorf("%s is taken for a terminal", f.Name())
		}
	}
	if isTerminal(&bytes.Buffer{}) {
		t.Error("memory is taken for a terminal")
	}
}

// Whatever may take its time draws on a screen how far it is, and takes the line back;
// where standard error is no screen nothing is written there.
func TestProgressOfWriting(t *testing.T) {
	dir := t.TempDir()
	for stage, args := range map[string][]string{
		"packing":           {"pack", "../../testdata/demo", "-o", dir + "/demo.parquet"},
		"computing":         {"pack", "--reduce", "../../testdata/demo", "-o", dir + "/demo.csv", "--no-floor"},
		"looking at traces": {"check", "--propose", "../../testdata/traces/spring", "-o", dir + "/runs.csv", "--force"},
		"writing":           {"simulate", "-o", dir + "/made-up", "--force"},
	} {
		clock := &handClock{}
		ticking := func() time.Time { clock.at = clock.at.Add(time.Second); return clock.now() }
		var out, said bytes.Buffer
		if code := (program{}).run(call{context.Background(), nil, &said, newScreen(&out, ticking)}, append([]string{"sealbound"}, args...)); code != done {
			t.Fatalf("%q: exit %d, %s", args, code, out.String())
		}
		drawn, ok := strings.CutPrefix(out.String(), clearsLine)
		line, _, _ := strings.Cut(drawn, clearsLine)
		if !ok || !strings.HasSuffix(line, " %") || !strings.Contains(drawn, clearsLine+stage+" ") || !strings.Contains(drawn, clearsLine+stage+" 100 %"+clearsLine) {
			t.Errorf("%q: drawn %q", args, out.String())
		}
		out.Reset()
		if code := (program{}).run(call{context.Background(), nil, &said, &out}, append([]string{"sealbound"}, args...)); code != done || strings.Contains(out.String(), "%") {
			t.Errorf("%q: without a screen: exit %d, %q", args, code, out.String())
		}
	}
}
