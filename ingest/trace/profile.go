package trace

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"sealbound/ingest/cell"
)

// A Profile declares how a trace file is written. Each field is a cell of
// runs.csv; its zero value declares nothing.
type Profile struct {
	Encoding        string   // utf-8, latin-1, or utf-16 (with its byte order mark)
	Delimiter       string   // comma, semicolon, tab, pipe, space
	Decimal         string   // point, comma
	Thousands       string   // point, comma, space, apostrophe
	HeaderLine      int      // the line that names the columns, 1-based
	UnitsRow        bool     // the line below it holds the units
	FreqColumn      string   // name of the column of frequencies, or # and its number
	LevelColumn     string   // name of the column of levels, or # and its number
	FreqUnit        string   // hz, khz, mhz, ghz, or suffix: each cell ends in its unit
	LevelUnit       string   // dBm, dBuV (into 50 ohm), dB (relative to the generator), or suffix
	Missing         []string // level cells that stand for none; an empty one for the empty cell
	FooterLines     int      // lines at the end that are no data
	Points          int      // rows that a whole sweep has
	StatusColumn    string   // name of the column that says whether a row is valid, or # and its number
	StatusGood      []string // its cells where the row is valid
	FreqToleranceHz float64  // frequencies of two traces this near are the same
	Limited         bool     // a level may be written < -120: an upper bound
	RepeatedHeader  bool     // the header line may come again: a new sweep begins
}

// A Cell is one cell of a profile as runs.csv has it.
type Cell struct{ Column, Value string }

// String writes the cell as column=value.
func (c Cell) String() string { return c.Column + "=" + c.Value }

// A field is a column of the profile: how its cell is read and written.
type field struct {
	name string
	set  func(*Profile, string) *cell.Fault
	get  func(*Profile) string // empty where it declares nothing
	open string                // what may stand there, for messages
}

// fields lists the columns of a profile, in their order in runs.csv. This is the
// only place that does.
var fields = []field{
	word("encoding", func(p *Profile) *string { return &p.Encoding }, "utf-8", "latin-1", "utf-16"),
	word("delimiter", func(p *Profile) *string { return &p.Delimiter }, "comma ,", "semicolon ;", `tab \t`, "pipe |", "space"),
	word("decimal", func(p *Profile) *string { return &p.Decimal }, "point .", "comma ,"),
	word("thousands", func(p *Profile) *string { return &p.Thousands }, "comma ,", "point .", "space", "apostrophe '"),
	whole("header_line", func(p *Profile) *int { return &p.HeaderLine }),
	flag("units_row", func(p *Profile) *bool { return &p.UnitsRow }),
	name("freq_column", func(p *Profile) *string { return &p.FreqColumn }),
	name("level_column", func(p *Profile) *string { return &p.LevelColumn }),
	word("freq_unit", func(p *Profile) *string { return &p.FreqUnit }, "hz", "khz", "mhz", "ghz", "suffix"),
	word("level_unit", func(p *Profile) *string { return &p.LevelUnit }, "dBm", "dBuV dB\u00b5V dB\u03bcV", "dB", "suffix"),
	list("missing", func(p *Profile) *[]string { return &p.Missing }),
	whole("footer_lines", func(p *Profile) *int { return &p.FooterLines }),
	whole("points", func(p *Profile) *int { return &p.Points }),
	name("status_column", func(p *Profile) *string { return &p.StatusColumn }),
	list("status_good", func(p *Profile) *[]string { return &p.StatusGood }),
	{
		name: "freq_tolerance_hz", open: "a number of Hz",
		set: func(p *Profile, text string) *cell.Fault {
			v, fault := cell.Number([]byte(text), 0)
			if fault == nil && v < 0 {
				fault = &cell.Fault{What: "is negative", Mend: "write the tolerance in Hz, such as 1000"}
			}
			if fault == nil {
				p.FreqToleranceHz = v
			}
			return fault
		},
		get: func(p *Profile) string {
			if p.FreqToleranceHz == 0 {
				return ""
			}
			return strconv.FormatFloat(p.FreqToleranceHz, 'g', -1, 64)
		},
	},
	flag("limited", func(p *Profile) *bool { return &p.Limited }),
	flag("repeated_header", func(p *Profile) *bool { return &p.RepeatedHeader }),
}

// word is a field with a few words; behind each may stand others for the same.
func word(name string, at func(*Profile) *string, words ...string) field {
	names := make([]string, len(words))
	for i, w := range words {
		names[i] = strings.Fields(w)[0]
	}
	open := strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
	return field{
		name: name, open: open,
		set: func(p *Profile, text string) *cell.Fault {
			for i, w := range words {
				if slices.ContainsFunc(strings.Fields(w), func(s string) bool { return strings.EqualFold(s, text) }) {
					*at(p) = names[i]
					return nil
				}
			}
			return &cell.Fault{What: "is no " + strings.ReplaceAll(name, "_", " ") + " that is read", Mend: "write " + open}
		},
		get: func(p *Profile) string { return *at(p) },
	}
}

