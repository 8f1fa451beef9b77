package api

import (
	"context"
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
	Isolations []safety.Record // that nobody has ended
	Modules    []safety.ModulePlace
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
	f.Tests = safety.TestResults(f.Records)
	f.NotYet = safety.NotYet(f.Tests)
	f.MayStrike, f.StrikeSays = safety.MayStrike(f.Records)
	f.Isolations = safety.OpenIsolations(f.Records)
	return f, nil
}

// AddRecord keeps a record of a job, with its photo if there is one. Zero at
// means now. Whether a duty was done is the office's to record.
func (s *Service) AddRecord(ctx context.Context, by Caller, id uuid.UUID, ref, kind string, at time.Time, body safety.Fields, photo []byte) (safety.Record, error) {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return safety.Record{}, err
	}
	if kind == safety.Notification {
		if err := by.need(ChangeJobs); err != nil {
			return safety.Record{}, err
		}
		if !safety.IsDuty(body["duty"]) {
			return safety.Record{}, fault.Bad("duty", body["duty"], "the code of a duty, as the page of what is due has it")
		}
	}
	if code := strings.ToUpper(strings.TrimSpace(body["hazard"])); code != "" && !slices.ContainsFunc(safety.DefaultLibrary().Hazards, func(h safety.Hazard) bool { return h.ID == code }) {
		return safety.Record{}, fault.Bad("hazard", body["hazard"], "the code of a hazard of the library, such as H08, or nothing")
	}
	if err := s.mayRecord(ctx, by, j.ID, kind, body); err != nil {
		return safety.Record{}, err
	}
	kept, err := keptPhoto(id, photo)
	if err != nil {
		return safety.Record{}, err
	}
	body = maps.Clone(body)
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

// mayRecord wants the electrical competence, valid today, of whoever of a crew
// isolates or tests, and lets an isolation be ended by who holds the permit, by a
// lead or by the office. What went wrong anybody may record.
func (s *Service) mayRecord(ctx context.Context, by Caller, job uuid.UUID, kind string, body safety.Fields) error {
	switch kind {
	case safety.Isolation, safety.ElectricalTest:
		if by.Role == schedule.Office {
			return nil // from what a competent person wrote down
		}
		can, err := s.safety.CompetencesOf(ctx, by.Firm, by.Person)
		if err != nil {
			return err
		}
		if today := civil.DateOf(s.now(), by.Location); !(safety.Person{Competences: can}).Holds(safety.Electrical, today) {
			return &fault.Error{Kind: fault.Forbidden, Field: "record", Want: "somebody with the electrical competence, valid today, isolates and tests"}
		}
	case safety.IsolationEnd:
		open, err := s.safety.JobRecords(ctx, by.Firm, job, safety.Isolation)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(open, func(r safety.Record) bool { return r.ID.String() == strings.TrimSpace(body["permit"]) })
		if i < 0 {
			return fault.Bad("permit", body["permit"], "a permit of this job")
		}
		if open[i].By != by.Person && by.Role == schedule.CrewMember {
			return &fault.Error{Kind: fault.Forbidden, Field: "permit", Want: "whoever isolated, a crew lead or the office ends it"}
		}
	}
	return nil
}

// PlaceModule notes where a module sits; empty serial takes it off the drawing.
func (s *Service) PlaceModule(ctx context.Context, by Caller, ref string, row, col int, serial string) error {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return err
	}
	if strings.TrimSpace(serial) == "" {
		return s.safety.ClearPlace(ctx, by.Firm, j.ID, row, col)
	}
	return s.safety.PlaceModule(ctx, by.Firm, j.ID, safety.ModulePlace{Row: row, Col: col, Serial: serial, By: by.Person, At: s.now()})
}

