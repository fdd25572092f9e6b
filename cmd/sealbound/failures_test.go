//go:build linux

package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// These are the real thing, not injected: folders that cannot be written in, disks
// and limits that are full, files that go or shrink, and an end that nothing precedes.

const (
	userVariable  = "SEALBOUND_TEST_USER"  // the child gives up its rights for this user's
	limitVariable = "SEALBOUND_TEST_LIMIT" // no file of the child may become larger, bytes
	nobody        = 65534                  // who owns nothing (Linux's overflow user)
)

func init() {
	restrict = func() error {
		if text := os.Getenv(limitVariable); text != "" {
			n, err := strconv.ParseUint(text, 10, 64)
			if err != nil {
				return err
			}
			if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: n}); err != nil {
				return err
			}
		}
		if text := os.Getenv(userVariable); text != "" {
			id, err := strconv.Atoi(text)
			if err != nil {
				return err
			}
			return errors.Join(syscall.Setgroups(nil), syscall.Setgid(id), syscall.Setuid(id))
		}
		return nil
	}
}

// openFolder is a new folder that every user may enter.
func openFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "sealbound-test-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// child runs the program in a process of its own, in a folder, with variables.
func child(t *testing.T, dir string, variables []string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Dir = dir
	cmd.Env = append(append(os.Environ(), childVariable+"=real"), variables...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), out.String(), said.String()
}

// campaignIn writes a campaign of some size into dir/data.
func campaignIn(t *testing.T, dir string, closings int) {
	t.Helper()
	args := []string{"simulate", "--boxes", "4", "--sessions", "2", "--frequencies", "50", "--closings", strconv.Itoa(closings), "-o", "data"}
	if code, _, stderr := child(t, dir, nil, args...); code != done {
		t.Fatalf("simulate: exit %d, %s", code, stderr)
	}
}

