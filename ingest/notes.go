package ingest

import (
	"fmt"
	"slices"
	"sort"
	"strings"
)

// A noteKind is what a note is about. Notes of one kind are gathered into one
// sentence.
type noteKind uint8

const (
	noteIdleOpen   noteKind = iota // run, closing
	noteUnlabelled                 // run
	noteVaries                     // column, closing
	noteRelative                   // run: --floor does not apply
	noteOnlyOpen                   // run
	noteTaken                      // run
	noteSparse                     // run
	noteCarried                    // side table, file
	noteExcluded                   // file
	noteMissing                    // file
	noteBelow                      // file
	noteTrailing                   // file
	noteUnsorted                   // file
	noteSweeps                     // file
	noteNoise                      // file
	noteDirect                     // file
	noteMixed                      // file, and how many runs
)

// notes gathers what the result should say about the data.
type notes struct {
	list []noted
}

type noted struct {
	kind          noteKind
	what, example string
	count         int
}

// add gathers a note; the first example of a kind and subject is kept.
func (n *notes) add(kind noteKind, what, example string) { n.addMany(kind, what, example, 1) }

func (n *notes) addMany(kind noteKind, what, example string, count int) {
	for i := range n.list {
		if x := &n.list[i]; x.kind == kind && (x.what == what || kind != noteVaries && kind != noteMixed) {
			x.count += count
			return
		}
	}
	n.list = append(n.list, noted{kind, what, example, count})
}

func (n *notes) addAll(other *notes) {
	for _, x := range other.list {
		n.addMany(x.kind, x.what, x.example, x.count)
	}
}

// sentences words the notes.
func (n *notes) sentences() []string {
	var all []string
	for _, x := range n.list {
		runs := fmt.Sprintf("%d runs (the first is %q)", x.count, x.what)
		if x.count == 1 {
			runs = fmt.Sprintf("the run %q", x.what)
		}
		switch x.kind {
		case noteMixed:
			all = append(all, fmt.Sprintf("The rows of %d runs and dates take turns in %q; sorted by run and date they are read faster.", x.count, x.what))
		case noteIdleOpen:
			all = append(all, fmt.Sprintf("Open readings that name a closing which their run does not have were not used: %d, the first in run %q for closing %q.", x.count, x.what, x.example))
		case noteUnlabelled:
			all = append(all, fmt.Sprintf("Open readings are repeated without a sweep label in %s; the order of the rows tells the repeats apart. Fill in sweep to make that independent of the order.", runs))
		case noteVaries:
			all = append(all, fmt.Sprintf("The column %s differs inside %d closings, the first being %s; the value at the lowest frequency is kept.", x.what, x.count, x.example))
		case noteRelative:
			all = append(all, fmt.Sprintf("The floor given as a setting is in dBm and does not apply to levels relative to the generator, in %s.", runs))
		case noteOnlyOpen:
			all = append(all, fmt.Sprintf("No usable closed reading belongs to %s.", runs))
		case noteTaken:
			all = append(all, fmt.Sprintf("Closed readings went with an open reading that was refused or left out: %d, the first in run %q.", x.count, x.what))
		case noteExcluded:
			all = append(all, fmt.Sprintf("Rows of traces that their status column does not call good were left out: %d, the first in %q.", x.count, x.what))
		case noteMissing:
			all = append(all, fmt.Sprintf("Rows of traces without a level were left out: %d, the first in %q.", x.count, x.what))
		case noteBelow:
			all = append(all, fmt.Sprintf("Levels of traces are written as upper bounds (<): %d, the first in %q; where closed, their attenuation is at least the figure.", x.count, x.what))
		case noteTrailing:
			all = append(all, fmt.Sprintf("Traces with a last column that has no name and no cell: %d, the first being %q.", x.count, x.what))
		case noteUnsorted:
			all = append(all, fmt.Sprintf("Traces whose frequencies do not ascend: %d, the first being %q.", x.count, x.what))
		case noteSweeps:
			all = append(all, fmt.Sprintf("Sweeps in traces that repeat their header: %d, the first in %q; they are told apart by their number.", x.count, x.what))
		case noteDirect:
			all = append(all, fmt.Sprintf("Rows of network files at 0 Hz were left out: %d, the first in %q.", x.count, x.what))
		case noteNoise:
			all = append(all, fmt.Sprintf("Rows of noise data in network files were checked and not used: %d, the first in %q.", x.count, x.what))
		case noteCarried:
			all = append(all, fmt.Sprintf("Side tables of an unknown name in packed files were not read: %d, the first %q in %s.", x.count, x.what, x.example))
		case noteSparse:
			all = append(all, fmt.Sprintf("The repeats of the open readings cannot be compared with each other in %s.", runs))
		}
	}
	sort.Strings(all)
	return all
}

// listed joins names, quoted, at most ten of them.
func listed(names []string) string {
	const most = 10
	var b strings.Builder
	for i, n := range names {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(names)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		if len(n) > 80 {
			n = strings.ToValidUTF8(n[:80], "") + "…"
		}
		fmt.Fprintf(&b, "%q", n)
	}
	return b.String()
}

// unusedColumns words which columns of which files were ignored.
type unusedColumns struct {
	files map[string][]string // by column
}

func (u *unusedColumns) add(path string, columns []string) {
	if u.files == nil {
		u.files = map[string][]string{}
	}
	for _, c := range columns {
		u.files[c] = append(u.files[c], path)
	}
}

func (u *unusedColumns) sentences() []string {
	byFiles := map[string][]string{}
	for c, files := range u.files {
		key := fmt.Sprintf("in %s", files[0])
		switch n := len(files) - 1; {
		case n == 1:
			key = fmt.Sprintf("in %s and 1 other file", files[0])
		case n > 1:
			key = fmt.Sprintf("in %s and %d other files", files[0], n)
		}
		byFiles[key] = append(byFiles[key], c)
	}
	var all []string
	for where, columns := range byFiles {
		slices.SortFunc(columns, CompareLabels)
		word := "Columns"
		if len(columns) == 1 {
			word = "Column"
		}
		all = append(all, fmt.Sprintf("%s without a meaning here, not used: %s (%s).", word, listed(columns), where))
	}
	sort.Strings(all)
	return all
}
