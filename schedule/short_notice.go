package schedule

import (
	"fmt"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// ShortNotice is one change of a booking that comes inside the notice that was
// agreed with its scaffold firm.
type ShortNotice struct {
	Booking uuid.UUID
	Why     string // one sentence: what changes, and what notice would be
}

// ShortNotices finds the changes that come inside the scaffold firm's notice: a
// day that is moved, or called off, though it or the new one lies nearer than so
// many working days from today, or an agreed one that lies inside its cancel
// notice. Somebody of the office has to agree to such a
// change. A new booking, or a day that the scaffold firm offered itself, is none.
func ShortNotices(changes []BookingChange, jobs []Job, firms []ScaffoldFirm, holidays []Holiday, today civil.Date) []ShortNotice {
	ref, firm := map[uuid.UUID]string{}, map[uuid.UUID]ScaffoldFirm{}
	for _, j := range jobs {
		ref[j.ID] = j.Ref
	}
	for _, f := range firms {
		firm[f.ID] = f
	}
	var list []ShortNotice
	for _, c := range changes {
		if c.Before == nil || c.Nothing() {
			continue
		}
		f, name := firm[c.After.ScaffoldFirm], ref[c.After.Job]
		if name == "" {
			name = "A closed job"
		}
		if why := c.short(f, name, holidays, today); why != "" {
			list = append(list, ShortNotice{Booking: c.After.ID, Why: why})
		}
	}
	return list
}

func (c BookingChange) short(f ScaffoldFirm, ref string, holidays []Holiday, today civil.Date) string {
	was, is := *c.Before, c.After
	from := AddWorkingDays(today, f.ErectNotice, holidays)
	offered := was.State == BookingCountered && is.ErectOn == was.OfferedOn
	told := was.ErectOn // the day that the firm counts on; none when it refused it
	if was.State == BookingRefused {
		told = from
	}
	switch {
	case is.State == BookingCancelled:
		if told < from {
			return fmt.Sprintf("%s: the scaffold that %s is to erect on %s is called off; its notice of %s ends before %s%s.",
				ref, f.Name, was.ErectOn.Short(), workingDays(f.ErectNotice), from.Short(), c.charged(f, holidays, today))
		}
		if charged := c.charged(f, holidays, today); charged != "" {
			return fmt.Sprintf("%s: the scaffold that %s is to erect on %s is called off%s.", ref, f.Name, was.ErectOn.Short(), charged)
		}
		return ""
	case was.ErectOn != is.ErectOn && !offered && min(told, is.ErectOn) < from:
		return fmt.Sprintf("%s: %s erects on %s instead of %s; with its notice of %s nothing before %s changes%s.",
			ref, f.Name, is.ErectOn.Short(), was.ErectOn.Short(), workingDays(f.ErectNotice), from.Short(), c.charged(f, holidays, today))
	}
	if from = AddWorkingDays(today, f.StrikeNotice, holidays); was.StrikeOn != is.StrikeOn && was.State.Stands() && min(was.StrikeOn, is.StrikeOn) < from {
		return fmt.Sprintf("%s: %s strikes on %s instead of %s; with its notice of %s nothing before %s changes%s.",
			ref, f.Name, is.StrikeOn.Short(), was.StrikeOn.Short(), workingDays(f.StrikeNotice), from.Short(), c.charged(f, holidays, today))
	}
	if charged := c.charged(f, holidays, today); charged != "" {
		return fmt.Sprintf("%s: %s was agreed for %s and is moved (%s)%s.", ref, f.Name, was.Days(), is.Days(), charged)
	}
	return ""
}

// charged says of a change that gives up agreed visits inside the scaffold firm's
// cancel notice what it charges for them, as the end of a sentence; "" = it gives
// up none. The days are agreed once the firm confirmed them; the strike of a
// scaffold that stands is.
func (c BookingChange) charged(f ScaffoldFirm, holidays []Holiday, today civil.Date) string {
	was, is := *c.Before, c.After
	before, visits := AddWorkingDays(today, f.CancelNotice, holidays), 0
	gone := is.State == BookingCancelled || is.ScaffoldFirm != was.ScaffoldFirm
	if was.State == BookingConfirmed && was.ErectOn >= today && was.ErectOn < before && (gone || is.ErectOn != was.ErectOn) {
		visits++
	}
	if (was.State == BookingConfirmed || was.State.Stands()) && was.StrikeOn >= today && was.StrikeOn < before && (gone || is.StrikeOn != was.StrikeOn) {
		visits++
	}
	switch {
	case visits == 0:
		return ""
	case f.CancelCharge == 0:
		return fmt.Sprintf("; that is inside its cancel notice of %s", workingDays(f.CancelNotice))
	}
	return fmt.Sprintf("; inside its cancel notice of %s it charges %s", workingDays(f.CancelNotice), f.CancelCharge*Pence(visits))
}
