package schedule_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"pgregory.net/rapid"

	"toeboard/migrations/tenant"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func TestPlansComeBackWhole(t *testing.T) {
	s := newScene(t)
	visits := s.chain(0, 0, dec(10), dec(15))
	visits[0].Chance, visits[1].Chance = weather.Chance{Known: true, P: 0.85, Basis: "17 of 20 forecast members"}, weather.Chance{Known: true, P: 0.999999999}
	want := schedule.Plan{FirstDay: dec(3), Days: 60, Seed: 1<<64 - 1, Schedules: 2000, Hash: [32]byte{1, 2, 31: 9}, Visits: visits,
		Cost:      schedule.Cost{Total: 345, Lines: []schedule.CostLine{{Item: schedule.Lateness, Job: s.jobs[0].ID, Amount: 300, Why: "five days at 60p"}, {Item: schedule.IdleCrew, Crew: s.crew.ID, Amount: 45, Why: "one"}}},
		Unplanned: []schedule.Unplanned{{Job: s.jobs[1].ID, Stage: schedule.Commissioning, Why: "no day for the consent"}},
		MadeBy:    "Imogen", MadeAt: storeNow.Add(123)}
	saved, err := s.store.SavePlan(ctx, s.firm, want)
	s.must(err)
	want.ID, want.Version, want.State, want.MadeAt = saved.ID, 1, schedule.Draft, storeNow
	if saved.ID == uuid.Nil || !reflect.DeepEqual(saved, want) {
		t.Errorf("saved\n got %+v\nwant %+v", saved, want)
	}
	got, err := s.store.Plan(ctx, s.firm, saved.ID)
	s.must(err)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read\n got %+v\nwant %+v", got, want)
	}
	if newest, err := s.store.NewestDraft(ctx, s.firm); err != nil || newest.ID != saved.ID {
		t.Errorf("newest draft %v, %v", newest.ID, err)
	}
	s.must(s.store.DropPlan(ctx, s.firm, saved.ID))
	_, err = s.store.NewestDraft(ctx, s.firm)
	wantKind(t, "a dropped draft", err, fault.NotFound)
	wantKind(t, "dropped twice", s.store.DropPlan(ctx, s.firm, saved.ID), fault.NotFound)
	_, _, err = s.store.Publish(ctx, s.firm, saved.ID, "office", storeNow, nil)
	wantKind(t, "publish a dropped plan", err, fault.Conflict)
}

func TestAnyHalfDaysComeBack(t *testing.T) {
	s := newScene(t)
	rapid.Check(t, func(t *rapid.T) {
		set := rapid.SliceOfNDistinct(rapid.IntRange(-20, 60000), 1, 60, rapid.ID[int]).Draw(t, "half-days")
		slices.Sort(set)
		v := schedule.Visit{Job: s.jobs[0].ID, Stage: schedule.SecondFix, Crew: s.sparks.ID, Why: "x"}
		for _, h := range set {
			v.HalfDays = append(v.HalfDays, civil.HalfDay(h))
		}
		p, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{FirstDay: dec(3), Days: 60, Visits: []schedule.Visit{v}, MadeBy: "x", MadeAt: storeNow})
		if err != nil {
			t.Fatalf("%v", err)
		}
		got, err := s.store.Plan(ctx, s.firm, p.ID)
		if err != nil || !reflect.DeepEqual(got.Visits, []schedule.Visit{v}) {
			t.Fatalf("%v, %+v, want %+v", err, got.Visits, v)
		}
	})
}

func TestVersionsCountUpUnderLoad(t *testing.T) {
	s := newScene(t)
	const n = 12
	var wg sync.WaitGroup
	versions := make([]int, n)
	errs := make([]error, n)
	for i := range n {
		wg.Go(func() {
			p, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow})
			versions[i], errs[i] = p.Version, err
		})
	}
	wg.Wait()
	s.must(errors.Join(errs...))
	slices.Sort(versions)
	for i, v := range versions {
		if v != i+1 {
			t.Fatalf("versions %v", versions)
		}
	}
}

