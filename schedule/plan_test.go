package schedule_test

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
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
		case 3:
			f.DaysOff = schedule.Weekdays(r.IntN(31))
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
		case b.State == schedule.BookingCountered && r.IntN(2) == 0:
			b.State, b.ErectOn, b.StrikeOn, b.OfferedOn = schedule.BookingConfirmed, b.OfferedOn, max(b.StrikeOn, b.OfferedOn+1), civil.NoDate
		case b.State != schedule.BookingErected && r.IntN(8) == 0:
			b.State, b.OfferedOn = schedule.BookingRefused, civil.NoDate
			s.Refused = append(slices.Clone(s.Refused), schedule.RefusedDay{Job: b.Job, ScaffoldFirm: b.ScaffoldFirm, On: b.ErectOn})
		case b.State != schedule.BookingErected && r.IntN(6) == 0:
			b.State, b.OfferedOn = schedule.BookingCountered, b.ErectOn+civil.Date(1+r.IntN(5))
			s.Refused = append(slices.Clone(s.Refused), schedule.RefusedDay{Job: b.Job, ScaffoldFirm: b.ScaffoldFirm, On: b.ErectOn})
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
		j.Confirmed = nil
		for _, v := range s.Base.Visits {
			if v.Job == j.ID && r.IntN(3) == 0 {
				j.Confirmed = append(j.Confirmed, schedule.Confirmation{Stage: v.Stage, On: v.First().Date()})
			}
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
		ownRates(r, &s)
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

// ownRates gives a firm rates that are not the start values, and its customers
// some knowledge.
func ownRates(r *rand.Rand, s *schedule.Snapshot) {
	rates := &s.Firm.Rates
	rates.OvertimePercent = []int{0, 0, 40, 150}[r.IntN(4)]
	rates.LeastChance = []int{0, 10, 40}[r.IntN(3)]
	rates.LateGrowth, rates.Handover, rates.IdleScaffoldDay = r.IntN(50), schedule.Pence(r.IntN(200_00)), schedule.Pence(r.IntN(60_00))
	for i := range s.Jobs {
		s.Jobs[i].PromiseTold = r.IntN(2) == 0
	}
	ownTerms(r, s)
}

// ownTerms gives half of the scaffold firms days off of their own, a third an area
// that leaves some sites out, a third a charge for cancelling, and a third a gust
// limit, with chances that are smaller for it.
func ownTerms(r *rand.Rand, s *schedule.Snapshot) {
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	for i := range s.ScaffoldFirms {
		f := &s.ScaffoldFirms[i]
		if r.IntN(2) == 0 {
			f.DaysOff = schedule.Weekdays(r.IntN(31))
		}
		if r.IntN(3) == 0 {
			f.YardLat, f.YardLon, f.ReachKm = 52.4+r.Float64()*0.5, -1.4+r.Float64()*0.6, 15+r.IntN(30)
		}
		if r.IntN(3) == 0 {
			f.CancelNotice, f.CancelCharge = 1+r.IntN(15), schedule.Pence(r.IntN(200_00))
		}
		if r.IntN(3) == 0 {
			withGust(s, i, 0.7+0.3*r.Float64())
		}
	}
}

// withGust gives a scaffold firm a gust limit of its own, and the chances that it
// leaves: a share of the others.
func withGust(s *schedule.Snapshot, firm int, share float64) {
	s.ScaffoldFirms[firm].GustLimit = 12.5
	s.Outlooks = slices.Clone(s.Outlooks)
	for _, o := range s.Outlooks {
		if o.By != uuid.Nil || o.Task == weather.PanelCarrying {
			continue
		}
		o.By, o.Chances = s.ScaffoldFirms[firm].ID, slices.Clone(o.Chances)
		for k := range o.Chances {
			o.Chances[k].P *= share
		}
		s.Outlooks = append(s.Outlooks, o)
	}
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

func sameVisits(t interface{ Errorf(string, ...any) }, what string, a, b schedule.Plan) {
	if len(a.Visits) != len(b.Visits) {
		t.Errorf("%s: %d visits, then %d", what, len(a.Visits), len(b.Visits))
		return
	}
	for i := range a.Visits {
		x, y := a.Visits[i], b.Visits[i]
		if x.Job != y.Job || x.Stage != y.Stage || x.Crew != y.Crew || x.ScaffoldFirm != y.ScaffoldFirm || !slices.Equal(x.HalfDays, y.HalfDays) {
			t.Errorf("%s: %s on %s, then %s on %s", what, x.Stage, x.First().Short(), y.Stage, y.First().Short())
			return
		}
	}
}

func TestSameSeedSamePlanWhateverTheOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(1, 14).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), 40)
		ask := func(s schedule.Snapshot) schedule.Plan {
			p, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: 60}, seed)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		first := ask(s)
		if second := ask(s); !reflect.DeepEqual(first, second) {
			t.Errorf("the same snapshot and seed gave two plans")
		}
		r := rand.New(rand.NewPCG(seed, 3))
		r.Shuffle(len(s.Jobs), func(i, j int) { s.Jobs[i], s.Jobs[j] = s.Jobs[j], s.Jobs[i] })
		r.Shuffle(len(s.Crews), func(i, j int) { s.Crews[i], s.Crews[j] = s.Crews[j], s.Crews[i] })
		r.Shuffle(len(s.ScaffoldFirms), func(i, j int) { s.ScaffoldFirms[i], s.ScaffoldFirms[j] = s.ScaffoldFirms[j], s.ScaffoldFirms[i] })
		r.Shuffle(len(s.Outlooks), func(i, j int) { s.Outlooks[i], s.Outlooks[j] = s.Outlooks[j], s.Outlooks[i] })
		r.Shuffle(len(s.Bookings), func(i, j int) { s.Bookings[i], s.Bookings[j] = s.Bookings[j], s.Bookings[i] })
		shuffled := ask(s)
		sameVisits(t, "shuffled", first, shuffled)
		if first.Hash != shuffled.Hash {
			t.Errorf("the hash depends on the order")
		}
		for _, b := range schedule.Validate(s, shuffled) {
			t.Errorf("shuffled: %s: %s", b.Rule, b.Say)
		}
	})
}

func TestMoreSchedulesNeverCostMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(1, 14).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), 40)
		if rapid.Bool().Draw(t, "published") {
			p, _, err := schedule.SearchCost(s, 5, seed)
			if err != nil {
				t.Fatal(err)
			}
			s = live(rand.New(rand.NewPCG(seed, 9)), publish(s, p, 1), 2)
		}
		last := schedule.Pence(1 << 60)
		for _, n := range []int{0, 1, 3, 6, 30, 120, 400} {
			p, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: n}, seed)
			if err != nil {
				t.Fatal(err)
			}
			if p.Cost.Total > last {
				t.Errorf("%d schedules cost %s, fewer cost %s", n, p.Cost.Total, last)
			}
			if p.Schedules > max(n, 1) {
				t.Errorf("asked for %d schedules, %d were made", n, p.Schedules)
			}
			last = p.Cost.Total
		}
	})
}

func TestNothingChangedNothingMoves(t *testing.T) {
	t.Parallel()
	for seed := range uint64(24) {
		s := BuildExample(seed, 12, 5, 45)
		first := plan(t, s, 120, seed)
		after := publish(s, first, 1)
		after.Now = after.Now.Add(5 * time.Hour) // the same day
		again := plan(t, after, 120, seed+1)
		sameVisits(t, "planned again", first, again)
		if !reflect.DeepEqual(first.Unplanned, again.Unplanned) {
			t.Errorf("seed %d: what is left out changed though nothing else did", seed)
		}
		if moved, say := lines(again.Cost, schedule.Moved); moved != 0 && len(s.Bookings) == 0 {
			t.Errorf("seed %d: moved appointments cost %s: %s", seed, moved, say)
		}
		// Asked to search longer, it may find a plan that pays for its moves.
		if longer := plan(t, after, 2000, seed); longer.Cost.Total > again.Cost.Total {
			t.Errorf("seed %d: searching on from the published plan cost %s, before %s", seed, longer.Cost.Total, again.Cost.Total)
		}
	}
}

