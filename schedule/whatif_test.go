package schedule_test

import (
	"context"
	"reflect"
	"strings"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func whatIf(t *testing.T, s schedule.Snapshot, changes ...schedule.Change) schedule.WhatIf {
	t.Helper()
	w, err := schedule.Ask(context.Background(), s, changes, 150, 1)
	if err != nil {
		t.Fatal(err)
	}
	if say := w.Say(); !strings.HasSuffix(say, ".") || strings.Contains(say, "%!") {
		t.Errorf("it says %q", say)
	}
	if w.More != w.With.Cost.Total-w.Without.Cost.Total {
		t.Errorf("%s more, but %s with and %s without", w.More, w.With.Cost.Total, w.Without.Cost.Total)
	}
	return w
}

// The answer holds the changed facts, and nothing of the question stays in the
// snapshot that it was asked of.
func TestWhatIf(t *testing.T) {
	t.Parallel()
	s := BuildExample(4, 14, 5, 42)
	s = publish(s, plan(t, s, 150, 1), 1)
	before := s.HashOf()
	keep := BuildExample(4, 14, 5, 42)
	job := s.Jobs[0]
	for _, j := range s.Jobs { // one of which nothing has begun
		if j.Stages[2].State == schedule.StatePlanned && find(*s.Base, j.ID, schedule.FirstFix) != nil {
			job = j
		}
	}
	first := find(*s.Base, job.ID, schedule.FirstFix)
	day := schedule.AddWorkingDays(first.First().Date(), 3, s.Holidays)

	w := whatIf(t, s, schedule.Change{Kind: schedule.ChangePin, Job: job.ID, Stage: schedule.FirstFix, On: day})
	if v := find(w.With, job.ID, schedule.FirstFix); len(w.Lost) == 0 && (v == nil || v.First().Date() != day) {
		t.Errorf("pinned to %s, the plan has %+v", day.Short(), v)
	}
	w = whatIf(t, s, schedule.Change{Kind: schedule.ChangeDrop, Job: job.ID})
	if v := find(w.With, job.ID, schedule.FirstFix); v != nil || find(w.Without, job.ID, schedule.FirstFix) == nil {
		t.Errorf("dropped, it is planned for %+v", v)
	}
	w = whatIf(t, s, schedule.Change{Kind: schedule.ChangeHire, Who: s.ScaffoldFirms[0].ID, Weeks: 2})
	if w.With.Cost.By()[schedule.ScaffoldHire] > w.Without.Cost.By()[schedule.ScaffoldHire] {
		t.Errorf("more weeks in the price and more hire: %s", w.Say())
	}
	w = whatIf(t, s, schedule.Change{Kind: schedule.ChangePromise, Job: job.ID, On: s.FirstDay + 70})
	if w.More > 0 {
		t.Errorf("a later promise costs more: %s", w.Say()) // it can only forgive lateness
	}
	w = whatIf(t, s, schedule.Change{Kind: schedule.ChangeAbsence, Who: s.Crews[0].ID, On: s.FirstDay + 7, Until: s.FirstDay + 11})
	for _, v := range w.With.Visits {
		for _, h := range v.HalfDays {
			if v.Crew == s.Crews[0].ID && h.Date() >= s.FirstDay+7 && h.Date() <= s.FirstDay+11 {
				t.Errorf("%s is planned on %s, and the lead is away", v.Stage, h.Short())
			}
		}
	}
	w = whatIf(t, s, schedule.Change{Kind: schedule.ChangeCrew, Who: s.Crews[0].ID}, schedule.Change{Kind: schedule.ChangeDrop, Job: job.ID})
	if len(w.Words) != 2 || !strings.Contains(w.Say(), "second crew like "+s.Crews[0].Name) {
		t.Errorf("two changes say %q", w.Say())
	}
	if s.HashOf() != before {
		t.Errorf("the question changed the facts")
	}
	if !reflect.DeepEqual(s.Jobs, keep.Jobs) || !reflect.DeepEqual(s.Crews, keep.Crews) || !reflect.DeepEqual(s.ScaffoldFirms, keep.ScaffoldFirms) || len(s.Pins) != 0 {
		t.Errorf("the question left something in the snapshot")
	}
}

// A change that takes a burden away never looks as if it cost, however short
// the searches were: what one side found helps the other.
func TestWhatOnlyHelpsNeverCosts(t *testing.T) {
	t.Parallel()
	for seed := range uint64(12) {
		s := BuildExample(seed, 10, 4, 35)
		s = publish(s, plan(t, s, 30, seed), 1)
		for i := range s.Jobs {
			if !s.Jobs[i].PromisedOn.Known() {
				continue
			}
			w, err := schedule.Ask(context.Background(), s, []schedule.Change{{Kind: schedule.ChangePromise, Job: s.Jobs[i].ID, On: s.Jobs[i].PromisedOn + 7}}, 7, seed)
			if err != nil {
				t.Fatal(err)
			}
			if w.More > 0 {
				t.Errorf("seed %d: a week more for %s costs %s", seed, s.Jobs[i].Ref, w.More)
			}
			break
		}
	}
}

func TestWhatIfRefuses(t *testing.T) {
	t.Parallel()
	s := firm(t, 2)
	for field, c := range map[string]schedule.Change{
		"kind":          {Kind: "sunshine"},
		"open job":      {Kind: schedule.ChangeDrop, Job: id(5, 99)},
		"stage":         {Kind: schedule.ChangePin, Job: s.Jobs[0].ID, On: s.FirstDay},
		"on":            {Kind: schedule.ChangePin, Job: s.Jobs[0].ID, Stage: schedule.FirstFix, On: s.FirstDay + 400},
		"weeks":         {Kind: schedule.ChangeHire, Who: s.ScaffoldFirms[0].ID},
		"scaffold firm": {Kind: schedule.ChangeHire, Who: id(4, 99), Weeks: 1},
		"crew":          {Kind: schedule.ChangeCrew, Who: id(2, 99)},
		"until":         {Kind: schedule.ChangeAbsence, Who: s.Crews[0].ID, On: s.FirstDay, Until: civil.NoDate},
	} {
		_, err := schedule.Ask(context.Background(), s, []schedule.Change{c}, 1, 1)
		if all := fault.Each(err); len(all) != 1 || all[0].Field != field || all[0].Want == "" {
			t.Errorf("%+v: refused with %v", c, err)
		}
	}
	if _, err := schedule.Ask(context.Background(), s, nil, 1, 1); err == nil {
		t.Error("no change is an answer")
	}
}
