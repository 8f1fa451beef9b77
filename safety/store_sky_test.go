package safety_test

import (
	"testing"
	"time"

	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// What is logged at a job counts there and at the firm's jobs near by, from half
// an hour before the day on; another firm's storm is its own.
func TestSkyReportsReachTheMorning(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	near, far := newID(), newID()
	for job, lat := range map[[16]byte]float64{near: 53.27, far: 53.37} { // 0.1 degree of latitude is 11 km: 60 sea miles of 1852 m a degree
		site := newID()
		for _, sql := range []string{
			`INSERT INTO site SELECT firm_id, $2, address, postcode, $3, lon, terrain, working_height_m, facts FROM site s WHERE site_id = (SELECT site_id FROM job WHERE job_id = $4) AND $1::uuid IS NOT NULL`,
			`INSERT INTO job SELECT firm_id, $1, 'Q-' || $3::float8, $2, customer_id, state, modules, module_watts, module_kg, module_m2, ready_on, promised_on, note, created_at FROM job WHERE job_id = $4`,
		} {
			if _, err := sc.Owner.Exec(ctx, sql, job, site, lat, sc.job); err != nil {
				t.Fatal(err)
			}
		}
	}
	report := func(job [16]byte, what string, gust weather.Value, when time.Time) safety.SkyReport {
		r, err := sc.store.ReportSky(ctx, sc.firm, safety.SkyReport{Job: job, What: what, GustMS: gust, At: when, By: sc.mate, RecordedAt: when.Add(time.Minute)})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	none := weather.Value{}
	report(sc.job, safety.ThunderHeard, none, at(0, 0).Add(-31*time.Minute)) // of yesterday
	own := report(sc.job, safety.ThunderHeard, none, at(0, 0).Add(-10*time.Minute))
	report(near, safety.LightningSeen, none, at(9, 0))
	report(far, safety.LightningSeen, none, at(9, 30)) // 22 km away
	report(sc.job, safety.GustRead, weather.Is(7.5), at(8, 5))
	report(near, safety.GustRead, weather.Is(17), at(8, 6)) // the wind there is not the wind here
	report(sc.job, safety.GustRead, weather.Is(9), at(8, 0).AddDate(0, 0, 1))
	snap, err := sc.store.Morning(ctx, sc.firm, sc.crew, sc.job, day)
	if err != nil {
		t.Fatal(err)
	}
	if len(snap.Thunder) != 2 || !snap.Thunder[0].At.Equal(own.At) || snap.Thunder[0].Km != 0 || snap.Thunder[0].By != "Dele Ashworth" ||
		snap.Thunder[1].What != safety.LightningSeen || snap.Thunder[1].Km < 11 || snap.Thunder[1].Km > 11.3 {
		t.Errorf("thunder of the day: %+v", snap.Thunder)
	}
	if len(snap.Readings) != 1 || snap.Readings[0] != (safety.Reading{GustMS: 7.5, At: at(8, 5)}) {
		t.Errorf("readings of the day: %+v", snap.Readings)
	}
	if all, err := sc.store.SkyGusts(ctx, sc.firm, sc.job, at(8, 0)); err != nil || len(all) != 2 {
		t.Errorf("gusts read: %+v, %v", all, err)
	}

	// The same report again is the same; with other content it is refused.
	again := own
	again.At, again.RecordedAt = at(1, 0), at(1, 1)
	if got, err := sc.store.ReportSky(ctx, sc.firm, again); err != nil || got != own {
		t.Errorf("sent again: %+v, %v; want %+v", got, err, own)
	}
	again.What = safety.LightningSeen
	if _, err := sc.store.ReportSky(ctx, sc.firm, again); fault.KindOf(err) != fault.Conflict {
		t.Errorf("sent again with other content: %v", err)
	}
	for name, r := range map[string]safety.SkyReport{
		"no kind":         {What: "hail"},
		"no gust":         {What: safety.GustRead},
		"gust of thunder": {What: safety.ThunderHeard, GustMS: weather.Is(3)},
		"a storm":         {What: safety.GustRead, GustMS: weather.Is(100)},
		"to come":         {What: safety.ThunderHeard, At: at(9, 1)},
	} {
		r.Job, r.By, r.RecordedAt = sc.job, sc.lead, at(9, 0)
		if r.At.IsZero() {
			r.At = at(8, 59)
		}
		if _, err := sc.store.ReportSky(ctx, sc.firm, r); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	r := safety.SkyReport{Job: newID(), What: safety.ThunderHeard, At: at(8, 0), By: sc.lead, RecordedAt: at(9, 0)}
	if _, err := sc.store.ReportSky(ctx, sc.firm, r); fault.KindOf(err) != fault.NotFound {
		t.Errorf("at a job that is none: %v", err)
	}
	sc.addFirm(t)
	if snap, err := sc.store.Morning(ctx, sc.firm, sc.crew, sc.job, day); err != nil || len(snap.Thunder) != 0 {
		t.Errorf("another firm's morning: %+v, %v", snap.Thunder, err)
	}
}
