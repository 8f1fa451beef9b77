// Package imip reads what a scaffold firm's mail program sends back: answers to
// invitations (iMIP, RFC 6047) and reports that a mail could not be delivered
// (RFC 3464). It takes bytes that anybody may have written and gives data or a
// refusal in words; it decides nothing and knows no database.
//
// Who answers is told by a token in the address that is answered to, never by
// the sender: a From is written by whoever writes the mail.
package imip

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"strings"
	"time"

	ics "github.com/emersion/go-ical"
	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset" // mail in the charsets of Europe's and Asia's mail programs

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The most that is read of a mail. An answer is a few kilobytes.
const (
	MaxBytes = 1 << 20
	maxDepth = 8
	maxParts = 60
)

// Kind is what a mail says.
type Kind string

// What a mail can say.
const (
	Accepted Kind = "accepted"
	Declined Kind = "declined"
	Counter  Kind = "counter" // another day is offered
	Bounced  Kind = "bounced" // a mail of ours could not be delivered
)

// Answer is what one mail says.
type Answer struct {
	Kind     Kind
	MailID   string // Message-ID, without angle brackets; may be empty
	From     string // as written; proves nothing
	Token    string // from the address that was answered to
	UID      string // of the event; empty with Bounced
	Sequence int    // of the event as it was answered
	// OfferedOn is the day offered with Counter; when the mail gives a time
	// instead of a day, OfferedAt is it and OfferedOn is NoDate.
	OfferedOn civil.Date
	OfferedAt time.Time
	BounceOf  string // Message-ID of ours that bounced
	Says      string // why it bounced, in the mail server's words
}

// Read reads one mail. Whatever it cannot take as an answer is a fault.Invalid
// that names what is wrong.
func Read(raw []byte) (Answer, error) {
	if len(raw) > MaxBytes {
		return Answer{}, bad("size", fmt.Sprintf("%d bytes", len(raw)), fmt.Sprintf("at most %d bytes: an answer is a few kilobytes", MaxBytes))
	}
	e, err := message.Read(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) && !message.IsUnknownEncoding(err) {
		return Answer{}, bad("mail", "", "a mail as RFC 5322 has it: "+short(err))
	}
	r := &reader{a: Answer{OfferedOn: civil.NoDate}, tokens: map[string]bool{}}
	r.a.MailID = strings.Trim(strings.TrimSpace(e.Header.Get("Message-Id")), "<>")
	r.a.From = addresses(e.Header.Get("From"))
	for _, name := range []string{"To", "Cc", "Delivered-To", "X-Original-To", "Envelope-To"} {
		fields := e.Header.FieldsByKey(name)
		for fields.Next() {
			r.tokensOf(fields.Value())
		}
	}
	if err := r.walk(e, 0); err != nil {
		return r.a, err
	}
	return r.answer()
}

func bad(field, value, want string) error { return fault.Bad(field, value, want) }

func short(err error) string {
	s := strings.Join(strings.Fields(err.Error()), " ")
	if len(s) > 120 {
		s = strings.ToValidUTF8(s[:120], "") + "…"
	}
	return s
}

// addresses gives the first address of a header for the record.
func addresses(header string) string {
	list, err := mail.ParseAddressList(header)
	if err != nil || len(list) == 0 {
		return ""
	}
	return list[0].Address
}

type reader struct {
	a         Answer
	tokens    map[string]bool
	parts     int
	calendars [][]byte
	methods   []string // of their Content-Types
	status    string   // message/delivery-status, as it came
	original  string   // Message-ID of the mail that bounced
	report    bool
}

// tokenLetters are those of base 32, small: 28 of them hold 136 bits.
const tokenLetters = "abcdefghijklmnopqrstuvwxyz234567"

// tokensOf finds tokens in the plus part of addresses (RFC 5233).
func (r *reader) tokensOf(header string) {
	for _, word := range strings.FieldsFunc(header, func(c rune) bool { return strings.ContainsRune(" \t\r\n,;<>\"()", c) }) {
		local, _, found := strings.Cut(word, "@")
		_, token, plus := strings.Cut(local, "+")
		token = strings.ToLower(token)
		if found && plus && len(token) >= 26 && len(token) <= 64 && strings.Trim(token, tokenLetters) == "" {
			r.tokens[token] = true
		}
	}
}

