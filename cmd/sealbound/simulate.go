package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"sealbound/cmd/internal/campaign"
	"sealbound/cmd/internal/texttab"
)

func simulateCommand() *command {
	o := campaign.DefaultOptions()
	var folder, preset string
	var demo, yardstick, traces, force bool
	return &command{
		name:      "simulate",
		summary:   "a made-up campaign with known truth, in the input format",
		arguments: "-o FOLDER",
		about: "Writes readings of invented boxes and gaskets as CSV, with side tables and, in truth.json, what the simulation put in: to try the tool, to plan, and to see what a bound is worth.\n" +
			"Equal flags and seeds give equal files to the byte. Everything is made up; nothing here was measured.",
		example: "--boxes 4 --sessions 3 -o made-up",
		options: simulateOptions(&o, &folder, &demo, &yardstick, &traces, &force),
		action: func(c call, paths []string) error {
			if len(paths) > 0 {
				return usage("simulate reads nothing, yet %q was given; the folder to write goes after -o", paths[0])
			}
			if folder == "" {
				return usage("no folder given; say where to write with -o FOLDER")
			}
			if isStdout(folder) {
				return badValue("output", folder, "a campaign is several files; name a folder")
			}
			if demo && yardstick {
				return badValue("yardstick", "true", "not together with --demo")
			}
			if traces && (demo || yardstick) {
				return badValue("traces", "true", "not together with --demo or --yardstick")
			}
			settings, layout, err := o.Settings()
			if err != nil {
				return usage("%v", err)
			}
			switch {
			case demo:
				settings, layout = campaign.Demo()
				preset = "the demo campaign"
			case yardstick:
				if settings, layout, err = campaign.Yardstick(o.Files); err != nil {
					return usage("%v", err)
				}
				preset = "the yardstick campaign"
			default:
				preset = "a made-up campaign"
			}
			if traces {
				preset = "the example of an analyser's traces"
				err = campaign.WriteTraces(folder, force)
			} else {
				draw, ended := c.progress()
				if draw != nil {
					layout.Progress = func(done, total int64) { draw("writing", done, total) }
				}
				err = campaign.Write(folder, settings, layout, force)
				ended()
			}
			switch {
			case errors.Is(err, campaign.ErrThere):
				return usage("%v; name another folder, or give --force to replace the files of those names", err)
			case err != nil:
				return err
			}
			shown := texttab.Clean(folder)
			if traces {
				return put(c.stdout, fmt.Sprintf("Wrote %s to %s. Now try: sealbound check %s\n", preset, shown, shown))
			}
			return put(c.stdout, fmt.Sprintf("Wrote %s to %s, seed %d. Now try: sealbound judge %s\n", preset, shown, settings.Seed, shown))
		},
	}
}