// entries lists a folder, hidden names included.
func entries(t *testing.T, dir string) string {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// writing is every command that writes a file, into the folder out.
var writing = [][]string{
	{"judge", "data", "--format", "json", "-o", "out/x.json"},
	{"report", "data", "-o", "out/x.html"},
	{"report", "data", "-o", "x.html", "--figures", "out/pictures"},
	{"pack", "data", "-o", "out/x.parquet"},
	{"pack", "data", "-o", "out/x.arrow"},
	{"pack", "data", "-o", "out/x.csv"},
	{"simulate", "--boxes", "2", "-o", "out/new"},
	{"plan", "--margin", "1", "--sd", "1", "--frequencies", "100", "--gasket", "foil", "--sheet", "out/sheet.csv"},
	{"check", "--propose", "traces", "-o", "out/runs.csv"},
}

// A folder in which one may not write stays as it is, and one line says so. As root,
// to whom every folder is open, the child gives its rights up first.
func TestReadOnlyFolder(t *testing.T) {
	dir := openFolder(t)
	campaignIn(t, dir, 2)
	if err := os.CopyFS(filepath.Join(dir, "traces"), os.DirFS("../../testdata/traces/spring")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "out"), 0o755); err != nil {
		t.Fatal(err)
	}
	old := filepath.Join(dir, "out", "x.json")
	if err := os.WriteFile(old, []byte("old"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, "out"), 0o555); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(old, 0o666); err != nil { // one may write into the file, and not beside it
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	var variables []string
	if os.Getuid() == 0 {
		variables = []string{fmt.Sprintf("%s=%d", userVariable, nobody)}
	}
	for _, args := range writing {
		code, stdout, stderr := child(t, dir, variables, args...)
		if code != wrongUse || stdout != "" || !strings.Contains(stderr, "no permission to write in out") && !strings.Contains(stderr, "out/pictures: permission denied") {
			t.Errorf("%q: exit %d, said %q on standard output and %q", args, code, stdout, stderr)
		}
		if text, err := os.ReadFile(old); entries(t, filepath.Join(dir, "out")) != "x.json" || string(text) != "old" {
			t.Errorf("%q: the folder holds %s, the old file %q, %v", args, entries(t, filepath.Join(dir, "out")), text, err)
		}
	}
}

// Where a file may not become as large as it has to, nothing is left of it, an old
// one stays, and the reason is said.
func TestFileSizeLimit(t *testing.T) {
	dir := openFolder(t)
	campaignIn(t, dir, 2)
	if err := os.Mkdir(filepath.Join(dir, "out"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"x.json", "x.parquet"} {
		if err := os.WriteFile(filepath.Join(dir, "out", name), []byte("old"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range writing {
		if args[0] == "plan" || args[0] == "check" || strings.Contains(args[len(args)-1], "pictures") {
			continue // what they write is small
		}
		code, stdout, stderr := child(t, dir, []string{limitVariable + "=1000"}, args...)
		if code != wrongUse || stdout != "" || !strings.Contains(stderr, "cannot write out/") || !strings.Contains(stderr, "larger than a file may be") {
			t.Errorf("%q: exit %d, said %q on standard output and %q", args, code, stdout, stderr)
		}
		if got := entries(t, filepath.Join(dir, "out")); got != "x.json x.parquet" {
			t.Errorf("%q: the folder holds %s", args, got)
		}
	}
	for _, name := range []string{"x.json", "x.parquet"} {
		if text, err := os.ReadFile(filepath.Join(dir, "out", name)); err != nil || string(text) != "old" {
			t.Errorf("%s holds %.20q, %v", name, text, err)
		}
	}
}

// What is copied to be read, since it is no plain file, says where there was no room.
func TestNoRoomForCopies(t *testing.T) {
	dir := openFolder(t)
	text := "run,box,gasket,closing,state,freq_mhz,level_dbm\n" + strings.Repeat("a,B,G,1,closed,100,-90\n", 500_000)
	cmd := exec.Command(os.Args[0], "judge", "-")
	cmd.Dir, cmd.Stdin = dir, strings.NewReader(text)
	cmd.Env = append(os.Environ(), childVariable+"=real", limitVariable+"=1000000", "TMPDIR="+dir)
	var said bytes.Buffer
	cmd.Stderr = &said
	_ = cmd.Run() // its exit code tells
	if code := cmd.ProcessState.ExitCode(); code != wrongUse || !strings.Contains(said.String(), "-: no room to keep a copy in "+dir) {
		t.Errorf("exit %d, %s", code, said.String())
	}
	if left := entries(t, dir); left != "" {
		t.Errorf("left behind: %s", left)
	}
}

// A full device takes nothing, and that is said, whichever way it is written to. Where
// the machine permits mounting, a small disk that is really full too.
func TestFullDisk(t *testing.T) {
	dir := openFolder(t)
	campaignIn(t, dir, 2)
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer full.Close()
	for _, args := range [][]string{{"judge", "data"}, {"judge", "data", "--format", "json"}, {"help"}, {"report", "data", "-o", "-"}, {"plan", "--sd", "1", "--margin", "1"}} {
		cmd := exec.Command(os.Args[0], args...)
		cmd.Dir, cmd.Stdout, cmd.Env = dir, full, append(os.Environ(), childVariable+"=real")
		var said bytes.Buffer
		cmd.Stderr = &said
		_ = cmd.Run() // its exit code tells
		if code := cmd.ProcessState.ExitCode(); code != wrongUse || !strings.Contains(said.String(), "no space left on device") {
			t.Errorf("%q to a full device: exit %d, %q", args, code, said.String())
		}
	}
	for _, name := range []string{"x.json", "/dev/full"} {
		args := []string{"judge", "data", "--format", "json", "-o", name}
		where := dir
		if name == "x.json" {
			where = filepath.Join(dir, "small")
			if err := os.Mkdir(where, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := syscall.Mount("sealbound-test", where, "tmpfs", 0, "size=4k"); err != nil {
				t.Logf("no disk may be mounted here (%v); the device and the limit stand for it", err)
				continue
			}
			defer func() {
				if err := syscall.Unmount(where, syscall.MNT_DETACH); err != nil {
					t.Error(err)
				}
			}()
			if err := os.WriteFile(filepath.Join(where, name), []byte("old"), 0o666); err != nil {
				t.Fatal(err)
			}
			args[1], args[5] = filepath.Join(dir, "data"), "x.json"
		}
		code, stdout, stderr := child(t, where, nil, args...)
		if code != wrongUse || stdout != "" || !strings.Contains(stderr, "cannot write "+name+": no space is left") {
			t.Errorf("%q: exit %d, %q, %q", args, code, stdout, stderr)
		}
		if name != "x.json" {
			continue
		}
		if text, err := os.ReadFile(filepath.Join(where, name)); err != nil || string(text) != "old" || entries(t, where) != name {
			t.Errorf("the full disk holds %s, and in it %.20q, %v", entries(t, where), text, err)
		}
	}
}

// Whenever the program is killed, the file is the old one or the new one, whole. What
// it leaves is hidden, in nobody's way, and the same call works afterwards.
func TestKilledWhileWriting(t *testing.T) {
	dir := openFolder(t)
	campaignIn(t, dir, 400)
	packed := filepath.Join(dir, "data", "x.parquet")
	if code, _, stderr := child(t, dir, nil, "pack", "data", "-o", "whole.parquet"); code != done {
		t.Fatalf("exit %d, %s", code, stderr)
	}
	whole, err := os.ReadFile(filepath.Join(dir, "whole.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	during := 0
	for i := range 8 {
		if err := os.WriteFile(filepath.Join(dir, "y.parquet"), []byte("old"), 0o666); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(os.Args[0], "pack", "data", "-o", "y.parquet")
		cmd.Dir, cmd.Env = dir, append(os.Environ(), childVariable+"=real")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for tries := 0; !somethingHidden(dir); tries++ {
			if tries == 60_000 {
				_ = cmd.Process.Kill()
				t.Fatal("nothing is being written")
			}
			time.Sleep(time.Millisecond)
		}
		time.Sleep(time.Duration(i) * 4 * time.Millisecond) // early and late
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // it was killed, or done
		got, err := os.ReadFile(filepath.Join(dir, "y.parquet"))
		if err != nil || string(got) != "old" && !bytes.Equal(got, whole) {
			t.Errorf("a file of %d bytes, neither the old one nor the new one of %d, %v", len(got), len(whole), err)
		}
		left, err := filepath.Glob(filepath.Join(dir, ".*"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range left {
			during++
			if err := os.Rename(name, filepath.Join(dir, "data", filepath.Base(name))); err != nil {
				t.Fatal(err)
			}
		}
	}
	if during == 0 {
		t.Error("it was never killed while it wrote")
	}
	if code, _, stderr := child(t, dir, nil, "pack", "data", "-o", "y.parquet"); code != done || strings.Contains(stderr, "problem") {
		t.Errorf("afterwards: exit %d, %s", code, stderr)
	}
	if got, err := os.ReadFile(filepath.Join(dir, "y.parquet")); err != nil || !bytes.Equal(got, whole) {
		t.Errorf("afterwards: %d bytes, not the %d of before, %v", len(got), len(whole), err)
	}
	if _, err := os.Stat(packed); !errors.Is(err, os.ErrNotExist) {
		t.Error("a file that was never asked for")
	}
}
