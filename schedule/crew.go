package schedule

import (
	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// Person is somebody of the firm.
type Person struct {
	ID     uuid.UUID
	Name   string
	Role   Role
	Phone  string
	Active bool
}

// Role is what a person may do in the service.
type Role string

// The roles.
const (
	Office     Role = "office"
	CrewLead   Role = "crew_lead"
	CrewMember Role = "crew_member"
)

// Crew is people who work together, by date.
type Crew struct {
	ID               uuid.UUID
	Name             string
	Trade            Trade
	HomeLat, HomeLon float64 // [degrees] where the van starts
	HalfDayCost      Pence   // paid for the whole crew whether it works or not
	Members          []Membership
	Active           bool
}

// Membership is one person in a crew between two dates.
type Membership struct {
	Person   Person
	From     civil.Date // first day
	Until    civil.Date // last day, inclusive; NoDate = open
	Lead     bool
	Absences []Absence
	Skills   []Skill
}

// Absence is leave or sickness, both days inclusive.
type Absence struct {
	From, Until civil.Date
	Reason      string
}

// Skill is a competence as far as planning needs it, both days inclusive;
// Until NoDate = does not expire.
type Skill struct {
	Kind        string // 'lead_roof', 'roof', 'electrical', 'scaffold_inspection', 'first_aid', 'roof_rescue', 'lone_work'
	From, Until civil.Date
}

// On tells whether the membership holds and the person is not away.
func (m Membership) On(d civil.Date) bool {
	if d < m.From || (m.Until.Known() && d > m.Until) {
		return false
	}
	for _, a := range m.Absences {
		if d >= a.From && d <= a.Until {
			return false
		}
	}
	return true
}

// Holds tells whether the person has a competence on a date, inclusive.
func (m Membership) Holds(kind string, d civil.Date) bool {
	for _, s := range m.Skills {
		if s.Kind == kind && d >= s.From && (!s.Until.Known() || d <= s.Until) {
			return true
		}
	}
	return false
}

// ScaffoldFirm is an outside firm that erects and strikes.
type ScaffoldFirm struct {
	ID            uuid.UUID
	Name          string
	Email         string
	Phone         string
	GangsPerDay   int   // erections and strikes it can do on one day
	Sets          int   // scaffolds that can stand at the same time
	ErectNotice   int   // [working days] between booking and erection
	StrikeNotice  int   // [working days] between asking and strike
	VisitPrice    Pence // erection and strike together
	IncludedWeeks int   // weeks of hire in that price
	WeeklyHire    Pence // each week begun after those
	Active        bool
	DaysOff       Weekdays // on which its gangs do not work; none = Monday to Friday they do
	YardLat       float64  // [degrees north, WGS 84] where its gangs start; counts with ReachKm only
	YardLon       float64  // [degrees east, WGS 84]
	ReachKm       int      // [km] great circle from the yard within which it works; 0 = anywhere
	CancelNotice  int      // [working days] within which an agreed visit that is moved or called off costs CancelCharge
	CancelCharge  Pence    // for each such visit; 0 = it charges nothing
	GustLimit     float64  // [m/s at the working height] from which on it neither erects nor strikes; 0 = none of its own. It only tightens the firm's limits
}

// Works tells whether its gangs work on a day, as far as the weekday says.
func (f *ScaffoldFirm) Works(d civil.Date) bool { return !f.DaysOff.Has(d) }

// Holiday is a day on which the firm does not work. Holidays are data people
// edit, since one-off days are in no library.
type Holiday struct {
	Day    civil.Date
	Title  string
	Source string
}
