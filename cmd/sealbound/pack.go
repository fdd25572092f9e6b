package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/study"
	"sealbound/cmd/internal/texttab"
)

func packCommand() *command {
	s := study.DefaultSettings()
	var file string
	var reduce bool
	out := text("output", "FILE", "write to FILE, whole or not at all; it ends in .parquet, .arrow, .csv or .csv.gz", &file)
	out.short = "o"
	return &command{
		name:      "pack",
		summary:   "many files into one small table, and back",
		arguments: "-o FILE PATH...",
		about: "Writes the readings of all files as one table, sorted by run, by the ending of FILE: Parquet (small, for archives and databases), an Arrow stream (for notebooks and JavaScript), or CSV. Each of them can be read by every command, and packed again as another.\n" +
			"Nothing is lost but columns without a meaning: frequencies become Hz and levels dBm, a run that had its name from a file gets it as its label. Nothing is paired or judged either; check does that. Parquet and Arrow carry the side tables (boxes, gaskets, events, setup) and a checksum; with CSV they are written as files beside FILE.\n" +
			"The same input gives the same file to the byte.",
		example: "testdata/demo -o demo.parquet",
		options: slices.Concat(inSection("Where to", out),
			inSection("Closing-level table", toggle("reduce", "one row per closing and band, with the mean over its points, instead of the readings", &reduce),
				text("bands", "BANDS", "with --reduce: itu, all, or NAME=LO-HI,... in MHz (itu)", &s.Bands)),
			readingOptions(&s)),
		action: func(c call, paths []string) error { return pack(c, paths, s, file, reduce) },
	}
}

func pack(c call, paths []string, s study.Settings, file string, reduce bool) error {
	if file == "" {
		return usage("no file given; say where to write with -o FILE, ending in %s", strings.Join(study.PackEndings, ", "))
	}
	ending := packEnding(file)
	if ending == "" {
		return badValue("output", file, "the ending says what is written: "+strings.Join(study.PackEndings, ", "))
	}
	if len(paths) == 0 {
		return usage("no PATH given: name a file, a folder, a pattern or - for standard input")
	}
	s.Stdin = c.stdin
	open, word := study.OpenPacking, "reading"
	if reduce {
		open, word = study.OpenReducing, "row"
	}
	if err := reducingOnly(s, reduce); err != nil {
		return err
	}
	if err := contradictions(s); err != nil {
		return err
	}
	var ended func()
	s.Progress, ended = c.progress()
	defer ended()
	done, err := open(c.ctx, paths, s, ending)
	if err != nil {
		return explainPaths(err, paths)
	}
	defer done.Close()
	if err := (output{file: file}).sparesInputs(done.Inputs); err != nil {
		return err
	}
	var beside []string
	for _, t := range done.Beside {
		if err := besideIsFree(file, t.Name, t.Text); err != nil {
			return err
		}
	}
	if err := atomicfile.Write(file, func(w io.Writer) error { return done.Write(c.ctx, w) }); err != nil {
		return err
	}
	for _, t := range done.Beside {
		name := besideName(file, t.Name)
		if err := atomicfile.Write(name, func(w io.Writer) error { return put(w, t.Text) }); err != nil {
			return err
		}
		beside = append(beside, name)
	}
	ended()
	for _, n := range done.Notes {
		complain(c.stderr, n)
	}
	if folder := folderAround(file, paths); folder != "" {
		complain(c.stderr, fmt.Sprintf("%s lies in %s: reading that folder again reads both the file and what it was packed from; put it elsewhere.", file, folder))
	}
	said := fmt.Sprintf("Packed %s into %s.\n", counted(done.Rows, word), texttab.Clean(file))
	left := 0
	for _, in := range done.Inputs {
		left += in.Skipped
	}
	if left > 0 {
		said += fmt.Sprintf("Left out, since they have problems: %s; check names them.\n", counted(left, "row"))
	}
	if len(beside) > 0 {
		said += fmt.Sprintf("Side tables beside it: %s. Give the folder, so that they are read too.\n", texttab.Clean(strings.Join(beside, ", ")))
	}
	return put(c.stdout, said)
}

// reducingOnly refuses settings that rows as they stand do not heed.
func reducingOnly(s study.Settings, reduce bool) error {
	d := study.DefaultSettings()
	if !reduce && (s.FloorMarginDB != d.FloorMarginDB || s.FloorDBM != nil || s.NoFloor || s.DriftDB != d.DriftDB || s.KeepDrifted || s.FreqMatchPPM != d.FreqMatchPPM || s.Bands != d.Bands) {
		return usage("without --reduce the readings are packed as they stand: --bands, --floor, --drift and the like are given when they are judged")
	}
	return nil
}

func counted(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}

// folderAround is the folder among the paths that the file lies in or below, empty
// where there is none.
func folderAround(file string, paths []string) string {
	at, err := filepath.Abs(file)
	if err != nil {
		return ""
	}
	for _, p := range paths {
		info, err := os.Stat(p)
		if err != nil || !info.IsDir() {
			continue
		}
		folder, err := filepath.Abs(p)
		if err != nil {
			continue
		}
		if below, err := filepath.Rel(folder, at); err == nil && filepath.IsLocal(below) {
			return p
		}
	}
	return ""
}

// packEnding is the ending of file that pack knows, empty for others.
func packEnding(file string) string {
	name := strings.ToLower(filepath.Base(file))
	for _, e := range study.PackEndings {
		if strings.HasSuffix(name, e) && name != e {
			return e
		}
	}
	return ""
}

func besideName(file, table string) string {
	return filepath.Join(filepath.Dir(file), table+".csv")
}

// besideIsFree refuses to write over a side table that says something else.
func besideIsFree(file, table, text string) error {
	name := besideName(file, table)
	old, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) || err == nil && bytes.Equal(old, []byte(text)) {
		return nil
	}
	return badValue("output", file, fmt.Sprintf("side tables are written beside it, and %s is there already; name a folder of its own, or a .parquet or .arrow file, which carries them", name))
}
