package api

import (
	"context"
	"errors"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// ReportSky logs thunder, lightning, or a gust read on site.
func (j *jsonServer) ReportSky(ctx context.Context, r ReportSkyRequestObject) (ReportSkyResponseObject, error) {
	in := SkyInput{What: string(r.Body.What), At: valueOf(r.Body.At)}
	if r.Body.GustMs != nil {
		in.GustMS = weather.Is(*r.Body.GustMs)
	}
	got, again, err := j.Service.ReportSky(ctx, callerOf(ctx), recordID(ctx), r.Body.JobRef, in)
	if f := (*fault.Error)(nil); errors.As(err, &f) && f.Field == "sky_at" {
		err = fault.Bad("at", f.Value, f.Want) // the page's name for it
	}
	if err != nil {
		return nil, err
	}
	return ReportSky201JSONResponse{ID: got.ID, At: got.At.UTC(), RoofAgainFrom: optionalTime(again)}, nil
}
