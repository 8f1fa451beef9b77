package schedule_test

import (
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// told makes an offer of two half-days of the roof crew and one of the
// electricians.
func (s *scene) told(day civil.Date) schedule.HeldOffer {
	j := sampleJobs()[0]
	j.ID, j.Site.ID, j.Customer.ID = newID(), newID(), newID()
	j.Ref = "new job"
	visit := func(k schedule.StageKind, crew, yard uuid.UUID, halves ...civil.HalfDay) schedule.Visit {
		return schedule.Visit{Job: j.ID, Stage: k, Crew: crew, ScaffoldFirm: yard, HalfDays: halves}
	}
	return schedule.HeldOffer{ID: j.ID, For: "Mr Bird", Contact: "01632 960131", Job: j, More: 812_40, ToldBy: "Imogen Thackray", Until: storeNow.Add(72 * time.Hour),
		Visits: []schedule.Visit{
			visit(schedule.ScaffoldErection, uuid.Nil, s.yards[0].ID, (day - 1).In(civil.Morning)),
			visit(schedule.RoofWork, s.crew.ID, uuid.Nil, day.In(civil.Morning), day.In(civil.Afternoon)),
			visit(schedule.FirstFix, s.sparks.ID, uuid.Nil, day.In(civil.Morning)),
			visit(schedule.ScaffoldStrike, uuid.Nil, s.yards[0].ID, (day + 5).In(civil.Morning)),
		}}
}

func (s *scene) hold(h schedule.HeldOffer) (schedule.HeldOffer, error) {
	return s.store.HoldOffer(ctx, s.firm, h, storeNow, dec(3), 60, func(snap schedule.Snapshot) error {
		for _, no := range schedule.StillFree(snap, h.Visits) {
			if no.Rule != schedule.RuleAway { // the scene's crews have no lead
				return fault.Changed("offer", "", no.Say())
			}
		}
		return nil
	})
}

func TestAHeldOfferComesBackAndRunsOut(t *testing.T) {
	s := newScene(t)
	h, err := s.hold(s.told(dec(10)))
	s.must(err)
	again, err := s.hold(h)
	s.must(err)
	if !reflect.DeepEqual(h.Visits, again.Visits) || again.State != schedule.OfferHeld {
		t.Errorf("held again it is %+v", again)
	}
	list, err := s.store.HeldOffers(ctx, s.firm, storeNow)
	s.must(err)
	if len(list) != 1 || !reflect.DeepEqual(list[0].Visits, h.Visits) || list[0].Job.Ref != h.Job.Ref || list[0].More != h.More || !list[0].Until.Equal(h.Until) {
		t.Errorf("held is %+v", list)
	}
	snap, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 60)
	s.must(err)
	if len(snap.Offers) != 1 || len(snap.Bookings) != 1 || snap.Bookings[0].ErectOn != dec(9) || snap.Bookings[0].StrikeOn != dec(15) {
		t.Errorf("the snapshot has %d offers and the bookings %+v", len(snap.Offers), snap.Bookings)
	}
	// One instant before it runs out it holds, then no more, whoever looks.
	for at, want := range map[time.Time]int{h.Until.Add(-time.Microsecond): 1, h.Until: 0} {
		if list, err = s.store.HeldOffers(ctx, s.firm, at); err != nil || len(list) != want {
			t.Errorf("at %s %d offers are held, %v", at, len(list), err)
		}
	}
	if _, _, err := s.store.TakeOffer(ctx, s.firm, h.ID, "N-1", "Imogen Thackray", h.Until); fault.KindOf(err) != fault.Conflict {
		t.Errorf("taken after it ran out: %v", err)
	}
	// What ran out is free for somebody else, and stays on record.
	other := s.told(dec(10))
	other.Until = h.Until.Add(72 * time.Hour)
	if _, err := s.store.HoldOffer(ctx, s.firm, other, h.Until, dec(7), 60, nil); err != nil {
		t.Errorf("its place is not free: %v", err)
	}
	if was, err := s.store.HeldOffer(ctx, s.firm, h.ID); err != nil || was.State != schedule.OfferExpired {
		t.Errorf("it is %s, %v", was.State, err)
	}
	if list, err := s.store.HeldOffers(ctx, s.neighbour, storeNow); err != nil || len(list) != 0 {
		t.Errorf("a neighbour sees %d offers, %v", len(list), err)
	}
}

// Many hold the same place at once: one has it, all others are told.
func TestOneOfManyHoldsThePlace(t *testing.T) {
	s := newScene(t)
	const people = 12
	errs := make([]error, people)
	var all sync.WaitGroup
	start := make(chan struct{})
	for i := range people {
		h := s.told(dec(10))
		all.Add(1)
		go func() {
			defer all.Done()
			<-start
			_, errs[i] = s.hold(h)
		}()
	}
	close(start)
	all.Wait()
	won := 0
	for _, err := range errs {
		switch {
		case err == nil:
			won++
		case fault.KindOf(err) != fault.Conflict:
			t.Errorf("told: %v", err)
		}
	}
	list, err := s.store.HeldOffers(ctx, s.firm, storeNow)
	s.must(err)
	if won != 1 || len(list) != 1 {
		t.Errorf("%d hold it, %d are kept", won, len(list))
	}
}

