package main

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// publishedSchedules is how long the plan is searched that a firm has published
// before the measured one.
const publishedSchedules = 300

// publishedWeek plans the firm, publishes the plan, has its scaffold firms
// confirm, and lets a working day pass on which all went as planned. What is
// planned then starts from the published plan.
func publishedWeek(ctx context.Context, s schedule.Snapshot, seed uint64) (schedule.Snapshot, error) {
	p, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: publishedSchedules}, seed)
	if err != nil {
		return s, err
	}
	if err := holds(s, p); err != nil {
		return s, err
	}
	p.ID, p.State, p.Version = uuid.NewSHA1(firmSpace, []byte("published plan")), schedule.Published, 1
	s.Bookings = rebooked(s, p)
	for i := range s.Bookings {
		b := &s.Bookings[i]
		if b.State == schedule.BookingWanted && b.ErectOn < s.FirstDay+21 {
			b.State = schedule.BookingConfirmed
		}
	}
	s.Base = &p
	return nextMorning(s), nil
}

// rebooked gives the live bookings after the plan is published.
func rebooked(s schedule.Snapshot, p schedule.Plan) []schedule.Booking {
	n := 0
	changes := schedule.Rebook(s, p, s.Bookings, s.Now, func() uuid.UUID {
		n++
		return uuid.NewSHA1(firmSpace, []byte{'b', byte(n >> 16), byte(n >> 8), byte(n)})
	})
	books := map[uuid.UUID]schedule.Booking{}
	for _, b := range s.Bookings {
		books[b.ID] = b
	}
	for _, c := range changes {
		books[c.After.ID] = c.After
	}
	var live []schedule.Booking
	for _, b := range books {
		if b.Live() {
			live = append(live, b)
		}
	}
	slices.SortFunc(live, func(a, b schedule.Booking) int { return strings.Compare(a.UID, b.UID) })
	return live
}

// nextMorning is the firm on the working day after its first: what was
// published up to then was done or begun.
func nextMorning(s schedule.Snapshot) schedule.Snapshot {
	s.FirstDay = schedule.AddWorkingDays(s.FirstDay, 1, s.Holidays)
	s.Now = s.FirstDay.At(7, 0, time.UTC)
	s.Jobs, s.Bookings = slices.Clone(s.Jobs), slices.Clone(s.Bookings)
	at := map[uuid.UUID]*schedule.Job{}
	for i := range s.Jobs {
		s.Jobs[i].Stages = slices.Clone(s.Jobs[i].Stages)
		at[s.Jobs[i].ID] = &s.Jobs[i]
	}
	for _, v := range s.Base.Visits {
		if v.First() >= s.FirstDay.In(civil.Morning) {
			continue
		}
		st := stageOf(at[v.Job], v.Stage)
		if st.State == schedule.StatePlanned {
			st.State, st.StartedOn = schedule.StateStarted, v.First().Date()
		}
		if v.Last() < s.FirstDay.In(civil.Morning) {
			st.State, st.DoneOn = schedule.StateDone, v.Last().Date()
		}
		for i := range s.Bookings {
			b := &s.Bookings[i]
			switch {
			case b.Job != v.Job || st.State != schedule.StateDone:
			case v.Stage == schedule.ScaffoldErection:
				b.State, b.ErectOn = schedule.BookingErected, st.StartedOn
			case v.Stage == schedule.ScaffoldStrike:
				b.State = schedule.BookingStruck
			}
		}
	}
	return s
}
