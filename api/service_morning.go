package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Judged is one crew at one job on one day with the decision about it.
type Judged struct {
	Snapshot safety.Snapshot
	Decision safety.Decision
	Crew     schedule.Crew
	Job      schedule.Job
	Visits   []schedule.Visit                  // of that crew at that job on that day
	Before   map[uuid.UUID]safety.SignedBefore // what each person signed last at this job; nil = not looked up
}

// lookUpBefore reads what each person of the crew signed last at this job, and
// what changed since.
func (s *Service) lookUpBefore(ctx context.Context, firm uuid.UUID, m *Judged) (err error) {
	if m.Snapshot.Assessment == nil {
		return nil
	}
	m.Before, err = s.safety.LastSigned(ctx, firm, m.Job.ID, *m.Snapshot.Assessment)
	return err
}

// signer is one person of the crew with the text they sign.
type signer struct {
	person    safety.Person
	statement string          // "" when there is nothing to sign yet
	signed    *safety.SignOff // the one that counts; nil = none does
	lapsed    string          // why the last one given does not count; "" = none was given, or one counts
}

// signers tells who has to sign, and who has. Each signature is put to the very
// rule that the decision goes by.
func (m Judged) signers() []signer {
	s := m.Snapshot
	return mapped(s.People, func(p safety.Person) signer {
		g := signer{person: p}
		if s.Assessment == nil {
			return g
		}
		g.statement = safety.Statement(s, p)
		for i, o := range s.SignOffs {
			if o.Person != p.ID {
				continue
			}
			alone := s
			alone.SignOffs = s.SignOffs[i : i+1]
			if g.lapsed = safety.Unsigned(alone, p, m.Decision.At); g.lapsed == "" {
				g.signed = &s.SignOffs[i]
			}
		}
		if g.signed != nil {
			g.lapsed = ""
		}
		return g
	})
}

// answer is what the lead said to a check at the newest briefing.
func (m Judged) answer(check string) safety.Answer {
	if m.Snapshot.Briefing == nil {
		return safety.NotLookedAt
	}
	return m.Snapshot.Briefing.Checks[check]
}

