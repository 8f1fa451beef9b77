package api

import (
	"context"
	"fmt"
	"maps"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The records of a morning. Each method takes the identifier of the record it
// makes: the edge makes it from the request's key, so that a retry after a lost
// answer meets its own row. A row with other content is refused: what somebody
// corrected must never be answered as if it had been taken.

// BriefingInput is what a crew lead found on the morning.
type BriefingInput struct {
	Crew       uuid.UUID
	JobRef     string
	Day        civil.Date
	Assessment uuid.UUID // the version that was read out
	Checks     map[string]safety.Answer
	GustMS     weather.Value // [m/s] read on site
}

// HoldBriefing records what the lead of the crew found, today, and keeps the
// decision as it is then.
func (s *Service) HoldBriefing(ctx context.Context, by Caller, id uuid.UUID, in BriefingInput) (Judged, error) {
	m, k, err := s.atWork(ctx, by, in.Crew, in.JobRef, in.Day)
	if err != nil {
		return Judged{}, err
	}
	if _, leads := inCrew(k, by.Person, in.Day); !leads {
		return Judged{}, &fault.Error{Kind: fault.Forbidden, Field: "briefing", Want: "only the lead of crew " + k.Name + " holds its briefing"}
	}
	now := s.now()
	if today := civil.DateOf(now, by.Location); in.Day != today {
		return Judged{}, fault.Bad("day", in.Day.String(), "today, "+today.String()+": a briefing is held on the morning itself")
	}
	b := safety.Briefing{ID: id, Crew: in.Crew, Job: m.Job.ID, Day: in.Day, Assessment: in.Assessment, Checks: in.Checks, GustMS: in.GustMS, By: by.Person, At: now}
	if _, err = s.safety.SaveBriefing(ctx, by.Firm, b); alreadyThere(err) {
		err = s.sameBriefing(ctx, by.Firm, b)
	}
	if err != nil {
		return Judged{}, err
	}
	if b.GustMS.Known {
		if _, err := s.noticeAt(ctx, by.Firm, m.Job); err != nil {
			return Judged{}, err
		}
	}
	return s.Decide(ctx, by.Firm, in.Crew, in.JobRef, in.Day)
}

// sameBriefing refuses a briefing whose identity one with other content has.
func (s *Service) sameBriefing(ctx context.Context, firm uuid.UUID, b safety.Briefing) error {
	was, err := s.safety.Briefing(ctx, firm, b.ID)
	if err != nil {
		return err
	}
	if was.Crew != b.Crew || was.Job != b.Job || was.Day != b.Day || was.Assessment != b.Assessment || was.By != b.By ||
		was.GustMS != b.GustMS || !maps.Equal(was.Checks, b.Checks) {
		return otherContent("briefing", b.ID)
	}
	return nil
}

// otherContent refuses a record sent again with other content: the first try
// was recorded, though its sender was not told so, and stands until a new one is
// made.
func otherContent(what string, id uuid.UUID) error {
	return &fault.Error{Kind: fault.Conflict, Field: what, Value: id.String(),
		Want: "your first try was recorded and says something else: look at it, then record this as a new one"}
}

// atWork finds a crew's work at a job, for somebody who may see it.
func (s *Service) atWork(ctx context.Context, by Caller, crew uuid.UUID, jobRef string, day civil.Date) (Judged, schedule.Crew, error) {
	m, err := s.Morning(ctx, by.Firm, crew, jobRef, day)
	if err != nil {
		return Judged{}, schedule.Crew{}, err
	}
	return m, m.Crew, ownCrew(by, m.Crew, day)
}

// SignOffInput is one person's signature.
type SignOffInput struct {
	Crew       uuid.UUID
	JobRef     string
	Day        civil.Date
	Person     uuid.UUID // who signs
	Assessment uuid.UUID // the version that was shown
	BodyHash   safety.Hash
	TypedName  string       // "" = the person's own name, as it stands in the books
	PIN        string       // the signer's own
	Drawing    string       // the strokes of the drawn signature; "" = not drawn
	Shown      safety.Basis // what was so when the text was shown, as the page had it
	DeviceAt   time.Time    // UTC, a claim; zero = none
}

// oldestSignature is how many days a signature may lie on a phone before it
// reaches the service.
const oldestSignature = 30

// SignOff records a signature: one's own, or on the lead's phone that of
// somebody else in the crew. A signature to a version that is no longer in
// force is kept, and the decision says that it does not count.
func (s *Service) SignOff(ctx context.Context, by Caller, id uuid.UUID, in SignOffInput) (Judged, error) {
	m, k, err := s.atWork(ctx, by, in.Crew, in.JobRef, in.Day)
	if err != nil {
		return Judged{}, err
	}
	if err := maySign(by, k, in); err != nil {
		return Judged{}, err
	}
	now := s.now()
	if today := civil.DateOf(now, by.Location); in.Day > today || in.Day < today-oldestSignature {
		return Judged{}, fault.Bad("day", in.Day.String(), "today, or a day up to 30 days ago for a signature that waited on a phone")
	}
	if err := ownName(m.Snapshot, &in); err != nil {
		return Judged{}, err
	}
	if err := safety.CheckDrawing(in.Drawing); err != nil {
		return Judged{}, err
	}
	if in.Shown == (safety.Basis{}) {
		return Judged{}, fault.Bad("shown", "", "what was so when the text was shown, as the page or the decision had it: look at it again and sign then")
	}
	statement, err := s.statement(ctx, by.Firm, m.Snapshot, in)
	if err != nil {
		return Judged{}, err
	}
	if err := s.checkPIN(ctx, by.Firm, in.Person, in.TypedName, in.PIN); err != nil {
		return Judged{}, err
	}
	if _, err := s.safety.AddSignOff(ctx, by.Firm, safety.SignOff{ID: id, Crew: in.Crew, Job: m.Job.ID, Day: in.Day, Person: in.Person,
		Assessment: in.Assessment, BodyHash: in.BodyHash, Statement: statement, TypedName: in.TypedName, Proof: safety.ByPIN, Drawing: in.Drawing,
		OnPhoneOf: by.Person, GivenFor: in.Shown, DeviceAt: in.DeviceAt, ReceivedAt: now}); err != nil {
		return Judged{}, err
	}
	return s.Decide(ctx, by.Firm, in.Crew, in.JobRef, in.Day)
}

// maySign lets people sign for themselves and the lead hand the phone round.
func maySign(by Caller, k schedule.Crew, in SignOffInput) error {
	if in.Person != by.Person {
		if err := by.need(SignForCrew); err != nil {
			return err
		}
		if _, leads := inCrew(k, by.Person, in.Day); !leads {
			return &fault.Error{Kind: fault.Forbidden, Field: "signature", Want: "only the lead of crew " + k.Name + " lets others sign on their phone"}
		}
	}
	if in, _ := inCrew(k, in.Person, in.Day); !in {
		return &fault.Error{Kind: fault.Forbidden, Field: "person", Want: "this person is not in crew " + k.Name + " that day"}
	}
	return nil
}

// ownName refuses a signature in another name than the person's own, and fills
// in the name where none was typed. Capitals, accents and spaces do not matter.
func ownName(snap safety.Snapshot, in *SignOffInput) error {
	for _, p := range snap.People {
		if p.ID != in.Person {
			continue
		}
		if in.TypedName == "" {
			in.TypedName = p.Name
		}
		if !safety.OwnName(in.TypedName, p.Name) {
			return fault.Bad("typed_name", in.TypedName, "the name of the person who signs, "+p.Name)
		}
	}
	return nil
}

// statement is the text that was shown for the version that was signed.
func (s *Service) statement(ctx context.Context, firm uuid.UUID, snap safety.Snapshot, in SignOffInput) (string, error) {
	if snap.Assessment == nil || snap.Assessment.ID != in.Assessment {
		older, err := s.safety.AssessmentVersion(ctx, firm, in.Assessment)
		if err != nil {
			return "", err
		}
		snap.Assessment = &older
	}
	if snap.Assessment.BodyHash != in.BodyHash {
		return "", fault.Bad("body_hash", in.BodyHash.String(), "the hash of the version that is named, "+snap.Assessment.BodyHash.String())
	}
	for _, p := range snap.People {
		if p.ID == in.Person {
			return safety.Statement(snap, p), nil
		}
	}
	return "", fault.Missing("person", in.Person.String())
}

// ReportScaffold records a handover or inspection of a job's scaffold.
func (s *Service) ReportScaffold(ctx context.Context, by Caller, id uuid.UUID, jobRef string, r safety.ScaffoldReport) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	r.ID, r.Job, r.RecordedBy, r.RecordedAt = id, j.ID, by.Name, s.now()
	if _, err = s.safety.AddReport(ctx, by.Firm, r); alreadyThere(err) {
		return s.sameReport(ctx, by.Firm, r)
	}
	return r.RecordedAt, err
}

