package schedule

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"toeboard/weather/fault"
)

// leastGust and mostGust bound a scaffold firm's own gust limit [m/s].
const (
	leastGust = 1
	mostGust  = 40
)

// ScaffoldField is one of the terms that the office agreed with a scaffold firm,
// as people type it: what it is called, what it is for, and its unit. The days
// off and whether the firm is in use are no text and stand beside these.
type ScaffoldField struct {
	Key      string // as in forms
	Name     string // as errors name it
	For      string
	Unit     string // "" = text
	Optional bool
	at       func(*ScaffoldFirm) any
}

// ScaffoldFields lists them in the order in which they are shown.
var ScaffoldFields = []ScaffoldField{
	{"name", "scaffold firm's name", "as bookings, plans and mails call it", "", false, func(f *ScaffoldFirm) any { return &f.Name }},
	{"email", "e-mail", "where bookings and their changes are mailed to; empty = nothing is mailed", "", true, func(f *ScaffoldFirm) any { return &f.Email }},
	{"phone", "phone", "whom to ring", "", true, func(f *ScaffoldFirm) any { return &f.Phone }},
	{"gangs_per_day", "gangs a day", "how many erections and strikes it can do on one day", "a day", false, func(f *ScaffoldFirm) any { return &f.GangsPerDay }},
	{"sets", "sets", "how many scaffolds can stand at the same time", "scaffolds", false, func(f *ScaffoldFirm) any { return &f.Sets }},
	{"erect_notice", "notice to erect", "between the booking and the erection", "working days", false, func(f *ScaffoldFirm) any { return &f.ErectNotice }},
	{"strike_notice", "notice to strike", "between asking and the strike", "working days", false, func(f *ScaffoldFirm) any { return &f.StrikeNotice }},
	{"cancel_notice", "cancel notice", "an agreed visit that is nearer than this and is moved or called off costs the charge, and somebody here has to agree to it; 0 = none", "working days", false, func(f *ScaffoldFirm) any { return &f.CancelNotice }},
	{"cancel_charge", "charge for cancelling", "for each such visit; 0 = it charges nothing", "£", false, func(f *ScaffoldFirm) any { return &f.CancelCharge }},
	{"visit_price", "price of erection and strike", "both together", "£", false, func(f *ScaffoldFirm) any { return &f.VisitPrice }},
	{"included_weeks", "weeks included", "weeks of hire in that price", "weeks", false, func(f *ScaffoldFirm) any { return &f.IncludedWeeks }},
	{"weekly_hire", "weekly hire", "each week begun after those", "£", false, func(f *ScaffoldFirm) any { return &f.WeeklyHire }},
	{"gust_limit", "gust limit", "from which gust on, at the working height, it neither erects nor strikes, where that is less than our own limit; empty = our limit alone", "m/s", true, func(f *ScaffoldFirm) any { return &f.GustLimit }},
	{"reach_km", "reach", "how far from its yard it works, as the crow flies; empty = anywhere", "km", true, func(f *ScaffoldFirm) any { return &f.ReachKm }},
	{"yard_lat", "yard's latitude", "where its yard is; asked with a reach only", "degrees north", true, func(f *ScaffoldFirm) any { return &f.YardLat }},
	{"yard_lon", "yard's longitude", "negative = west; asked with a reach only", "degrees east", true, func(f *ScaffoldFirm) any { return &f.YardLon }},
}

// ofArea tells whether a field is one of those that are given together or not at
// all.
func (f ScaffoldField) ofArea() bool { return f.Key == "reach_km" || strings.HasPrefix(f.Key, "yard_") }

// Text writes a term as a person types it.
func (f ScaffoldField) Text(s ScaffoldFirm) string {
	if f.ofArea() && s.ReachKm == 0 || f.Key == "gust_limit" && s.GustLimit == 0 {
		return ""
	}
	switch x := f.at(&s).(type) {
	case *string:
		return *x
	case *int:
		return strconv.Itoa(*x)
	case *Pence:
		return strings.NewReplacer("£", "", ",", "").Replace(x.String())
	default:
		return strconv.FormatFloat(*x.(*float64), 'f', -1, 64)
	}
}

// set reads what Text writes. It is Invalid when the text is no such value; the
// bounds are for check.
func (f ScaffoldField) set(s *ScaffoldFirm, text string) error {
	switch x := f.at(s).(type) {
	case *string:
		*x = text
	case *int:
		n, err := strconv.Atoi(text)
		if err != nil {
			return fault.Bad(f.Name, text, "a whole number: "+f.Unit)
		}
		*x = n
	case *Pence:
		pounds, err := strconv.ParseFloat(strings.TrimPrefix(text, "£"), 64)
		pence := math.Round(pounds * 100)
		if err != nil || math.Abs(pounds*100-pence) > 1e-6 || math.Abs(pounds) > mostPounds {
			return fault.Bad(f.Name, text, fmt.Sprintf("pounds and pence up to %.0f, such as 780 or 45.50", mostPounds))
		}
		*x = Pence(pence)
	case *float64:
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(n) {
			return fault.Bad(f.Name, text, "a number: "+f.Unit)
		}
		*x = n
	}
	return nil
}

// TypedTerms puts what was typed, by key, in the place of a scaffold firm's terms,
// and names all that is wrong. Yard and reach are given together or not at all.
func TypedTerms(s ScaffoldFirm, typed map[string]string, daysOff []string) (ScaffoldFirm, error) {
	var bad []error
	anywhere := true
	for _, f := range ScaffoldFields {
		anywhere = anywhere && !(f.ofArea() && strings.TrimSpace(typed[f.Key]) != "")
	}
	if anywhere {
		s.YardLat, s.YardLon, s.ReachKm = 0, 0, 0
	}
	for _, f := range ScaffoldFields {
		text := strings.TrimSpace(typed[f.Key])
		switch {
		case f.ofArea() && anywhere:
		case f.Key == "gust_limit" && text == "":
			s.GustLimit = 0
		case f.Key == "gust_limit" && text == "0":
			bad = append(bad, fault.Bad(f.Name, text, fmt.Sprintf("%d to %d m/s; left empty, only our own limit counts", leastGust, mostGust)))
		case f.ofArea() && text == "":
			bad = append(bad, fault.Bad(f.Name, "", "yard and reach together, or none of them: it goes anywhere"))
		case f.ofArea() && f.Key == "reach_km" && text == "0":
			bad = append(bad, fault.Bad(f.Name, text, "1 km or more; left empty with the yard, it goes anywhere"))
		default:
			if err := f.set(&s, text); err != nil {
				bad = append(bad, err)
			}
		}
	}
	off, err := WeekdaysOf(daysOff)
	if err != nil {
		bad = append(bad, err)
	}
	s.DaysOff = off
	return s, errors.Join(append(bad, s.check())...)
}

// Mark is a short text that another one has when any of the terms differ: who
// changes them names the mark that was looked at.
func (f ScaffoldFirm) Mark() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%+v", f))
	return hex.EncodeToString(sum[:8])
}
