package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"sealbound/stats/judge"
)

// A target is flat, or a curve over frequency.
type target struct {
	flatDB float64
	curve  []targetPoint // ascending in frequency; nil for a flat target
	file   string
}

type targetPoint struct{ hz, db float64 }

func (s Settings) target() (target, error) {
	if s.TargetFile == "" {
		return target{flatDB: s.TargetDB}, nil
	}
	t := target{file: s.TargetFile}
	scale := 0.0
	err := eachRow(s.TargetFile, func(header []string) error {
		for name, k := range map[string]float64{"freq_hz": 1, "freq_khz": 1e3, "freq_mhz": 1e6, "freq_ghz": 1e9} {
			if slices.Contains(header, name) {
				scale = k
			}
		}
		if scale == 0 || !slices.Contains(header, "target_db") {
			return errors.New("a target curve has the columns freq_hz, freq_khz, freq_mhz or freq_ghz, and target_db")
		}
		return nil
	}, func(cell func(...string) string) error {
		hz, err := number(cell("freq_hz", "freq_khz", "freq_mhz", "freq_ghz"))
		if err != nil || hz <= 0 {
			return fmt.Errorf("frequency %q: a number above 0 is wanted", cell("freq_hz", "freq_khz", "freq_mhz", "freq_ghz"))
		}
		db, err := number(cell("target_db"))
		if err != nil {
			return fmt.Errorf("target_db %q: %w", cell("target_db"), err)
		}
		t.curve = append(t.curve, targetPoint{hz * scale, db})
		return nil
	})
	if err != nil {
		return t, err
	}
	if len(t.curve) == 0 {
		return t, fmt.Errorf("%s: no row of data; a target curve needs at least one", s.TargetFile)
	}
	slices.SortStableFunc(t.curve, func(a, b targetPoint) int { return int(math.Copysign(1, a.hz-b.hz)) })
	for i := 1; i < len(t.curve); i++ {
		if t.curve[i].hz == t.curve[i-1].hz {
			return t, fmt.Errorf("%s: frequency %s stands there twice; keep one", s.TargetFile, megahertz(t.curve[i].hz))
		}
	}
	return t, nil
}

// at is the target at a frequency, straight in dB over the logarithm of the
// frequency. Outside the curve there is none.
func (t target) at(hz float64) (float64, error) {
	if t.curve == nil {
		return t.flatDB, nil
	}
	i, exact := slices.BinarySearchFunc(t.curve, hz, func(p targetPoint, f float64) int {
		switch {
		case math.Abs(p.hz-f) <= 1e-6*f:
			return 0
		case p.hz < f:
			return -1
		}
		return 1
	})
	if exact {
		return t.curve[i].db, nil
	}
	if i == 0 || i == len(t.curve) {
		return 0, fmt.Errorf("%s: no target at %s; the curve reaches from %s to %s: add the missing end, or leave the frequency out with --bands",
			t.file, megahertz(hz), megahertz(t.curve[0].hz), megahertz(t.curve[len(t.curve)-1].hz))
	}
	a, b := t.curve[i-1], t.curve[i]
	w := math.Log(hz/a.hz) / math.Log(b.hz/a.hz)
	return a.db + w*(b.db-a.db), nil
}

// shapes turn the half-width of a distribution into a standard uncertainty (JCGM
// 100:2008, 4.3): u = a / divisor.
var shapes = map[string]float64{"": 1, "normal": 1, "rectangular": math.Sqrt(3), "triangular": math.Sqrt(6),
	"u-shaped": math.Sqrt2, "u": math.Sqrt2}

// asked refuses settings that cannot be meant and fields that cannot be grouped by,
// and reads the target and what is known of the reference.
func (s Settings) asked(by []string) (target, []judge.Source, error) {
	if err := s.check(by); err != nil {
		return target{}, nil, err
	}
	t, err := s.target()
	if err != nil {
		return target{}, nil, &InputError{Err: err}
	}
	budget, err := s.budget()
	if err != nil {
		return target{}, nil, &InputError{Err: err}
	}
	return t, budget, nil
}

// budget reads what the user knows of the error of the shared reference: a session
// SD, or a file with the columns source, u_db, df, shape. u_db is the standard
// uncertainty for shape normal (or empty), the half-width for the other shapes. An
// empty df means that it is taken as known.
func (s Settings) budget() ([]judge.Source, error) {
	if s.SessionSDDB != nil {
		return []judge.Source{{Name: "session SD given", UDB: *s.SessionSDDB, DF: math.Inf(1)}}, nil
	}
	if s.BudgetFile == "" {
		return nil, nil
	}
	var sources []judge.Source
	err := eachRow(s.BudgetFile, func(header []string) error {
		if !slices.Contains(header, "source") || !slices.Contains(header, "u_db") {
			return errors.New("a budget has the columns source, u_db and, where they apply, df and shape")
		}
		return nil
	}, func(cell func(...string) string) error {
		u, err := number(cell("u_db"))
		if err != nil || u < 0 {
			return fmt.Errorf("u_db %q: a number of dB, 0 or more, is wanted", cell("u_db"))
		}
		df := math.Inf(1)
		if text := cell("df"); text != "" && !strings.EqualFold(text, "inf") {
			if df, err = number(text); err != nil || df < 1 {
				return fmt.Errorf("df %q: degrees of freedom of 1 or more are wanted, or an empty cell", text)
			}
		}
		divisor, ok := shapes[strings.ToLower(cell("shape"))]
		if !ok {
			return fmt.Errorf("shape %q: allowed are normal, rectangular, triangular and u-shaped", cell("shape"))
		}
		sources = append(sources, judge.Source{Name: cell("source"), UDB: u / divisor, DF: df})
		return nil
	})
	if err == nil && len(sources) == 0 {
		err = fmt.Errorf("%s: no row of data; a budget needs at least one source", s.BudgetFile)
	}
	return sources, err
}

// eachRow reads a small settings table: a header, then rows, cells by name.
func eachRow(path string, check func(header []string) error, row func(cell func(...string) string) error) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(f)
	header, err := r.Read()
	if err == io.EOF {
		return fmt.Errorf("%s: the file is empty", path)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	at := make(map[string]int)
	for i, h := range header {
		header[i] = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		at[header[i]] = i
	}
	if err := check(header); err != nil {
		return fmt.Errorf("%s:1: %w", path, err)
	}
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		line, _ := r.FieldPos(0)
		err = row(func(names ...string) string {
			for _, n := range names {
				if i, ok := at[n]; ok {
					return strings.TrimSpace(cells[i])
				}
			}
			return ""
		})
		if err != nil {
			return fmt.Errorf("%s:%d: %w", path, line, err)
		}
	}
}

// number is strict: no NaN, infinity, hexadecimal or underscores.
func number(text string) (float64, error) {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(text, "xX_") {
		return 0, errors.New("not a number")
	}
	return x, nil
}
