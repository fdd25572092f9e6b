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

// wordings are the sentences of each kind, of the count [1], what it is about [2], an
// example [3], and the runs [4] in words.
var wordings = [...]string{
	noteMixed:      "The rows of %[1]d runs and dates take turns in %[2]q; sorted by run and date they are read faster.",
	noteIdleOpen:   "Open readings that name a closing which their run does not have were not used: %[1]d, the first in run %[2]q for closing %[3]q.",
	noteUnlabelled: "Open readings are repeated without a sweep label in %[4]s; the order of the rows tells the repeats apart. Fill in sweep to make that independent of the order.",
	noteVaries:     "The column %[2]s differs inside %[1]d closings, the first being %[3]s; the value at the lowest frequency is kept.",
	noteRelative:   "The floor given as a setting is in dBm and does not apply to levels relative to the generator, in %[4]s.",
	noteOnlyOpen:   "No usable closed reading belongs to %[4]s.",
	noteTaken:      "Closed readings went with an open reading that was refused or left out: %[1]d, the first in run %[2]q.",
	noteExcluded:   "Rows of traces that their status column does not call good were left out: %[1]d, the first in %[2]q.",
	noteMissing:    "Rows of traces without a level were left out: %[1]d, the first in %[2]q.",
	noteBelow:      "Levels are given as upper bounds: %[1]d, the first in %[2]q; where closed, their attenuation is at least the figure.",
	noteTrailing:   "Traces with a last column that has no name and no cell: %[1]d, the first being %[2]q.",
	noteUnsorted:   "Traces whose frequencies do not ascend: %[1]d, the first being %[2]q.",
	noteSweeps:     "Sweeps in traces that repeat their header: %[1]d, the first in %[2]q; they are told apart by their number.",
	noteDirect:     "Rows of network files at 0 Hz were left out: %[1]d, the first in %[2]q.",
	noteNoise:      "Rows of noise data in network files were checked and not used: %[1]d, the first in %[2]q.",
	noteCarried:    "Side tables of an unknown name in packed files were not read: %[1]d, the first %[2]q in %[3]s.",
	noteSparse:     "The repeats of the open readings cannot be compared with each other in %[4]s.",
}

// sentences words the notes.
func (n *notes) sentences() []string {
	var all []string
	for _, x := range n.list {
		runs := fmt.Sprintf("%d runs (the first is %q)", x.count, x.what)
		if x.count == 1 {
			runs = fmt.Sprintf("the run %q", x.what)
		}
		all = append(all, fmt.Sprintf(wordings[x.kind], x.count, x.what, x.example, runs))
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