// Due lists what is due after the jobs of a firm, the nearest last day first,
// what was sent at the end.
func (s *Service) Due(ctx context.Context, firm uuid.UUID) ([]safety.Due, civil.Date, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	loc, err := f.Location()
	if err != nil {
		return nil, civil.NoDate, err
	}
	holidays, err := s.schedule.Holidays(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	records, err := s.safety.RecordsOf(ctx, firm, safety.Incident, safety.Notification)
	if err != nil {
		return nil, civil.NoDate, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	working := func(d civil.Date, n int) civil.Date { return schedule.AddWorkingDays(d, n, holidays) }
	all := []safety.Due{}
	for _, j := range jobs {
		facts := safety.DueFacts{JobRef: j.Ref, Division: f.Division, Commissioned: civil.NoDate, Location: loc}
		if stage, ok := j.Stage(schedule.Commissioning); ok && stage.State == schedule.StateDone {
			facts.Commissioned = stage.DoneOn
		}
		for _, r := range records {
			if r.Job == j.ID {
				facts.Records = append(facts.Records, r)
			}
		}
		if !facts.Commissioned.Known() && len(facts.Records) == 0 {
			continue
		}
		if facts.Facts, _, err = s.safety.Facts(ctx, firm, j.ID); err != nil {
			return nil, civil.NoDate, err
		}
		all = append(all, safety.DueList(facts, working)...)
	}
	last := func(d safety.Due) civil.Date {
		if d.Deadline.Known() {
			return d.Deadline
		}
		return d.Began
	}
	slices.SortStableFunc(all, func(a, b safety.Due) int {
		if a.Sent.Known() != b.Sent.Known() {
			return map[bool]int{true: 1, false: -1}[a.Sent.Known()]
		}
		return int(last(a)) - int(last(b))
	})
	return all, civil.DateOf(s.now(), loc), nil
}

// ExceptRule records an exception from a rule of the firm's own for a crew's
// work at a job, today. The database asks whether the firm names this person.
func (s *Service) ExceptRule(ctx context.Context, by Caller, id, crew uuid.UUID, ref string, day civil.Date, code, reason string) (Judged, error) {
	m, err := s.Morning(ctx, by.Firm, crew, ref, day)
	if err != nil {
		return m, err
	}
	if today := civil.DateOf(s.now(), by.Location); day != today {
		return m, fault.Bad("day", day.String(), "today, "+today.String()+": an exception is of the morning itself")
	}
	if _, err := s.safety.RecordException(ctx, by.Firm, safety.Exception{ID: id, Crew: crew, Job: m.Job.ID, Day: day, Code: code, Reason: strings.TrimSpace(reason), By: by.Person, At: s.now()}); err != nil {
		return m, err
	}
	return s.Decide(ctx, by.Firm, crew, ref, day)
}

// SetOwnRule makes a condition that only advises binding for the firm, or not,
// and names who may except from it.
func (s *Service) SetOwnRule(ctx context.Context, by Caller, r safety.OwnRule) (safety.OwnRule, error) {
	r.SetBy, r.SetAt, r.Why = by.Person, s.now(), strings.TrimSpace(r.Why)
	if r.Holder.ID != uuid.Nil {
		p, err := s.personOf(ctx, by.Firm, r.Holder.ID)
		if err != nil {
			return r, err
		}
		can, err := s.safety.CompetencesOf(ctx, by.Firm, p.ID)
		if err != nil {
			return r, err
		}
		if !safety.MayExcept(safety.Person{ID: p.ID, Competences: can}, civil.DateOf(s.now(), by.Location)) {
			return r, fault.Bad("holder", p.Name, "somebody competent today to lead roof work, for electrical work or to inspect scaffold")
		}
	}
	return s.safety.SetOwnRule(ctx, by.Firm, r)
}

// FitnessInput is what is declared. PIN is the person's own: where somebody else
// holds the phone, nobody else's word takes a person out of those who must sign,
// or back among them.
type FitnessInput struct {
	Person uuid.UUID
	Day    civil.Date
	Fit    bool
	PIN    string
}

// DeclareFitness keeps whether somebody is fit for work today: their own word,
// signed in or by their PIN on the phone of their crew's lead. The office keeps
// without one that somebody rang and does not come.
func (s *Service) DeclareFitness(ctx context.Context, by Caller, id uuid.UUID, in FitnessInput) error {
	if today := civil.DateOf(s.now(), by.Location); in.Day != today {
		return fault.Bad("day", in.Day.String(), "today, "+today.String())
	}
	if in.Person != by.Person && (in.Fit || !may(by.Role, ChangePeople)) {
		if err := s.ownWord(ctx, by, in); err != nil {
			return err
		}
	}
	return s.safety.DeclareFitness(ctx, by.Firm, safety.Fitness{ID: id, Person: in.Person, Day: in.Day, Fit: in.Fit, By: by.Person, At: s.now()})
}

// ownWord wants the PIN of somebody whose crew the caller leads, or of anybody
// in the office's presence.
func (s *Service) ownWord(ctx context.Context, by Caller, in FitnessInput) error {
	crews, err := s.schedule.Crews(ctx, by.Firm)
	if err != nil {
		return err
	}
	for _, k := range crews {
		_, leads := inCrew(k, by.Person, in.Day)
		for _, m := range k.Members {
			if m.Person.ID == in.Person && m.On(in.Day) && (leads || may(by.Role, ChangePeople)) {
				return s.checkPIN(ctx, by.Firm, in.Person, m.Person.Name, in.PIN)
			}
		}
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "fitness", Want: "one's own word, on one's own phone or on that of one's crew lead"}
}