// sameReport tells when a report was recorded that is sent again, and refuses
// one with other content.
func (s *Service) sameReport(ctx context.Context, firm uuid.UUID, r safety.ScaffoldReport) (time.Time, error) {
	all, err := s.safety.Reports(ctx, firm, r.Job)
	if err != nil {
		return time.Time{}, err
	}
	for _, was := range all {
		r.At, r.RecordedAt = kept(r.At), was.RecordedAt
		if was == r {
			return was.RecordedAt, nil
		}
	}
	return time.Time{}, otherContent("report", r.ID)
}

// kept is an instant as the database keeps it.
func kept(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// RecordEvent records something that could have affected a scaffold.
func (s *Service) RecordEvent(ctx context.Context, by Caller, id uuid.UUID, jobRef string, e safety.ScaffoldEvent) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	e.ID, e.Job, e.By, e.RecordedAt = id, j.ID, by.Name, s.now()
	if e.At.After(e.RecordedAt) {
		return time.Time{}, fault.Bad("event_at", e.At.In(by.Location).Format("2006-01-02 15:04"), "a time that has passed")
	}
	if _, err = s.safety.AddEvent(ctx, by.Firm, e); alreadyThere(err) {
		return s.sameEvent(ctx, by.Firm, e)
	}
	return e.RecordedAt, err
}