// A day that has passed without what was expected on it releases nothing: the
// stage is left out and says so, at no charge to the plan. On the day itself it
// may still come.
func TestAnOverdueExpectationReleasesNothing(t *testing.T) {
	t.Parallel()
	for _, late := range []civil.Date{0, 1} {
		s := firm(t, 1)
		on := s.FirstDay - late
		s.Jobs[0].Consents = []schedule.Consent{{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied,
			ExpectedOn: on, GrantedOn: civil.NoDate}}
		s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: on, ArrivedOn: civil.NoDate}}
		p := plan(t, s, 60, 1)
		mustHold(t, s, p)
		for _, k := range []schedule.StageKind{schedule.RoofWork, schedule.SecondFix, schedule.Commissioning} {
			if planned := find(p, s.Jobs[0].ID, k) != nil; planned != (late == 0) {
				t.Errorf("%d days overdue: %s planned %v", late, k, planned)
			}
		}
		if late == 0 {
			continue
		}
		if charge, _ := lines(p.Cost, schedule.NotPlanned); charge != 0 {
			t.Errorf("left out by the facts, and charged %s", charge)
		}
		for k, says := range map[schedule.StageKind]string{schedule.RoofWork: "kit (battery)", schedule.Commissioning: "consent (grid connection, applied)"} {
			i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == k })
			if i < 0 || !strings.Contains(p.Unplanned[i].Why, says+" that was expected on "+on.Short()+" and has not come") {
				t.Errorf("%s: %+v", k, p.Unplanned)
			}
		}
	}
}

// An offer is followed, and once the office took it the day is kept as any
// agreed day, though another was published and would still stay by itself.
func TestAnOfferIsFollowedAndThenKept(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Frozen = 10
	s.ScaffoldFirms[0].ErectNotice = 2
	s = publish(s, plan(t, s, 60, 1), 1)
	i := slices.IndexFunc(s.Bookings, func(b schedule.Booking) bool { return b.Job == s.Jobs[0].ID })
	b, was := &s.Bookings[i], s.Bookings[i].ErectOn
	offered := schedule.AddWorkingDays(was, 2, s.Holidays)
	at := func(s schedule.Snapshot) civil.Date {
		t.Helper()
		p := plan(t, s, 60, 1)
		mustHold(t, s, p)
		v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection)
		if v == nil {
			t.Fatalf("no erection: %+v", p.Unplanned)
		}
		return v.First().Date()
	}
	if on := at(s); on != was {
		t.Fatalf("nothing changed, and the erection goes from %s to %s", was.Short(), on.Short())
	}
	c, err := b.Countered(offered, s.FirstDay, s.Holidays, 0, s.Now)
	if err != nil {
		t.Fatal(err)
	}
	*b = c.After
	if on := at(s); on < offered {
		t.Errorf("%s is offered, the plan has %s", offered.Short(), on.Short())
	}
	if c, err = b.Accepted(offered, s.FirstDay, s.Holidays, 0, s.Now); err != nil {
		t.Fatal(err)
	}
	*b = c.After
	if on := at(s); on != offered {
		t.Errorf("%s is agreed, the plan has %s", offered.Short(), on.Short())
	}
}

// A day that the scaffold firm cannot do is not asked of it again, though it is
// published, frozen and booked; another firm may be asked for it.
func TestARefusedDayIsNotAskedAgain(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Frozen = 10
	s.ScaffoldFirms[0].ErectNotice = 2
	s = publish(s, plan(t, s, 60, 1), 1)
	i := slices.IndexFunc(s.Bookings, func(b schedule.Booking) bool { return b.Job == s.Jobs[0].ID })
	b := &s.Bookings[i]
	if v := find(plan(t, s, 60, 1), s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() != b.ErectOn {
		t.Fatal("the booked day is not kept before anybody refuses it")
	}
	c, err := b.Refused(s.Now)
	if err != nil {
		t.Fatal(err)
	}
	*b = c.After
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection)
	if v == nil {
		t.Fatalf("no erection: %+v", p.Unplanned)
	}
	if v.First().Date() == b.ErectOn && v.ScaffoldFirm == b.ScaffoldFirm {
		t.Errorf("%s was refused, and the plan asks the same firm for it", b.ErectOn.Short())
	}
	changes := schedule.Rebook(s, p, s.Bookings, s.Now, uuid.New)
	if len(changes) == 0 || changes[len(changes)-1].After.State != schedule.BookingWanted || changes[len(changes)-1].After.ErectOn != v.First().Date() {
		t.Errorf("publishing does not ask for the new day: %+v", changes)
	}
}

