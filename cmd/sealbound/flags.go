package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"sealbound/cmd/internal/study"
)

// An option is one flag of a command: what help says of it and where its value
// goes. Options are made anew for every run of a command.
type option struct {
	name    string   // without dashes
	short   string   // one letter, or empty
	value   string   // what stands for the value in help; empty for a switch
	usage   string   // what it does, and its default
	section string   // of the help
	offers  []string // values that completion offers
	list    bool     // several values may be joined by commas
	idle    bool     // accepted, and without a part in the command
	// set takes the value; its error says what is allowed.
	set func(text string) error
}

func (o option) isSwitch() bool { return o.value == "" }

// errNeedsHelp is given by orderArgs where --help stands among the arguments.
var errNeedsHelp = errors.New("help was asked for")

// orderArgs puts flags before paths, since the flag parser takes a flag that
// follows a path for a path. Flags come out as --name=value, then "--", then the
// paths. A "--" among args ends the flags; "-" is a path. An error tells of a
// flag that is not known or lacks its value; elsewhere names the command that
// does have a flag, if any.
func orderArgs(options []option, args []string, elsewhere func(flag string) string) ([]string, error) {
	var flags, paths []string
	for i := 0; i < len(args); i++ {
		arg := args[i]
		if arg == "--" {
			paths = append(paths, args[i+1:]...)
			break
		}
		if arg == "-" || !strings.HasPrefix(arg, "-") {
			paths = append(paths, arg)
			continue
		}
		name, value, has := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(arg, "-"), "-"), "=")
		if name == "help" || name == "h" {
			return nil, errNeedsHelp
		}
		o, ok := find(options, name)
		switch {
		case !ok:
			return nil, unknownFlag(arg, name, options, elsewhere(name))
		case has:
		case o.isSwitch():
			value = "true"
		case i+1 == len(args) || isFlag(options, args[i+1]):
			return nil, usage("--%s needs a value: %s", o.name, o.value)
		default:
			i++
			value = args[i]
		}
		flags = append(flags, "--"+o.name+"="+value)
	}
	return append(append(flags, "--"), paths...), nil
}

func find(options []option, name string) (option, bool) {
	for _, o := range options {
		if name != "" && (o.name == name || o.short == name) {
			return o, true
		}
	}
	return option{}, false
}

// isFlag tells a forgotten value from one that begins with a dash, such as -95.
func isFlag(options []option, arg string) bool {
	name, _, _ := strings.Cut(strings.TrimLeft(arg, "-"), "=")
	_, known := find(options, name)
	return arg == "--" || strings.HasPrefix(arg, "-") && known
}

func unknownFlag(arg, name string, options []option, elsewhere string) error {
	if elsewhere != "" {
		return usage("no flag %s here: it belongs to %s", arg, elsewhere)
	}
	var known []string
	for _, o := range options {
		known = append(known, o.name)
	}
	if near, ok := nearest(name, known); ok {
		return usage("unknown flag %s; did you mean --%s?", arg, near)
	}
	if _, err := os.Stat(arg); err == nil {
		return usage("unknown flag %s; put -- before a path that begins with a dash", arg)
	}
	return usage("unknown flag %s", arg)
}

// usageError is a wrong use of the command line other than a wrong value, which
// is a study.UsageError.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

func usage(format string, args ...any) error { return &usageError{fmt.Sprintf(format, args...)} }

// badValue is the answer to a value that is not allowed.
func badValue(flag, text, allowed string) error {
	return &study.UsageError{Flag: flag, Text: text, Allowed: allowed}
}

// The makers of options. Each refuses what cannot be meant and says what can.

func toggle(name, usage string, dst *bool) option {
	return option{name: name, usage: usage, set: func(text string) error {
		on, err := strconv.ParseBool(text)
		if err != nil {
			return errors.New("allowed are true and false; the flag alone means true")
		}
		*dst = on
		return nil
	}}
}

// numeral is a number within [lo, hi], or within (lo, hi) if open.
func numeral(name, value, usage, allowed string, lo, hi float64, open bool, dst *float64) option {
	return option{name: name, value: value, usage: usage, set: func(text string) error {
		x, err := parseNumber(text)
		if err != nil || x < lo || x > hi || open && (x == lo || x == hi) {
			return errors.New(allowed)
		}
		*dst = x
		return nil
	}}
}

