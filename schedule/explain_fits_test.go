package schedule_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// tooFits gives the half-day of which a visit says that it would fit too.
func tooFits(v schedule.Visit, s schedule.Snapshot) (civil.HalfDay, bool) {
	before, _, says := strings.Cut(v.Why, " would fit too")
	if !says {
		return civil.NoHalfDay, false
	}
	for h := s.FirstDay.In(civil.Morning); h < v.First(); h++ {
		if strings.HasSuffix(before, h.Short()) {
			return h, true
		}
	}
	return civil.NoHalfDay, true
}

// Of every start that a plan says would fit too there is a plan with it that
// breaks no rule: the validator says so, which knows nothing of explanations.
// Invented firms, some with a plan published, and some that plan in fair weather only.
func TestWhatWouldFitTooDoesFit(t *testing.T) {
	t.Parallel()
	said := 0
	for seed := range uint64(24) {
		s := BuildExample(seed, 16, 4, 40)
		s.Firm.Rates.LeastChance = []int{0, 30, 60}[seed%3]
		p := plan(t, s, 60, seed)
		if seed%2 == 1 {
			s = live(rand.New(rand.NewPCG(seed, 5)), publish(s, p, 1), 2)
			p = plan(t, s, 30, seed)
		}
		for _, v := range p.Visits {
			h, says := tooFits(v, s)
			if !says {
				continue
			}
			said++
			with, ok := schedule.WithStart(s, p, schedule.Request{Job: v.Job, Stage: v.Stage, At: h})
			if !ok {
				t.Errorf("seed %d: %s planned on %s says %q, and no such plan is found", seed, v.Stage, v.First().Short(), v.Why)
				continue
			}
			for _, b := range broken(s, with) {
				t.Errorf("seed %d: %s says %q, and that breaks %s", seed, v.Stage, v.Why, b)
			}
		}
	}
	if said < 20 {
		t.Errorf("only %d visits say that something else would fit too", said)
	}
}
