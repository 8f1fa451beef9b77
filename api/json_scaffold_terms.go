package api

import (
	"context"

	"toeboard/schedule"
)

// What was agreed with each scaffold firm, in JSON.

// ListScaffoldFirms gives every scaffold firm with its terms.
func (j *jsonServer) ListScaffoldFirms(ctx context.Context, _ ListScaffoldFirmsRequestObject) (ListScaffoldFirmsResponseObject, error) {
	all, err := j.schedule.ScaffoldFirms(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return ListScaffoldFirms200JSONResponse{ScaffoldFirms: mapped(all, scaffoldFirmView)}, nil
}

// SetScaffoldTerms puts terms in the place of those that were looked at.
func (j *jsonServer) SetScaffoldTerms(ctx context.Context, r SetScaffoldTermsRequestObject) (SetScaffoldTermsResponseObject, error) {
	firm := callerOf(ctx).Firm
	f, err := termsWished(r.Body.Terms)
	if err != nil {
		return nil, err
	}
	f.ID = r.ScaffoldFirmID
	if err := j.schedule.ChangeScaffoldFirm(ctx, firm, f, r.Body.Seen); err != nil {
		return nil, err
	}
	now, err := j.scaffoldFirm(ctx, firm, f.ID)
	return SetScaffoldTerms200JSONResponse(scaffoldFirmView(now)), err
}

func termsWished(t ScaffoldTerms) (schedule.ScaffoldFirm, error) {
	off, err := schedule.WeekdaysOf(mapped(t.DaysOff, func(d ScaffoldTermsDaysOff) string { return string(d) }))
	f := schedule.ScaffoldFirm{Name: t.Name, Email: t.Email, Phone: t.Phone, GangsPerDay: t.GangsPerDay, Sets: t.Sets,
		ErectNotice: t.ErectNoticeWorkingDays, StrikeNotice: t.StrikeNoticeWorkingDays, CancelNotice: t.CancelNoticeWorkingDays, CancelCharge: schedule.Pence(t.CancelChargePence),
		VisitPrice: schedule.Pence(t.VisitPricePence), IncludedWeeks: t.IncludedWeeks, WeeklyHire: schedule.Pence(t.WeeklyHirePence), DaysOff: off, Active: t.Active, GustLimit: valueOf(t.GustLimitMs)}
	if a := t.Area; a != nil {
		f.YardLat, f.YardLon, f.ReachKm = a.YardLat, a.YardLon, a.ReachKm
	}
	return f, err
}

func scaffoldFirmView(f schedule.ScaffoldFirm) ScaffoldFirm {
	v := ScaffoldFirm{ID: f.ID, Mark: f.Mark(), Terms: ScaffoldTerms{Name: f.Name, Email: f.Email, Phone: f.Phone, GangsPerDay: f.GangsPerDay, Sets: f.Sets,
		ErectNoticeWorkingDays: f.ErectNotice, StrikeNoticeWorkingDays: f.StrikeNotice, CancelNoticeWorkingDays: f.CancelNotice, CancelChargePence: int64(f.CancelCharge),
		VisitPricePence: int64(f.VisitPrice), IncludedWeeks: f.IncludedWeeks, WeeklyHirePence: int64(f.WeeklyHire), Active: f.Active,
		DaysOff: mapped(f.DaysOff.Names(), func(d string) ScaffoldTermsDaysOff { return ScaffoldTermsDaysOff(d) })}}
	if f.GustLimit > 0 {
		v.Terms.GustLimitMs = new(f.GustLimit)
	}
	if f.ReachKm > 0 {
		v.Terms.Area = &ScaffoldArea{YardLat: f.YardLat, YardLon: f.YardLon, ReachKm: f.ReachKm}
	}
	return v
}