// sameEvent is sameReport for an event.
func (s *Service) sameEvent(ctx context.Context, firm uuid.UUID, e safety.ScaffoldEvent) (time.Time, error) {
	all, err := s.safety.Events(ctx, firm, e.Job)
	if err != nil {
		return time.Time{}, err
	}
	for _, was := range all {
		e.At, e.RecordedAt = kept(e.At), was.RecordedAt
		if was == e {
			return was.RecordedAt, nil
		}
	}
	return time.Time{}, otherContent("event", e.ID)
}

// noReasonYet stands where somebody stopped the work and had no time to say why.
const noReasonYet = "reason not given yet"

// StopWork stops the work at a job at once. Why may be said later, with another
// stop.
func (s *Service) StopWork(ctx context.Context, by Caller, id uuid.UUID, jobRef, reason string) (safety.StopWork, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return safety.StopWork{}, err
	}
	if strings.TrimSpace(reason) == "" {
		reason = noReasonYet
	}
	return s.safety.StopWork(ctx, by.Firm, safety.StopWork{ID: id, Job: j.ID, Reason: reason, ByID: by.Person, At: s.now()})
}

// LiftStop lifts a stop that somebody else called at a job. A lift that the same
// person recorded already is the same lift.
func (s *Service) LiftStop(ctx context.Context, by Caller, jobRef string, stop uuid.UUID, why string) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	was, err := s.stopAt(ctx, by.Firm, j.ID, stop)
	if err != nil {
		return time.Time{}, err
	}
	if was.LiftedByID == by.Person && was.LiftWhy == why {
		return was.LiftedAt, nil
	}
	if err := s.mayLift(ctx, by, j.ID); err != nil {
		return time.Time{}, err
	}
	now := s.now()
	return now, s.safety.LiftStop(ctx, by.Firm, stop, by.Person, why, now)
}