func TestPlansThatCannotBeAreRefused(t *testing.T) {
	s := newScene(t)
	before := s.everything()
	morning := []civil.HalfDay{dec(10).In(civil.Morning)}
	visit := func(i int, k schedule.StageKind, crew, yard uuid.UUID, halfDays ...civil.HalfDay) schedule.Visit {
		return schedule.Visit{Job: s.jobs[i].ID, Stage: k, Crew: crew, ScaffoldFirm: yard, HalfDays: halfDays}
	}
	for name, c := range map[string]struct {
		visits []schedule.Visit
		kind   fault.Kind
	}{
		"a crew in two places":  {[]schedule.Visit{visit(0, schedule.RoofWork, s.crew.ID, uuid.Nil, dec(9).In(civil.Morning), morning[0]), visit(1, schedule.RoofWork, s.crew.ID, uuid.Nil, morning[0], morning[0]+1)}, fault.Conflict},
		"an empty visit":        {[]schedule.Visit{visit(0, schedule.RoofWork, s.crew.ID, uuid.Nil)}, fault.Invalid},
		"a half-day twice":      {[]schedule.Visit{visit(0, schedule.RoofWork, s.crew.ID, uuid.Nil, morning[0], morning[0])}, fault.Invalid},
		"backwards":             {[]schedule.Visit{visit(0, schedule.RoofWork, s.crew.ID, uuid.Nil, morning[0], morning[0]-1)}, fault.Invalid},
		"nobody":                {[]schedule.Visit{visit(0, schedule.RoofWork, uuid.Nil, uuid.Nil, morning...)}, fault.Invalid},
		"crew and yard":         {[]schedule.Visit{visit(0, schedule.RoofWork, s.crew.ID, s.yards[0].ID, morning...)}, fault.Invalid},
		"a crew that scaffolds": {[]schedule.Visit{visit(0, schedule.ScaffoldErection, s.crew.ID, uuid.Nil, morning...)}, fault.Invalid},
		"no such crew":          {[]schedule.Visit{visit(0, schedule.RoofWork, newID(), uuid.Nil, morning...)}, fault.NotFound},
		"no such job":           {[]schedule.Visit{{Job: newID(), Stage: schedule.RoofWork, Crew: s.crew.ID, HalfDays: morning}}, fault.NotFound},
		"a certain chance":      {[]schedule.Visit{{Job: s.jobs[0].ID, Stage: schedule.RoofWork, Crew: s.crew.ID, HalfDays: morning, Chance: weather.Chance{Known: true, P: 1}}}, fault.Invalid},
	} {
		_, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{FirstDay: dec(3), Days: 60, Visits: c.visits, MadeBy: "x", MadeAt: storeNow})
		wantKind(t, name, err, c.kind)
	}
	for name, p := range map[string]schedule.Plan{
		"no days":      {FirstDay: dec(3), MadeBy: "x", MadeAt: storeNow},
		"no first day": {FirstDay: civil.NoDate, Days: 9, MadeBy: "x", MadeAt: storeNow},
		"by nobody":    {FirstDay: dec(3), Days: 9, MadeAt: storeNow},
		"at no time":   {FirstDay: dec(3), Days: 9, MadeBy: "x"},
		"no such base": {FirstDay: dec(3), Days: 9, MadeBy: "x", MadeAt: storeNow, Base: newID()},
	} {
		if _, err := s.store.SavePlan(ctx, s.firm, p); err == nil {
			t.Errorf("%s was saved", name)
		}
	}
	s.unchanged(before, "refused plans")
}

// ---------------------------------------------------------------- publishing

