package schedule

import (
	"cmp"
	"slices"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// RefusedDay is a day on which a scaffold firm said that it cannot erect for a
// job, with or without offering another. It is not asked for that day again,
// whatever became of the booking since.
type RefusedDay struct {
	Job, ScaffoldFirm uuid.UUID
	On                civil.Date
}

// bookingStep is what of a booking's history says which days were refused.
type bookingStep struct {
	Job, ScaffoldFirm uuid.UUID
	State             BookingState
	ErectOn           civil.Date
	OfferedOn         civil.Date // NoDate = none
}

// refusedDays reads the days from today on that scaffold firms refused out of
// the steps of bookings, the oldest first. Whoever confirms a day or offers it
// later takes the refusal back.
func refusedDays(steps []bookingStep, today civil.Date) (list []RefusedDay) {
	refused := map[RefusedDay]bool{}
	for _, s := range steps {
		on := RefusedDay{s.Job, s.ScaffoldFirm, s.ErectOn}
		switch s.State {
		case BookingRefused:
			refused[on] = true
		case BookingCountered:
			refused[on] = true
			delete(refused, RefusedDay{s.Job, s.ScaffoldFirm, s.OfferedOn})
		case BookingConfirmed, BookingErected:
			delete(refused, on)
		}
	}
	for r := range refused {
		if r.On >= today {
			list = append(list, r)
		}
	}
	slices.SortFunc(list, compareRefused)
	return list
}

func compareRefused(a, b RefusedDay) int {
	return cmp.Or(compareIDs(a.Job, b.Job), compareIDs(a.ScaffoldFirm, b.ScaffoldFirm), cmp.Compare(a.On, b.On))
}

// saidNo tells whether a scaffold firm refused to erect for a job on a day, and
// did not confirm it since.
func (f *facts) saidNo(w *work, firm int, d civil.Date) bool {
	if firm < 0 || !slices.Contains(w.refused, RefusedDay{w.job.ID, f.firms[firm].ID, d}) {
		return false
	}
	b := w.booking
	return b == nil || b.State != BookingConfirmed || f.firm(b.ScaffoldFirm) != firm || b.ErectOn != d
}
