package schedule_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func TestRatesAreVersionsAndPlanningUsesTheNewest(t *testing.T) {
	s := newScene(t)
	first, err := s.store.Rates(ctx, s.firm)
	s.must(err)
	if first.Version != 1 || first.Rates != schedule.DefaultRates() {
		t.Fatalf("a firm begins with %+v", first)
	}
	snap, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
	s.must(err)
	ours := first.Rates
	ours.LateTold, ours.FrozenDays = 111_00, 4
	v, err := s.store.SetRates(ctx, s.firm, ours, 1, "Imogen", storeNow)
	s.must(err)
	if v != 2 {
		t.Errorf("version %d, want 2", v)
	}
	now, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
	s.must(err)
	if now.Firm.Rates != ours || now.Frozen != 4 || now.HashOf() == snap.HashOf() {
		t.Errorf("planning uses %+v, frozen %d; hash the same: %t", now.Firm.Rates, now.Frozen, now.HashOf() == snap.HashOf())
	}
	if _, err := s.store.SetRates(ctx, s.firm, ours, 1, "Owen", storeNow); fault.KindOf(err) != fault.Conflict {
		t.Errorf("set by one who looked at version 1: %v", err)
	}
	if again, err := s.store.SetRates(ctx, s.firm, ours, 1, "Imogen", storeNow.Add(time.Minute)); err != nil || again != 2 {
		t.Errorf("the same again by the same: version %d, %v", again, err)
	}
	bad := ours
	bad.MovedSoon = -1
	for by, r := range map[string]schedule.Rates{"": ours, "Owen": bad} {
		if _, err := s.store.SetRates(ctx, s.firm, r, 2, by, storeNow); fault.KindOf(err) != fault.Invalid {
			t.Errorf("set by %q: %v", by, err)
		}
	}
	all, err := s.store.RatesHistory(ctx, s.firm)
	s.must(err)
	if len(all) != 1 || all[0].SetBy != "Imogen" || !all[0].SetAt.Equal(storeNow.Truncate(time.Microsecond)) || all[0].Rates != ours {
		t.Errorf("history %+v", all)
	}
	// A row that is older than a rate has the rate's start value.
	s.owner(`ALTER TABLE rates DISABLE TRIGGER record_is_kept`)
	s.owner(`UPDATE rates SET body = body - 'handover_pence'`)
	if r, err := s.store.Rates(ctx, s.firm); err != nil || r.Handover != schedule.DefaultRates().Handover || r.LateTold != 111_00 {
		t.Errorf("an older row gives %+v, %v", r.Rates, err)
	}
}