func TestPublishingMovesTheBookings(t *testing.T) {
	s := newScene(t)
	_, err := s.store.CurrentPlan(ctx, s.firm)
	wantKind(t, "nothing published yet", err, fault.NotFound)
	first := s.planOf(uuid.Nil, append(s.chain(0, 0, dec(10), dec(15)), s.chain(1, 1, dec(14), dec(18))...)...)
	p, changes, err := s.store.Publish(ctx, s.firm, first.ID, "Imogen", storeNow, nil)
	s.must(err)
	if p.State != schedule.Published || p.PublishedBy != "Imogen" || p.PublishedAt != storeNow || len(changes) != 2 {
		t.Errorf("published %+v with %d changes", p, len(changes))
	}
	confirmed, err := s.store.AnswerBooking(ctx, s.firm, changes[0].After.ID, 0, schedule.Answer{Confirm: true}, "yard", storeNow.Add(time.Minute))
	s.must(err)
	// job 0 moves, job 1 goes to the other yard, job 2 is new
	visits := append(s.chain(0, 0, dec(11), dec(16)), s.chain(1, 0, dec(14), dec(18))...)
	visits = append(visits, s.chain(2, 1, dec(21), dec(24))...)
	second := s.planOf(first.ID, visits...)
	later := storeNow.Add(time.Hour)
	_, changes, err = s.store.Publish(ctx, s.firm, second.ID, "Imogen", later, nil)
	s.must(err)
	if len(changes) != 4 {
		t.Fatalf("%d changes: %+v", len(changes), changes)
	}
	all, err := s.store.Bookings(ctx, s.firm)
	s.must(err)
	for _, c := range changes {
		i := slices.IndexFunc(all, func(b schedule.Booking) bool { return b.ID == c.After.ID })
		if i < 0 || all[i] != c.After {
			t.Errorf("the database has %+v, told was %+v", all, c.After)
		}
		h, err := s.store.BookingHistory(ctx, s.firm, c.After.ID)
		s.must(err)
		last := h[len(h)-1]
		if last.Why != c.Why || last.Plan != second.ID || last.ChangedBy != "Imogen" || last.Sequence != c.After.Sequence || last.ChangedAt != later {
			t.Errorf("history %+v of %+v", last, c)
		}
	}
	moved, err := s.store.Booking(ctx, s.firm, confirmed.ID)
	if err != nil || moved.UID != confirmed.UID || moved.Sequence != confirmed.Sequence+1 || moved.State != schedule.BookingWanted || moved.ErectOn != dec(11) {
		t.Errorf("moved booking %+v, %v", moved, err)
	}
	yard1, err := s.store.BookingsOf(ctx, s.firm, s.yards[1].ID)
	if err != nil || len(yard1) != 2 || yard1[0].State != schedule.BookingCancelled {
		t.Errorf("the yard that lost the job has %+v, %v", yard1, err)
	}
	old, err := s.store.Plan(ctx, s.firm, first.ID)
	if err != nil || old.State != schedule.Superseded {
		t.Errorf("first plan %v, %v", old.State, err)
	}
	if now, err := s.store.CurrentPlan(ctx, s.firm); err != nil || now.ID != second.ID {
		t.Errorf("current plan %v, %v", now.Version, err)
	}
	_, _, err = s.store.Publish(ctx, s.firm, second.ID, "Imogen", later, nil)
	wantKind(t, "published twice", err, fault.Conflict)
	_, _, err = s.store.Publish(ctx, s.firm, newID(), "Imogen", later, nil)
	wantKind(t, "no such plan", err, fault.NotFound)
	_, _, err = s.store.Publish(ctx, s.firm, s.planOf(second.ID).ID, "", later, nil)
	wantKind(t, "by nobody", err, fault.Invalid)
	s.feedIsTheDatabase()
}

// feedIsTheDatabase compares a feed with what the tables say, counted by SQL.
func (s *scene) feedIsTheDatabase() {
	s.Helper()
	all, err := s.store.Bookings(ctx, s.firm)
	s.must(err)
	jobs, err := s.store.Jobs(ctx, s.firm)
	s.must(err)
	f := schedule.FeedOf("all", all, jobs, schedule.Contact{}, civil.NoDate, time.UTC)
	if _, err := f.Bytes(); err != nil {
		s.Errorf("feed: %v", err)
	}
	for _, e := range f.Events {
		var n int
		s.must(s.db.Owner.QueryRow(ctx, `SELECT count(*) FROM booking b JOIN booking_version v USING (firm_id, booking_id)
			WHERE b.uid = $1 AND b.sequence = $2 AND b.erect_on = $3 AND b.strike_on = $4 AND (b.state = 'cancelled') = $5
			  AND v.sequence = b.sequence AND v.changed_at = b.changed_at`,
			e.UID, e.Sequence, e.FirstDay, e.LastDay, e.Status.String() == "CANCELLED").Scan(&n))
		if n != 1 {
			s.Errorf("event %+v is %d rows of the database", e, n)
		}
	}
}

