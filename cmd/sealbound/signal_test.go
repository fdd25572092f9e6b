//go:build unix

package main

import (
	"bufio"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// In whatever phase a signal comes, the program ends with the exit code that
// shells give, an old file stays as it was and nothing new is left; after a kill
// the old file stands, too.
func TestSignals(t *testing.T) {
	for _, phase := range []struct {
		name, env string
		args      []string
		until     string // what it says when it is there; empty: when a hidden file appears
		pipe      string // a pipe that it writes to
	}{
		{name: "reading", env: "1", args: []string{"judge", "-", "-o", "out"}, until: "reading\n"},
		{name: "fitting", env: "1", args: []string{"judge", "stuck.csv", "-o", "out"}, until: "fitting\n"},
		{name: "reading for good", env: "real", args: []string{"judge", "-", "-o", "out"}},
		{name: "simulating", env: "real", args: []string{"simulate", "--yardstick", "-o", "new"}},
		{name: "simulating over", env: "real", args: []string{"simulate", "--yardstick", "--force", "-o", "old"}},
		{name: "writing", env: "real", args: []string{"plan", "--sd", "1", "--margin", "1", "-o", "pipe"}, pipe: "pipe"},
	} {
		for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGKILL} {
			t.Run(phase.name+" "+sig.String(), func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				if err := os.Mkdir(filepath.Join(dir, "old"), 0o755); err != nil {
					t.Fatal(err)
				}
				for _, name := range []string{"out", "old/boxes.csv"} {
					if err := os.WriteFile(filepath.Join(dir, name), []byte("old"), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				if phase.pipe != "" {
					if err := syscall.Mkfifo(filepath.Join(dir, phase.pipe), 0o600); err != nil {
						t.Fatal(err)
					}
				}
				child := exec.Command(os.Args[0], phase.args...)
				child.Dir = dir
				child.Env = append(os.Environ(), childVariable+"="+phase.env)
				stdin, err := child.StdinPipe() // stays open: the program waits
				if err != nil {
					t.Fatal(err)
				}
				stderr, err := child.StderrPipe()
				if err != nil {
					t.Fatal(err)
				}
				if err := child.Start(); err != nil {
					t.Fatal(err)
				}
				lines := bufio.NewReader(stderr)
				switch {
				case phase.until != "":
					if line, err := lines.ReadString('\n'); err != nil || line != phase.until {
						t.Fatalf("the child says %q, %v", line, err)
					}
				case phase.args[1] == "-": // more than a pipe holds: it has begun to read
					if _, err := stdin.Write(make([]byte, 1<<17)); err != nil {
						t.Fatal(err)
					}
				case phase.pipe != "": // opening it for reading waits for the writer
					in, err := os.Open(filepath.Join(dir, phase.pipe))
					if err != nil {
						t.Fatal(err)
					}
					defer in.Close()
				default:
					for tries := 0; !somethingHidden(dir); tries++ {
						if tries == 60_000 {
							_ = child.Process.Kill()
							t.Fatal("nothing is being written")
						}
						time.Sleep(time.Millisecond)
					}
				}
				if err := child.Process.Signal(sig); err != nil {
					t.Fatal(err)
				}
				rest, _ := io.ReadAll(lines)
				err = child.Wait()
				if phase.pipe != "" && err == nil {
					return // it was done before the signal came
				}
				var exit *exec.ExitError
				if !errors.As(err, &exit) {
					t.Fatalf("exit %v", err)
				}
				for _, name := range []string{"out", "old/boxes.csv"} {
					if text, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(text) != "old" {
						t.Errorf("%s holds %.20q, %v", name, text, err)
					}
				}
				if sig == syscall.SIGKILL {
					return
				}
				if exit.ExitCode() != 128+int(sig) || string(rest) != "sealbound: interrupted\n" {
					t.Errorf("exit %v, standard error %q", err, rest)
				}
				left, err := filepath.Glob(filepath.Join(dir, "*"))
				hidden, _ := filepath.Glob(filepath.Join(dir, ".*"))
				inside, _ := filepath.Glob(filepath.Join(dir, "old", ".*"))
				if most := 2 + len(phase.pipe)/4; err != nil || len(left) != most || len(hidden)+len(inside) > 0 {
					t.Errorf("left behind: %q, %q, %q (%v)", left, hidden, inside, err)
				}
			})
		}
	}
}

// somethingHidden tells whether a file that is being written is there.
func somethingHidden(dir string) bool {
	for _, d := range []string{dir, filepath.Join(dir, "old")} {
		entries, _ := os.ReadDir(d)
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), ".") {
				return true
			}
		}
	}
	return false
}