// parseNumber reads a plain decimal number: no NaN, infinity, hexadecimal or
// underscore, which strconv would take.
func parseNumber(text string) (float64, error) {
	if strings.ContainsFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.0123456789eE", r) }) {
		return 0, strconv.ErrSyntax
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, strconv.ErrSyntax
	}
	return x, nil
}

// optionalNumeral is a numeral that is undefined until it is given.
func optionalNumeral(name, value, usage, allowed string, lo, hi float64, open bool, dst **float64) option {
	var x float64
	o := numeral(name, value, usage, allowed, lo, hi, open, &x)
	set := o.set
	o.set = func(text string) error {
		if err := set(text); err != nil {
			return err
		}
		*dst = &x
		return nil
	}
	return o
}

func choice(name, usage string, allowed []string, dst *string) option {
	return option{name: name, value: strings.Join(allowed, "|"), usage: usage, offers: allowed, set: func(text string) error {
		if !slices.Contains(allowed, text) {
			if near, ok := nearest(text, allowed); ok {
				return fmt.Errorf("did you mean %s? Allowed are %s", near, strings.Join(allowed, ", "))
			}
			return errors.New("allowed are " + strings.Join(allowed, ", "))
		}
		*dst = text
		return nil
	}}
}

func text(name, value, usage string, dst *string) option {
	return option{name: name, value: value, usage: usage, set: func(s string) error {
		if s == "" {
			return errors.New("it must not be empty")
		}
		*dst = s
		return nil
	}}
}

// words is a list joined by commas; given more than once, all count. A word that
// holds a comma is put in double quotes.
func words(name, value, usage string, dst *[]string) option {
	given := false
	return option{name: name, value: value, usage: usage, list: true, set: func(s string) error {
		list, err := splitWords(s)
		if err != nil {
			return errors.New("one or more words joined by commas, such as a,b; one that holds a comma in double quotes")
		}
		if !given { // what is given replaces the default
			*dst, given = nil, true
		}
		*dst = append(*dst, list...)
		return nil
	}}
}

func splitWords(s string) ([]string, error) {
	r := csv.NewReader(strings.NewReader(s))
	r.TrimLeadingSpace = true
	r.LazyQuotes = !strings.HasPrefix(strings.TrimSpace(s), `"`) // 19" rack
	list, err := r.Read()
	if err != nil {
		return nil, err
	}
	if _, err := r.Read(); err == nil {
		return nil, errors.New("more than one line")
	}
	for i := range list {
		if list[i] = strings.TrimSpace(list[i]); list[i] == "" {
			return nil, errors.New("an empty word")
		}
	}
	return list, nil
}

func date(name, usage string, dst *time.Time) option {
	return option{name: name, value: "DATE", usage: usage, set: func(s string) error {
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return errors.New("a date as in 2024-05-31")
		}
		*dst = t
		return nil
	}}
}

// days is a span of whole days: 90d, or 90.
func days(name, usage string, dst *time.Duration) option {
	return option{name: name, value: "DAYS", usage: usage, set: func(s string) error {
		n, err := strconv.ParseUint(strings.TrimSuffix(s, "d"), 10, 16)
		if err != nil || n > 36525 {
			return errors.New("a whole number of days up to 36525, such as 90d")
		}
		*dst = time.Duration(n) * 24 * time.Hour
		return nil
	}}
}

func seed(name, usage string, dst *uint64) option {
	return option{name: name, value: "N", usage: usage, set: func(s string) error {
		n, err := strconv.ParseUint(s, 10, 63)
		if err != nil {
			return errors.New("a whole number from 0 to 9223372036854775807")
		}
		*dst = n
		return nil
	}}
}

// offering names values that completion offers for an option.
func offering(o option, values ...string) option {
	o.offers = values
	return o
}

// inSection names the part of the help in which options stand.
func inSection(section string, options ...option) []option {
	for i := range options {
		options[i].section = section
	}
	return options
}