// A consent slips on one job: the other jobs' appointments stay, or pay for
// being moved.
func TestOneFactChangesFewAppointments(t *testing.T) {
	t.Parallel()
	s := firm(t, 10)
	s.Crews = append(s.Crews, roofCrew(2), sparks(2))
	first := plan(t, s, 600, 1)
	s = publish(s, first, 1)
	victim := s.Jobs[4]
	v := find(first, victim.ID, schedule.Commissioning)
	s.Jobs[4].Consents = []schedule.Consent{{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied,
		ExpectedOn: v.First().Date() + 10, GrantedOn: civil.NoDate}}
	next := plan(t, s, 600, 2)
	mustHold(t, s, next)
	moved := 0
	for _, was := range first.Visits {
		is := find(next, was.Job, was.Stage)
		if is == nil || !slices.Equal(is.HalfDays, was.HalfDays) || is.Crew != was.Crew {
			moved++
		}
	}
	if got := find(next, victim.ID, schedule.Commissioning); got.First().Date() < v.First().Date()+10 {
		t.Errorf("commissioning on %s, before its consent", got.First().Short())
	}
	if moved == 0 || moved > 4 {
		t.Errorf("%d of %d appointments moved for one late consent", moved, len(first.Visits))
	}
}

func TestHashSeesWhatMatters(t *testing.T) {
	t.Parallel()
	base := BuildExample(3, 8, 4, 40)
	same := func(what string, change func(s *schedule.Snapshot)) {
		s := BuildExample(3, 8, 4, 40)
		change(&s)
		if s.HashOf() != base.HashOf() {
			t.Errorf("%s changed the hash, though no plan rests on it", what)
		}
	}
	other := func(what string, change func(s *schedule.Snapshot)) {
		s := BuildExample(3, 8, 4, 40)
		change(&s)
		if s.HashOf() == base.HashOf() {
			t.Errorf("%s did not change the hash, though plans rest on it", what)
		}
	}
	same("an hour", func(s *schedule.Snapshot) { s.Now = s.Now.Add(time.Hour) })
	same("a customer's name", func(s *schedule.Snapshot) { s.Jobs[0].Customer.Name = "Somebody" })
	same("a note", func(s *schedule.Snapshot) { s.Jobs[0].Note = "ring first" })
	other("a day", func(s *schedule.Snapshot) { s.Now = s.Now.AddDate(0, 0, 1) })
	rates := reflect.TypeFor[schedule.Rates]()
	for i := range rates.NumField() {
		if rates.Field(i).Name == "FrozenDays" {
			continue // the snapshot has its own, which counts
		}
		other(rates.Field(i).Name, func(s *schedule.Snapshot) {
			f := reflect.ValueOf(&s.Firm.Rates).Elem().Field(i)
			if f.Kind() == reflect.Float64 {
				f.SetFloat(f.Float() + 1)
			} else {
				f.SetInt(f.Int() + 1)
			}
		})
	}
	other("the frozen days", func(s *schedule.Snapshot) { s.Frozen++ })
	other("the horizon", func(s *schedule.Snapshot) { s.Days++ })
	other("a holiday", func(s *schedule.Snapshot) { s.Holidays = s.Holidays[1:] })
	other("leave", func(s *schedule.Snapshot) { away(s, s.Crews[0].ID, s.FirstDay+3) })
	other("a gang", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].GangsPerDay++ })
	other("a refused day", func(s *schedule.Snapshot) {
		s.Refused = []schedule.RefusedDay{{Job: s.Jobs[1].ID, ScaffoldFirm: s.ScaffoldFirms[0].ID, On: s.FirstDay + 9}}
	})
	other("a scaffold firm's gust limit", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].GustLimit = 12 })
	other("whose outlook it is", func(s *schedule.Snapshot) {
		s.Outlooks = slices.Clone(s.Outlooks)
		s.Outlooks[0].By = s.ScaffoldFirms[0].ID
	})
	other("a scaffold firm's area", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].ReachKm = 30 })
	other("a scaffold firm's cancel notice", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].CancelNotice = 3 })
	other("a scaffold firm's charge", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].CancelCharge = 3 })
	other("a scaffold firm's day off", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].DaysOff = schedule.Friday })
	other("a stage's length", func(s *schedule.Snapshot) { s.Jobs[1].Stages[1].HalfDays++ })
	other("a promise", func(s *schedule.Snapshot) { s.Jobs[1].PromisedOn = s.FirstDay + 33 })
	other("a promise told", func(s *schedule.Snapshot) { s.Jobs[1].PromiseTold = true })
	other("a day that a customer confirmed", func(s *schedule.Snapshot) {
		s.Jobs[1].Confirmed = []schedule.Confirmation{{Stage: schedule.RoofWork, On: s.FirstDay + 9}}
	})
	other("a chance", func(s *schedule.Snapshot) { s.Outlooks[0].Chances[5] = weather.Chance{Known: true, P: 0.123} })
	other("an unknown chance", func(s *schedule.Snapshot) { s.Outlooks[0].Chances[5].Known = !s.Outlooks[0].Chances[5].Known })
	same("a day that planning books", func(s *schedule.Snapshot) {
		s.Bookings = append(s.Bookings, booked(s.Jobs[0], schedule.BookingWanted, s.FirstDay+9, s.FirstDay+12))
	})
	other("a scaffold that stands", func(s *schedule.Snapshot) {
		s.Bookings = append(s.Bookings, booked(s.Jobs[0], schedule.BookingErected, s.FirstDay-9, s.FirstDay+12))
	})
	other("a booking of a job outside the plan", func(s *schedule.Snapshot) {
		s.Bookings = append(s.Bookings, booked(house(99), schedule.BookingWanted, s.FirstDay+9, s.FirstDay+12))
	})
	other("a consent", func(s *schedule.Snapshot) {
		s.Jobs[2].Consents = append(s.Jobs[2].Consents, schedule.Consent{Kind: schedule.Planning, Stage: schedule.RoofWork, State: schedule.ConsentRefused})
	})
	other("kit", func(s *schedule.Snapshot) {
		s.Jobs[2].Kit = append(s.Jobs[2].Kit, schedule.Kit{Item: "rails", Quantity: 1, DueOn: civil.NoDate, ArrivedOn: civil.NoDate})
	})
}

