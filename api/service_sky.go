package api

import (
	"context"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// oldestSkyReport is how long ago what is reported of the sky may have been: a
// phone without signal sends it late, and what is older belongs to no morning.
const oldestSkyReport = 24 * time.Hour

// SkyInput is what somebody at a job saw, heard or read of the sky.
type SkyInput struct {
	What   string        // safety.ThunderHeard, LightningSeen or GustRead
	GustMS weather.Value // [m/s] with GustRead
	At     time.Time     // zero = now
}

// ReportSky records what somebody at a job saw, heard or read of the sky. Like a
// stop it asks for no plan and no visit: thunder is heard by whoever is there.
// It gives the report and, with thunder or lightning, from when the roof is open
// again at the earliest.
func (s *Service) ReportSky(ctx context.Context, by Caller, id uuid.UUID, jobRef string, in SkyInput) (r safety.SkyReport, again time.Time, err error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return r, again, err
	}
	now := s.now()
	if in.At.IsZero() {
		in.At = now
	}
	if in.At.After(now) || in.At.Before(now.Add(-oldestSkyReport)) {
		return r, again, fault.Bad("sky_at", in.At.In(by.Location).Format("Mon 2 Jan 15:04"), "a time of the last 24 hours, not one to come")
	}
	r, err = s.safety.ReportSky(ctx, by.Firm, safety.SkyReport{ID: id, Job: j.ID, What: in.What, GustMS: in.GustMS, At: in.At, By: by.Person, RecordedAt: now})
	if err == nil && r.What != safety.GustRead {
		again = r.At.Add(weather.ThunderWait)
	}
	if err == nil && r.What == safety.GustRead {
		_, err = s.noticeAt(ctx, by.Firm, j)
	}
	return r, again, err
}
