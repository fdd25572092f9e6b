package cell

import "time"

// A Day is a civil date, counted in days since 1970-01-01. NoDay is none.
type Day int32

// NoDay stands where a date is not given.
const NoDay Day = -1 << 31

// Time is the day's midnight UTC; the zero Time for NoDay.
func (d Day) Time() time.Time {
	if d == NoDay {
		return time.Time{}
	}
	return time.Unix(int64(d)*86400, 0).UTC()
}

// String writes the day as 2026-05-04; NoDay is empty.
func (d Day) String() string {
	if d == NoDay {
		return ""
	}
	return d.Time().Format("2006-01-02")
}

// firstYear is the first whole year of the Gregorian calendar, below which
// ISO 8601 asks for an agreement between sender and reader.
const firstYear = 1583

// ParseDay reads an ISO 8601 date, such as 2026-05-04. Of a timestamp
// (2026-05-04T23:10:05+02:00) it takes the date as written, whatever the zone.
// A date that the calendar lacks is a fault.
func ParseDay(b []byte) (Day, *Fault) {
	if len(b) == 0 {
		return NoDay, &Fault{"is empty", "write a date such as 2026-05-04"}
	}
	wrong := &Fault{"is not a date", "write it as year-month-day, such as 2026-05-04"}
	if len(b) < 10 || b[4] != '-' || b[7] != '-' || !allDigits(b[:4]) || !allDigits(b[5:7]) || !allDigits(b[8:10]) {
		return NoDay, wrong
	}
	if len(b) > 10 && !timeOfDay(b[10:]) {
		return NoDay, wrong
	}
	year, month, day := number(b[:4]), number(b[5:7]), number(b[8:10])
	if month < 1 || month > 12 || day < 1 || day > monthDays(year, month) {
		return NoDay, &Fault{"is a date that the calendar does not have", "correct it; the order is year-month-day"}
	}
	if year < firstYear {
		return NoDay, &Fault{"lies before the calendar in use", "write the year in four digits"}
	}
	return dayOf(year, month, day), nil
}

var monthLengths = [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func monthDays(year, month int) int {
	if month == 2 && year%4 == 0 && (year%100 != 0 || year%400 == 0) {
		return 29
	}
	return monthLengths[month-1]
}

// dayOf counts the days of the Gregorian calendar from 1970-01-01. Counted from
// March, the leap day ends the year, and the months before month m of the year have
// (153 m + 2)/5 days.
func dayOf(year, month, day int) Day {
	if month -= 3; month < 0 {
		month += 12
		year--
	}
	const marchFirst = 719468 // days from 0000-03-01 to 1970-01-01
	return Day(365*year + year/4 - year/100 + year/400 + (153*month+2)/5 + day - 1 - marchFirst)
}

// timeOfDay accepts T or a blank, hh:mm, optional seconds with a fraction, and
// an optional zone.
func timeOfDay(b []byte) bool {
	if len(b) < 6 || (b[0] != 'T' && b[0] != 't' && b[0] != ' ') || b[3] != ':' || !twoDigits(b[1:3], 24) || !twoDigits(b[4:6], 59) {
		return false
	}
	b = b[6:]
	if len(b) >= 3 && b[0] == ':' && twoDigits(b[1:3], 60) {
		b = b[3:]
		if len(b) > 1 && (b[0] == '.' || b[0] == ',') && b[1] >= '0' && b[1] <= '9' {
			b = b[1:]
			for len(b) > 0 && b[0] >= '0' && b[0] <= '9' {
				b = b[1:]
			}
		}
	}
	switch {
	case len(b) == 0, len(b) == 1 && (b[0] == 'Z' || b[0] == 'z'):
		return true
	case b[0] != '+' && b[0] != '-', len(b) < 3, !twoDigits(b[1:3], 24):
		return false
	}
	b = b[3:]
	if len(b) == 3 && b[0] == ':' {
		b = b[1:]
	}
	return len(b) == 0 || len(b) == 2 && twoDigits(b, 59)
}

func twoDigits(b []byte, most int) bool { return allDigits(b) && number(b) <= most }

func number(b []byte) int {
	n := 0
	for _, c := range b {
		n = n*10 + int(c-'0')
	}
	return n
}
