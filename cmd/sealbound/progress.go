package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

const (
	patience   = time.Second            // work that takes less shows no progress
	redraw     = 200 * time.Millisecond // at most five times a second
	clearsLine = "\r\x1b[K"
)

// A screen is a terminal that messages go to. Its last line says how far the work is;
// a message takes the place of that line, for good: messages stand at the end.
type screen struct {
	mu    sync.Mutex
	w     io.Writer
	now   func() time.Time
	due   time.Time // of the next drawing
	shown bool
	ended bool
}

// onScreen returns w, as a screen where it is a terminal that can take a line back.
func onScreen(w io.Writer) io.Writer {
	if !isTerminal(w) || os.Getenv("TERM") == "dumb" {
		return w
	}
	return newScreen(w, time.Now)
}

func newScreen(w io.Writer, now func() time.Time) *screen {
	return &screen{w: w, now: now, due: now().Add(patience)}
}

// isTerminal reports whether w is a device for characters that people look at.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return false
	}
	null, err := os.Stat(os.DevNull)
	return err != nil || !os.SameFile(info, null)
}

// progress returns what draws how far the work is, nil where no terminal would show
// it, and what ends the drawing, which a result comes after.
func (c call) progress() (draw func(stage string, done, total int64), ended func()) {
	if on, ok := c.stderr.(*screen); ok {
		return on.progress, on.end
	}
	return nil, func() {}
}

// progress draws how far a stage of the work is.
func (s *screen) progress(stage string, done, total int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended || total <= 0 || s.now().Before(s.due) {
		return
	}
	s.due, s.shown = s.now().Add(redraw), true
	fmt.Fprintf(s.w, "%s%s %d %%", clearsLine, stage, 100*done/total)
}

// end takes the line back; nothing is drawn any more.
func (s *screen) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.clear()
}

func (s *screen) clear() {
	if s.shown {
		io.WriteString(s.w, clearsLine)
	}
	s.shown, s.ended = false, true
}

// Write writes a message.
func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.clear()
	return s.w.Write(p)
}
