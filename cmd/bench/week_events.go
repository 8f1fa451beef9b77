package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// eventRow is one planning anew.
type eventRow struct {
	Event     string  `json:"event"`
	Moved     int     `json:"moved_visits"` // published ones that are elsewhere or left out
	Cost      int64   `json:"cost_pence"`
	Kept      int64   `json:"first_plan_pence"` // with the published plan kept as far as it fits, before any improvement
	Schedules int     `json:"schedules"`
	Took      float64 `json:"took_s"`
	First     float64 `json:"first_plan_s"`
	PerSecond float64 `json:"schedules_per_s"`
}

// event changes the facts as something that happens does.
type event struct {
	name   string
	happen func(s *schedule.Snapshot)
}

var happenings = []event{
	{"nothing", func(*schedule.Snapshot) {}},
	{"scaffold firm refuses, offers a day a week on", refused},
	{"sick electrician, away for a week", sickElectrician},
	{"storm on Thursday", storm},
	{"consents come two weeks late", lateConsents},
}

// events publishes a plan, lets a day pass, and plans anew after each event.
func (v weekVerb) events(ctx context.Context, o out) error {
	s, err := inventFirm(v.size(), v.Seed)
	if err == nil {
		s, err = publishedWeek(ctx, s, v.Seed)
	}
	if err != nil {
		return err
	}
	var cells [][]string
	for _, e := range happenings {
		now := ofItsOwn(s)
		e.happen(&now)
		row, err := v.replan(ctx, now, e.name)
		if err != nil {
			return fmt.Errorf("%s: %w", e.name, err)
		}
		if v.JSON {
			if err := o.line(row); err != nil {
				return err
			}
			continue
		}
		cells = append(cells, []string{e.name, fmt.Sprint(row.Moved), schedule.Pence(row.Kept).String(), schedule.Pence(row.Cost).String(),
			fmt.Sprintf("%.2f s", row.First), fmt.Sprintf("%.2f s", row.Took), fmt.Sprint(row.Schedules), fmt.Sprintf("%.0f", row.PerSecond)})
	}
	if v.JSON {
		return nil
	}
	head := []string{"event", "moved visits", "first plan", "cost", "first plan after", "took", "schedules", "per s"}
	if err := o.table(head, cells); err != nil {
		return err
	}
	fmt.Fprintf(o.result, "\nAn invented firm of %d jobs and %d crews, seed %d, on the working day after its plan was published. Every plan keeps every rule.\n", v.Jobs, v.Crews, v.Seed)
	return nil
}

func (v weekVerb) replan(ctx context.Context, s schedule.Snapshot, name string) (eventRow, error) {
	row := eventRow{Event: name}
	start := time.Now()
	first, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: 1, Workers: v.Workers}, v.Seed)
	if err != nil {
		return row, err
	}
	row.First, row.Kept = time.Since(start).Seconds(), int64(first.Cost.Total)
	limited, cancel := ctx, context.CancelFunc(func() {})
	if v.Seconds > 0 {
		limited, cancel = context.WithTimeout(ctx, time.Duration(v.Seconds*float64(time.Second)))
	}
	defer cancel()
	start = time.Now()
	p, err := schedule.Solve(limited, s, schedule.Stop{Schedules: v.Schedules, Workers: v.Workers}, v.Seed)
	took := time.Since(start)
	if err != nil {
		return row, err
	}
	if ctx.Err() != nil {
		return row, errors.New("interrupted")
	}
	row.Took, row.Schedules, row.Cost = took.Seconds(), p.Schedules, int64(p.Cost.Total)
	row.PerSecond = math.Round(float64(p.Schedules) / took.Seconds())
	row.Moved = movedVisits(s, p)
	return row, errors.Join(holds(s, first), holds(s, p))
}

