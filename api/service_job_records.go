package api

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// RecordBook is what is recorded of a job beside its mornings.
type RecordBook struct {
	Job        schedule.Job
	Records    []safety.Record
	Tests      []safety.TestResult
	NotYet     []string // dead tests without which no live one is done
	MayStrike  safety.State
	StrikeSays string
	Isolations []safety.Permit // that nobody has ended
	Modules    []safety.ModulePlace
	Cleared    []safety.Clearance // what left the drawing, the oldest first
}

// ReadBook reads what is recorded of a job.
func (s *Service) ReadBook(ctx context.Context, firm uuid.UUID, ref string) (f RecordBook, err error) {
	if f.Job, err = s.schedule.Job(ctx, firm, ref); err != nil {
		return f, err
	}
	if f.Records, err = s.safety.JobRecords(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Modules, err = s.safety.Modules(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Cleared, err = s.safety.Clearances(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	f.Tests = safety.TestResults(f.Records)
	f.NotYet = safety.NotYet(f.Tests)
	f.MayStrike, f.StrikeSays = safety.MayStrike(f.Records)
	f.Isolations = safety.OpenIsolations(f.Records)
	return f, nil
}

// AddRecord keeps a record of a job, with its photo if there is one. Zero at
// means now. What went wrong anybody may record, whether a duty was done the
// office, and everything else whoever works there or the office.
func (s *Service) AddRecord(ctx context.Context, by Caller, id uuid.UUID, ref, kind string, at time.Time, body safety.Fields, photo []byte) (safety.Record, error) {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return safety.Record{}, err
	}
	if err := s.mayRecord(ctx, by, j, kind); err != nil {
		return safety.Record{}, err
	}
	body = maps.Clone(body)
	if err := s.checkNamed(ctx, by, j.ID, kind, body); err != nil {
		return safety.Record{}, err
	}
	kept, err := keptPhoto(id, photo)
	if err != nil {
		return safety.Record{}, err
	}
	delete(body, "photo") // only a photo that is kept is named
	delete(body, "photo_sha256")
	if kept != nil {
		body["photo"] = "sent with the record"
	}
	now := s.now()
	if at.IsZero() {
		at = now
	}
	return s.safety.AddRecord(ctx, by.Firm, safety.Record{ID: id, Job: j.ID, Kind: kind, At: at, Body: body, By: by.Person, ByName: by.Name, RecordedAt: now}, kept)
}

// mayRecord refuses whoever may not make a kind of record at a job. Who isolates,
// takes an isolation over or tests has the electrical competence, valid today;
// the office writes down what such a person did.
func (s *Service) mayRecord(ctx context.Context, by Caller, j schedule.Job, kind string) error {
	switch kind {
	case safety.NearMiss, safety.Incident:
		return nil
	case safety.Notification:
		return by.need(ChangeJobs)
	}
	if err := s.worksThere(ctx, by, j); err != nil || by.Role == schedule.Office {
		return err
	}
	switch kind {
	case safety.Isolation, safety.IsolationTaken, safety.ElectricalTest:
		can, err := s.safety.CompetencesOf(ctx, by.Firm, by.Person)
		if err != nil {
			return err
		}
		if today := civil.DateOf(s.now(), by.Location); !(safety.Person{Competences: can}).Holds(safety.Electrical, today) {
			return &fault.Error{Kind: fault.Forbidden, Field: "record", Want: "somebody with the electrical competence, valid today, isolates and tests"}
		}
	}
	return nil
}

// lately is for how many days after their crew's work at a job people still
// record what was done there (firm's own rule).
const lately = 14

// worksThere refuses whoever has no work at a job: neither does the plan that
// was in force on some day of the last two weeks give it to the crew that they
// were in, nor did they sign there. The office may everywhere.
func (s *Service) worksThere(ctx context.Context, by Caller, j schedule.Job) error {
	if by.Role == schedule.Office {
		return nil
	}
	today := civil.DateOf(s.now(), by.Location)
	signed, err := s.safety.SignedAt(ctx, by.Firm, j.ID, by.Person, today-lately)
	if err != nil || signed {
		return err
	}
	crews, err := s.schedule.Crews(ctx, by.Firm)
	if err != nil {
		return err
	}
	for day := today; day >= today-lately; day-- {
		plan, err := s.planOn(ctx, by.Firm, day)
		if err != nil {
			return err
		}
		if plan != nil && planned(*plan, crews, by.Person, j.ID, day) {
			return nil
		}
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "record", Value: j.Ref,
		Want: fmt.Sprintf("whoever works at this job, or did in the last %d days, records what was done there; so does the office. A near miss or an incident anybody records", lately)}
}

// planned tells whether a plan gives work at a job on a day to the crew that
// somebody is in then.
func planned(p schedule.Plan, crews []schedule.Crew, person, job uuid.UUID, day civil.Date) bool {
	for _, v := range p.Visits {
		if v.Job != job || len(onDay(v.HalfDays, day)) == 0 {
			continue
		}
		for _, k := range crews {
			if in, _ := inCrew(k, person, day); in && k.ID == v.Crew {
				return true
			}
		}
	}
	return false
}

// checkNamed refuses a record that names what is not there: a duty, an incident,
// a permit, a near miss of this job, a hazard of the firm's library. What it names
// is brought to the one way in which it is kept.
func (s *Service) checkNamed(ctx context.Context, by Caller, job uuid.UUID, kind string, body safety.Fields) error {
	if code := strings.ToUpper(strings.TrimSpace(body["hazard"])); code != "" {
		lib, err := s.Library(ctx, by.Firm)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(lib.Hazards, func(h safety.Hazard) bool { return h.ID == code }) {
			return fault.Bad("hazard", body["hazard"], "the code of a hazard of the firm's library, such as H08, or nothing")
		}
		body["hazard"] = code
	}
	switch kind {
	case safety.FollowUp:
		_, err := s.named(ctx, by.Firm, job, body, "about", "a near miss or an incident of this job", safety.NearMiss, safety.Incident)
		return err
	case safety.IsolationTaken:
		_, err := s.named(ctx, by.Firm, job, body, "permit", "a permit of this job", safety.Isolation)
		return err
	case safety.IsolationEnd:
		return s.checkEnd(ctx, by, job, body)
	case safety.Notification:
		return s.checkNotified(ctx, by.Firm, job, body)
	}
	return nil
}

// named finds the record of a job that another one names.
func (s *Service) named(ctx context.Context, firm, job uuid.UUID, body safety.Fields, field, want string, kinds ...string) (safety.Record, error) {
	all, err := s.safety.JobRecords(ctx, firm, job, kinds...)
	if err != nil {
		return safety.Record{}, err
	}
	given := strings.ToLower(strings.TrimSpace(body[field]))
	for _, r := range all {
		if r.ID.String() == given {
			body[field] = given
			return r, nil
		}
	}
	return safety.Record{}, fault.Bad(field, body[field], want)
}

// checkEnd lets a permit be ended by whoever holds it, by a crew lead or by the
// office. That it is ended once is the database's rule.
func (s *Service) checkEnd(ctx context.Context, by Caller, job uuid.UUID, body safety.Fields) error {
	r, err := s.named(ctx, by.Firm, job, body, "permit", "a permit of this job", safety.Isolation)
	if err != nil || by.Role != schedule.CrewMember {
		return err
	}
	all, err := s.safety.JobRecords(ctx, by.Firm, job, safety.Isolation, safety.IsolationTaken)
	if err != nil {
		return err
	}
	for _, p := range safety.OpenIsolations(all) {
		if p.ID == r.ID && p.HeldBy != by.Person {
			return &fault.Error{Kind: fault.Forbidden, Field: "permit", Want: "whoever holds the permit, a crew lead or the office ends it"}
		}
	}
	return nil
}

// checkNotified wants a duty there is and, of one that an incident starts, which
// incident it was: two of a job are two duties.
func (s *Service) checkNotified(ctx context.Context, firm, job uuid.UUID, body safety.Fields) error {
	switch {
	case !safety.IsDuty(body["duty"]):
		return fault.Bad("duty", body["duty"], "the code of a duty, as the page of what is due has it")
	case !safety.DutyOfIncident(body["duty"]):
		if body["incident"] != "" {
			return fault.Bad("incident", body["incident"], "nothing: no incident starts this duty")
		}
		return nil
	}
	const want = "the identifier of the incident that was reported, as the list of what is due has it"
	r, err := s.named(ctx, firm, job, body, "incident", want, safety.Incident)
	if err == nil && !safety.StartsDuty(r, body["duty"]) {
		err = fault.Bad("incident", body["incident"], want)
	}
	return err
}

// PlaceModule notes where a module sits; an empty serial takes it off the drawing
// and keeps a record of what was there.
func (s *Service) PlaceModule(ctx context.Context, by Caller, id uuid.UUID, ref string, row, col int, serial string) error {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return err
	}
	if err := s.worksThere(ctx, by, j); err != nil {
		return err
	}
	if strings.TrimSpace(serial) == "" {
		return s.safety.ClearPlace(ctx, by.Firm, j.ID, id, row, col, by.Person, s.now())
	}
	return s.safety.PlaceModule(ctx, by.Firm, j.ID, safety.ModulePlace{Row: row, Col: col, Serial: serial, By: by.Person, At: s.now()})
}