// mayLift refuses who may not lift a stop at a job: the office may, and the lead
// of a crew that works there today. That it is another person than the one who
// stopped the work is the database's rule.
func (s *Service) mayLift(ctx context.Context, by Caller, job uuid.UUID) error {
	if err := by.need(LiftAStop); err != nil {
		return err
	}
	if by.Role == schedule.Office {
		return nil
	}
	r, err := s.readDay(ctx, by.Firm, civil.DateOf(s.now(), by.Location))
	if err != nil {
		return err
	}
	for _, w := range r.works() {
		if _, leads := inCrew(w.crew, by.Person, r.day); leads && w.job.ID == job {
			return nil
		}
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "stop", Want: "only the office and the lead of a crew that works at this job today lift a stop"}
}

func (s *Service) stopAt(ctx context.Context, firm, job, stop uuid.UUID) (safety.StopWork, error) {
	all, err := s.safety.Stops(ctx, firm, job)
	if err != nil {
		return safety.StopWork{}, err
	}
	for _, w := range all {
		if w.ID == stop {
			return w, nil
		}
	}
	return safety.StopWork{}, fault.Missing("stop", stop.String())
}

// IssueAssessment makes a risk assessment from a job's facts as they are now
// and stores it as the next version. When the version in force says the same
// already and is not due for review, it is that one.
func (s *Service) IssueAssessment(ctx context.Context, firm uuid.UUID, jobRef, by string) (safety.AssessmentInForce, error) {
	j, err := s.schedule.Job(ctx, firm, jobRef)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	facts, _, err := s.safety.Facts(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	site, err := s.safety.SiteHazards(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	lib, err := s.Library(ctx, firm)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	made := safety.AssessSite(facts, lib, site)
	due, err := s.reviewDue(ctx, firm)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	base := 0
	current, err := s.safety.CurrentAssessment(ctx, firm, j.ID)
	switch {
	case err == nil && current.BodyHash == made.Hash() && !due(current):
		return current, nil
	case err == nil:
		base = current.Version
	case fault.KindOf(err) != fault.NotFound:
		return safety.AssessmentInForce{}, err
	}
	return s.safety.IssueAssessment(ctx, firm, j.ID, made, base, by, s.now())
}

// reviewDue tells of an assessment whether it is due for review today.
func (s *Service) reviewDue(ctx context.Context, firm uuid.UUID) (func(safety.AssessmentInForce) bool, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, err
	}
	loc, err := f.Location()
	if err != nil {
		return nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	today := civil.DateOf(s.now(), loc)
	return func(a safety.AssessmentInForce) bool { return a.ReviewDue(today, loc) }, nil
}

// ApproveAssessment approves one version, which must be the one in force.
func (s *Service) ApproveAssessment(ctx context.Context, firm uuid.UUID, jobRef string, assessment, person uuid.UUID) (safety.AssessmentInForce, error) {
	j, err := s.schedule.Job(ctx, firm, jobRef)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	current, err := s.safety.CurrentAssessment(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	if current.ID != assessment {
		return safety.AssessmentInForce{}, fault.Changed("assessment", "", "another version is in force now: read it before you approve it")
	}
	if err := s.safety.Approve(ctx, firm, assessment, person, s.now()); err != nil {
		return safety.AssessmentInForce{}, err
	}
	return s.safety.CurrentAssessment(ctx, firm, j.ID)
}
