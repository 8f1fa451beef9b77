package schedule_test

import (
	"strings"
	"testing"

	"toeboard/schedule"
)

// Of a visit in the frozen days only that it is held is said, never that its own
// half-day is impossible; of another crew what really stands in its way.
func TestAHeldVisitIsExplainedByItsHold(t *testing.T) {
	t.Parallel()
	held, real := 0, 0
	for seed := range uint64(6) {
		s := BuildExample(seed, 16, 6, 30)
		s = publish(s, plan(t, s, 40, seed), 1)
		for _, v := range s.Base.Visits {
			if v.First().Date() > s.FirstDay+1 {
				continue
			}
			x, err := schedule.Explain(s, *s.Base, v.Job, v.Stage)
			if err != nil {
				t.Fatal(err)
			}
			if len(x.Then) != 1 || len(x.Then[0].Reasons) != 1 || x.Then[0].Reasons[0].Rule != schedule.RuleHeld {
				continue // begun, or given up
			}
			held++
			for _, n := range append(x.Then, x.Sooner...) {
				if say := n.Say(); strings.Contains(say, "not possible") || !strings.Contains(say, "stays where it is") {
					t.Errorf("seed %d: %s", seed, say)
				}
			}
			for _, o := range x.Crews {
				for _, r := range o.Reasons {
					if r.Rule == schedule.RuleElsewhere {
						real++
					}
				}
			}
		}
	}
	if held < 5 || real < 5 {
		t.Errorf("%d held visits, %d crews that are elsewhere", held, real)
	}
}