func TestContextEndsTheSearch(t *testing.T) {
	t.Parallel()
	s := BuildExample(1, 60, 8, 60)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	p, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: 1 << 40}, 1)
	if err != nil {
		t.Fatal(err)
	}
	mustHold(t, s, p)
	if p.Schedules != 1 {
		t.Errorf("an ended context should still give the first plan, and no more: %d schedules", p.Schedules)
	}
	ctx, cancel = context.WithTimeout(context.Background(), 100*time.Millisecond)
	defer cancel()
	began := time.Now()
	if p, err = schedule.Solve(ctx, s, schedule.Stop{Schedules: 1 << 40}, 1); err != nil {
		t.Fatal(err)
	}
	mustHold(t, s, p)
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("asked to stop after 0.1 s, it took %s", took)
	}
}

func TestSolveRefusesWhatCannotBePlanned(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		field  string
		change func(s *schedule.Snapshot)
	}{
		{"days", func(s *schedule.Snapshot) { s.Days = 0 }},
		{"days", func(s *schedule.Snapshot) { s.Days = 401 }},
		{"first day", func(s *schedule.Snapshot) { s.FirstDay = civil.NoDate }},
		{"first day", func(s *schedule.Snapshot) { s.FirstDay -= 5 }},
		{"frozen days", func(s *schedule.Snapshot) { s.Frozen = -1 }},
		{"time zone", func(s *schedule.Snapshot) { s.Firm.TimeZone = "Europe/Quillmere" }},
		{"late per day", func(s *schedule.Snapshot) { s.Firm.Rates.LatePerDay = -1 }},
		{"road factor", func(s *schedule.Snapshot) { s.Firm.Rates.RoadFactor = math.NaN() }},
		{"overtime", func(s *schedule.Snapshot) { s.Firm.Rates.OvertimePercent = 501 }},
		{"least chance", func(s *schedule.Snapshot) { s.Firm.Rates.LeastChance = 91 }},
		{"late growth", func(s *schedule.Snapshot) { s.Firm.Rates.LateGrowth = -1 }},
		{"moved soon", func(s *schedule.Snapshot) { s.Firm.Rates.MovedSoon = 24_99 }},
		{"late per day once told", func(s *schedule.Snapshot) { s.Firm.Rates.LateTold = 59_99 }},
		{"hand-over", func(s *schedule.Snapshot) { s.Firm.Rates.Handover = -1 }},
		{"idle share", func(s *schedule.Snapshot) { s.Firm.Rates.IdleShare = 101 }},
		{"home of Roof 1", func(s *schedule.Snapshot) { s.Crews[0].HomeLat = math.NaN() }},
		{"site of J-001", func(s *schedule.Snapshot) { s.Jobs[0].Site.Lon = 181 }},
		{"job", func(s *schedule.Snapshot) { s.Jobs[1].ID = s.Jobs[0].ID }},
		{"crew", func(s *schedule.Snapshot) { s.Crews[1].ID = s.Crews[0].ID }},
		{"roof work of J-002", func(s *schedule.Snapshot) { s.Jobs[1].Stages[1].HalfDays = 0 }},
		{"roof work of J-002", func(s *schedule.Snapshot) { s.Jobs[1].Stages[1].HalfDays = 41 }},
		{"roof work of J-002", func(s *schedule.Snapshot) { s.Jobs[1].Stages[2].Kind = schedule.RoofWork }},
		{"sets of Northgate", func(s *schedule.Snapshot) { s.ScaffoldFirms[0].Sets = -1 }},
		{"chance of erecting scaffold on Mon 7 Dec am", func(s *schedule.Snapshot) { s.Outlooks[0].Chances[0].P = 1 }},
	} {
		s := firm(t, 2)
		c.change(&s)
		_, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: 1}, 1)
		found := false
		for _, f := range fault.Each(err) {
			found = found || f.Field == c.field && f.Kind == fault.Invalid && f.Want != ""
		}
		if !found {
			t.Errorf("%s: the refusal is %v", c.field, err)
		}
	}
	// All faults at once.
	s := firm(t, 1)
	s.Days, s.Frozen, s.Firm.Rates.MovedSoon = 0, -1, -1
	_, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: 1}, 1)
	if n := len(fault.Each(err)); n != 3 {
		t.Errorf("three faults, %d are named: %v", n, err)
	}
}

