package ical

import (
	"bytes"
	"fmt"
	"net/mail"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"toeboard/weather/fault"
)

// Method is what an invitation does (RFC 5546 1.4). The zero value is refused.
type Method string

// The methods that are written and read.
const (
	Request Method = "REQUEST" // new, or changed
	Cancel  Method = "CANCEL"
	Reply   Method = "REPLY"
	Counter Method = "COUNTER" // another day is offered
)

// Party is who asks or is asked.
type Party struct {
	Name    string `json:"name"`
	Address string `json:"address"` // e-mail, without mailto:
}

// Invitation is one booking as it is sent by mail (iTIP, RFC 5546): one UID a
// message, the UID and its sequence those of the feed.
type Invitation struct {
	Method    Method    `json:"method"`
	Event     Event     `json:"event"`
	Organizer Party     `json:"organizer"` // its address is where answers go
	Attendee  Party     `json:"attendee"`
	At        time.Time `json:"at"` // when this message was made: DTSTAMP
}

// Bytes writes the invitation: CRLF, lines folded at 75 octets. It refuses one
// that a client could not answer.
func (v Invitation) Bytes() ([]byte, error) {
	if err := v.check(); err != nil {
		return nil, err
	}
	cal := &ics.Calendar{}
	cal.SetVersion("2.0")
	cal.SetProductId("-//toeboard//scaffold bookings//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetMethod(ics.Method(v.Method))
	e := v.Event.component()
	e.SetDtStampTime(v.At)
	// A scaffold stands there for days; the gang is busy on its first and last.
	e.SetOrganizer("mailto:"+v.Organizer.Address, ics.WithCN(paramText(v.Organizer.Name)))
	asked := []ics.PropertyParameter{ics.WithCN(paramText(v.Attendee.Name)), ics.CalendarUserTypeIndividual, ics.ParticipationRoleReqParticipant}
	if v.Method == Request {
		asked = append(asked, ics.ParticipationStatusNeedsAction, ics.WithRSVP(true))
	}
	e.AddAttendee("mailto:"+v.Attendee.Address, asked...)
	cal.AddVEvent(e)
	var out bytes.Buffer
	if err := cal.SerializeTo(&out, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("write the invitation %s: %w", v.Event.UID, err)
	}
	return out.Bytes(), nil
}

// paramText makes a name fit for a parameter (RFC 5545 3.2), for which no escape
// exists: what would end it becomes a blank.
func paramText(s string) string {
	s = strings.Map(func(r rune) rune {
		if strings.ContainsRune("\n\"^\\,;:", r) {
			return ' '
		}
		return r
	}, plain(s))
	return strings.Join(strings.Fields(s), " ")
}

func (v Invitation) check() error {
	switch v.Method {
	case Request, Cancel:
	default:
		return fault.Bad("method", string(v.Method), "REQUEST or CANCEL")
	}
	if (v.Method == Cancel) != (v.Event.Status == Cancelled) {
		return fault.Bad("status of "+v.Event.UID, v.Event.Status.String(), "CANCELLED with CANCEL, and with nothing else")
	}
	for _, p := range []struct {
		field string
		Party
	}{{"organizer", v.Organizer}, {"attendee", v.Attendee}} {
		a, err := mail.ParseAddress(p.Address)
		if err != nil || a.Address != p.Address || a.Name != "" {
			return fault.Bad(p.field, p.Address, "an e-mail address")
		}
	}
	if v.At.IsZero() {
		return fault.Bad("time of the message", "", "when it was made")
	}
	return v.Event.check()
}
