package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

// inProject runs the program in the project's folder.
func inProject(t *testing.T, stdin string, args ...string) (stdout, stderr string, exit int) {
	t.Helper()
	t.Chdir("../..")
	var out, errs bytes.Buffer
	exit = realProgram().run(call{context.Background(), strings.NewReader(stdin), &out, &errs}, append([]string{"sealbound"}, args...))
	return out.String(), errs.String(), exit
}

// The page of the demo stands alone, is small, says what it rests on and warns.
func TestReportOfDemo(t *testing.T) {
	page := filepath.Join(t.TempDir(), "demo.html")
	if _, errs, exit := inProject(t, "", "report", "testdata/demo", "-o", page); exit != 0 {
		t.Fatalf("exit %d: %s", exit, errs)
	}
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	html := string(b)
	if len(b) > report.PageLimit {
		t.Errorf("%d bytes", len(b))
	}
	for _, bad := range []string{"<script", "http:", "https:", "NaN", "Inf", "ZgotmplZ"} {
		if strings.Contains(html, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	for _, want := range []string{
		"spectrum authority", "ICNIRP guidelines of 2020", "IEEE Std C95.1-2019", "lead or chromate", "workplace safety", "sharp edges", "lids pinch",
		"no promise that equipment in it survives a pulse", "qualified engineer", "local codes", // what a report must warn of
		"What was assumed", "What the data cannot say", "Photograph of the set-up", "sealbound " + version,
		"generator", "invented data from a seeded simulation", // setup.csv, verbatim
		"the bound", "2023-05-20",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	files, err := filepath.Glob("testdata/demo/*.csv")
	if err != nil || len(files) == 0 {
		t.Fatal(err)
	}
	for _, f := range files {
		content, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if sum := fmt.Sprintf("%x", sha256.Sum256(content)); !strings.Contains(html, sum) || !strings.Contains(html, f) {
			t.Errorf("%s is not named with its digest %s", f, sum)
		}
	}
}

// The pictures of the README are those that the command draws today. Golden: they
// guard against change, the tests of the numbers are elsewhere.
func TestPictures(t *testing.T) {
	const folder = "testdata/pictures"
	drawn := t.TempDir()
	if *update {
		drawn = folder
	}
	page := filepath.Join(t.TempDir(), "demo.html")
	if _, errs, exit := inProject(t, "", "report", "testdata/demo", "-o", page, "--figures", drawn); exit != 0 {
		t.Fatalf("exit %d: %s", exit, errs)
	}
	want, err := filepath.Glob(folder + "/*.svg")
	if err != nil || len(want) == 0 {
		t.Fatalf("no picture in %s: %v", folder, err)
	}
	got, err := filepath.Glob(drawn + "/*.svg")
	if err != nil || len(got) != len(want) {
		t.Errorf("%d pictures drawn, %d kept (%v)", len(got), len(want), err)
	}
	for _, path := range want {
		kept, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		now, err := os.ReadFile(filepath.Join(drawn, filepath.Base(path)))
		if err != nil || !bytes.Equal(kept, now) {
			t.Errorf("%s is not what is drawn now (%v): draw it again with -update", path, err)
		}
		if len(kept) > 20_000 {
			t.Errorf("%s takes %d bytes", path, len(kept))
		}
	}
}

// Equal readings make equal pages, from a file or from standard input, whatever the
// order of the rows.
func TestReportOfStandardInput(t *testing.T) {
	rows := []string{"b,g,1,100,60.0", "b,g,2,100,61.5", "b,g,3,100,59.5", "c,g,1,100,58.0", "c,g,2,100,58.5"}
	text := func(rows []string) string {
		return "box,gasket,closing,freq_mhz,atten_db\n" + strings.Join(rows, "\n") + "\n"
	}
	folder := t.TempDir()
	pageOf := func(stdin string) string {
		page := filepath.Join(folder, "page.html")
		if _, errs, exit := inProject(t, stdin, "report", "-", "-o", page); exit != 0 {
			t.Fatalf("exit %d: %s", exit, errs)
		}
		b, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	one := pageOf(text(rows))
	sum := fmt.Sprintf("%x", sha256.Sum256([]byte(text(rows))))
	if !strings.Contains(one, sum) {
		t.Errorf("the page does not name the digest of standard input")
	}
	turned := text([]string{rows[4], rows[2], rows[0], rows[3], rows[1]})
	other := strings.ReplaceAll(pageOf(turned), fmt.Sprintf("%x", sha256.Sum256([]byte(turned))), sum)
	if one != other {
		t.Error("the order of rows shows")
	}
}
