package web

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Day is a date as 2026-12-03 (ISO 8601); "" is a date that is not known. It
// has no zone and no hour.
type Day string

func (d Day) parsed() (time.Time, bool) {
	t, err := time.Parse(time.DateOnly, string(d))
	return t, err == nil
}

// Known tells whether the day is a real one.
func (d Day) Known() bool { _, ok := d.parsed(); return ok }

func (d Day) format(layout string) string {
	t, ok := d.parsed()
	if !ok {
		return "not known"
	}
	return t.Format(layout)
}

// Short writes "Thu 3 Dec", or "not known".
func (d Day) Short() string { return d.format("Mon 2 Jan") }

// Long writes "Thursday 3 December 2026", or "not known".
func (d Day) Long() string { return d.format("Monday 2 January 2006") }

// Full writes "Thu 3 Dec 2026", or "not known".
func (d Day) Full() string { return d.format("Mon 2 Jan 2006") }

// Weekday writes "Thu", or "not known".
func (d Day) Weekday() string { return d.format("Mon") }

// DayMonth writes "3 Dec", or "not known".
func (d Day) DayMonth() string { return d.format("2 Jan") }

// Half is one half-day.
type Half struct {
	Day Day
	PM  bool // false: the morning
}

// String writes "Thu 3 Dec am", or "not known".
func (h Half) String() string {
	switch {
	case !h.Day.Known():
		return "not known"
	case h.PM:
		return h.Day.Short() + " pm"
	default:
		return h.Day.Short() + " am"
	}
}

func (h Half) before(o Half) bool {
	if h.Day != o.Day {
		return h.Day < o.Day
	}
	return !h.PM && o.PM
}

// Num is a number that may not be known. The zero value is not known, so a
// field left out is never drawn as calm and dry.
type Num struct {
	N     float64
	Known bool
}

// N makes a known number.
func N(n float64) Num { return Num{N: n, Known: true} }

// In writes the number to so many decimals with its unit, or "not known".
func (n Num) In(decimals int, unit string) string {
	if !n.Known {
		return "not known"
	}
	return number(n.N, decimals) + "\u00a0" + unit
}

func number(n float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, n)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// Chance is the probability that the weather lets the work run. The zero value
// is unknown.
type Chance struct {
	Known bool
	P     float64 // in (0, 1)
	Basis string  // "17 of 20 forecast members"
}

// Percent is the chance in whole tens of a percent, and 95 for more: forecasts
// with some dozens of members say no more than this. Less than 10 % is rounded
// down to ones, so that 6 % reads as 6 % beside a sentence that says 6 %; less
// than 1 % is 1.
func (c Chance) Percent() int {
	if c.P < 0.1 {
		return max(1, int(100*c.P+1e-9))
	}
	return min(95, int(math.Round(c.P*10))*10)
}

// Words writes "likely (70 %)" or "not known". The words are those of the IPCC
// guidance note on uncertainties (2010, table 1; from memory): very likely from
// 90 %, likely from 66 %, as likely as not from 33 %, unlikely from 10 %. The
// number stands beside the word because words alone are read in many ways.
func (c Chance) Words() string {
	if !c.Known {
		return "not known"
	}
	var word string
	switch p := c.Percent(); {
	case p >= 90:
		word = "very likely"
	case p >= 66:
		word = "likely"
	case p >= 33:
		word = "as likely as not"
	case p >= 10:
		word = "unlikely"
	default:
		word = "very unlikely"
	}
	return fmt.Sprintf("%s (%s)", word, c.Figure())
}

// Figure writes "70 %", "over 95 %", "6 %", "under 1 %" or "not known". A no-break
// space keeps the number and its unit on one line, here and everywhere.
func (c Chance) Figure() string {
	if !c.Known {
		return "not known"
	}
	switch p := c.Percent(); {
	case p >= 95:
		return "over 95\u00a0%"
	case c.P < 0.01:
		return "under 1\u00a0%"
	default:
		return fmt.Sprintf("%d\u00a0%%", p)
	}
}

// Hatch names the pattern that an outdoor bar is filled with: h1 (thinnest) to
// h9 (closest) by the chance in tens of a percent, h0 where it is not known.
func (c Chance) Hatch() string {
	if !c.Known {
		return "h0"
	}
	return fmt.Sprintf("h%d", min(9, max(1, (c.Percent()+5)/10)))
}

// Money is an amount in pence.
type Money int64

// String writes £1,234.56, or −£1,234.56.
func (m Money) String() string {
	sign := ""
	if m < 0 {
		sign, m = "−", -m
	}
	pounds := fmt.Sprint(int64(m / 100))
	for i := len(pounds) - 3; i > 0; i -= 3 {
		pounds = pounds[:i] + "," + pounds[i:]
	}
	return fmt.Sprintf("%s£%s.%02d", sign, pounds, int64(m%100))
}

// Change writes the amount as a difference: "+£20.00", "−£20.00", "no change".
func (m Money) Change() string {
	switch {
	case m == 0:
		return "no change"
	case m > 0:
		return "+" + m.String()
	default:
		return m.String()
	}
}

// State is the answer to one condition. The zero value is Unknown.
type State int

// The states of a condition.
const (
	Unknown State = iota
	NotMet
	Met
)

// String writes the state in words.
func (s State) String() string {
	switch s {
	case Met:
		return "met"
	case NotMet:
		return "not met"
	default:
		return "unknown"
	}
}

// Verdict is what a crew is told. The zero value is NotClear.
type Verdict int

// The verdicts.
const (
	NotClear Verdict = iota
	Clear
)

// String writes the verdict in the words the pages use.
func (v Verdict) String() string {
	if v == Clear {
		return "Clear to start"
	}
	return "Not clear"
}

// Sky is what the weather allows. The zero value is SkyUnknown.
type Sky int

// What the weather allows.
const (
	SkyUnknown Sky = iota
	SkyStop
	SkyCaution
	SkyGo
)

// String writes it in words.
func (s Sky) String() string {
	switch s {
	case SkyStop:
		return "stop"
	case SkyCaution:
		return "caution"
	case SkyGo:
		return "go"
	default:
		return "unknown"
	}
}

// Mark is how a stage is drawn. The zero value is drawn as a question.
type Mark int

// The marks.
const (
	MarkUnknown    Mark = iota
	MarkErect           // a scaffold going up
	MarkStrike          // a scaffold coming down
	MarkOutdoor         // a hatched bar, thinner as its chance falls
	MarkIndoor          // a plain bar
	MarkCommission      // a notch at the end
)

// Progress is how far a stage has come.
type Progress int

// How far a stage has come.
const (
	NotPlanned Progress = iota // no place in the plan
	Planned
	Started
	Done
)

// String writes it in words.
func (p Progress) String() string {
	switch p {
	case Done:
		return "done"
	case Started:
		return "started"
	case Planned:
		return "planned"
	default:
		return "no place in the plan"
	}
}

// Answer is what the lead said to one morning check. The zero value is not
// looked at yet.
type Answer int

// The answers to a morning check, as the form sends them: "not_looked_at",
// "no", "yes".
const (
	NotLookedAt Answer = iota
	No
	Yes
)

// String writes the answer in words.
func (a Answer) String() string {
	switch a {
	case Yes:
		return "yes"
	case No:
		return "no"
	default:
		return "not looked at yet"
	}
}
