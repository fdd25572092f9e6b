package main

import (
	"errors"
	"math"
	"os"

	"sealbound/cmd/internal/study"
)

// readingOptions are the flags that concern the reading of a campaign.
func readingOptions(s *study.Settings) []option {
	return inSection("Reading",
		numeral("floor-margin", "DB", "a closed reading nearer to the floor is limited (6)",
			"a number of dB from 0 to 100, such as 6", 0, 100, false, &s.FloorMarginDB),
		optionalNumeral("floor", "DBM", "the receiver's floor where the data give none",
			"a level in dBm, such as -95", -400, 400, false, &s.FloorDBM),
		toggle("no-floor", "vouch that the readings are clear of the floor", &s.NoFloor),
		numeral("drift", "DB", "an open reference that moved by more is left out (3)",
			"a number of dB above 0, such as 3", 0, 1000, true, &s.DriftDB),
		toggle("keep-drifted", "keep the runs whose reference moved by more", &s.KeepDrifted),
		numeral("freq-match", "PPM", "frequencies this close are one point (1)",
			"parts per million from 0 to 10000, such as 1", 0, 10000, false, &s.FreqMatchPPM),
		toggle("skip-bad-rows", "go on without the rows that have a problem; they are counted", &s.SkipBadRows),
	)
}

// choosingOptions are the flags that choose among what was read.
func choosingOptions(s *study.Settings) []option {
	return inSection("Choosing",
		words("box", "BOX,...", "only these boxes", &s.Box),
		words("gasket", "GASKET,...", "only these gaskets", &s.Gasket),
		date("since", "only from this day on", &s.Since),
		date("until", "only up to this day", &s.Until),
		days("within", "of each box, the sessions this close to its last one (90d)", &s.Within),
		toggle("all-dates", "pool all sessions: an average over the years", &s.AllDates),
	)
}

var bounds = []string{"mean", "weakest", "coverage", "next"}

// judgingOptions are the flags that say what is asked.
func judgingOptions(s *study.Settings) []option {
	family := choice("family", "correct for picking the rows that clear (none)", []string{"none", "holm"}, &s.Family)
	set := family.set
	family.set = func(text string) error {
		err := set(text)
		if text == "none" {
			s.Family = ""
		}
		return err
	}
	return inSection("Judging",
		option{name: "target", value: "DB|FILE", usage: "attenuation wanted, or a file with a curve of it (50)", set: func(text string) error {
			return setTarget(text, s)
		}},
		offering(text("bands", "BANDS", "itu, each, all, or NAME=LO-HI,... in MHz (itu)", &s.Bands), "itu", "each", "all"),
		offering(words("by", "FIELD,...", "what makes a group (gasket,box)", &s.By), study.GroupFields()...),
		choice("on", "the bound that decides (mean)", bounds, &s.On),
		numeral("confidence", "SHARE", "of each bound, one-sided (0.95)",
			"a share from 0.5 to below 1, such as 0.95", math.Nextafter(0.5, 0), 1, true, &s.Confidence),
		numeral("coverage", "SHARE", "of closings above the coverage bound (0.90)",
			"a share between 0 and 1, such as 0.90", 0, 1, true, &s.Coverage),
		choice("average", "over the points of a band, of dB or of leaked power (db)", []string{"db", "power"}, &s.Average),
		optionalNumeral("session-sd", "DB", "spread of the open reference from session to session",
			"a number of dB from 0 to 100, such as 0.8", 0, 100, false, &s.SessionSDDB),
		text("budget", "FILE", "uncertainty budget of the reference: source, u_db, df, shape", &s.BudgetFile),
		toggle("this-setup", "accept a verdict that holds in this set-up only", &s.ThisSetup),
		numeral("limited-raise", "DB", "how far limited readings are raised before falling short is said (20)",
			"a number of dB from 0 to 200, such as 20", 0, 200, false, &s.LimitedRaiseDB),
		family,
		offering(words("pool", "FIELD,...", "pool readings that differ in these fields, such as receiver", &s.Pool), study.PoolFields()...),
		seed("seed", "of the random draws (1)", &s.Seed),
		toggle("explain", "show each number's formula with its values", &s.Explain),
	)
}

func setTarget(text string, s *study.Settings) error {
	const allowed = "a number of dB above 0, such as 50, or a file with freq_mhz and target_db"
	if x, err := parseNumber(text); err == nil {
		if x <= 0 || x > 400 {
			return errors.New(allowed)
		}
		s.TargetDB, s.TargetFile = x, ""
		return nil
	}
	if info, err := os.Stat(text); err != nil || info.IsDir() {
		return errors.New(allowed + "; there is no such file")
	}
	s.TargetFile = text
	return nil
}

// contradictions answers flags that cannot be meant together.
func contradictions(s study.Settings) error {
	switch {
	case s.NoFloor && s.FloorDBM != nil:
		return usage("--floor and --no-floor contradict each other: give one of them")
	case s.SessionSDDB != nil && s.BudgetFile != "":
		return usage("--session-sd and --budget both give the uncertainty of the reference: give one of them")
	case !s.Since.IsZero() && !s.Until.IsZero() && s.Until.Before(s.Since):
		return usage("--until %s lies before --since %s: nothing is left", s.Until.Format("2006-01-02"), s.Since.Format("2006-01-02"))
	}
	return nil
}
