package ical

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	ics "github.com/arran4/golang-ical"

	"toeboard/weather/fault"
)

// Hours are the clock times of an event that is not of whole days, in a zone
// that readers are told in the feed itself (RFC 5545 3.6.5).
type Hours struct {
	From, To time.Time // To is exclusive
	Zone     *time.Location
}

// timed tells whether the event has hours.
func (e Event) timed() bool { return !e.Hours.From.IsZero() }

func (h Hours) check(of func(string) string) error {
	switch {
	case h.Zone == nil || h.Zone.String() == "" || h.Zone.String() == "Local":
		return fault.Bad(of("zone"), "", "an IANA zone such as Europe/London")
	case !h.To.After(h.From):
		return fault.Bad(of("end"), h.To.String(), "after "+h.From.String())
	}
	return nil
}

// localTime is RFC 5545 3.3.5, form 3: local time with a zone beside it.
const localTime = "20060102T150405"

func (h Hours) write(v *ics.VEvent) {
	name := ics.WithTZID(h.Zone.String())
	v.SetProperty(ics.ComponentPropertyDtStart, h.From.In(h.Zone).Format(localTime), name)
	v.SetProperty(ics.ComponentPropertyDtEnd, h.To.In(h.Zone).Format(localTime), name)
	v.SetTimeTransparency(ics.TransparencyOpaque)
}

// zones writes a VTIMEZONE for each zone of the timed events, with the changes
// of the clock between the first and the last of them, and nothing that depends
// on when it is asked for.
func zones(events []Event) []*ics.VTimezone {
	span := map[string]Hours{}
	var names []string
	for _, e := range events {
		if !e.timed() {
			continue
		}
		name := e.Hours.Zone.String()
		s, seen := span[name]
		if !seen {
			names, s = append(names, name), e.Hours
		}
		if e.Hours.From.Before(s.From) {
			s.From = e.Hours.From
		}
		if e.Hours.To.After(s.To) {
			s.To = e.Hours.To
		}
		span[name] = s
	}
	slices.Sort(names)
	var all []*ics.VTimezone
	for _, name := range names {
		all = append(all, span[name].vtimezone())
	}
	return all
}

// vtimezone lists the stretches of one offset that the span touches, each by the
// local time at which it began, told in the offset before it.
func (h Hours) vtimezone() *ics.VTimezone {
	zone := ics.NewTimezone(h.Zone.String())
	for t := h.From; !t.After(h.To); {
		began, ends := t.In(h.Zone).ZoneBounds()
		name, to := t.In(h.Zone).Zone()
		before, at := to, "19700101T000000"
		if !began.IsZero() {
			_, before = began.Add(-time.Second).In(h.Zone).Zone()
			at = began.UTC().Add(time.Duration(before) * time.Second).Format(localTime)
		}
		var part interface {
			SetProperty(ics.ComponentProperty, string, ...ics.PropertyParameter)
		}
		if t.In(h.Zone).IsDST() {
			d := &ics.Daylight{}
			part, zone.Components = d, append(zone.Components, d)
		} else {
			s := &ics.Standard{}
			part, zone.Components = s, append(zone.Components, s)
		}
		part.SetProperty(ics.ComponentPropertyDtStart, at)
		part.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), offset(before))
		part.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), offset(to))
		part.SetProperty(ics.ComponentProperty(ics.PropertyTzname), name)
		if ends.IsZero() {
			break
		}
		t = ends
	}
	return zone
}

// offset writes RFC 5545 3.3.14.
func offset(seconds int) string {
	sign := "+"
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	text := fmt.Sprintf("%s%02d%02d", sign, seconds/3600, seconds/60%60)
	if rest := seconds % 60; rest != 0 {
		text += strconv.Itoa(rest)
	}
	return text
}