// Two people publish at the same moment: one wins, the other is told.
func TestTwoPublishAtOnce(t *testing.T) {
	for name, drafts := range map[string]func(*scene) [2]uuid.UUID{
		"the same draft, nothing published": func(s *scene) [2]uuid.UUID {
			p := s.planOf(uuid.Nil, s.chain(0, 0, dec(10), dec(15))...)
			return [2]uuid.UUID{p.ID, p.ID}
		},
		"two drafts, nothing published": func(s *scene) [2]uuid.UUID {
			return [2]uuid.UUID{s.planOf(uuid.Nil, s.chain(0, 0, dec(10), dec(15))...).ID, s.planOf(uuid.Nil, s.chain(0, 1, dec(11), dec(16))...).ID}
		},
		"two drafts on one base": func(s *scene) [2]uuid.UUID {
			s.booked()
			base := b2plan(s)
			return [2]uuid.UUID{s.planOf(base, s.chain(0, 0, dec(14), dec(18))...).ID, s.planOf(base, s.chain(0, 1, dec(11), dec(16))...).ID}
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t)
			ids := drafts(s)
			var wg sync.WaitGroup
			var errs [2]error
			start := make(chan struct{})
			for i := range 2 {
				wg.Go(func() {
					<-start
					_, _, errs[i] = s.store.Publish(ctx, s.firm, ids[i], "office", storeNow, nil)
				})
			}
			close(start)
			wg.Wait()
			won, lost := 0, 1
			if errs[0] != nil {
				won, lost = 1, 0
			}
			if errs[won] != nil {
				t.Fatalf("nobody won: %v and %v", errs[0], errs[1])
			}
			wantKind(t, "the other", errs[lost], fault.Conflict)
			var live, versions int
			s.must(s.db.Owner.QueryRow(ctx, `SELECT count(*) FROM booking WHERE state <> 'cancelled'`).Scan(&live))
			s.must(s.db.Owner.QueryRow(ctx, `SELECT count(*) FROM booking_version WHERE plan_id = $1`, ids[won]).Scan(&versions))
			if p, err := s.store.CurrentPlan(ctx, s.firm); err != nil || p.ID != ids[won] || live != 1 || versions == 0 {
				t.Errorf("current plan %v, %v; %d live bookings, %d versions", p.ID, err, live, versions)
			}
		})
	}
}

// An answer and a publish at the same moment must not lose each other.
func TestAnswerWhilePublishing(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	for round := range 8 {
		base := b2plan(s)
		draft := s.planOf(base, s.chain(0, 0, dec(10)+civil.Date(round%2+1), dec(20))...)
		now := storeNow.Add(time.Duration(round+1) * time.Hour)
		before, err := s.store.Booking(ctx, s.firm, b.ID)
		s.must(err)
		var wg sync.WaitGroup
		var published, answered error
		wg.Go(func() { _, _, published = s.store.Publish(ctx, s.firm, draft.ID, "office", now, nil) })
		wg.Go(func() {
			_, answered = s.store.AnswerBooking(ctx, s.firm, b.ID, before.Sequence, schedule.Answer{Confirm: true}, "yard", now)
		})
		wg.Wait()
		if published != nil {
			t.Fatalf("round %d: the office was refused: %v", round, published)
		}
		after, err := s.store.Booking(ctx, s.firm, b.ID)
		s.must(err)
		h, err := s.store.BookingHistory(ctx, s.firm, b.ID)
		s.must(err)
		if answered != nil && fault.KindOf(answered) != fault.Conflict {
			t.Errorf("round %d: the yard was told %v", round, answered)
		}
		if after.State != schedule.BookingWanted || h[len(h)-1].Sequence != after.Sequence {
			t.Errorf("round %d: the yard has confirmed days that it never saw: %+v", round, after)
		}
		for i := 1; i < len(h); i++ {
			if h[i].Sequence < h[i-1].Sequence || h[i].Version != h[i-1].Version+1 {
				t.Errorf("round %d: history %+v", round, h)
			}
		}
	}
}

// Two people of the yard: one has a page with the old days open while the plan
// moves them and the other confirms the new ones. What the first then confirms
// are days that are no more.
func TestAConfirmationOfOldDaysIsNoRepetition(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	draft := s.planOf(b2plan(s), s.chain(0, 0, dec(11), dec(16))...)
	_, _, err := s.store.Publish(ctx, s.firm, draft.ID, "Imogen", storeNow.Add(time.Minute), nil)
	s.must(err)
	say := func(seen int) error {
		_, err := s.store.AnswerBooking(ctx, s.firm, b.ID, seen, schedule.Answer{Confirm: true}, "yard", storeNow.Add(time.Hour))
		return err
	}
	s.must(say(1))
	wantKind(t, "the old days", say(0), fault.Conflict)
	wantKind(t, "a number that never was", say(99), fault.Conflict)
	s.must(say(1)) // the form sent twice
	s.must(say(2))
}

