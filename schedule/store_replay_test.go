package schedule_test

import (
	"reflect"
	"testing"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// What a plan was replayed to and chosen from is part of its version: it comes
// back whole, unknown days and all, and stays through publishing.
func TestReplaysComeBackWhole(t *testing.T) {
	s := newScene(t)
	replay := &schedule.Replayed{Futures: 50, From: dec(3), Until: dec(3) + 102, Promises: 1, Kept: 0.84, CannotSay: 1, Lost: 3.5,
		Cost: schedule.Spread{Known: true, Mean: 1234_56, P10: 1000_00, P90: 2000_00}, Kind: []schedule.CostItem{schedule.Lateness, schedule.Travel},
		Jobs: []schedule.JobReplay{
			{Job: s.jobs[0].ID, Finish: schedule.FinishSpread, Planned: dec(15), Promised: dec(18), P10: dec(15), P50: dec(16), P90: civil.NoDate,
				Kept: 42, Chance: weather.Chance{Known: true, P: 43.0 / 52, Basis: "42 of 50 futures"}, Hire: 45_00, Lost: 1.25},
			{Job: s.jobs[1].ID, Finish: schedule.FinishUnknown, Why: "Nobody can say.", Planned: dec(20), Promised: civil.NoDate, P10: civil.NoDate, P50: civil.NoDate, P90: civil.NoDate},
		}}
	choice := &schedule.Choice{Aim: schedule.KeepsPromises, Say: "2 plans were compared.", Compared: []schedule.Candidate{
		{How: "by the firm's rates", Cost: 900_00, Mean: 1234_56, Known: true, Kept: 0.84, Promises: 1, CannotSay: 1}, {How: "lateness counted twice", Cost: 950_00}}}
	for _, want := range []schedule.Plan{
		{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow, Replay: replay, Choice: choice},
		{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow, Replay: replay},
		{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow, Choice: choice},
		{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow},
	} {
		saved, err := s.store.SavePlan(ctx, s.firm, want)
		s.must(err)
		got, err := s.store.Plan(ctx, s.firm, saved.ID)
		s.must(err)
		if !reflect.DeepEqual(got.Replay, want.Replay) || !reflect.DeepEqual(got.Choice, want.Choice) {
			t.Errorf("read\n got %+v, %+v\nwant %+v, %+v", got.Replay, got.Choice, want.Replay, want.Choice)
		}
	}
	first, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: storeNow, Replay: replay})
	s.must(err)
	_, _, err = s.store.Publish(ctx, s.firm, first.ID, "office", storeNow, nil)
	s.must(err)
	if now, err := s.store.CurrentPlan(ctx, s.firm); err != nil || !reflect.DeepEqual(now.Replay, replay) {
		t.Errorf("published: %+v, %v", now.Replay, err)
	}
}