func (r *reader) walk(e *message.Entity, depth int) error {
	if r.parts++; r.parts > maxParts || depth > maxDepth {
		return bad("mail", "", fmt.Sprintf("a mail with at most %d parts, nested at most %d deep", maxParts, maxDepth))
	}
	kind, params, err := e.Header.ContentType()
	if err != nil {
		kind = "text/plain" // RFC 2045 5.2: what cannot be read is taken as plain text
	}
	kind = strings.ToLower(kind)
	if kind == "multipart/report" && strings.EqualFold(params["report-type"], "delivery-status") {
		r.report = true
	}
	if m := e.MultipartReader(); m != nil {
		for {
			p, err := m.NextPart()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil && !message.IsUnknownCharset(err) && !message.IsUnknownEncoding(err) {
				return bad("mail", "", "parts that can be told apart: "+short(err))
			}
			if err != nil {
				if k, _, _ := p.Header.ContentType(); strings.EqualFold(k, "text/calendar") {
					return bad("charset", "", "a calendar in UTF-8: "+short(err))
				}
			}
			if err := r.walk(p, depth+1); err != nil {
				return err
			}
		}
	}
	return r.leaf(e, kind, params)
}

func (r *reader) leaf(e *message.Entity, kind string, params map[string]string) error {
	switch kind {
	case "text/calendar", "application/ics":
	case "message/delivery-status", "message/rfc822", "text/rfc822-headers", "message/global-delivery-status":
	default:
		return nil // what people write is not looked at
	}
	body, err := io.ReadAll(io.LimitReader(e.Body, MaxBytes))
	if err != nil {
		return bad(kind, "", "content that can be decoded: "+short(err))
	}
	switch kind {
	case "text/calendar", "application/ics":
		r.calendars, r.methods = append(r.calendars, body), append(r.methods, strings.ToUpper(params["method"]))
	case "message/delivery-status", "message/global-delivery-status":
		r.status += string(body)
	default:
		if inner, err := message.Read(bytes.NewReader(body)); err == nil || inner != nil {
			if id := strings.Trim(strings.TrimSpace(inner.Header.Get("Message-Id")), "<>"); id != "" {
				r.original = id
			}
		}
	}
	return nil
}

// answer makes sense of what was found.
func (r *reader) answer() (Answer, error) {
	if r.report || r.status != "" {
		return r.bounce()
	}
	if len(r.calendars) == 0 {
		return r.a, bad("mail", "", "an answer to an invitation: accept it in your calendar, or use your private page; what is written in words is not read")
	}
	var err error
	for i, c := range r.calendars {
		one := r.a
		if err = r.calendar(c, r.methods[i], &one); err != nil {
			return r.a, err
		}
		if i > 0 && (one.UID != r.a.UID || one.Kind != r.a.Kind || one.Sequence != r.a.Sequence || one.OfferedOn != r.a.OfferedOn) {
			return r.a, bad("calendar", "", "one answer: the parts of this mail say different things")
		}
		r.a = one
	}
	return r.a, r.oneToken()
}

// oneToken takes the token when there is exactly one.
func (r *reader) oneToken() error {
	if len(r.tokens) != 1 {
		return bad("address", fmt.Sprintf("%d tokens", len(r.tokens)), "answered to the very address that the invitation came with: it says which booking is meant")
	}
	for t := range r.tokens {
		r.a.Token = t
	}
	return nil
}