func TestAnswers(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	say := func(seen int, a schedule.Answer) (schedule.Booking, error) {
		return s.store.AnswerBooking(ctx, s.firm, b.ID, seen, a, "yard", storeNow.Add(time.Minute))
	}
	_, err := say(7, schedule.Answer{Confirm: true})
	wantKind(t, "to days it never saw", err, fault.Conflict)
	got, err := say(0, schedule.Answer{Confirm: true})
	if err != nil || got.State != schedule.BookingConfirmed || got.Sequence != 1 {
		t.Errorf("confirmed %+v, %v", got, err)
	}
	if again, err := say(0, schedule.Answer{Confirm: true}); err != nil || again != got {
		t.Errorf("a form sent twice: %+v, %v", again, err)
	}
	_, err = say(1, schedule.Answer{OfferedOn: dec(1)})
	wantKind(t, "a day that is gone", err, fault.Invalid)
	got, err = say(1, schedule.Answer{OfferedOn: dec(14)})
	if err != nil || got.State != schedule.BookingCountered || got.OfferedOn != dec(14) || got.ErectOn != dec(10) || got.Sequence != 2 {
		t.Errorf("offered %+v, %v", got, err)
	}
	if again, err := say(1, schedule.Answer{OfferedOn: dec(14)}); err != nil || again != got {
		t.Errorf("the offer sent twice: %+v, %v", again, err)
	}
	kept, err := s.store.Booking(ctx, s.firm, b.ID)
	if err != nil || kept != got {
		t.Errorf("kept %+v, %v", kept, err)
	}
	h, err := s.store.BookingHistory(ctx, s.firm, b.ID)
	if err != nil || len(h) != 3 || h[2].Why != "The scaffold firm offers Mon 14 Dec instead of Thu 10 Dec to erect." {
		t.Errorf("history %+v, %v", h, err)
	}
	standing, err := s.store.MarkErected(ctx, s.firm, b.ID, dec(10), "lead", schedule.ByOffice, dec(10).At(15, 0, time.UTC))
	if err != nil || standing.State != schedule.BookingErected || standing.OfferedOn.Known() {
		t.Errorf("erected %+v, %v", standing, err)
	}
	j, err := s.store.Job(ctx, s.firm, "J-1001")
	s.must(err)
	if st, _ := j.Stage(schedule.ScaffoldErection); st.State != schedule.StateDone || st.DoneOn != dec(10) {
		t.Errorf("the job's stage %+v", st)
	}
	struck, err := s.store.MarkStruck(ctx, s.firm, b.ID, dec(16), "lead", schedule.ByOffice, dec(16).At(15, 0, time.UTC))
	if err != nil || struck.State != schedule.BookingStruck || struck.StrikeOn != dec(16) {
		t.Errorf("struck %+v, %v", struck, err)
	}
	_, err = say(struck.Sequence, schedule.Answer{Confirm: true})
	wantKind(t, "to a scaffold that is gone", err, fault.Conflict)
	_, err = s.store.AnswerBooking(ctx, s.firm, newID(), 0, schedule.Answer{Confirm: true}, "yard", storeNow)
	wantKind(t, "to no booking", err, fault.NotFound)
}

// The office takes the day offered as it saw booking and offer, once.
func TestAnOfferIsTakenOnce(t *testing.T) {
	s := newScene(t)
	b := s.booked() // Thu 10 to Wed 16 December
	take := func(seen int, on civil.Date) (schedule.Booking, error) {
		return s.store.AcceptOffer(ctx, s.firm, b.ID, seen, on, "Imogen", storeNow.Add(time.Hour))
	}
	_, err := take(0, dec(11))
	wantKind(t, "no offer yet", err, fault.Conflict)
	for _, on := range []civil.Date{dec(14), dec(11)} {
		_, err := s.store.AnswerBooking(ctx, s.firm, b.ID, 0, schedule.Answer{OfferedOn: on}, "yard", storeNow)
		s.must(err)
	}
	before := s.everything()
	_, err = take(0, dec(14))
	wantKind(t, "an offer that was replaced", err, fault.Conflict)
	_, err = take(7, dec(11))
	wantKind(t, "a booking that it never was", err, fault.Conflict)
	s.unchanged(before, "refused")
	got, err := take(0, dec(11))
	if err != nil || got.State != schedule.BookingConfirmed || got.ErectOn != dec(11) || got.StrikeOn != b.StrikeOn || got.Sequence != 1 || got.OfferedOn.Known() {
		t.Fatalf("taken: %+v, %v", got, err)
	}
	if again, err := take(0, dec(11)); err != nil || again != got {
		t.Errorf("the form sent twice: %+v, %v", again, err)
	}
	h, err := s.store.BookingHistory(ctx, s.firm, b.ID)
	s.must(err)
	last := h[len(h)-1]
	if len(h) != 4 || last.State != schedule.BookingConfirmed || last.ErectOn != dec(11) || last.Sequence != 1 || last.ChangedBy != "Imogen" ||
		!strings.Contains(last.Why, "erect from Thu 10 Dec to Fri 11 Dec") {
		t.Errorf("history %+v", h)
	}
	_, err = take(9, dec(11))
	wantKind(t, "taken already, by a number that never was", err, fault.Conflict)
}