// simulateOptions are the flags of simulate, each mapped to one option of the campaign.
func simulateOptions(o *campaign.Options, folder *string, demo, yardstick, traces, force *bool) []option {
	inf := 1000.0 // dB: more is no attenuation
	count := func(name, usage string, least, most int, dst *int) option {
		return whole(name, fmt.Sprintf("%s (%d)", usage, *dst), least, most, dst)
	}
	level := func(name, value, usage string, dst *float64) option {
		return numeral(name, value, fmt.Sprintf("%s (%s)", usage, trimmed(*dst)), "a number from -1000 to 1000", -inf, inf, false, dst)
	}
	sd := func(name, of string, dst *float64) option {
		return numeral(name, "DB", fmt.Sprintf("SD %s (%s)", of, trimmed(*dst)), "a number of dB from 0 to 1000", 0, inf, false, dst)
	}
	frequency := func(name, of string, dst *float64) option {
		return numeral(name, "MHZ", fmt.Sprintf("%s (%s)", of, trimmed(*dst)), "a number of MHz above 0, up to 1e6", 0, 1e6, false, dst)
	}
	part := func(name, of string, dst *float64) option {
		return numeral(name, "SHARE", fmt.Sprintf("%s (%s)", of, trimmed(*dst)), "a share from 0 to below 1", 0, 0.999999, false, dst)
	}
	files := option{name: "files", value: "one|session|run", usage: "how the readings are divided among files (session)", offers: []string{"one", "session", "run"}, set: func(text string) (err error) {
		o.Files, err = campaign.ParseFiles(text)
		return err
	}}
	out := option{name: "output", short: "o", value: "FOLDER", usage: "write here; the folder is made, and must hold no other files of readings", set: func(text string) error {
		*folder = text
		return nil
	}}
	first := date("first", "date of the first session", &o.First)
	groups := [][]option{
		inSection("Where to", out, toggle("force", "replace files of the same names that are there", force), files, count("decimals", "of the levels", 0, 9, &o.Decimals), seed("seed", "equal seeds, equal files (1)", &o.Seed)),
		inSection("Ready-made", toggle("demo", "the demo campaign of testdata/demo", demo),
			toggle("yardstick", "5 million readings, for measuring speed", yardstick),
			toggle("traces", "the traces of two analysers of testdata/traces, with their runs.csv", traces)),
		inSection("What is measured",
			count("products", "gasket products, the as-bought seal among them", 1, 100, &o.Products),
			toggle("as-bought", fmt.Sprintf("one product is the as-bought rubber seal (%v)", o.AsBought), &o.AsBought),
			count("boxes", "test boxes", 1, 100000, &o.Boxes), count("controls", "boxes that are closed once and never opened", 0, 1000, &o.Controls),
			toggle("crossed", fmt.Sprintf("every box carries every product in turn (%v)", o.Crossed), &o.Crossed),
			count("strips", "strips of each product in each box that carries it", 1, 100, &o.Strips),
			count("sessions", "setting-ups of the instruments, each serving all boxes", 1, 10000, &o.Sessions),
			count("every-days", "days from one session to the next", 1, 36525, &o.EveryDay), first,
			count("closings", "of each strip in each session", 1, 10000, &o.Closings),
			count("sweeps", "of each closing", 1, 100, &o.Sweeps),
			count("frequencies", "evenly spaced on a logarithmic scale", 1, 100000, &o.Frequencies),
			frequency("lo-mhz", "lowest frequency", &o.LoMHz), frequency("hi-mhz", "highest frequency", &o.HiMHz),
			count("positions", "of the antenna", 1, 100, &o.Positions), count("polarizations", "1 or 2", 1, 2, &o.Polarized)),
		inSection("Levels",
			level("as-bought-db", "DB", "mean of the as-bought seal", &o.AsBoughtDB), level("mean-db", "DB", "mean of the first conductive product", &o.MeanDB),
			level("step-db", "DB", "from each conductive product to the next", &o.StepDB), level("tilt-db", "DB", "per decade of frequency", &o.TiltDB),
			level("wear-db", "DB", "per year, of every conductive product; negative: it loses", &o.WearDB), sd("slope-sd", "of each strip's own slope, dB per year", &o.SlopeSDDB)),
		inSection("Spread",
			sd("box-sd", "between boxes", &o.BoxSDDB), sd("fitting-sd", "between strips", &o.FittingSDDB), sd("session-sd", "between sessions, common to all boxes", &o.SessionSDDB),
			sd("visit-sd", "between visits", &o.VisitSDDB), sd("closing-sd", "between closings, common to all points", &o.ClosingSDDB),
			sd("point-sd", "of one point in one closing", &o.PointSDDB), sd("profile-sd", "of the fixed profile over points", &o.ProfileSDDB),
			sd("open-sd", "of one open sweep", &o.OpenSDDB), sd("reading-sd", "of one reading", &o.ReadingSDDB), sd("floor-sd", "of one floor reading", &o.FloorSDDB)),
		inSection("What goes wrong",
			part("bad-share", "of closings that are bad", &o.BadShare), numeral("bad-loss", "DB", fmt.Sprintf("mean loss of a bad closing, exponential (%s)", trimmed(o.BadLossDB)), "a number of dB from 0 to 1000", 0, inf, false, &o.BadLossDB),
			part("missing-share", "of closed readings that are lost", &o.MissingShare), part("dropped-share", "of planned closings that do not take place", &o.DroppedShare),
			level("drift-db", "DB", "of the reference in the last box's run of the last session", &o.DriftDB)),
		inSection("The set-up",
			level("open-dbm", "DBM", "open level", &o.OpenDBM), level("floor-dbm", "DBM", "receiver's floor", &o.FloorDBM),
			toggle("no-floor", "no floor is known and none limits", &o.NoFloor), count("open-repeats", "open sweeps of each run", 1, 100, &o.OpenRepeats),
			level("closed-gain-db", "DB", "preamplifier in the closed readings of every second session", &o.ClosedGainDB),
			toggle("shared-reference", "one open reference per session instead of one per box and session", &o.SharedReference),
			part("share", "of future closings that exceed the level in truth.json", &o.Share)),
	}
	var all []option
	for _, g := range groups {
		all = append(all, g...)
	}
	return all
}

// whole is a whole number within [least, most].
func whole(name, usage string, least, most int, dst *int) option {
	return option{name: name, value: "N", usage: usage, set: func(text string) error {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < least || n > most {
			return fmt.Errorf("a whole number from %d to %d", least, most)
		}
		*dst = n
		return nil
	}}
}

// trimmed prints a default in the fewest digits.
func trimmed(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
