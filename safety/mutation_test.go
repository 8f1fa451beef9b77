package safety

import (
	"testing"

	"pgregory.net/rapid"
)

// Each way of weakening the decision by one condition is caught: there is a
// morning that the whole decision holds and the weakened one would call clear.
// Weakened is: the condition is left out, or taken for met when it is in one of
// the two other states. To call a condition advice weakens nothing: the verdict
// goes by the list of conditions, not by what one says of itself.
func TestEachWeakenedDecisionIsCaught(t *testing.T) {
	t.Parallel()
	as := func(from State) func(Condition) Condition {
		return func(c Condition) Condition {
			if c.State == from {
				c.State = Met
			}
			return c
		}
	}
	mutants := map[string]func(Condition) Condition{
		"left out":            func(c Condition) Condition { c.State = Met; return c },
		"unknown counted met": as(Unknown),
		"not met counted met": as(NotMet),
	}
	killed := map[string]map[string]bool{} // by condition, then mutant
	for _, b := range breakages(t) {
		w := clearMorning(t)
		b.do(w)
		d := w.decide()
		if d.Verdict == Clear {
			continue
		}
		for i, c := range d.Conditions {
			advice := append([]Condition(nil), d.Conditions...)
			if advice[i].Advice = true; c.Holds() && verdictOf(advice) == Clear {
				t.Errorf("%s: clear because %s calls itself advice", b.name, c.Code)
			}
			for name, mutate := range mutants {
				weak := append([]Condition(nil), d.Conditions...)
				if weak[i] = mutate(c); verdictOf(weak) != Clear {
					continue
				}
				if killed[c.Code] == nil {
					killed[c.Code] = map[string]bool{}
				}
				killed[c.Code][name] = true
			}
		}
	}
	for _, c := range conditions {
		switch k := killed[c.code]; {
		case c.advice && k != nil:
			t.Errorf("%s is advice, and weakening it changes the verdict: %v", c.code, k)
		case c.advice:
		case !k["left out"]:
			t.Errorf("%s left out: no morning tells it from the whole decision", c.code)
		case !k["unknown counted met"] && !k["not met counted met"]:
			t.Errorf("%s: neither its unknown nor its not met is told from met", c.code)
		}
	}
}

// Whatever the states of the conditions, the verdict is clear exactly when every
// one that is no advice is met: no path leads to clear past an unknown one.
func TestNoPathToClearPastAnythingNotMet(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var all []Condition
		want := Clear
		for _, c := range conditions {
			// Mostly met, so that clear is drawn too.
			s := rapid.SampledFrom([]State{Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Met, Unknown, NotMet}).Draw(t, c.code)
			all = append(all, Condition{Code: c.code, Advice: c.advice, State: s})
			if !c.advice && s != Met {
				want = NotClear
			}
		}
		if got := verdictOf(all); got != want {
			t.Fatalf("%v gives %s, want %s", all, got, want)
		}
	})
}