// movedVisits counts published visits of stages not begun, from the first day
// on, that are elsewhere or left out.
func movedVisits(s schedule.Snapshot, p schedule.Plan) (n int) {
	type stage struct {
		job  uuid.UUID
		kind schedule.StageKind
	}
	now := map[stage]schedule.Visit{}
	for _, v := range p.Visits {
		now[stage{v.Job, v.Stage}] = v
	}
	planned := map[stage]bool{}
	for _, j := range s.Jobs {
		for _, st := range j.Stages {
			planned[stage{j.ID, st.Kind}] = st.State == schedule.StatePlanned
		}
	}
	for _, v := range s.Base.Visits {
		key := stage{v.Job, v.Stage}
		if !planned[key] || v.First() < s.FirstDay.In(civil.Morning) {
			continue
		}
		if w, ok := now[key]; !ok || !w.Stays(&v) {
			n++
		}
	}
	return n
}

// ofItsOwn copies what events change.
func ofItsOwn(s schedule.Snapshot) schedule.Snapshot {
	s.Crews, s.Jobs, s.Bookings, s.Outlooks = slices.Clone(s.Crews), slices.Clone(s.Jobs), slices.Clone(s.Bookings), slices.Clone(s.Outlooks)
	return s
}

// refused: the first confirmed erection that keeps more than a week's notice is
// called off by its firm, which offers the day five working days on.
func refused(s *schedule.Snapshot) {
	at := -1
	for i, b := range s.Bookings {
		if b.State == schedule.BookingConfirmed && b.ErectOn > s.FirstDay+9 && (at < 0 || b.ErectOn < s.Bookings[at].ErectOn) {
			at = i
		}
	}
	if at >= 0 {
		b := &s.Bookings[at]
		b.State, b.OfferedOn = schedule.BookingCountered, schedule.AddWorkingDays(b.ErectOn, 5, s.Holidays)
	}
}

// sickElectrician: the lead of the electrical crew with the most published
// visits in the coming week is away for it.
func sickElectrician(s *schedule.Snapshot) {
	busy := map[uuid.UUID]int{}
	for _, v := range s.Base.Visits {
		if v.Stage.Trade() == schedule.ElectricalTrade && v.First().Date() >= s.FirstDay && v.First().Date() < s.FirstDay+7 {
			busy[v.Crew]++
		}
	}
	at := slices.MaxFunc(s.Crews, func(a, b schedule.Crew) int { return cmp.Compare(busy[a.ID], busy[b.ID]) }).ID
	for i := range s.Crews {
		if c := &s.Crews[i]; c.ID == at {
			c.Members = slices.Clone(c.Members)
			c.Members[0].Absences = append(slices.Clone(c.Members[0].Absences), schedule.Absence{From: s.FirstDay, Until: s.FirstDay + 6, Reason: "sick"})
		}
	}
}

// storm: on the Thursday to come no outdoor half-day has more than a chance of
// 2%, on the Friday none more than half of what it had.
func storm(s *schedule.Snapshot) {
	thursday := s.FirstDay
	for thursday.Weekday() != time.Thursday {
		thursday++
	}
	for i := range s.Outlooks {
		o := &s.Outlooks[i]
		o.Chances = slices.Clone(o.Chances)
		for k := range o.Chances {
			c := &o.Chances[k]
			switch (o.First + civil.HalfDay(k)).Date() {
			case thursday:
				*c = weather.Chance{Known: c.Known, P: min(c.P, 0.02)}
			case thursday + 1:
				*c = weather.Chance{Known: c.Known, P: c.P / 2}
			}
		}
	}
}

// lateConsents: every second consent that is awaited comes two weeks later.
func lateConsents(s *schedule.Snapshot) {
	n := 0
	for i := range s.Jobs {
		j := &s.Jobs[i]
		j.Consents = slices.Clone(j.Consents)
		for k := range j.Consents {
			if c := &j.Consents[k]; c.State == schedule.ConsentApplied && c.ExpectedOn.Known() {
				if n++; n%2 == 0 {
					c.ExpectedOn += 14
				}
			}
		}
	}
}