func TestAFirmWithNothing(t *testing.T) {
	t.Parallel()
	s := firm(t, 0)
	s.Crews, s.ScaffoldFirms = nil, nil
	p := plan(t, s, 10, 1)
	if len(p.Visits) != 0 || p.Cost.Total != 0 {
		t.Errorf("nothing to do: %d visits, %s", len(p.Visits), p.Cost.Total)
	}
	s = firm(t, 2)
	s.Crews, s.ScaffoldFirms = nil, nil
	p = plan(t, s, 10, 1)
	mustHold(t, s, p)
	if len(p.Unplanned) != 12 {
		t.Errorf("nobody to do it: %d stages are listed, 12 are open", len(p.Unplanned))
	}
}

func BenchmarkFirstPlan8Crews60Jobs(b *testing.B)         { benchmark(b, 60, 8, 1) }
func BenchmarkSchedules2000of8Crews60Jobs(b *testing.B)   { benchmark(b, 60, 8, 2000) }
func BenchmarkFirstPlan20Crews200Jobs(b *testing.B)       { benchmark(b, 200, 20, 1) }
func BenchmarkSchedules2000of20Crews200Jobs(b *testing.B) { benchmark(b, 200, 20, 2000) }

func benchmark(b *testing.B, jobs, crews, schedules int) {
	s := BuildExample(5, jobs, crews, 60)
	for b.Loop() {
		p := plan(b, s, schedules, 1)
		b.ReportMetric(float64(p.Cost.Total)/100, "pounds")
	}
}
