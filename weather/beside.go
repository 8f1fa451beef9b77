package weather

import (
	"strings"
	"time"
)

// Where a firm has two services answer, the first in its order is judged and
// the others can only tighten it: of each quantity in each step the worse
// counts, of each chance the smaller. What the first does not know stays not
// known, whatever another says, and what another does not know is no objection.
//
// Not taken from another: what speaks of a forecast and not of the sky, the
// daylight, and the water on the roof, which hangs on hours before its own.

// tightened gives a check of a step made worse by what services beside say of
// the same time, or as it was.
func (rs *rules) tightened(c Check, r *rule, beside []Series, from, to time.Time) Check {
	switch r.Quantity {
	case Daylight, LowSun, StepLength, RoofFilm:
		return c
	}
	for i := range beside {
		eachStep(&beside[i].Members[0], from, to, func(s step) bool {
			if s.index < 0 {
				return true
			}
			v, estimated := rs.read(r, s)
			if !v.Known {
				return true
			}
			verdict := r.level(v)
			if Worse(verdict, c.Verdict) != c.Verdict || verdict == c.Verdict && r.worse(v, c.Value) {
				c = Check{Value: v, Verdict: verdict, Estimated: estimated, By: beside[i].Provider}
			}
			return true
		})
	}
	return c
}

// inTime gives the series beside that have hours and are not too old to count.
func (rs *rules) inTime(beside []Series, now time.Time) (list []Series) {
	for i := range beside {
		if len(beside[i].Members) > 0 && len(beside[i].Members[0].Hours) > 0 && rs.tooOld(&beside[i], now) == "" {
			list = append(list, beside[i])
		}
	}
	return list
}

// Services names who was asked: "Open-Meteo, and MET Norway where it is worse".
func (j Judgement) Services() string {
	if len(j.Beside) == 0 {
		return j.Provider
	}
	return j.Provider + ", and " + strings.Join(j.Beside, " and ") + " where it is worse"
}
