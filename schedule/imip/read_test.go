package imip

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

const token = "mg5673iq37pqza5dil347mczdkya"

// The events of RFC 5546, 4.2.2 (a reply) and 4.2.3 (a counter-proposal), from
// memory, with their line ends.
const (
	rfcReply = `BEGIN:VCALENDAR
PRODID:-//Example/ExampleCalendarClient//EN
METHOD:REPLY
VERSION:2.0
BEGIN:VEVENT
ATTENDEE;PARTSTAT=ACCEPTED:mailto:b@example.com
ORGANIZER:mailto:a@example.com
UID:calsrv.example.com-873970198738777@example.com
SEQUENCE:0
REQUEST-STATUS:2.0;Success
DTSTAMP:19970612T190000Z
END:VEVENT
END:VCALENDAR
`
	rfcCounter = `BEGIN:VCALENDAR
PRODID:-//Example/ExampleCalendarClient//EN
METHOD:COUNTER
VERSION:2.0
BEGIN:VEVENT
ORGANIZER:mailto:a@example.com
ATTENDEE;ROLE=CHAIR;PARTSTAT=ACCEPTED:mailto:a@example.com
ATTENDEE;RSVP=TRUE;CUTYPE=INDIVIDUAL:mailto:b@example.com
DTSTART:19970701T160000Z
DTEND:19970701T190000Z
DTSTAMP:19970612T190000Z
SUMMARY:Discuss the Merits of the election results
LOCATION:Green Conference Room
COMMENT:This time works much better
UID:calsrv.example.com-873970198738777a@example.com
SEQUENCE:0
END:VEVENT
END:VCALENDAR
`
)

func crlf(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") }

// mailWith is a mail as a calendar program sends it (RFC 6047 4.1).
func mailWith(method, calendar string, change ...string) []byte {
	m := `From: Yard <yard@brace.example>
To: Quillmere Solar <answers+` + token + `@firm.example>
Message-ID: <1@brace.example>
Subject: Accepted
MIME-Version: 1.0
Content-Type: multipart/alternative; boundary="b"

--b
Content-Type: text/plain; charset=utf-8

Fine with us.
--b
Content-Type: text/calendar; charset=utf-8; method=` + method + `

` + calendar + `--b--
`
	for i := 0; i+1 < len(change); i += 2 {
		m = strings.Replace(m, change[i], change[i+1], 1)
	}
	return []byte(crlf(m))
}

func TestTheStandardsExamplesAreRead(t *testing.T) {
	t.Parallel()
	a, err := Read(mailWith("REPLY", rfcReply))
	if err != nil || a.Kind != Accepted || a.UID != "calsrv.example.com-873970198738777@example.com" || a.Sequence != 0 || a.Token != token || a.MailID != "1@brace.example" {
		t.Errorf("the reply is read as %+v, %v", a, err)
	}
	a, err = Read(mailWith("COUNTER", rfcCounter))
	if err != nil || a.Kind != Counter || !a.OfferedAt.Equal(time.Date(1997, 7, 1, 16, 0, 0, 0, time.UTC)) || a.OfferedOn.Known() {
		t.Errorf("the counter-proposal is read as %+v, %v", a, err)
	}
	a, err = Read(mailWith("COUNTER", rfcCounter, "DTSTART:19970701T160000Z", "DTSTART;VALUE=DATE:19970702", "DTEND:19970701T190000Z", "DTEND;VALUE=DATE:19970703"))
	if err != nil || a.OfferedOn != civil.On(1997, 7, 2) {
		t.Errorf("a whole day is read as %+v, %v", a, err)
	}
	// 23:30 in London on 1 July is another day in UTC: the clock that was meant counts.
	a, err = Read(mailWith("COUNTER", rfcCounter, "DTSTART:19970701T160000Z", "DTSTART;TZID=Europe/London:19970701T003000"))
	if err != nil || a.OfferedOn != civil.On(1997, 7, 1) {
		t.Errorf("a time in a zone is read as %+v, %v", a, err)
	}
	a, err = Read(mailWith("REPLY", rfcReply, "PARTSTAT=ACCEPTED", "PARTSTAT=DECLINED"))
	if err != nil || a.Kind != Declined {
		t.Errorf("a refusal is read as %+v, %v", a, err)
	}
}

// A delivery report in the form of RFC 3464, 5.1 (its example, shortened).
const report = `From: <MAILER-DAEMON@CS.UTK.EDU>
Message-Id: <199407072116.RAA14128@CS.UTK.EDU>
To: <answers+` + token + `@firm.example>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="RAA14128.773615765/CS.UTK.EDU"

--RAA14128.773615765/CS.UTK.EDU

The original message was received at Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: failed
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/rfc822

Message-ID: <booking.1.booking-new.abc@toeboard.invalid>
Subject: Scaffold

Hello.

--RAA14128.773615765/CS.UTK.EDU--
`

func TestADeliveryReportIsRead(t *testing.T) {
	t.Parallel()
	a, err := Read([]byte(crlf(report)))
	if err != nil || a.Kind != Bounced || a.BounceOf != "booking.1.booking-new.abc@toeboard.invalid" || a.Says != "4.0.0 426 connection timed out" || a.Token != token {
		t.Errorf("read as %+v, %v", a, err)
	}
	if _, err := Read([]byte(crlf(strings.Replace(report, "Action: failed", "Action: delayed", 1)))); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a delay counts: %v", err)
	}
}

