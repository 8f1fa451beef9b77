package schedule

import (
	"fmt"
	"math"
	"slices"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// NearestRank gives the percentile of ascending values by the nearest rank: the
// least value that at least so many of 100 values do not exceed. It is the
// inverse of the empirical distribution, definition 1 of Hyndman and Fan, "Sample
// quantiles in statistical packages", The American Statistician 50 (1996)
// 361-365; it gives a value that occurred, never one between two. percent is 1 to
// 100; of no values it gives the zero value.
func NearestRank[T any](ascending []T, percent int) (at T) {
	n := len(ascending)
	if n == 0 {
		return at
	}
	return ascending[max(0, min(n, (percent*n+99)/100)-1)]
}

// unended is a slot after all others: not finished by the last day replayed.
const unended = int32(math.MaxInt32)

// tally gathers what the futures came to.
type tally struct {
	ends   []int32 // by job, then future: slot of its commissioning's last half-day
	hire   []Pence // by job, summed
	lost   []int   // by job, summed
	unsure []bool  // by job, in any future
	costs  []Pence // by future
}

// all lives through every future and sums up.
func (r *replay) all() Replayed {
	n := r.futures.N
	t := &tally{ends: make([]int32, len(r.work)*n), hire: make([]Pence, len(r.work)), lost: make([]int, len(r.work)), unsure: make([]bool, len(r.work))}
	u := r.newRun()
	for f := range n {
		u.live(f)
		t.costs = append(t.costs, u.cost)
		for i := range r.work {
			t.ends[i*n+f] = u.end(i)
			hire, _ := u.scaffold(i)
			t.hire[i] += hire
			t.lost[i] += int(u.lost[i])
			t.unsure[i] = t.unsure[i] || u.hangs(i)
		}
	}
	return r.sum(t)
}

// end is when a job is commissioned.
func (u *run) end(i int) int32 {
	a := u.index[i][Commissioning]
	if a == none || u.ended[a] == none {
		return unended
	}
	return u.ended[a]
}

func (r *replay) sum(t *tally) Replayed {
	n := r.futures.N
	out := Replayed{Futures: n, From: r.s.FirstDay, Until: r.s.FirstDay + civil.Date(r.span) - 1, Kind: replayedItems}
	kept, lost, sure := 0, 0, true
	for i := range r.work {
		j := r.job(i, t.ends[i*n:(i+1)*n], t.unsure[i])
		j.Hire, j.Lost = meanPence(t.hire[i], n), mean(t.lost[i], n)
		out.Jobs = append(out.Jobs, j)
		lost += t.lost[i]
		sure = sure && !t.unsure[i]
		switch {
		case !j.Promised.Known() || j.Finish == FinishDone:
		case j.Finish == FinishUnknown:
			out.CannotSay++
		default:
			out.Promises++
			kept += j.Kept
		}
	}
	out.Kept, out.Lost = mean(kept, n), mean(lost, n)
	if sure && n > 0 {
		out.Cost = spread(t.costs)
	}
	return out
}

func mean(sum, n int) float64 {
	if n == 0 {
		return 0
	}
	return float64(sum) / float64(n)
}

func meanPence(sum Pence, n int) Pence {
	return Pence(math.Round(mean(int(sum), n)))
}

func spread(costs []Pence) Spread {
	sorted := slices.Sorted(slices.Values(costs))
	sum := Pence(0)
	for _, c := range sorted {
		sum += c
	}
	return Spread{Known: true, Mean: meanPence(sum, len(sorted)), P10: NearestRank(sorted, 10), P90: NearestRank(sorted, 90)}
}

// job says of one job when it is commissioned and whether in time. ends is
// sorted here.
func (r *replay) job(i int, ends []int32, unsure bool) JobReplay {
	w := &r.work[i]
	out := JobReplay{Job: w.job.ID, Planned: civil.NoDate, Promised: w.job.PromisedOn, P10: civil.NoDate, P50: civil.NoDate, P90: civil.NoDate}
	a := r.index[i][Commissioning]
	if a != none {
		out.Planned = r.plan.Visits[r.ops[a].visit].Last().Date()
	}
	switch {
	case !w.open(Commissioning):
		out.Finish, out.Why = FinishDone, "No commissioning is left to do."
	case a == none:
		out.Finish, out.Why = FinishNoPlace, "Its commissioning has no place in the plan."
	case r.dead[a] != "":
		out.Finish, out.Why = FinishNoPlace, r.dead[a]
	case len(ends) == 0:
		out.Finish, out.Why = FinishUnknown, "Nobody can say: no future is known."
	case unsure:
		out.Finish, out.Why = FinishUnknown, "Nobody can say: it hangs on weather that no forecast and no climate knows."
	default:
		out.Finish = FinishSpread
		slices.Sort(ends)
		out.P10, out.P50, out.P90 = r.endsOn(NearestRank(ends, 10)), r.endsOn(NearestRank(ends, 50)), r.endsOn(NearestRank(ends, 90))
		r.promise(&out, ends)
	}
	return out
}

// promise counts the futures in which a promise is met. No chance is given of
// one whose day has passed: it is broken.
func (r *replay) promise(out *JobReplay, ends []int32) {
	if !out.Promised.Known() || out.Promised < r.s.FirstDay {
		return
	}
	for _, e := range ends {
		if e != unended && r.date(e) <= out.Promised {
			out.Kept++
		}
	}
	n := len(ends)
	out.Chance = weather.Chance{Known: true, P: float64(out.Kept+1) / float64(n+2), Basis: fmt.Sprintf("%d of %d futures", out.Kept, n)}
}

func (r *replay) endsOn(slot int32) civil.Date {
	if slot == unended {
		return civil.NoDate
	}
	return r.date(slot)
}