// Also without the question whether the place is free: the database refuses.
func TestTheDatabaseKeepsAPlaceForOne(t *testing.T) {
	s := newScene(t)
	_, err := s.store.HoldOffer(ctx, s.firm, s.told(dec(10)), storeNow, dec(3), 60, nil)
	s.must(err)
	if _, err := s.store.HoldOffer(ctx, s.firm, s.told(dec(10)), storeNow, dec(3), 60, nil); fault.KindOf(err) != fault.Conflict {
		t.Errorf("held twice: %v", err)
	}
}

func TestAnOfferBecomesAJob(t *testing.T) {
	s := newScene(t)
	h, err := s.hold(s.told(dec(10)))
	s.must(err)
	if _, _, err := s.store.TakeOffer(ctx, s.firm, h.ID, s.jobs[0].Ref, "Imogen Thackray", storeNow); fault.KindOf(err) != fault.Invalid {
		t.Errorf("taken under the reference of another job: %v", err)
	}
	got, job, err := s.store.TakeOffer(ctx, s.firm, h.ID, "N-1", "Imogen Thackray", storeNow)
	s.must(err)
	if got.State != schedule.OfferTaken || job.ID != h.ID || job.Ref != "N-1" {
		t.Errorf("taken is %+v, the job %s %s", got.State, job.Ref, job.ID)
	}
	if _, again, err := s.store.TakeOffer(ctx, s.firm, h.ID, "N-1", "Imogen Thackray", storeNow); err != nil || again.ID != job.ID {
		t.Errorf("taken twice: %v", err)
	}
	// Its customer is who it was told to, where they can be reached.
	saved, err := s.store.Job(ctx, s.firm, "N-1")
	s.must(err)
	if saved.Customer.Name != "Mr Bird" || saved.Customer.Phone != "01632 960131" {
		t.Errorf("its customer is %+v", saved.Customer)
	}
	// Its place is kept until a plan with the job is published.
	if _, err := s.hold(s.told(dec(10))); fault.KindOf(err) != fault.Conflict {
		t.Errorf("its place is told to another: %v", err)
	}
	if _, err := s.store.ReleaseOffer(ctx, s.firm, h.ID, "Imogen Thackray", storeNow); fault.KindOf(err) != fault.Conflict {
		t.Errorf("a job is given free: %v", err)
	}
	var pins int
	s.must(s.db.Owner.QueryRow(ctx, `SELECT count(*) FROM pin WHERE job_id = $1 AND kind IN ('start', 'by')`, h.ID).Scan(&pins))
	if pins != 5 { // start and crew of the roof work and of the first fix, and the scaffold firm
		t.Errorf("%d pins keep its place", pins)
	}
}

// Two take it at once under different references: one makes the job, the other
// is told which job it is and by whom.
func TestAnOfferIsTakenUnderOneReference(t *testing.T) {
	s := newScene(t)
	h, err := s.hold(s.told(dec(10)))
	s.must(err)
	refs, errs := [2]string{"N-1", "N-2"}, [2]error{}
	var both sync.WaitGroup
	start := make(chan struct{})
	for i, ref := range refs {
		both.Go(func() {
			<-start
			_, _, errs[i] = s.store.TakeOffer(ctx, s.firm, h.ID, ref, "by "+ref, storeNow)
		})
	}
	close(start)
	both.Wait()
	won := 0
	if errs[0] != nil {
		won = 1
	}
	if errs[won] != nil || fault.KindOf(errs[1-won]) != fault.Conflict {
		t.Fatalf("told: %v, %v", errs[0], errs[1])
	}
	if says, want := errs[1-won].Error(), "it was taken as "+refs[won]+" by by "+refs[won]; !strings.Contains(says, want) {
		t.Errorf("the other is told %q, want %q in it", says, want)
	}
	if _, err := s.store.Job(ctx, s.firm, refs[1-won]); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the other's job: %v", err)
	}
}

func TestAReleasedPlaceIsFree(t *testing.T) {
	s := newScene(t)
	h, err := s.hold(s.told(dec(10)))
	s.must(err)
	for range 2 {
		got, err := s.store.ReleaseOffer(ctx, s.firm, h.ID, "Imogen Thackray", storeNow)
		if err != nil || got.State != schedule.OfferReleased {
			t.Errorf("released is %s, %v", got.State, err)
		}
	}
	if _, _, err := s.store.TakeOffer(ctx, s.firm, h.ID, "N-1", "Imogen Thackray", storeNow); fault.KindOf(err) != fault.Conflict {
		t.Errorf("taken after it was given free: %v", err)
	}
	if _, err := s.hold(s.told(dec(10))); err != nil {
		t.Errorf("its place is not free: %v", err)
	}
}
