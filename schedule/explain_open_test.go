package schedule_test

import (
	"strings"
	"testing"

	"toeboard/schedule"
)

// A job that came after the plan was made has no place in it, and nothing stands
// against it: the explanation says where it could go, and the price is that of a
// plan which the validator accepts.
func TestAJobNewerThanThePlanIsShownWhereItFits(t *testing.T) {
	t.Parallel()
	tried := 0
	for seed := range uint64(8) {
		s := BuildExample(seed, 8, 4, 40)
		late := -1
		for i, j := range s.Jobs {
			if st, has := j.Stage(schedule.ScaffoldErection); has && st.State == schedule.StatePlanned && j.State == schedule.JobOpen {
				late = i
			}
		}
		all := plan(t, s, 60, seed)
		if late < 0 || find(all, s.Jobs[late].ID, schedule.RoofWork) == nil {
			continue
		}
		job := s.Jobs[late]
		before := s
		before.Jobs = append(append([]schedule.Job(nil), s.Jobs[:late]...), s.Jobs[late+1:]...)
		s = publish(s, plan(t, before, 60, seed), 1)
		x, err := schedule.Explain(s, *s.Base, job.ID, schedule.RoofWork)
		if err != nil {
			t.Fatal(err)
		}
		if x.Visit != nil || len(x.Clash) > 0 {
			continue // no room in this plan
		}
		tried++
		say := x.SayOpen()
		if x.Open == nil {
			t.Errorf("seed %d: there is room, and %q", seed, say)
			continue
		}
		with := x.Open.With()
		if b := schedule.Validate(s, with); len(b) > 0 {
			t.Errorf("seed %d: %s, and that plan breaks %s: %s", seed, say, b[0].Rule, b[0].Say)
		}
		if v := find(with, job.ID, schedule.RoofWork); v == nil || v.First() != x.Open.From {
			t.Errorf("seed %d: %s, and the plan has %+v", seed, say, v)
		}
		without := with
		without.Visits = nil
		for _, v := range with.Visits {
			if v.Job != job.ID {
				without.Visits = append(without.Visits, v)
			}
		}
		without.Unplanned = append([]schedule.Unplanned(nil), with.Unplanned...)
		for _, st := range job.Stages {
			if st.State != schedule.StateDone && find(with, job.ID, st.Kind) != nil {
				without.Unplanned = append(without.Unplanned, schedule.Unplanned{Job: job.ID, Stage: st.Kind})
			}
		}
		if got := schedule.Price(s, with).Total - schedule.Price(s, without).Total; got != x.Open.More {
			t.Errorf("seed %d: %s: by the price of the two plans it is %s more", seed, say, got)
		}
		if !strings.Contains(say, x.Open.From.Short()) || strings.Contains(say, "%!") {
			t.Errorf("seed %d: %q does not say when", seed, say)
		}
	}
	if tried < 3 {
		t.Fatalf("only %d plans had room for a newer job", tried)
	}
}

// A day on which the stage cannot start is answered with the facts against it.
func TestAnImpossibleWhatIfNamesTheFacts(t *testing.T) {
	t.Parallel()
	s := BuildExample(4, 14, 5, 42)
	s = publish(s, plan(t, s, 150, 1), 1)
	for _, j := range s.Jobs {
		v := find(*s.Base, j.ID, schedule.RoofWork)
		if v == nil || find(*s.Base, j.ID, schedule.ScaffoldErection) == nil {
			continue
		}
		w := whatIf(t, s, schedule.Change{Kind: schedule.ChangePin, Job: j.ID, Stage: schedule.RoofWork, On: s.FirstDay})
		if len(w.Lost) == 0 {
			t.Fatalf("roof work of %s starts on the first day, before its scaffold", j.Ref)
		}
		if len(w.Clash) == 0 {
			t.Errorf("%s is not kept, and nothing says why", w.Lost[0])
		}
		for _, r := range w.Clash {
			if r.Rule == schedule.RuleAsked {
				t.Errorf("the ask itself is named as what stands against it: %s", r.Say())
			}
		}
		return
	}
	t.Fatal("no job with a scaffold to erect")
}