func TestAScaffoldThatStoodBefore(t *testing.T) {
	s := newScene(t)
	b := schedule.Booking{Job: s.jobs[2].ID, ScaffoldFirm: s.yards[1].ID, ErectOn: dec(1), StrikeOn: dec(29)}
	s.must(s.store.AddStanding(ctx, s.firm, b, storeNow))
	all, err := s.store.Bookings(ctx, s.firm)
	if err != nil || len(all) != 1 || all[0].State != schedule.BookingErected || all[0].UID != all[0].ID.String()+"@toeboard.invalid" {
		t.Errorf("%+v, %v", all, err)
	}
	wantKind(t, "a second one on the same days", s.store.AddStanding(ctx, s.firm, b, storeNow), fault.Conflict)
	b.StrikeOn = dec(1) - 1
	wantKind(t, "struck before erected", s.store.AddStanding(ctx, s.firm, b, storeNow), fault.Invalid)
}

// ---------------------------------------------------------------- snapshot

func TestSnapshotIsWholeAndRepeatable(t *testing.T) {
	s := newScene(t)
	s.booked()
	closed := s.jobs[2]
	closed.State = schedule.JobCancelled
	s.must(s.store.SaveJob(ctx, s.firm, closed, "office", storeNow))
	a, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
	s.must(err)
	b, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
	s.must(err)
	if !reflect.DeepEqual(a, b) || a.HashOf() != b.HashOf() {
		t.Error("two snapshots of the same firm differ")
	}
	if len(a.Jobs) != 2 || len(a.Crews) != 2 || len(a.ScaffoldFirms) != 2 || len(a.Holidays) != 1 || len(a.Bookings) != 1 || a.Base == nil ||
		a.Base.ID != b2plan(s) || a.Firm.ID != s.firm || a.Now != storeNow || a.FirstDay != dec(3) || a.Days != 30 || a.Frozen != 2 || a.Outlooks != nil {
		t.Errorf("snapshot %+v", a)
	}
	_, err = s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 401)
	wantKind(t, "too far", err, fault.Invalid)
	_, err = s.store.Snapshot(ctx, s.firm, storeNow, civil.NoDate, 9)
	wantKind(t, "from no day", err, fault.Invalid)
	_, err = s.store.Snapshot(ctx, newID(), storeNow, dec(3), 9)
	wantKind(t, "of no firm", err, fault.NotFound)
}

// While a writer changes the first and the last thing that is read, always
// both at once, no snapshot may see one without the other.
func TestSnapshotIsOfOneInstant(t *testing.T) {
	s := newScene(t)
	s.booked()
	stop := make(chan struct{})
	wrote := make(chan error, 1)
	go func() {
		for n := 0; ; n++ {
			select {
			case <-stop:
				wrote <- nil
				return
			default:
			}
			err := tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error {
				b := &pgx.Batch{}
				b.Queue(`UPDATE firm SET base_lat = $1`, n%50)
				b.Queue(`UPDATE plan SET published_by = $1 WHERE state = 'published'`, fmt.Sprint(n%50))
				return tx.SendBatch(ctx, b).Close()
			})
			if err != nil {
				wrote <- err
				return
			}
		}
	}()
	seen := map[string]bool{}
	for range 60 {
		snap, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
		s.must(err)
		if snap.Base.PublishedBy != "office" && snap.Base.PublishedBy != fmt.Sprint(snap.Firm.BaseLat) {
			t.Errorf("firm of %v with the plan of %s", snap.Firm.BaseLat, snap.Base.PublishedBy)
		}
		seen[snap.Base.PublishedBy] = true
	}
	close(stop)
	s.must(<-wrote)
	if len(seen) < 2 {
		t.Fatal("the writer never got between two snapshots: nothing was tested")
	}
}