// What no plan could ever keep is refused where it is typed, with the field and
// what would be right. It is Wednesday 2 December 2026; 13 December is a Sunday,
// and five working days' notice end on Wednesday the 9th (counted by hand).
func TestAPinThatCanNeverBeIsRefused(t *testing.T) {
	s := newScene(t)
	pin := func(kind schedule.PinKind, k schedule.StageKind, on civil.Date) schedule.Pin {
		return schedule.Pin{Kind: kind, Stage: k, On: on, Why: "the road is closed", SetBy: "Imogen", SetAt: storeNow}
	}
	whole := pin(schedule.PinStays, schedule.StageUnknown, civil.NoDate)
	by := pin(schedule.PinBy, schedule.ScaffoldErection, civil.NoDate)
	by.Who = s.yards[0].ID
	notBy := pin(schedule.PinNotBy, schedule.ScaffoldStrike, civil.NoDate)
	notBy.Who = by.Who
	for _, p := range []schedule.Pin{pin(schedule.PinOn, schedule.RoofWork, dec(14)), by, whole} {
		_, err := s.store.SetPin(ctx, s.firm, "J-1002", p)
		s.must(err)
	}
	for what, c := range map[string]struct {
		pin  schedule.Pin
		says []string
	}{
		"yesterday":        {pin(schedule.PinNotAfter, schedule.FirstFix, dec(1)), []string{"day", "2026-12-01", "2026-12-02 or later"}},
		"a Sunday":         {pin(schedule.PinOn, schedule.FirstFix, dec(13)), []string{"day", "2026-12-13", "nobody works on Sun 13 Dec"}},
		"a Sunday in 2027": {pin(schedule.PinOn, schedule.FirstFix, civil.On(2027, 12, 12)), []string{"day", "nobody works on Sun 12 Dec 2027"}},
		"before notice":    {pin(schedule.PinOn, schedule.ScaffoldErection, dec(8)), []string{"day", "2026-12-08", "2026-12-09 or later", "5 working days"}},
		"another start":    {pin(schedule.PinStart, schedule.RoofWork, dec(15)), []string{"day", "2026-12-15", "the road is closed", "take that pin away first"}},
		"an earlier end":   {pin(schedule.PinNotAfter, schedule.RoofWork, dec(11)), []string{"day", "2026-12-11"}},
		"a later job":      {pin(schedule.PinNotBefore, schedule.StageUnknown, dec(15)), []string{"day", "2026-12-15"}},
		"who erects":       {notBy, []string{"who", "the road is closed"}},
		"left out":         {pin(schedule.PinLeftOut, schedule.StageUnknown, civil.NoDate), []string{"kind", "left_out"}},
	} {
		_, err := s.store.SetPin(ctx, s.firm, "J-1002", c.pin)
		if fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", what, err)
			continue
		}
		for _, part := range c.says {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%s: %q is not in %q", what, part, err)
			}
		}
	}
	for what, p := range map[string]schedule.Pin{
		"with notice":       pin(schedule.PinOn, schedule.ScaffoldErection, dec(9)),
		"a bound on Sunday": pin(schedule.PinNotAfter, schedule.FirstFix, dec(20)),
		"its own morning":   pin(schedule.PinStart, schedule.RoofWork, dec(14)),
	} {
		if _, err := s.store.SetPin(ctx, s.firm, "J-1002", p); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func TestPinsAndWhatCustomersKnowAreFactsOfTheSnapshot(t *testing.T) {
	s := newScene(t)
	on := schedule.Pin{Kind: schedule.PinStart, Stage: schedule.RoofWork, On: dec(14), Half: civil.Afternoon, Why: " the road is closed ", SetBy: "Imogen", SetAt: storeNow}
	pin, err := s.store.SetPin(ctx, s.firm, "J-1002", on)
	s.must(err)
	by, err := s.store.SetPin(ctx, s.firm, "J-1002", schedule.Pin{Kind: schedule.PinNotBy, Stage: schedule.ScaffoldErection, Who: s.yards[1].ID, Why: "no lorry", SetBy: "Imogen", SetAt: storeNow})
	s.must(err)
	s.must(s.store.ConfirmVisit(ctx, s.firm, "J-1002", schedule.RoofWork, dec(14), "Imogen", storeNow))
	s.must(s.store.ConfirmVisit(ctx, s.firm, "J-1002", schedule.RoofWork, dec(15), "Imogen", storeNow))
	_, err = s.store.SetTravel(ctx, s.firm, []schedule.Leg{{From: "Alder", To: "J-1001", Km: 12.5}}, 0, "Imogen", storeNow)
	s.must(err)
	if v, err := s.store.SetTravel(ctx, s.firm, []schedule.Leg{{From: "J-1001", To: "Alder", Km: 12.5}}, 0, "Imogen", storeNow); err != nil || v != 1 {
		t.Errorf("the same distances again: version %d, %v", v, err)
	}
	if _, err := s.store.SetTravel(ctx, s.firm, []schedule.Leg{{From: "J-1001", To: "J-1001", Km: 1}}, 1, "Imogen", storeNow); fault.KindOf(err) != fault.Invalid {
		t.Errorf("from a place to itself: %v", err)
	}
	snap, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 30)
	s.must(err)
	if len(snap.Pins) != 2 || len(snap.Travel) != 1 || snap.Travel[0].Km != 12.5 {
		t.Fatalf("pins %+v, travel %+v", snap.Pins, snap.Travel)
	}
	if p := snap.Pins[0]; p.ID != pin.ID || p.On != dec(14) || p.Half != civil.Afternoon || p.Why != "the road is closed" || p.SetBy != "Imogen" || p.Job != s.jobs[1].ID {
		t.Errorf("the pin reads %+v", p)
	}
	if p := snap.Pins[1]; p.Who != s.yards[1].ID || p.Stage != schedule.ScaffoldErection {
		t.Errorf("the second pin reads %+v", p)
	}
	j, err := s.store.Job(ctx, s.firm, "J-1002")
	s.must(err)
	if got := j.ConfirmedFor(schedule.RoofWork); got != dec(15) || len(j.Confirmed) != 1 {
		t.Errorf("confirmed %+v: the newest word counts", j.Confirmed)
	}
	if _, err := s.store.SetPin(ctx, s.firm, "J-1002", on); fault.KindOf(err) != fault.Conflict {
		t.Errorf("the same pin again: %v", err)
	}
	wrong := schedule.Pin{Kind: schedule.PinBy, Stage: schedule.RoofWork, Who: s.sparks.ID, Why: "x", SetBy: "y", SetAt: storeNow}
	if _, err := s.store.SetPin(ctx, s.firm, "J-1002", wrong); fault.KindOf(err) != fault.Invalid {
		t.Errorf("electricians on the roof: %v", err)
	}
	s.must(s.store.RemovePin(ctx, s.firm, by.ID, "Owen", "they have one now", storeNow))
	if err := s.store.RemovePin(ctx, s.firm, by.ID, "Owen", "", storeNow); fault.KindOf(err) != fault.Conflict {
		t.Errorf("removed twice: %v", err)
	}
	if err := s.store.RemovePin(ctx, s.firm, uuid.New(), "Owen", "", storeNow); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a pin nobody set: %v", err)
	}
	if all, err := s.store.Pins(ctx, s.firm); err != nil || len(all) != 1 {
		t.Errorf("left %+v, %v", all, err)
	}
}

func TestAPromiseIsToldUntilAnotherDayIsPromised(t *testing.T) {
	s := newScene(t)
	j, err := s.store.Job(ctx, s.firm, "J-1001")
	s.must(err)
	j.PromisedOn = dec(20)
	s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
	s.must(s.store.TellPromise(ctx, s.firm, "J-1001", true))
	j, err = s.store.Job(ctx, s.firm, "J-1001")
	s.must(err)
	if !j.PromiseTold {
		t.Fatal("told, and not on record")
	}
	j.Note = "ring first"
	s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
	if j, _ = s.store.Job(ctx, s.firm, "J-1001"); !j.PromiseTold {
		t.Error("another fact changed, and the customer was no longer told")
	}
	j.PromisedOn = dec(22)
	s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
	if j, _ = s.store.Job(ctx, s.firm, "J-1001"); j.PromiseTold {
		t.Error("another day is promised, of which the customer was not told")
	}
	j.PromisedOn = civil.NoDate
	s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
	if err := s.store.TellPromise(ctx, s.firm, "J-1001", true); fault.KindOf(err) != fault.Invalid {
		t.Errorf("told of no promise: %v", err)
	}
}
