package solver

import "math/rand/v2"

// habit is a choice among a few ways that are drawn by what they have brought
// so far. It counts in whole numbers and by schedules, never by the clock, so
// the same search learns the same everywhere.
type habit struct {
	n      int
	drawn  int
	count  int
	total  int64
	weight [mostWays]int64
	points [mostWays]int64
	uses   [mostWays]int64
}

const (
	mostWays  = 8
	par       = 64  // the weight of a way that brings as much as the mean
	leastPart = 12  // no weight falls below it: what does not pay now may later
	lesson    = 160 // draws after which the weights are set anew
)

// newHabit begins with the weights that are given.
func newHabit(weights ...int64) habit {
	h := habit{n: len(weights)}
	for k, w := range weights {
		h.weight[k] = w * par / 4
		h.total += h.weight[k]
	}
	return h
}

func (h *habit) draw(rng *rand.Rand) int {
	x := rng.Int64N(h.total)
	for k := range h.n {
		if x -= h.weight[k]; x < 0 {
			h.drawn = k
			return k
		}
	}
	return h.n - 1
}

// reward gives the way drawn last its points, and now and then sets the
// weights: half the old one and half what the way brought for each use.
func (h *habit) reward(points int64) {
	h.points[h.drawn] += points
	h.uses[h.drawn]++
	if h.count++; h.count < lesson {
		return
	}
	var all int64
	for k := range h.n {
		all += h.points[k]
	}
	h.count = 0
	if all == 0 {
		return
	}
	h.total = 0
	for k := range h.n {
		if h.uses[k] > 0 {
			brought := par * h.points[k] * lesson / (h.uses[k] * all)
			h.weight[k] = max(leastPart, (3*h.weight[k]+min(brought, 8*par))/4)
		}
		h.total += h.weight[k]
		h.points[k], h.uses[k] = 0, 0
	}
}
