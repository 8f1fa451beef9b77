package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// weatherRecord is what the firm's forecasts were worth and what its climate is.
type weatherRecord struct {
	kept    archive.KeptForecasts
	learnt  archive.Calibration
	climate weather.Climate
	task    weather.Task
	terrain weather.Terrain
}

// weatherRecord reads the record; task and terrain choose the climate that is
// shown, "" is roof covering in suburbs.
func (s *Service) weatherRecord(ctx context.Context, firm uuid.UUID, task, terrain string) (r weatherRecord, err error) {
	r.task, r.terrain = weather.RoofCovering, weather.TerrainIII
	if task != "" {
		if err := r.task.UnmarshalText([]byte(task)); err != nil {
			return r, err
		}
		if !r.task.Outdoor() {
			return r, fault.Bad("task", task, "an outdoor task; indoor work has no weather limit")
		}
	}
	if terrain != "" {
		if r.terrain, err = weather.ParseTerrain(terrain); err != nil {
			return r, err
		}
	}
	if r.kept, err = s.archive.KeptForecasts(ctx, firm); err != nil {
		return r, err
	}
	if r.learnt, err = s.archive.Calibration(ctx, firm); err != nil {
		return r, err
	}
	r.climate, err = s.archive.Climate(ctx, firm)
	return r, err
}

// weatherRecordPage shows the record.
func (s *server) weatherRecordPage(c *gin.Context, caller Caller) error {
	r, err := s.weatherRecord(c.Request.Context(), caller.Firm, c.Query("task"), c.Query("terrain"))
	if err != nil {
		return err
	}
	page := web.WeatherRecord{Sheet: s.sheet(c.Request, caller), Kept: keptWords(r.kept, caller.Location), Version: r.learnt.Version, By: r.learnt.MadeBy, At: momentWords(r.learnt.MadeAt, caller),
		ShowAction: "/weather/record", Of: r.climate.Of, Task: r.task.String(), Terrain: r.terrain.String(), Climate: climateMonths(r.climate.Rows(r.task, r.terrain))}
	if may(caller.Role, MakePlan) {
		page.Action = "/weather/record"
	}
	for _, t := range weather.OutdoorTasks() {
		page.Tasks = append(page.Tasks, web.Choice{Key: t.String(), Words: t.Doing()})
	}
	for t := weather.Terrain0; t <= weather.TerrainIV; t++ {
		page.Terrains = append(page.Terrains, web.Choice{Key: t.String(), Words: terrainWords(t.String())})
	}
	if l := r.learnt.Lesson; r.learnt.Version > 0 {
		page.Basis = lessonWords(l, r.learnt.Outcomes, caller.Location)
		page.Says = skillWords(l.All)
		page.All = webScore(l.All)
		page.Leads = mapped(l.ByLead, webLead)
	}
	return s.show(c, http.StatusOK, page)
}

func keptWords(k archive.KeptForecasts, loc *time.Location) string {
	if k.N == 0 {
		return "No forecast is kept yet."
	}
	return fmt.Sprintf("%s of %s are kept, from %s to %s.", counted(k.N, "forecast", "forecasts"), counted(k.Sites, "site", "sites"),
		k.From.In(loc).Format("2 Jan 2006"), k.To.In(loc).Format("2 Jan 2006"))
}

func lessonWords(l weather.Lesson, outcomes int, loc *time.Location) string {
	words := fmt.Sprintf("From %s for working half-days at %s", counted(outcomes, "chance", "chances"), counted(l.Sites, "site", "sites"))
	if !l.Since.IsZero() {
		words += fmt.Sprintf(", given by %s fetched since %s", counted(l.Forecasts, "forecast", "forecasts"), l.Since.In(loc).Format("2 Jan 2006"))
	}
	words += ", held against what later forecasts say of the hours that had passed"
	if l.Readings > 0 {
		words += fmt.Sprintf(" and against gusts that crews read: %s were stopped by one", counted(l.Readings, "half-day", "half-days"))
	}
	return words + "."
}

// skillWords says in a sentence whether the chances are worth anything.
func skillWords(s weather.Score) string {
	switch {
	case s.N == 0:
		return ""
	case !s.Skill.Known:
		return "The weather never varied in that time, so nobody can say what the chances are worth."
	case s.Skill.N <= 0:
		return "The chances were worth no more than always saying how often it runs."
	}
	return fmt.Sprintf("The chances took away %.0f %% of the error of always saying how often it runs.", 100*s.Skill.N)
}

func webScore(s weather.Score) web.ScoreRow {
	return web.ScoreRow{N: s.N, Brier: known(s.Brier, s.N), Reliability: known(s.Reliability, s.N), Resolution: known(s.Resolution, s.N), Uncertainty: known(s.Uncertainty, s.N), Skill: webNum(s.Skill)}
}

// known is a number that stands on something; of nothing it is not known.
func known(n float64, of int) web.Num { return web.Num{N: n, Known: of > 0} }

func webLead(l weather.LeadLesson) web.LeadRecord {
	return web.LeadRecord{Days: l.Lead, Score: webScore(l.Score), Keep: web.N(l.Keep), Bins: mapped(l.Bins, func(b weather.Bin) web.ReliabilityBin {
		return web.ReliabilityBin{From: b.From, To: b.To, Said: b.P, Ran: b.Ran, Low: b.Low, High: b.High, N: b.N}
	})}
}

func climateMonths(rows []weather.ClimateRow) (months []web.ClimateMonth) {
	for _, r := range rows {
		if n := len(months); n == 0 || months[n-1].Month != r.Month.String() {
			months = append(months, web.ClimateMonth{Month: r.Month.String()})
		}
		cell := web.ClimateCell{Workable: r.Workable, HalfDays: r.HalfDays}
		if m := &months[len(months)-1]; r.Half == civil.Morning {
			m.Morning = cell
		} else {
			m.Afternoon = cell
		}
	}
	return months
}

// learnDays is how many days back kept forecasts are read when the office asks.
const learnDays = 60

// weatherRecordForm works out again what the kept forecasts were worth.
func (s *server) weatherRecordForm(c *gin.Context, caller Caller) error {
	lesson, err := s.Calibrate(c.Request.Context(), caller.Firm, caller.Name, s.now().AddDate(0, 0, -learnDays))
	if err != nil {
		return err
	}
	if lesson.Version == 0 {
		return s.done(c, "/weather/record", "nothing")
	}
	return s.done(c, "/weather/record", "learnt")
}

// LearnFromForecasts is Calibrate as the night's round asks for it.
func (s *Service) LearnFromForecasts(ctx context.Context, firm uuid.UUID) error {
	_, err := s.Calibrate(ctx, firm, "the weekly round", s.now().AddDate(0, 0, -learnDays))
	return err
}
