package schedule_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule"
)

// What a move buys is the price of the plan without it: undone it costs just
// that much more, by the price and in a plan that keeps every rule. A plan that
// is settled has no move that buys nothing, costs no more and keeps every rule.
func TestMovesBuySomething(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(2, 12).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(14, 40).Draw(t, "days"))
		p, _, err := schedule.SearchCost(s, 40, seed)
		if err != nil {
			t.Fatal(err)
		}
		s = live(rand.New(rand.NewPCG(seed, 5)), publish(s, p, 1), 2)
		draft, _, err := schedule.SearchCost(s, 8, seed+1) // too short a search to be good
		if err != nil {
			t.Fatal(err)
		}
		moves := schedule.Moves(s, draft)
		for _, m := range moves {
			if m.Say() == "" || !strings.HasSuffix(m.Say(), ".") || strings.Contains(m.Say(), "%!") {
				t.Errorf("%s %s says %q", m.Ref, m.Stage, m.Say())
			}
			sum := schedule.Pence(0)
			for _, d := range m.Items {
				sum += d.More
			}
			if len(m.Forced) == 0 && sum != -m.Buys {
				t.Errorf("%s %s buys %s, the items sum to %s", m.Ref, m.Stage, m.Buys, sum)
			}
			back, ok := schedule.Undone(s, draft, m)
			if ok != (len(m.Forced) == 0) {
				t.Fatalf("%s %s: undone %t, forced %v", m.Ref, m.Stage, ok, m.Forced)
			}
			if !ok {
				continue
			}
			for _, b := range broken(s, back) {
				t.Errorf("%s %s undone breaks %s", m.Ref, m.Stage, b)
			}
			if more := schedule.Price(s, back).Total - draft.Cost.Total; more != m.Buys {
				t.Errorf("%s %s is said to buy %s; undone the plan costs %s more", m.Ref, m.Stage, m.Buys, more)
			}
			v := find(back, m.Job, m.Stage)
			if v == nil || !v.Stays(&m.From) { // it may have lost some of its reserve, as its days came near
				t.Errorf("%s %s undone is not where it was", m.Ref, m.Stage)
			}
		}
		settled := schedule.Settled(s, draft)
		if settled.Cost.Total > draft.Cost.Total {
			t.Errorf("settled it costs %s, before %s", settled.Cost.Total, draft.Cost.Total)
		}
		for _, b := range broken(s, settled) {
			t.Errorf("settled it breaks %s", b)
		}
		sentences(t, settled)
		left := schedule.Moves(s, schedule.Settled(s, settled))
		if len(left) > len(moves) {
			t.Errorf("%d moves, settled %d", len(moves), len(left))
		}
	})
}

// A draft that moves a visit for nothing is settled: the visit goes back.
func TestAMoveForNothingIsUndone(t *testing.T) {
	t.Parallel()
	s := firm(t, 3)
	s.Frozen = 0
	p := plan(t, s, 200, 1)
	s = publish(s, p, 1)
	draft := schedule.Laid(s, p)
	v := find(draft, s.Jobs[1].ID, schedule.Commissioning)
	later := slices.Clone(v.HalfDays)
	for i := range later {
		later[i] += 14 // a week on, when nothing else is done
	}
	v.HalfDays = later
	draft.Cost = schedule.Price(s, draft)
	mustHold(t, s, draft)
	moves := schedule.Moves(s, draft)
	if len(moves) != 1 || moves[0].Buys > 0 || len(moves[0].Forced) > 0 || moves[0].Say() != "The move saves nothing." {
		t.Fatalf("the moves are %+v", moves)
	}
	settled := schedule.Settled(s, draft)
	if left := schedule.Moves(s, settled); len(left) != 0 {
		t.Errorf("settled it still moves %+v", left)
	}
	mustHold(t, s, settled)
}
