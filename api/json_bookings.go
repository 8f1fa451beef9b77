package api

import (
	"context"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// ListHire gives what the hire of each scaffold comes to.
func (j *jsonServer) ListHire(ctx context.Context, _ ListHireRequestObject) (ListHireResponseObject, error) {
	b, err := j.Booked(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	out := ListHire200JSONResponse{Today: b.Today, Hire: []Hire{}}
	for _, k := range b.Bookings {
		h := b.hire(k)
		v := Hire{Booking: bookingView(k, b.directory), Words: bookingWords(k), WeeksBegun: h.WeeksBegun, WeeksIncluded: h.Included, SoFarPence: int64(h.SoFar),
			PerWeekPence: int64(h.PerWeek), ByStrikePence: int64(h.ByStrike), NextChargeOn: optionalDate(h.NextOn), NewWeekSoon: h.Soon(k, b.Today)}
		for i, s := range b.First {
			if s.Booking.ID == k.ID {
				v.StrikeTurn, v.StrikeWhy = new(i+1), optionalText(s.Why)
			}
		}
		out.Hire = append(out.Hire, v)
	}
	return out, nil
}

// StepBooking records a step of a scaffold's life.
func (j *jsonServer) StepBooking(ctx context.Context, r StepBookingRequestObject) (StepBookingResponseObject, error) {
	c, id := callerOf(ctx), r.BookingID
	if r.Body.On == nil && (r.Body.Step == BookingStepStepErected || r.Body.Step == BookingStepStepStruck || r.Body.Step == BookingStepStepOffHire) {
		return nil, fault.Bad("on", "", "the day")
	}
	var b schedule.Booking
	var err error
	switch r.Body.Step {
	case BookingStepStepErected:
		b, err = j.schedule.MarkErected(ctx, c.Firm, id, *r.Body.On, c.Name, schedule.ByFeed, j.now())
	case BookingStepStepStruck:
		b, err = j.schedule.MarkStruck(ctx, c.Firm, id, *r.Body.On, c.Name, schedule.ByFeed, j.now())
	case BookingStepStepInspected:
		b, err = j.schedule.MarkInspected(ctx, c.Firm, id, c.Name, schedule.ByFeed, j.now())
	case BookingStepStepOffHire:
		b, err = j.OffHire(ctx, c.Firm, id, *r.Body.On, c.Name)
	case BookingStepStepOnHire:
		b, err = j.schedule.KeepOnHire(ctx, c.Firm, id, c.Name, j.now())
	default:
		err = fault.Bad("step", string(r.Body.Step), "erected, inspected, off_hire, on_hire or struck")
	}
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return StepBooking200JSONResponse(bookingView(b, d)), nil
}
