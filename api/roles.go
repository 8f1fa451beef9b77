package api

import (
	"slices"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// Action is one thing somebody may ask the service to do.
type Action string

// The actions.
const (
	SeeWeek       Action = "see-week"       // the board and the published plan
	SeeJobs       Action = "see-jobs"       // the list, with customers
	SeeJob        Action = "see-job"        // one job with its assessment and forecast
	ChangeJobs    Action = "change-jobs"    // import, consents, kit
	TellProgress  Action = "tell-progress"  // of any stage; a crew lead of those the plan gives their crew
	TakeJobsAway  Action = "take-jobs-away" // export
	SeePlans      Action = "see-plans"      // drafts and what they cost
	MakePlan      Action = "make-plan"
	PublishPlan   Action = "publish-plan"
	SeeBookings   Action = "see-bookings"
	AnswerBooking Action = "answer-booking" // for a scaffold firm on the telephone
	Assess        Action = "assess"         // issue and approve risk assessments
	ReportFinding Action = "report-finding" // scaffold reports and events
	SeeMornings   Action = "see-mornings"   // of every crew
	SeeMorning    Action = "see-morning"    // of the crew one is in that day
	HoldBriefing  Action = "hold-briefing"  // for the crew one leads that day
	SignForCrew   Action = "sign-for-crew"  // hold the phone on which others of the crew sign
	SignOneself   Action = "sign-oneself"
	SetLimits     Action = "set-limits" // of the firm's weather
	StopAnyWork   Action = "stop-work"  // anyone, at once
	LiftAStop     Action = "lift-stop"  // never the one who stopped
	SeePeople     Action = "see-people" // oneself; the office everybody
	ChangePeople  Action = "change-people"
	KeepRecords   Action = "keep-records" // of a job: tests, isolations, near misses; of oneself
	SeeRecord     Action = "see-record"   // the log of records, its heads and exports
)

// actions lists them all, in the order in which they are told.
var actions = []Action{SeeWeek, SeeJobs, SeeJob, ChangeJobs, TellProgress, TakeJobsAway, SeePlans, MakePlan, PublishPlan, SeeBookings, AnswerBooking,
	Assess, ReportFinding, SeeMornings, SeeMorning, HoldBriefing, SignForCrew, SignOneself, SetLimits, StopAnyWork, LiftAStop, SeePeople, ChangePeople, SeeRecord, KeepRecords}

// rights is the one table of who may do what. Whatever is not here nobody may.
// Beyond it, TellProgress, SeeMorning, HoldBriefing and the signing actions are held to the
// caller's own crew of the day, a crew lead lifts a stop only where their crew
// works that day, and whoever stopped work cannot lift the stop.
var rights = map[Action][]schedule.Role{
	SeeWeek:       {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	SeeJobs:       {schedule.Office, schedule.CrewLead},
	SeeJob:        {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	ChangeJobs:    {schedule.Office},
	TellProgress:  {schedule.Office, schedule.CrewLead},
	TakeJobsAway:  {schedule.Office},
	SeePlans:      {schedule.Office},
	MakePlan:      {schedule.Office},
	PublishPlan:   {schedule.Office},
	SeeBookings:   {schedule.Office, schedule.CrewLead},
	AnswerBooking: {schedule.Office},
	Assess:        {schedule.Office},
	ReportFinding: {schedule.Office, schedule.CrewLead},
	SeeMornings:   {schedule.Office},
	SeeMorning:    {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	HoldBriefing:  {schedule.CrewLead},
	SignForCrew:   {schedule.CrewLead},
	SignOneself:   {schedule.CrewLead, schedule.CrewMember},
	SetLimits:     {schedule.Office},
	StopAnyWork:   {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	LiftAStop:     {schedule.Office, schedule.CrewLead},
	SeePeople:     {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	ChangePeople:  {schedule.Office},
	KeepRecords:   {schedule.Office, schedule.CrewLead, schedule.CrewMember},
	SeeRecord:     {schedule.Office},
}

// may tells whether a role may do something.
func may(role schedule.Role, a Action) bool { return slices.Contains(rights[a], role) }

// need refuses a caller who may not do something, and says who may.
func (c Caller) need(a Action) error {
	if may(c.Role, a) {
		return nil
	}
	return &fault.Error{Kind: fault.Forbidden, Field: string(a), Want: "only " + whoMay(a) + " may do this"}
}

// whoMay lists in words the roles that may do something.
func whoMay(a Action) string {
	words := ""
	for i, r := range rights[a] {
		switch {
		case i == 0:
		case i == len(rights[a])-1:
			words += " and "
		default:
			words += ", "
		}
		words += roleWords(r)
	}
	if words == "" {
		return "nobody"
	}
	return words
}

func roleWords(r schedule.Role) string {
	switch r {
	case schedule.Office:
		return "the office"
	case schedule.CrewLead:
		return "crew leads"
	case schedule.CrewMember:
		return "crew members"
	default:
		return "nobody"
	}
}