// Mornings judges every crew and job of a day, in the order of crews' names and
// then of the visits. It reads only.
func (s *Service) Mornings(ctx context.Context, firm uuid.UUID, day civil.Date) ([]Judged, error) {
	r, err := s.readDay(ctx, firm, day)
	if err != nil {
		return nil, err
	}
	var all []Judged
	for _, w := range r.works() {
		m, err := s.judge(ctx, r, w)
		if err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return all, nil
}

// Morning judges one crew at one job on one day. It is NotFound when the
// published plan has no such visit.
func (s *Service) Morning(ctx context.Context, firm, crew uuid.UUID, jobRef string, day civil.Date) (Judged, error) {
	r, err := s.readDay(ctx, firm, day)
	if err != nil {
		return Judged{}, err
	}
	for _, w := range r.works() {
		if w.crew.ID == crew && w.job.Ref == jobRef {
			m, err := s.judge(ctx, r, w)
			if err == nil {
				err = s.lookUpBefore(ctx, firm, &m)
			}
			return m, err
		}
	}
	return Judged{}, &fault.Error{Kind: fault.NotFound, Field: "visit", Value: jobRef,
		Want: "the published plan has no work for this crew at this job on " + day.Long()}
}

// dayFacts is what a day's decisions share.
type dayFacts struct {
	firm   schedule.Firm
	loc    *time.Location
	day    civil.Date
	now    time.Time
	limits weather.Limits
	crews  []schedule.Crew
	jobs   map[uuid.UUID]schedule.Job
	plan   *schedule.Plan // in force on the day; nil = none
}

func (s *Service) readDay(ctx context.Context, firm uuid.UUID, day civil.Date) (dayFacts, error) {
	r := dayFacts{day: day, now: s.now()}
	var err error
	if r.firm, err = s.schedule.Firm(ctx, firm); err != nil {
		return r, err
	}
	if r.loc, err = r.firm.Location(); err != nil {
		return r, fmt.Errorf("read the firm's zone: %w", err)
	}
	if r.limits, err = s.archive.Limits(ctx, firm); err != nil {
		return r, err
	}
	if r.crews, err = s.schedule.Crews(ctx, firm); err != nil {
		return r, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return r, err
	}
	r.jobs = map[uuid.UUID]schedule.Job{}
	for _, j := range jobs {
		r.jobs[j.ID] = j
	}
	r.plan, err = s.planOn(ctx, firm, day)
	return r, err
}

// planOn gives the plan by which crews work on a day. The published plan begins
// on the day after it was made when that day's work had begun; until then the
// plan that was in force holds, so that publishing takes nobody's morning away.
// nil = there was none.
func (s *Service) planOn(ctx context.Context, firm uuid.UUID, day civil.Date) (*schedule.Plan, error) {
	p, err := s.current(ctx, firm)
	if err != nil || p == nil || day >= p.FirstDay {
		return p, err
	}
	return orNone(s.schedule.PlanOn(ctx, firm, day))
}

// work is what one crew does at one job on the day.
type work struct {
	crew   schedule.Crew
	job    schedule.Job
	visits []schedule.Visit
	halves []civil.HalfDay // of this day, ascending
}

// works lists the day's work from the plan in force. Stages that were done
// before the day are no work any more; one that was done on it is still what its
// signatures are about.
func (r dayFacts) works() []work {
	if r.plan == nil {
		return nil
	}
	crews := slices.Clone(r.crews)
	slices.SortFunc(crews, func(a, b schedule.Crew) int { return strings.Compare(a.Name, b.Name) })
	var all []work
	for _, c := range crews {
		all = append(all, r.worksOf(c)...)
	}
	return all
}

func (r dayFacts) worksOf(c schedule.Crew) []work {
	byJob := map[uuid.UUID]*work{}
	var all []*work
	for _, v := range r.plan.Visits {
		job, ok := r.jobs[v.Job]
		stage, _ := job.Stage(v.Stage)
		halves := onDay(v.HalfDays, r.day)
		if v.Crew != c.ID || !ok || len(halves) == 0 || doneBefore(stage, r.day) {
			continue
		}
		w := byJob[v.Job]
		if w == nil {
			w = &work{crew: c, job: job}
			byJob[v.Job] = w
			all = append(all, w)
		}
		w.visits = append(w.visits, v)
		w.halves = append(w.halves, halves...)
	}
	for _, w := range all {
		slices.Sort(w.halves)
	}
	slices.SortFunc(all, func(a, b *work) int {
		return cmp.Or(cmp.Compare(a.halves[0], b.halves[0]), strings.Compare(a.job.Ref, b.job.Ref))
	})
	return mapped(all, func(w *work) work { return *w })
}

func doneBefore(s schedule.Stage, d civil.Date) bool {
	return s.State == schedule.StateDone && (!s.DoneOn.Known() || s.DoneOn < d)
}

func onDay(halves []civil.HalfDay, d civil.Date) []civil.HalfDay {
	var on []civil.HalfDay
	for _, h := range halves {
		if h.Date() == d {
			on = append(on, h)
		}
	}
	return on
}

// judge puts the rooms together: what is written down for the crew at the job,
// what the plan wants done there and when, and what the weather allows then.
func (s *Service) judge(ctx context.Context, r dayFacts, w work) (Judged, error) {
	snap, err := s.safety.Morning(ctx, r.firm.ID, w.crew.ID, w.job.ID, r.day)
	if err != nil {
		return Judged{}, err
	}
	snap.StartAt, _ = r.firm.Hours.Window(w.halves[0], r.loc)
	_, snap.EndAt = r.firm.Hours.Window(w.halves[len(w.halves)-1], r.loc)
	for _, v := range w.visits {
		snap.Stages = append(snap.Stages, v.Stage.Key())
		snap.Outdoors = snap.Outdoors || outdoor(v.Stage)
	}
	if snap.Outdoors {
		series, err := s.forecastWithPast(ctx, r.firm.ID, w.job.Site.ID)
		if err != nil {
			return Judged{}, err
		}
		q := weather.Work{Place: placeOfSite(w.job.Site), Task: weather.PanelCarrying, Panel: moduleOf(w.job),
			From: snap.StartAt, To: snap.EndAt, Loc: r.loc, Now: r.now}
		// Nobody means to work in the dark. On a day without any light the whole
		// window stands, and the judgement says why not.
		if light, _ := q.WithinDaylight(r.limits); light.To.After(light.From) {
			q = light
			snap.StartAt, snap.EndAt = light.From.UTC(), light.To.UTC()
		}
		official, err := s.warnings(ctx, r.firm.ID)
		if err != nil {
			return Judged{}, err
		}
		snap.Weather = judgeRoof(series, r.limits, official.over(q))
	}
	return Judged{Snapshot: snap, Decision: safety.Decide(snap, r.now), Crew: w.crew, Job: w.job, Visits: w.visits}, nil
}

// Decide judges one crew at one job and keeps the decision as a record.
func (s *Service) Decide(ctx context.Context, firm, crew uuid.UUID, jobRef string, day civil.Date) (Judged, error) {
	m, err := s.Morning(ctx, firm, crew, jobRef, day)
	if err != nil {
		return Judged{}, err
	}
	_, err = s.safety.SaveDecision(ctx, firm, m.Snapshot, m.Decision)
	return m, err
}