// ---------------------------------------------------------------- attacks

// Plain SQL, as a bug or a hand at the console might send it, through the
// service's own role.
func TestTheDatabaseRefusesWhatMustNotBe(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	plan := b2plan(s)
	before := s.everything()
	for name, c := range map[string]struct {
		sql        string
		args       []any
		constraint string // or the error's code
	}{
		"a crew double booked": {`INSERT INTO visit (firm_id, plan_id, job_id, stage_kind, crew_id, half_days, indoors) VALUES ($1, $2, $3, 'roof_work', $4, int4multirange(int4range($5, $5 + 4)), false)`,
			[]any{s.firm, plan, s.jobs[1].ID, s.crew.ID, int(dec(11).In(civil.Afternoon))}, "visit_crew_double_booked"},
		"a second scaffold on a job": {`INSERT INTO booking (firm_id, booking_id, job_id, scaffold_firm_id, uid, state, erect_on, strike_on, sequence, changed_at) VALUES ($1, $2, $3, $4, 'x@y', 'wanted', '2026-12-15', '2026-12-20', 0, now())`,
			[]any{s.firm, newID(), s.jobs[0].ID, s.yards[1].ID}, "booking_overlaps_on_job"},
		"a UID used again": {`INSERT INTO booking (firm_id, booking_id, job_id, scaffold_firm_id, uid, state, erect_on, strike_on, sequence, changed_at) VALUES ($1, $2, $3, $4, $5, 'wanted', '2027-12-15', '2027-12-20', 0, now())`,
			[]any{s.firm, newID(), s.jobs[0].ID, s.yards[1].ID, b.UID}, "booking_firm_id_uid_key"},
		"a sequence that falls":    {`UPDATE booking SET sequence = sequence - 1 WHERE booking_id = $1`, []any{b.ID}, "booking_sequence_never_falls"},
		"another UID":              {`UPDATE booking SET uid = 'x@y' WHERE booking_id = $1`, []any{b.ID}, "booking_uid_for_life"},
		"struck before erected":    {`UPDATE booking SET strike_on = erect_on - 1 WHERE booking_id = $1`, []any{b.ID}, "booking_check"},
		"countered without a day":  {`UPDATE booking SET state = 'countered' WHERE booking_id = $1`, []any{b.ID}, "booking_check1"},
		"a state that is none":     {`UPDATE booking SET state = 'maybe' WHERE booking_id = $1`, []any{b.ID}, "booking_life"},
		"history rewritten":        {`UPDATE booking_version SET why = 'never happened' WHERE booking_id = $1`, []any{b.ID}, "42501"},
		"history removed":          {`DELETE FROM booking_version WHERE booking_id = $1`, []any{b.ID}, "42501"},
		"a booking removed":        {`DELETE FROM booking WHERE booking_id = $1`, []any{b.ID}, "42501"},
		"a plan's content changed": {`UPDATE plan SET cost = '{}' WHERE plan_id = $1`, []any{plan}, "42501"},
		"a visit moved":            {`UPDATE visit SET half_days = '{[1,2)}' WHERE plan_id = $1`, []any{plan}, "42501"},
		"a visit removed":          {`DELETE FROM visit WHERE plan_id = $1`, []any{plan}, "42501"},
		"two published plans":      {`INSERT INTO plan (firm_id, plan_id, version, state, first_day, days, seed, schedules, snapshot_hash, cost, made_by, made_at, published_by, published_at) VALUES ($1, $2, 99, 'published', '2026-12-01', 9, 0, 0, decode(repeat('00', 32), 'hex'), '{}', 'x', now(), 'x', now())`, []any{s.firm, newID()}, "plan_one_published"},
		"another firm's row":       {`INSERT INTO holiday (firm_id, day, title, source) VALUES ($1, '2026-12-28', 'x', 'x')`, []any{s.neighbour}, "42501"},
		"a job's second reference": {`UPDATE job SET ref = 'J-1001' WHERE ref = 'J-1002'`, nil, "job_firm_id_ref_key"},
		"a forecast rewritten":     {`UPDATE forecast SET body = ''`, nil, "42501"},
		"a done stage with no day": {`UPDATE stage SET state = 'done'`, nil, "stage_check"},
		"granted on no day":        {`UPDATE consent SET state = 'granted', granted_on = NULL`, nil, "consent_check"},
		"policies switched off":    {`ALTER TABLE booking DISABLE ROW LEVEL SECURITY`, nil, "42501"},
	} {
		err := s.app(c.sql, c.args...)
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.ConstraintName != c.constraint && pg.Code != c.constraint {
			t.Errorf("%s: %v, want %s", name, err, c.constraint)
		}
	}
	// Whoever owns the tables cannot rewrite records either.
	for _, sql := range []string{`UPDATE booking_version SET why = 'x'`, `DELETE FROM visit`} {
		_, err := s.db.Owner.Exec(ctx, sql)
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.ConstraintName != "record_is_kept" {
			t.Errorf("%s by the owner: %v", sql, err)
		}
	}
	s.unchanged(before, "attacks")
}

