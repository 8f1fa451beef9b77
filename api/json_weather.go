package api

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// The firm's weather in JSON: its limits, and what its forecasts were worth.

// GetLimits gives the weather limits in force.
func (j *jsonServer) GetLimits(ctx context.Context, _ GetLimitsRequestObject) (GetLimitsResponseObject, error) {
	v, err := j.limitsView(ctx, callerOf(ctx).Firm)
	return GetLimits200JSONResponse(v), err
}

// SetLimits stores weather limits as the next version.
func (j *jsonServer) SetLimits(ctx context.Context, r SetLimitsRequestObject) (SetLimitsResponseObject, error) {
	c := callerOf(ctx)
	wanted := weather.Limits{Version: r.Body.Version}
	var faults []error
	for i, row := range r.Body.Rows {
		l, err := limitOfView(row)
		if err != nil {
			faults = append(faults, fmt.Errorf("row %d: %w", i+1, err))
		}
		wanted.Rows = append(wanted.Rows, l)
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	if _, err := j.archive.SetLimits(ctx, c.Firm, wanted, c.Name, r.Body.Why, j.now()); err != nil {
		return nil, err
	}
	v, err := j.limitsView(ctx, c.Firm)
	return SetLimits200JSONResponse(v), err
}

func limitOfView(v WeatherLimit) (weather.Limit, error) {
	row := weather.Limit{Hours: valueOf(v.Hours), Unit: v.Unit, Source: v.Source, Mark: weather.Mark(v.Mark)}
	if v.Caution != nil {
		row.Caution = weather.Is(*v.Caution)
	}
	if v.Stop != nil {
		row.Stop = weather.Is(*v.Stop)
	}
	return row, errors.Join(row.Task.UnmarshalText([]byte(v.Task)), row.Quantity.UnmarshalText([]byte(v.Quantity)))
}

func (j *jsonServer) limitsView(ctx context.Context, firm uuid.UUID) (LimitsInForce, error) {
	in, err := j.limitsInForce(ctx, firm)
	if err != nil {
		return LimitsInForce{}, err
	}
	v := LimitsInForce{Version: in.Version, Looser: mapped(in.Loosened(), same), History: []LimitsVersion{},
		Rows: mapped(in.Rows, func(l weather.Limit) WeatherLimit {
			row := WeatherLimit{Task: l.Task.String(), Quantity: l.Quantity.String(), Caution: optionalNumber(l.Caution), Stop: optionalNumber(l.Stop),
				Unit: l.Unit, Source: l.Source, Mark: WeatherLimitMark(l.Mark)}
			if l.Hours != 0 {
				row.Hours = &l.Hours
			}
			return row
		})}
	for i, set := range in.set {
		v.History = append(v.History, LimitsVersion{Version: set.Version, SetBy: set.SetBy, SetAt: set.SetAt, Why: set.Why,
			Changes: mapped(in.changes(i), same), Looser: mapped(set.Loosened(), same)})
	}
	return v, nil
}

// WeatherRecord gives what the firm's forecasts were worth and its climate.
func (j *jsonServer) WeatherRecord(ctx context.Context, r WeatherRecordRequestObject) (WeatherRecordResponseObject, error) {
	rec, err := j.weatherRecord(ctx, callerOf(ctx).Firm, valueOf(r.Params.Task), string(valueOf(r.Params.Terrain)))
	if err != nil {
		return nil, err
	}
	l := rec.learnt.Lesson
	v := WeatherRecord{ForecastsKept: rec.kept.N, SitesKept: rec.kept.Sites, KeptFrom: optionalTime(rec.kept.From), KeptTo: optionalTime(rec.kept.To),
		Version: rec.learnt.Version, MadeBy: optionalText(rec.learnt.MadeBy), MadeAt: optionalTime(rec.learnt.MadeAt), Since: optionalTime(l.Since),
		Leads: mapped(l.ByLead, leadView), ClimateOf: rec.climate.Of, ClimateTask: rec.task.String(), ClimateTerrain: rec.terrain.String(),
		Climate: mapped(rec.climate.Rows(rec.task, rec.terrain), func(row weather.ClimateRow) ClimateHalfDays {
			return ClimateHalfDays{Month: int(row.Month), Half: Half(row.Half.String()), HalfDays: row.HalfDays, Workable: row.Workable}
		})}
	if l.All.N > 0 {
		v.All, v.ForecastsRead, v.ReadingsAgainst = new(scoreView(l.All)), &l.Forecasts, &l.Readings
	}
	return WeatherRecord200JSONResponse(v), nil
}

func scoreView(s weather.Score) ForecastScore {
	return ForecastScore{N: s.N, Brier: s.Brier, Reliability: s.Reliability, Resolution: s.Resolution, Uncertainty: s.Uncertainty, Skill: optionalNumber(s.Skill)}
}

func leadView(l weather.LeadLesson) LeadRecord {
	return LeadRecord{Days: l.Lead, Score: scoreView(l.Score), Keep: l.Keep, Bins: mapped(l.Bins, func(b weather.Bin) ReliabilityBin {
		return ReliabilityBin{From: b.From, To: b.To, N: b.N, Said: b.P, Ran: b.Ran, Low: b.Low, High: b.High}
	})}
}

// JobWeather gives what the sky allows at one job's roof on one day.
func (j *jsonServer) JobWeather(ctx context.Context, r JobWeatherRequestObject) (JobWeatherResponseObject, error) {
	firm := callerOf(ctx).Firm
	job, err := j.schedule.Job(ctx, firm, r.Ref)
	if err != nil {
		return nil, err
	}
	day := civil.NoDate
	if on := valueOf(r.Params.Day); on != "" {
		if day, err = civil.Parse(on); err != nil {
			return nil, err
		}
	}
	got, err := j.askedWeather(ctx, firm, job, day, valueOf(r.Params.Task))
	if err != nil {
		return nil, err
	}
	v := RoofWeather{JobRef: job.Ref, From: got.From, To: got.To, Verdict: SkyVerdict(got.Verdict.String()), Sentence: got.Sentence(), LimitsVersion: got.Limits, Provider: got.Services(),
		Hours: optionalText(got.Hours(callerOf(ctx).Location)), Attribution: optionalText(strings.Join(creditsOf(got), ", ")),
		Reasons: mapped(got.Reasons, skyReasonView), Spells: mapped(got.Spells(), spellView), Windows: mapped(got.Windows(), spellView)}
	t := got.Turn()
	v.OffBy, v.BackAt, v.Because = optionalTime(t.OffBy), optionalTime(t.BackAt), optionalText(t.Because)
	v.RoofFacesDeg = optionalNumber(roofFaces(job.Site))
	if asks := asksOf(job); len(asks) > 0 {
		v.Asks = &asks
	}
	carrying, err := j.carrying(ctx, firm, job)
	v.Carrying = optionalText(carrying)
	return JobWeather200JSONResponse(v), err
}

// askedWeather judges roof work, or what of the scaffold is asked for.
func (j *jsonServer) askedWeather(ctx context.Context, firm uuid.UUID, job schedule.Job, day civil.Date, asked JobWeatherParamsTask) (weather.Judgement, error) {
	task := map[JobWeatherParamsTask]weather.Task{"scaffold_erection": weather.ScaffoldErection, "scaffold_strike": weather.ScaffoldStrike}[asked]
	if task == weather.TaskUnknown {
		return j.roofWeather(ctx, firm, job, day)
	}
	f := JobFile{Job: job}
	if err := j.bookingOf(ctx, firm, &f); err != nil {
		return weather.Judgement{}, err
	}
	var gang schedule.ScaffoldFirm
	if f.Booking != nil {
		var err error
		if gang, err = j.scaffoldFirm(ctx, firm, f.Booking.ScaffoldFirm); err != nil {
			return weather.Judgement{}, err
		}
	}
	return j.scaffoldWeather(ctx, firm, job, gang, task, day)
}

func spellView(s weather.Spell) SkySpell {
	return SkySpell{From: s.From.UTC(), To: s.To.UTC(), Verdict: SkyVerdict(s.Verdict.String())}
}

func skyReasonView(r weather.Reason) SkyReason {
	return SkyReason{Rule: r.Rule, Verdict: SkyVerdict(r.Verdict.String()), Quantity: r.Quantity.String(), Value: optional(r.Value, r.Known), Limit: r.Limit,
		Margin: optionalNumber(r.Margin), Unit: r.Unit, Source: r.Source, At: r.At.UTC(), Sentence: r.Sentence()}
}
