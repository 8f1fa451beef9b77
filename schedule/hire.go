package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// Hire is what the hire of one scaffold comes to by a day. A week is seven days
// from the day it went up; each week begun counts whole.
type Hire struct {
	WeeksBegun int
	Included   int        // weeks in the price of the visits
	SoFar      Pence      // for the weeks begun after those
	PerWeek    Pence      // each further week
	NextOn     civil.Date // first day of the next week that is charged; NoDate = the scaffold is down
	ByStrike   Pence      // what it comes to if it comes down on its booked day
}

// HireOf works out a booking's hire by today. A scaffold that is not up yet has
// begun no week; one that is struck costs nothing more.
func HireOf(b Booking, f ScaffoldFirm, today civil.Date) Hire {
	h := Hire{Included: f.IncludedWeeks, PerWeek: f.WeeklyHire, NextOn: civil.NoDate}
	weeks := func(until civil.Date) int { return max(0, (int(until-b.ErectOn)+7)/7) }
	charge := func(weeks int) Pence { return f.WeeklyHire * Pence(max(0, weeks-f.IncludedWeeks)) }
	h.ByStrike = charge(weeks(b.StrikeOn))
	switch {
	case b.State == BookingStruck:
		h.WeeksBegun = weeks(b.StrikeOn)
	case b.State.Stands():
		h.WeeksBegun = weeks(today)
		h.NextOn = b.ErectOn + civil.Date(7*max(h.WeeksBegun, f.IncludedWeeks))
		h.ByStrike = charge(weeks(max(today, b.StrikeOn)))
	}
	h.SoFar = charge(h.WeeksBegun)
	return h
}

// hireWarning is how many days ahead a new week of hire is warned of.
const hireWarning = 3

// Soon tells whether a new week of hire begins within three days and before the
// scaffold is booked to come down: there is still time to bring the strike
// forward.
func (h Hire) Soon(b Booking, today civil.Date) bool {
	return h.PerWeek > 0 && h.NextOn.Known() && h.NextOn > today && h.NextOn <= today+hireWarning && b.StrikeOn >= h.NextOn
}

// ToStrike is one scaffold that could come down.
type ToStrike struct {
	Booking Booking
	Hire    Hire
	Why     string // one sentence
}

// StrikeFirst lists the scaffolds that stand for nothing any more, those first
// whose next week of hire begins soonest, of these the dearest first. A scaffold
// stands for nothing when the roof work of its job is done; whether the strike
// has to wait for something else, the office knows.
func StrikeFirst(bookings []Booking, jobs []Job, firms []ScaffoldFirm, today civil.Date) []ToStrike {
	job, firm := map[uuid.UUID]*Job{}, map[uuid.UUID]ScaffoldFirm{}
	for i := range jobs {
		job[jobs[i].ID] = &jobs[i]
	}
	for _, f := range firms {
		firm[f.ID] = f
	}
	var list []ToStrike
	for _, b := range bookings {
		j := job[b.Job]
		if j == nil || !b.State.Stands() {
			continue
		}
		roof, has := j.Stage(RoofWork)
		if !has || roof.State != StateDone {
			continue
		}
		h := HireOf(b, firm[b.ScaffoldFirm], today)
		list = append(list, ToStrike{Booking: b, Hire: h, Why: whyStrike(b, h, roof.DoneOn, firm[b.ScaffoldFirm], today)})
	}
	slices.SortFunc(list, func(x, y ToStrike) int {
		return cmp.Or(cmp.Compare(x.Hire.NextOn, y.Hire.NextOn), cmp.Compare(y.Hire.PerWeek, x.Hire.PerWeek), strings.Compare(x.Booking.UID, y.Booking.UID))
	})
	return list
}

func whyStrike(b Booking, h Hire, done civil.Date, f ScaffoldFirm, today civil.Date) string {
	s := fmt.Sprintf("The roof work is done since %s; from %s on each week costs %s", done.Short(), h.NextOn.Short(), h.PerWeek)
	if h.SoFar > 0 {
		s += fmt.Sprintf(", and %s is run up so far", h.SoFar)
	}
	s += fmt.Sprintf(". %s wants %s notice to strike", f.Name, workingDays(f.StrikeNotice))
	if b.State == BookingOffHire {
		return s + "; it is asked to come on " + b.StrikeOn.Short() + "."
	}
	return s + "; it is booked to come down on " + max(today, b.StrikeOn).Short() + "."
}