// Everything else is refused by name.
func TestHostileMailIsRefused(t *testing.T) {
	t.Parallel()
	nested := "Content-Type: text/plain\n\nx\n"
	for i := range 30 {
		b := strings.Repeat("n", i+1)
		nested = "Content-Type: multipart/mixed; boundary=" + b + "\n\n--" + b + "\n" + nested + "--" + b + "--\n"
	}
	many := "Content-Type: multipart/mixed; boundary=b\n\n" + strings.Repeat("--b\n\nx\n", 500) + "--b--\n"
	for name, c := range map[string]struct {
		mail  []byte
		field string
	}{
		"huge":                        {bytes.Repeat([]byte("a"), MaxBytes+1), "size"},
		"nested":                      {[]byte(crlf(nested)), "mail"},
		"many parts":                  {[]byte(crlf(many)), "mail"},
		"words only":                  {[]byte("To: a@b.example\r\n\r\nYes, fine."), "mail"},
		"nothing":                     {nil, "mail"},
		"an unknown charset":          {mailWith("REPLY", rfcReply, "text/calendar; charset=utf-8", "text/calendar; charset=klingon"), "charset"},
		"no token":                    {mailWith("REPLY", rfcReply, "answers+"+token, "answers"), "address"},
		"two tokens":                  {mailWith("REPLY", rfcReply, "ORGANIZER:mailto:a@", "ORGANIZER:mailto:a+"+strings.Repeat("a", 28)+"@"), "address"},
		"a token that is short":       {mailWith("REPLY", rfcReply, token, "short"), "address"},
		"another method outside":      {mailWith("REQUEST", rfcReply), "METHOD"},
		"an invitation":               {mailWith("REQUEST", strings.Replace(rfcReply, "REPLY", "REQUEST", 1)), "METHOD"},
		"perhaps":                     {mailWith("REPLY", rfcReply, "PARTSTAT=ACCEPTED", "PARTSTAT=TENTATIVE"), "PARTSTAT"},
		"two who answer":              {mailWith("REPLY", rfcReply, "ORGANIZER:mailto:a@example.com\n", "ORGANIZER:mailto:a@example.com\nATTENDEE;PARTSTAT=DECLINED:mailto:c@example.com\n"), "ATTENDEE"},
		"two events":                  {mailWith("REPLY", strings.Replace(rfcReply, "END:VEVENT\n", "END:VEVENT\nBEGIN:VEVENT\nUID:2\nDTSTAMP:19970612T190000Z\nEND:VEVENT\n", 1)), "calendar"},
		"two calendars":               {mailWith("REPLY", rfcReply+rfcReply), "calendar"},
		"a calendar that is cut off":  {mailWith("REPLY", rfcReply[:150]+"\n"), "calendar"},
		"no UID":                      {mailWith("REPLY", rfcReply, "UID:calsrv.example.com-873970198738777@example.com\n", ""), "UID"},
		"a sequence below nought":     {mailWith("REPLY", rfcReply, "SEQUENCE:0", "SEQUENCE:-1"), "SEQUENCE"},
		"a day that is none":          {mailWith("COUNTER", rfcCounter, "DTSTART:19970701T160000Z", "DTSTART;VALUE=DATE:19970231"), "DTSTART"},
		"a zone that nobody knows":    {mailWith("COUNTER", rfcCounter, "DTSTART:19970701T160000Z", "DTSTART;TZID=Middle Earth:19970701T160000"), "DTSTART"},
		"an offer without a day":      {mailWith("COUNTER", rfcCounter, "DTSTART:19970701T160000Z\n", ""), "DTSTART"},
		"base64 that is none":         {mailWith("REPLY", rfcReply, "method=REPLY\n", "method=REPLY\nContent-Transfer-Encoding: base64\n"), "text/calendar"},
		"a report without its letter": {[]byte(crlf(strings.Replace(report, "Message-ID: <booking", "X: <booking", 1))), "report"},
	} {
		t.Run(name, func(t *testing.T) {
			a, err := Read(c.mail)
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Invalid || f.Field != c.field {
				t.Errorf("it is read as %+v, %v; want a refusal of %s", a, err, c.field)
			}
		})
	}
}

func FuzzRead(f *testing.F) {
	f.Add(mailWith("REPLY", rfcReply))
	f.Add(mailWith("COUNTER", rfcCounter))
	f.Add([]byte(crlf(report)))
	f.Fuzz(func(t *testing.T, raw []byte) {
		a, err := Read(raw)
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Fatalf("an error that is no refusal: %v", err)
			}
			return
		}
		if len(a.Token) < 26 {
			t.Fatalf("taken without a token: %+v", a)
		}
		switch a.Kind {
		case Accepted, Declined:
		case Counter:
			if !a.OfferedOn.Known() && a.OfferedAt.IsZero() {
				t.Fatalf("an offer without a day: %+v", a)
			}
		case Bounced:
			if a.BounceOf == "" {
				t.Fatalf("a report without its letter: %+v", a)
			}
		default:
			t.Fatalf("taken as %+v", a)
		}
		if a.Kind != Bounced && (a.UID == "" || a.Sequence < 0) {
			t.Fatalf("taken as %+v", a)
		}
	})
}