// ---------------------------------------------------------------- broken connections

// The server ends the connection in the middle of each write: after some rows
// were written, before the commit. Nothing may be half saved, and the same call
// must work once the server is well again.
func TestAConnectionThatDiesLeavesNothingHalfSaved(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	draft := s.planOf(b2plan(s), append(s.chain(0, 0, dec(11), dec(16)), s.chain(1, 1, dec(14), dec(18))...)...)
	im := s.readFile("reference,promised on\nJ-1001,2027-01-15\nJ-1002,2027-01-16\n")
	fresh := s.jobs[0]
	fresh.ID, fresh.Site.ID, fresh.Customer.ID, fresh.Ref = newID(), newID(), newID(), "J-3000"
	later := dec(10).At(15, 0, time.UTC)
	s.owner(`CREATE FUNCTION die() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$ BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); PERFORM pg_sleep(5); RETURN NEW; END $$`)
	for _, c := range []struct {
		name, on string // where the connection dies
		do       func() error
	}{
		{"CreateFirm", "holiday", func() error {
			return s.store.CreateFirm(ctx, firmNamed("New"), []schedule.Holiday{{Day: dec(25), Title: "Christmas Day"}})
		}},
		{"SaveJob", "kit", func() error { return s.store.SaveJob(ctx, s.firm, fresh, "office", storeNow) }},
		{"ApplyImport", "kit", func() error { return s.store.ApplyImport(ctx, s.firm, im, "office", storeNow) }},
		{"SavePlan", "visit", func() error {
			_, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{FirstDay: dec(3), Days: 9, MadeBy: "x", MadeAt: storeNow, Visits: s.chain(2, 0, dec(10), dec(15))})
			return err
		}},
		{"AnswerBooking", "booking_version", func() error {
			_, err := s.store.AnswerBooking(ctx, s.firm, b.ID, 0, schedule.Answer{Confirm: true}, "yard", storeNow)
			return err
		}},
		{"Publish", "booking_version", func() error { _, _, err := s.store.Publish(ctx, s.firm, draft.ID, "office", storeNow, nil); return err }},
		{"AddStanding", "booking_version", func() error {
			return s.store.AddStanding(ctx, s.firm, schedule.Booking{Job: s.jobs[2].ID, ScaffoldFirm: s.yards[1].ID, ErectOn: dec(1), StrikeOn: dec(29)}, storeNow)
		}},
		{"StageDone", "booking_version", func() error {
			return s.store.StageDone(ctx, s.firm, "J-1002", schedule.ScaffoldErection, dec(10), "lead", later)
		}},
		{"MarkErected", "stage", func() error {
			_, err := s.store.MarkErected(ctx, s.firm, b.ID, dec(10), "lead", schedule.ByOffice, later)
			return err
		}},
	} {
		s.owner(`CREATE TRIGGER die BEFORE INSERT OR UPDATE ON ` + c.on + ` FOR EACH ROW EXECUTE FUNCTION die()`)
		before := s.everything()
		err := c.do()
		if err == nil {
			t.Errorf("%s: the connection died and nobody was told", c.name)
		}
		if k := fault.KindOf(err); k != fault.Unavailable && k != fault.Internal {
			t.Errorf("%s: told %s (%v) though it was no fault of the caller", c.name, k, err)
		}
		s.unchanged(before, c.name)
		s.owner(`DROP TRIGGER die ON ` + c.on)
		if err := c.do(); err != nil {
			t.Errorf("%s again: %v", c.name, err)
		}
	}
	if got, err := s.store.CurrentPlan(ctx, s.firm); err != nil || got.ID != draft.ID {
		t.Errorf("the publish that was repeated: %v, %v", got.Version, err)
	}
}