func (r *reader) calendar(raw []byte, method string, a *Answer) (err error) {
	defer func() {
		if p := recover(); p != nil { // the library is not of our making, and neither are the bytes
			err = bad("calendar", "", "a calendar as RFC 5545 has it")
		}
	}()
	dec := ics.NewDecoder(bytes.NewReader(raw))
	cal, err := dec.Decode()
	if err != nil {
		return bad("calendar", "", "a calendar as RFC 5545 has it: "+short(err))
	}
	if _, err := dec.Decode(); !errors.Is(err, io.EOF) {
		return bad("calendar", "", "one calendar a mail")
	}
	says := strings.ToUpper(text(cal.Props, "METHOD"))
	if method != "" && method != says {
		return bad("METHOD", says, "the method that the mail's Content-Type names, "+method)
	}
	events := cal.Events()
	if len(events) != 1 {
		return bad("calendar", fmt.Sprintf("%d events", len(events)), "one event (RFC 5546 3.2)")
	}
	e := events[0]
	if a.UID = text(e.Props, "UID"); a.UID == "" {
		return bad("UID", "", "the booking's")
	}
	if p := e.Props.Get("SEQUENCE"); p != nil {
		if a.Sequence, err = p.Int(); err != nil || a.Sequence < 0 {
			return bad("SEQUENCE", p.Value, "a whole number from 0 on")
		}
	}
	r.tokensOf(strings.TrimPrefix(strings.ToLower(text(e.Props, "ORGANIZER")), "mailto:"))
	switch says {
	case "REPLY":
		return reply(e, a)
	case "COUNTER":
		a.Kind = Counter
		return offered(e, a)
	default:
		return bad("METHOD", says, "REPLY or COUNTER: this is no answer to an invitation")
	}
}

func reply(e ics.Event, a *Answer) error {
	asked := e.Props["ATTENDEE"]
	if len(asked) != 1 {
		return bad("ATTENDEE", fmt.Sprintf("%d of them", len(asked)), "one: who answers (RFC 5546 3.2.3)")
	}
	switch said := strings.ToUpper(asked[0].Params.Get("PARTSTAT")); said {
	case "ACCEPTED":
		a.Kind = Accepted
	case "DECLINED":
		a.Kind = Declined
	default:
		return bad("PARTSTAT", said, "ACCEPTED or DECLINED: a scaffold is booked or it is not")
	}
	return nil
}

func offered(e ics.Event, a *Answer) error {
	p := e.Props.Get("DTSTART")
	if p == nil {
		return bad("DTSTART", "", "the day that is offered")
	}
	if p.ValueType() == ics.ValueDate || len(p.Value) == 8 {
		d, err := time.Parse("20060102", p.Value)
		if err != nil {
			return bad("DTSTART", p.Value, "a day such as 20261231")
		}
		a.OfferedOn = civil.DateOf(d, time.UTC)
		return nil
	}
	at, err := p.DateTime(time.UTC)
	if err != nil {
		return bad("DTSTART", p.Value, "a day, or a time in UTC or in a zone that is known by its name")
	}
	if p.Params.Get("TZID") != "" || !strings.HasSuffix(p.Value, "Z") {
		a.OfferedOn = civil.DateOf(at, at.Location()) // the day on the clock that was meant
		return nil
	}
	a.OfferedAt = at.UTC()
	return nil
}

func text(props ics.Props, name string) string {
	if p := props.Get(name); p != nil {
		return strings.TrimSpace(p.Value)
	}
	return ""
}

// bounce reads a delivery report (RFC 3464 2.3): only a failure counts.
func (r *reader) bounce() (Answer, error) {
	action, status, diagnostic := "", "", ""
	for _, line := range strings.Split(strings.ReplaceAll(r.status, "\r\n", "\n"), "\n") {
		name, value, _ := strings.Cut(line, ":")
		value = strings.TrimSpace(value)
		switch strings.ToLower(strings.TrimSpace(name)) {
		case "action":
			action = strings.ToLower(value)
		case "status":
			status = value
		case "diagnostic-code":
			_, diagnostic, _ = strings.Cut(value, ";")
		}
	}
	if action != "failed" {
		return r.a, bad("Action", action, "failed: a delay or a success is nothing to act on")
	}
	if r.original == "" {
		return r.a, bad("report", "", "the Message-ID of the mail that could not be delivered")
	}
	r.a.Kind, r.a.BounceOf = Bounced, r.original
	r.a.Says = strings.TrimSpace(status + " " + strings.TrimSpace(diagnostic))
	if len(r.a.Says) > 300 {
		r.a.Says = r.a.Says[:300]
	}
	r.a.Says = strings.Map(func(c rune) rune {
		if c < ' ' {
			return -1
		}
		return c
	}, strings.ToValidUTF8(r.a.Says, ""))
	return r.a, r.oneToken()
}
