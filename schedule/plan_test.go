package schedule_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

func plan(t testing.TB, s schedule.Snapshot, schedules int, seed uint64) schedule.Plan {
	t.Helper()
	p, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: schedules}, seed)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func mustHold(t testing.TB, s schedule.Snapshot, p schedule.Plan) {
	t.Helper()
	for _, b := range schedule.Validate(s, p) {
		t.Errorf("%s: %s", b.Rule, b.Say)
	}
}

// publish makes a plan the published one and books its scaffolds.
func publish(s schedule.Snapshot, p schedule.Plan, n int) schedule.Snapshot {
	p.ID, p.State = id(8, n), schedule.Published
	made := 0
	changes := schedule.Rebook(s, p, s.Bookings, s.Now, func() uuid.UUID { made++; return id(9, 10_000*n+made) })
	books := map[uuid.UUID]schedule.Booking{}
	for _, b := range s.Bookings {
		books[b.ID] = b
	}
	for _, c := range changes {
		books[c.After.ID] = c.After
	}
	s.Bookings = nil
	for _, b := range books {
		if b.Live() {
			s.Bookings = append(s.Bookings, b)
		}
	}
	slices.SortFunc(s.Bookings, func(a, b schedule.Booking) int { return strings.Compare(a.UID, b.UID) })
	s.Base = &p
	return s
}

// live lets days pass: what the published plan had for them is done, begun or
// missed, and some facts turn.
func live(r *rand.Rand, s schedule.Snapshot, days int) schedule.Snapshot {
	s.FirstDay += civil.Date(days)
	s.Now = s.FirstDay.At(7, 0, time.UTC)
	s.Jobs = slices.Clone(s.Jobs)
	at := map[uuid.UUID]*schedule.Job{}
	for i := range s.Jobs {
		s.Jobs[i].Stages = slices.Clone(s.Jobs[i].Stages)
		at[s.Jobs[i].ID] = &s.Jobs[i]
	}
	for _, v := range s.Base.Visits {
		j := at[v.Job]
		if j == nil || v.First() >= s.FirstDay.In(civil.Morning) || r.IntN(8) == 0 {
			continue
		}
		ready := true
		for i := range j.Stages {
			if slices.Contains(v.Stage.After(), j.Stages[i].Kind) && j.Stages[i].State != schedule.StateDone {
				ready = false
			}
		}
		for i := range j.Stages {
			st := &j.Stages[i]
			if st.Kind != v.Stage || !ready && r.IntN(10) > 0 {
				continue
			}
			st.State, st.StartedOn = schedule.StateStarted, v.First().Date()
			if v.Last() < s.FirstDay.In(civil.Morning) && r.IntN(6) > 0 {
				st.State, st.DoneOn = schedule.StateDone, v.Last().Date()
			}
		}
	}
	s.Crews = slices.Clone(s.Crews)
	for i := range s.Crews {
		if r.IntN(6) == 0 {
			c := &s.Crews[i]
			c.Members = slices.Clone(c.Members)
			from := s.FirstDay + civil.Date(r.IntN(5))
			c.Members[0].Absences = append(slices.Clone(c.Members[0].Absences), schedule.Absence{From: from, Until: from + civil.Date(r.IntN(4)), Reason: "flu"})
		}
	}
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	for i := range s.ScaffoldFirms {
		f := &s.ScaffoldFirms[i]
		switch r.IntN(8) {
		case 0:
			f.GangsPerDay = max(1, f.GangsPerDay-1)
		case 1:
			f.Sets = max(1, f.Sets-2)
		case 2:
			f.ErectNotice, f.StrikeNotice = r.IntN(8), r.IntN(8)
		}
	}
	s.Bookings = slices.Clone(s.Bookings)
	for i := range s.Bookings {
		b := &s.Bookings[i]
		switch j := at[b.Job]; {
		case j != nil && j.Stages[0].State == schedule.StateDone && r.IntN(3) > 0:
			b.State, b.ErectOn = schedule.BookingErected, j.Stages[0].StartedOn
			b.StrikeOn = max(b.StrikeOn, b.ErectOn)
		case b.State == schedule.BookingWanted && r.IntN(3) > 0:
			b.State = schedule.BookingConfirmed
		case b.State != schedule.BookingErected && r.IntN(12) == 0:
			b.State, b.OfferedOn = schedule.BookingCountered, b.ErectOn+civil.Date(1+r.IntN(5))
		}
	}
	s.Outlooks = slices.Clone(s.Outlooks)
	for i := range s.Outlooks {
		s.Outlooks[i].Chances = slices.Clone(s.Outlooks[i].Chances)
		for k := range s.Outlooks[i].Chances {
			c := &s.Outlooks[i].Chances[k]
			if c.Known {
				c.P = min(0.97, max(0.03, c.P+(r.Float64()-0.5)*0.2))
			}
			if r.IntN(80) == 0 {
				*c = weather.Chance{}
			}
		}
	}
	for i := range s.Jobs {
		j := &s.Jobs[i]
		j.Kit = slices.Clone(j.Kit)
		j.Consents = slices.Clone(j.Consents)
		if len(j.Kit) > 0 && r.IntN(6) == 0 {
			j.Kit[0].ArrivedOn, j.Kit[0].DueOn = civil.NoDate, s.FirstDay+civil.Date(r.IntN(9))
		}
		if len(j.Consents) > 0 && r.IntN(8) == 0 {
			j.Consents[0].State, j.Consents[0].GrantedOn, j.Consents[0].ExpectedOn = schedule.ConsentApplied, civil.NoDate, s.FirstDay+civil.Date(r.IntN(9))
		}
		if r.IntN(30) == 0 {
			j.Stages[r.IntN(len(j.Stages))].HalfDays++
		}
		if r.IntN(40) == 0 {
			j.State = schedule.JobCancelled
		}
	}
	return s
}

func TestAnyFirmOverSomeWeeks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		jobs, crews := rapid.IntRange(1, 14).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews")
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 7))
		s := BuildExample(seed, jobs, crews, rapid.IntRange(5, 50).Draw(t, "days"))
		for week := range 4 {
			p, cost, err := schedule.SearchCost(s, 40, seed)
			if err != nil {
				t.Fatal(err)
			}
			if cost != p.Cost.Total {
				t.Errorf("round %d: the search kept %s, Price says %s", week, cost, p.Cost.Total)
			}
			for _, b := range schedule.Validate(s, p) {
				t.Errorf("round %d: %s: %s", week, b.Rule, b.Say)
			}
			sentences(t, p)
			s = live(r, publish(s, p, week+1), 1+r.IntN(5))
		}
	})
}

// sentences checks that every visit and every stage left out says why.
func sentences(t interface{ Errorf(string, ...any) }, p schedule.Plan) {
	for _, v := range p.Visits {
		if len(v.Why) < 10 || !strings.HasSuffix(v.Why, ".") {
			t.Errorf("a visit of %s says %q", v.Stage, v.Why)
		}
	}
	for _, u := range p.Unplanned {
		if len(u.Why) < 10 || !strings.HasSuffix(u.Why, ".") {
			t.Errorf("%s, left out, says %q", u.Stage, u.Why)
		}
	}
	for _, l := range p.Cost.Lines {
		if len(l.Why) < 10 || l.Amount == 0 {
			t.Errorf("a line of %s for %s says %q", l.Item, l.Amount, l.Why)
		}
	}
}
