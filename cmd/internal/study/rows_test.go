package study

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// More rows than a result holds are refused by each command that has rows for
// groups, with what makes fewer; grouped otherwise the same data are answered.
func TestMostRows(t *testing.T) {
	defer func(n int) { mostRows = n }(mostRows)
	mostRows = 10
	var in strings.Builder
	in.WriteString("run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm\nr,2031-05-04,,,,open,100,-30,\n")
	for b := range 11 {
		for c := range 2 {
			fmt.Fprintf(&in, "r,2031-05-04,box-%d,felt,%d,closed,100,-9%d,-130\n", b, c, (b+c)%10)
		}
	}
	for name, f := range map[string]func(context.Context, Settings) error{
		"judge":  func(ctx context.Context, s Settings) error { _, err := Judge(ctx, []string{"-"}, s); return err },
		"spread": func(ctx context.Context, s Settings) error { _, err := Spread(ctx, []string{"-"}, s); return err },
		"wear":   func(ctx context.Context, s Settings) error { _, err := Wear(ctx, []string{"-"}, s); return err },
	} {
		s := DefaultSettings()
		s.Stdin, s.By = strings.NewReader(in.String()), []string{"box"}
		var use *UsageError
		if err := f(context.Background(), s); !errors.As(err, &use) || use.Flag != "by" || !strings.Contains(err.Error(), "11 groups in 1 band") {
			t.Errorf("%s: %v", name, err)
		}
		s.Stdin, s.By = strings.NewReader(in.String()), []string{"gasket"}
		if err := f(context.Background(), s); err != nil {
			t.Errorf("%s by gasket: %v", name, err)
		}
	}
}
