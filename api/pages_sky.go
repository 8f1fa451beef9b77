package api

import (
	"fmt"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// thunderNow is the thunder clock as the morning's page shows it.
func thunderNow(s safety.Snapshot, now time.Time) web.ThunderClock {
	again, last := safety.RoofAgain(s, now)
	if last.What == "" {
		return web.ThunderClock{}
	}
	say := fmt.Sprintf("%s at %s by %s", capital(last.Words()), last.At.In(s.Location).Format("15:04"), last.By)
	if last.JobRef != s.JobRef {
		say += fmt.Sprintf(" at %s, %.0f km away", last.JobRef, last.Km)
	}
	if again.IsZero() {
		return web.ThunderClock{Say: say + ", over 30 minutes ago. The forecast still counts."}
	}
	return web.ThunderClock{Again: localTime(again, s.Location), Say: say + ". Another one starts the half-hour again."}
}

// skyForm logs thunder, lightning or a gust. Like stopForm it needs no plan and
// no visit.
func (s *server) skyForm(c *gin.Context, caller Caller) error {
	ref, err := jobAsked(c)
	if err != nil {
		return err
	}
	in := SkyInput{What: c.PostForm("sky")}
	switch in.What {
	case safety.GustRead:
		if in.GustMS, err = gustTyped(c.PostForm("sky_gust")); err == nil && !in.GustMS.Known {
			err = fault.Bad(gustLabel, "", "a number of m/s from 0 to 99, such as 7.5")
		}
	default:
		in.At, err = skyTime(c.PostForm("sky_at"), s.now(), caller.Location)
	}
	if err == nil {
		_, _, err = s.ReportSky(c.Request.Context(), caller, recordID(c.Request.Context()), ref, in)
	}
	done := "thunder"
	if in.What == safety.GustRead {
		done = "gust"
	}
	return s.afterStop(c, caller, ref, done, err, map[string]string{gustLabel: "sky_gust", "gust": "sky_gust", "at": "sky_at", "what": ""})
}

// skyTime reads the hour and minute at which it thundered: the last such time
// that has passed; zero when nothing was typed.
func skyTime(typed string, now time.Time, loc *time.Location) (time.Time, error) {
	typed = strings.TrimSpace(typed)
	if typed == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse("15:04", strings.ReplaceAll(typed, ".", ":"))
	if err != nil {
		return time.Time{}, fault.Bad("sky_at", typed, "a time of today as 10:12; leave it empty when it was just now")
	}
	at := civil.DateOf(now, loc).At(t.Hour(), t.Minute(), loc)
	if at.After(now) {
		return time.Time{}, fault.Bad("sky_at", typed, "a time that has passed, by "+now.In(loc).Format("15:04"))
	}
	return at.UTC(), nil
}

// skyTyped gives back what was typed about the sky.
func skyTyped(c *gin.Context) web.SkyForm {
	if !strings.HasSuffix(c.FullPath(), "/sky") {
		return web.SkyForm{}
	}
	return web.SkyForm{At: c.PostForm("sky_at"), Gust: c.PostForm("sky_gust")}
}
