package api

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ArrangeCheckIn keeps whom the one person of a crew rings who works alone at a
// job today, and decides anew. Where nobody may be alone there is nothing to
// arrange.
func (s *Service) ArrangeCheckIn(ctx context.Context, by Caller, crew uuid.UUID, ref string, k safety.CheckIn) (Judged, error) {
	m, err := s.Morning(ctx, by.Firm, crew, ref, k.Day)
	if err != nil {
		return m, err
	}
	if err := ownCrew(by, m.Crew, k.Day); err != nil {
		return m, err
	}
	if today := civil.DateOf(s.now(), by.Location); k.Day != today {
		return m, fault.Bad("day", k.Day.String(), "today, "+today.String()+": it is of the morning itself")
	}
	p, alone := safety.AloneToday(m.Snapshot, s.now())
	if !alone {
		return m, &fault.Error{Kind: fault.Conflict, Field: "check_in", Value: m.Job.Ref, Want: "a crew of one at work that one person may do alone: here either more are on site, or nobody may be alone"}
	}
	k.Crew, k.Job, k.By, k.At, k.From = crew, m.Job.ID, by.Person, s.now(), m.Snapshot.StartAt
	k.Contact, k.Phone, k.IfMissed, k.Email = strings.TrimSpace(k.Contact), strings.TrimSpace(k.Phone), strings.TrimSpace(k.IfMissed), strings.TrimSpace(k.Email)
	if _, err := s.safety.ArrangeCheckIn(ctx, by.Firm, p, k); err != nil {
		return m, err
	}
	return s.Decide(ctx, by.Firm, crew, ref, k.Day)
}

// WatchedWorker is somebody who works alone, and whether they let know that all is
// well.
type WatchedWorker struct {
	Person schedule.Person
	Job    schedule.Job
	Day    civil.Date
	Watch  safety.LoneWatch
	Says   string
}

// LoneWorkers lists those for whom calls were arranged today or yesterday and who
// are still waited for or left, the longest silent first.
func (s *Service) LoneWorkers(ctx context.Context, firm uuid.UUID) ([]WatchedWorker, error) {
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return nil, err
	}
	now := s.now()
	today := civil.DateOf(now, zone)
	days, err := s.safety.LoneDays(ctx, firm, today-1, today)
	if err != nil || len(days) == 0 {
		return nil, err
	}
	d, err := s.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	people, err := s.schedule.People(ctx, firm)
	if err != nil {
		return nil, err
	}
	var all []WatchedWorker
	for _, day := range days {
		k := day.Arranged[0]
		w := WatchedWorker{Job: d.jobs[k.Job], Day: k.Day, Watch: safety.WatchLone(day.Arranged, day.Calls, now)}
		if w.Watch.Due.IsZero() && k.Day != today {
			continue
		}
		for _, p := range people {
			if p.ID == k.Person {
				w.Person = p
			}
		}
		w.Says = w.Watch.Sentence(w.Person.Name, now, zone)
		all = append(all, w)
	}
	slices.SortStableFunc(all, func(a, b WatchedWorker) int {
		if a.Watch.Due.IsZero() != b.Watch.Due.IsZero() {
			return map[bool]int{true: 1, false: -1}[a.Watch.Due.IsZero()]
		}
		return a.Watch.Due.Compare(b.Watch.Due)
	})
	return all, nil
}

// RecordCall keeps a sign of life of the one person of a crew at a job, or that
// they left: their own word, or that of the office that was rung.
func (s *Service) RecordCall(ctx context.Context, by Caller, id, crew uuid.UUID, ref string, day civil.Date, what string) (WatchedWorker, error) {
	all, err := s.LoneWorkers(ctx, by.Firm)
	if err != nil {
		return WatchedWorker{}, err
	}
	for _, w := range all {
		if k := w.Watch.Arranged; k.Crew != crew || w.Job.Ref != ref || k.Day != day {
			continue
		}
		if by.Person != w.Person.ID && !may(by.Role, SeeMornings) {
			return w, &fault.Error{Kind: fault.Forbidden, Field: "call", Value: w.Person.Name, Want: "one's own word, or that of the office that was rung"}
		}
		c, err := s.safety.AddLoneCall(ctx, by.Firm, safety.LoneCall{ID: id, Crew: crew, Job: w.Job.ID, Day: day, Person: w.Person.ID, What: what, By: by.Person, At: s.now()})
		if err != nil {
			return w, err
		}
		after, err := s.LoneWorkers(ctx, by.Firm)
		for _, is := range after {
			if k := is.Watch.Arranged; k.Crew == crew && k.Job == c.Job && k.Day == day && is.Person.ID == w.Person.ID {
				return is, err
			}
		}
		return w, err
	}
	return WatchedWorker{}, &fault.Error{Kind: fault.NotFound, Field: "check_in", Value: ref, Want: "an arrangement of today or yesterday: nobody expects a call here"}
}

// WatchLoneWork tells of each call that was due and did not come: the office, and
// who expects it where an address is known; on their phones too, and on that of
// whoever is silent. It is called every two minutes by every instance; a missed
// call is told once, however many look.
func (s *Service) WatchLoneWork(ctx context.Context, firm uuid.UUID) error {
	all, err := s.LoneWorkers(ctx, firm)
	if err != nil {
		return err
	}
	now := s.now()
	for _, w := range all {
		n := w.Watch.Tell(now)
		if n == 0 {
			continue
		}
		topic := fmt.Sprintf("missed-call/%s/%s/%d/%d", w.Watch.Arranged.Job, w.Person.ID, w.Watch.Due.Unix(), n)
		tell, err := s.tellMissedCall(ctx, firm, topic, w, n)
		if err != nil {
			return err
		}
		if err := s.tellNow(ctx, firm, tell, "no call of "+w.Person.Name); err != nil {
			return err
		}
	}
	return nil
}

// tellMissedCall makes what is told of one missed call.
func (s *Service) tellMissedCall(ctx context.Context, firm uuid.UUID, topic string, w WatchedWorker, n int) ([]telling, error) {
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return nil, err
	}
	people, err := s.schedule.People(ctx, firm)
	if err != nil {
		return nil, err
	}
	signIns, err := s.SignIns(ctx, firm)
	if err != nil {
		return nil, err
	}
	letter := missedCallLetter(w, n, s.now(), zone, s.baseURL)
	one := func(who string, to addressee) telling {
		t := telling{outMessage: outMessage{Kind: callMissed, Topic: topic + "/" + who, Letter: letter}, once: true}
		t.to(to)
		return t
	}
	var all []telling
	phones := []uuid.UUID{w.Person.ID}
	mailed := map[string]bool{}
	for _, p := range people {
		office := p.Role == schedule.Office && p.Active
		if office || signIns[p.ID] != "" && strings.EqualFold(signIns[p.ID], w.Watch.Arranged.Email) {
			phones = append(phones, p.ID)
		}
		if office {
			all = append(all, one(p.ID.String(), addressee{p.ID, p.Name, signIns[p.ID]}))
			mailed[strings.ToLower(signIns[p.ID])] = true
		}
	}
	if k := w.Watch.Arranged; k.Email != "" && !mailed[strings.ToLower(k.Email)] {
		all = append(all, one("who-expects-it", addressee{name: k.Contact, address: k.Email}))
	}
	if len(all) > 0 {
		all[0].people = phones
		all[0].note = &Note{Title: letter.Subject, Body: letter.Says[1], Href: morningHref(w.Watch.Arranged.Crew, w.Day) + "?job=" + queryPart(w.Job.Ref), Until: s.now().Add(12 * time.Hour)}
	}
	return all, nil
}