func whole(name string, at func(*Profile) *int) field {
	return field{
		name: name, open: "a whole number",
		set: func(p *Profile, text string) *cell.Fault {
			n, err := strconv.Atoi(text)
			if err != nil || n < 1 || n > MaxBytes || text[0] == '+' {
				return &cell.Fault{What: "is not a whole number from 1", Mend: "write one, or leave the cell empty"}
			}
			*at(p) = n
			return nil
		},
		get: func(p *Profile) string {
			if *at(p) == 0 {
				return ""
			}
			return strconv.Itoa(*at(p))
		},
	}
}

func flag(name string, at func(*Profile) *bool) field {
	return field{
		name: name, open: "yes or no",
		set: func(p *Profile, text string) *cell.Fault {
			switch strings.ToLower(text) {
			case "yes", "true":
				*at(p) = true
			case "no", "false":
				*at(p) = false
			default:
				return &cell.Fault{What: "is neither yes nor no", Mend: "write yes or no"}
			}
			return nil
		},
		get: func(p *Profile) string {
			if *at(p) {
				return "yes"
			}
			return ""
		},
	}
}

func name(name string, at func(*Profile) *string) field {
	return field{
		name: name, open: "a column's name, or # and its number",
		set: func(p *Profile, text string) *cell.Fault { *at(p) = text; return nil },
		get: func(p *Profile) string { return *at(p) },
	}
}

func list(name string, at func(*Profile) *[]string) field {
	return field{
		name: name, open: "texts with | between them",
		set: func(p *Profile, text string) *cell.Fault {
			*at(p) = nil
			for _, s := range strings.Split(text, "|") {
				if s = strings.TrimSpace(s); !slices.Contains(*at(p), s) {
					*at(p) = append(*at(p), s)
				}
			}
			return nil
		},
		get: func(p *Profile) string {
			if s := *at(p); len(s) == 1 && s[0] == "" {
				return "|"
			}
			return strings.Join(*at(p), "|")
		},
	}
}

// Columns names the columns of runs.csv that make up the profile.
func Columns() []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return names
}

func fieldNamed(column string) (field, bool) {
	for _, f := range fields {
		if f.name == column {
			return f, true
		}
	}
	return field{}, false
}

// Set takes in the cell of a column. An empty cell declares nothing. It returns
// what is wrong with the cell, nil where nothing is.
func (p *Profile) Set(column, text string) *cell.Fault {
	f, ok := fieldNamed(column)
	switch {
	case !ok:
		return &cell.Fault{What: column + " is no column of the profile", Mend: "the columns are " + strings.Join(Columns(), ", ")}
	case text == "":
		return nil
	}
	return f.set(p, text)
}

// Cells gives what the profile declares, in the order of Columns.
func (p *Profile) Cells() []Cell {
	var cells []Cell
	for _, f := range fields {
		if v := f.get(p); v != "" {
			cells = append(cells, Cell{f.name, v})
		}
	}
	return cells
}

func (p *Profile) declares(column string) bool {
	f, ok := fieldNamed(column)
	return ok && f.get(p) != ""
}

// contradiction tells which cells cannot stand together, empty where all can.
func (p *Profile) contradiction() string {
	for _, f := range fields {
		if v := f.get(p); v != "" {
			if fault := f.set(&Profile{}, v); fault != nil {
				return fmt.Sprintf("%s %q %s", f.name, v, fault.What)
			}
		}
	}
	n := p.notation()
	switch {
	case n.thousands == rune(n.decimal):
		return fmt.Sprintf("decimal and thousands are both a %s", p.Thousands)
	case p.StatusColumn != "" && len(p.StatusGood) == 0:
		return "status_column is declared, and status_good is not"
	case p.StatusColumn == "" && len(p.StatusGood) > 0:
		return "status_good is declared, and status_column is not"
	}
	return ""
}

// mark is the character between cells.
func (p *Profile) mark() byte {
	switch p.Delimiter {
	case "semicolon":
		return ';'
	case "tab":
		return '\t'
	case "pipe":
		return '|'
	case "space":
		return ' '
	}
	return ','
}

// declare is a mend: cells to be written.
func declare(cells ...Cell) string {
	texts := make([]string, len(cells))
	for i, c := range cells {
		texts[i] = c.String()
	}
	return "declare in runs.csv " + strings.Join(texts, ", ")
}

// declareOpen is a mend where the file does not tell the value.
func declareOpen(column string) string {
	f, _ := fieldNamed(column)
	return fmt.Sprintf("declare in runs.csv %s (%s)", column, f.open)
}
