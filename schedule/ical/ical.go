// Package ical writes a feed of whole-day bookings as RFC 5545 has it. It knows
// no jobs and no database, so that any room can publish days by it.
//
// A subscribed calendar asks again and again. The bytes are therefore a
// function of the events alone: no clock is read, and the same events in any
// order give the same bytes, so that an unchanged feed can answer 304.
//
// The feed carries no METHOD. PUBLISH would need an ORGANIZER (RFC 5546 3.2.1),
// and a plain subscribed calendar needs neither. Whole days are VALUE=DATE: a
// date has no zone, so no clock change can move a booking. Hours stand in local
// time with their zone beside them.
package ical

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Status is how sure an event is. The zero value is unknown and is refused.
type Status int

// The statuses of RFC 5545 3.8.1.11 for an event.
const (
	StatusUnknown Status = iota
	Tentative
	Confirmed
	Cancelled
)

var statusNames = [...]string{"", "TENTATIVE", "CONFIRMED", "CANCELLED"}

// String writes the status as RFC 5545 spells it; empty for unknown.
func (s Status) String() string {
	if s < 0 || int(s) >= len(statusNames) {
		return ""
	}
	return statusNames[s]
}

// cancelledMark stands before the summary of a cancelled event, because several
// calendars show one as if it were live unless its words say otherwise.
const cancelledMark = "CANCELLED: "

// Event is one booking of whole days, or one visit with its hours.
type Event struct {
	UID       string    // for life; unique in the feed
	Sequence  int       // rises with every change of days or status, never falls
	ChangedAt time.Time // UTC; the last change of anything written here
	Status    Status
	FirstDay  civil.Date
	LastDay   civil.Date // inclusive; the feed writes the exclusive end
	Hours     Hours      // of an event that has hours; zero = it is of whole days
	Summary   string     // without a mark for cancelled ones: Bytes adds it
	Location  string     // postal address; may be empty
	Lines     []string   // the description, a line each
	Lat, Lon  float64    // [degrees] WGS 84; both 0 = not known
}

// Feed is one calendar that a client subscribes to.
type Feed struct {
	Name   string        // shown as the calendar's name
	Every  time.Duration // how often a client should ask, in whole minutes; 0 = one hour
	Events []Event       // any order
}

// LastModified gives the newest change in the feed, in whole seconds of UTC as
// HTTP counts; the zero time when the feed is empty.
func (f Feed) LastModified() time.Time {
	var newest time.Time
	for _, e := range f.Events {
		if e.ChangedAt.After(newest) {
			newest = e.ChangedAt
		}
	}
	return newest.UTC().Truncate(time.Second)
}

