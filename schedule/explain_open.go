package schedule

import "fmt"

// open prices the best place of a stage that has none though nothing stands
// against it: a job that is newer than the plan, or a stage that costs less left
// out. nil when the search finds none.
func (q *questions) open(at ask) *Instead {
	placed, ok := q.alone.best(at)
	if !ok {
		return nil
	}
	n := Instead{From: q.halfDay(placed[q.a].Start), with: q.planOf(placed)}
	n.To, n.Best = n.From, n.From
	n.More, n.Items = diffCosts(q.cost, Price(*q.s, n.with))
	return &n
}

// SayOpen says where a stage without a place could go, and what that costs
// beside leaving it out; "" when facts stand against every place.
func (x Explanation) SayOpen() string {
	if x.Visit != nil || len(x.Clash) > 0 {
		return ""
	}
	if x.Open == nil {
		return "Nothing stands against it, but no place was found for the rest of the job: plan again."
	}
	said := "the plan would cost the same"
	switch {
	case x.Open.More > 0:
		said = fmt.Sprintf("the plan would cost %s more than without it: %s. As long as that is so, the plan leaves it out", x.Open.More, sayDiff(x.Open.Items))
	case x.Open.More < 0:
		said = fmt.Sprintf("the plan would cost %s less than without it: %s. Plan again, and it gets a place", -x.Open.More, sayDiff(x.Open.Items))
	}
	return fmt.Sprintf("Nothing stands against it: from %s it could be done, and %s.", x.Open.From.Short(), said)
}