// Bytes writes the feed: CRLF line ends, lines folded at 75 octets between
// UTF-8 characters, events by first day and UID. It refuses events that a
// client would drop or mix up, each named, rather than write them.
func (f Feed) Bytes() ([]byte, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	cal := &ics.Calendar{}
	cal.SetVersion("2.0")
	cal.SetProductId("-//toeboard//scaffold bookings//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetName(plain(f.Name)) // NAME (RFC 7986 5.1) and X-WR-CALNAME
	every := duration(f.Every)
	cal.SetRefreshInterval(every) // RFC 7986 5.7; writes VALUE=DURATION
	cal.SetXPublishedTTL(every)
	if len(f.Events) == 0 {
		cal.Components = append(cal.Components, utcZone())
	}
	for _, z := range zones(f.Events) {
		cal.Components = append(cal.Components, z)
	}
	for _, e := range sorted(f.Events) {
		cal.AddVEvent(e.component())
	}
	var out bytes.Buffer
	if err := cal.SerializeTo(&out, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("write the calendar %q: %w", f.Name, err)
	}
	return out.Bytes(), nil
}

func sorted(events []Event) []Event {
	events = slices.Clone(events)
	slices.SortFunc(events, func(a, b Event) int {
		if a.FirstDay != b.FirstDay {
			return int(a.FirstDay) - int(b.FirstDay)
		}
		return strings.Compare(a.UID, b.UID)
	})
	return events
}

func (e Event) component() *ics.VEvent {
	v := ics.NewEvent(e.UID)
	v.SetDtStampTime(e.ChangedAt)
	v.SetModifiedAt(e.ChangedAt)
	v.SetSequence(e.Sequence)
	v.SetStatus(ics.ObjectStatus(e.Status.String()))
	v.SetAllDayStartAt(e.FirstDay.At(0, 0, time.UTC))
	v.SetAllDayEndAt((e.LastDay + 1).At(0, 0, time.UTC)) // DTEND is exclusive (RFC 5545 3.6.1)
	// An event spans the days on which a scaffold stands, not the hours a gang is
	// busy; and a cancelled one must not block a day in any client.
	v.SetTimeTransparency(ics.TransparencyTransparent)
	if e.timed() {
		e.Hours.write(v)
	}
	if e.Status == Cancelled {
		v.SetTimeTransparency(ics.TransparencyTransparent)
	}
	summary := plain(e.Summary)
	if e.Status == Cancelled {
		summary = cancelledMark + summary
	}
	v.SetSummary(summary)
	if where := plain(e.Location); where != "" {
		v.SetLocation(where)
	}
	if text := plain(strings.Join(e.Lines, "\n")); text != "" {
		v.SetDescription(text)
	}
	if e.Lat != 0 || e.Lon != 0 {
		v.SetGeo(degrees(e.Lat), degrees(e.Lon))
	}
	return v
}

// degrees writes six decimals, as RFC 5545 3.8.1.6 asks: a tenth of a metre.
func degrees(d float64) string { return strconv.FormatFloat(d, 'f', 6, 64) }

// duration writes RFC 5545 3.3.6, in hours and minutes.
func duration(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	if minutes <= 0 {
		minutes = 60
	}
	switch {
	case minutes%60 == 0:
		return fmt.Sprintf("PT%dH", minutes/60)
	case minutes < 60:
		return fmt.Sprintf("PT%dM", minutes)
	}
	return fmt.Sprintf("PT%dH%dM", minutes/60, minutes%60)
}

// utcZone stands in a calendar without events. RFC 5545 3.6 wants at least one
// component, and a reader that refuses an empty calendar would keep showing
// bookings that are gone.
func utcZone() *ics.VTimezone {
	zone := ics.NewTimezone("UTC")
	standard := &ics.Standard{}
	standard.SetProperty(ics.ComponentPropertyDtStart, "19700101T000000")
	standard.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), "+0000")
	standard.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), "+0000")
	zone.Components = append(zone.Components, standard)
	return zone
}

// plain makes text that RFC 5545 can carry: LF for every line end, no other
// control character, no blanks at the ends of lines (some readers drop them),
// valid UTF-8. The library escapes and folds what is left; it would pass a bare
// CR through and count a broken character wrongly.
func plain(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ").Replace(s)
	s = strings.Map(func(r rune) rune {
		if r != '\n' && (r < 0x20 || r >= 0x7f && r < 0xa0) {
			return -1
		}
		return r
	}, s)
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = strings.Trim(lines[i], " ")
	}
	return strings.Trim(strings.Join(lines, "\n"), "\n")
}

func (f Feed) check() error {
	if plain(f.Name) == "" {
		return fault.Bad("calendar name", f.Name, "give the calendar a name, so that a client can show it")
	}
	seen := map[string]bool{}
	for _, e := range f.Events {
		if seen[e.UID] {
			return fault.Bad("UID", e.UID, "each booking has its own: of two events with one UID a client shows one")
		}
		seen[e.UID] = true
		if err := e.check(); err != nil {
			return err
		}
	}
	return nil
}

func (e Event) check() error {
	of := func(field string) string { return field + " of " + e.UID }
	switch {
	case e.UID == "" || plain(e.UID) != e.UID || strings.ContainsAny(e.UID, " \n"):
		return fault.Bad("UID", e.UID, "a name without blanks, for life")
	case !e.FirstDay.Known():
		return fault.Bad(of("first day"), "", "a day such as 2026-12-31")
	case !e.LastDay.Known() || e.LastDay < e.FirstDay:
		return fault.Bad(of("last day"), e.LastDay.String(), "a day from "+e.FirstDay.String()+" on")
	case e.Sequence < 0:
		return fault.Bad(of("sequence"), strconv.Itoa(e.Sequence), "0 or more")
	case e.ChangedAt.IsZero():
		return fault.Bad(of("change time"), "", "the time of its last change: a client tells versions apart by it")
	case e.Status.String() == "":
		return fault.Bad(of("status"), "", "tentative, confirmed or cancelled")
	case e.timed() && e.Hours.check(of) != nil:
		return e.Hours.check(of)
	case plain(e.Summary) == "":
		return fault.Bad(of("summary"), e.Summary, "a few words that say what is booked")
	}
	return nil
}
