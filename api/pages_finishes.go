package api

import (
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/web"
)

// aims are what the plan form offers.
var aims = mapped(schedule.Aims, func(a schedule.Aim) web.Choice { return web.Choice{Key: string(a), Words: a.String()} })

// finishesView is what a plan comes to over the futures, of one job alone when
// one is named.
func finishesView(p schedule.Plan, d directory, loc *time.Location, only uuid.UUID) web.Finishes {
	f := web.Finishes{AsOf: localTime(p.MadeAt, loc), Planned: web.Money(p.Cost.Total)}
	if c := p.Choice; c != nil {
		f.Choice = c.Say
		f.Compared = mapped(c.Compared, func(k schedule.Candidate) web.ComparedPlan {
			return web.ComparedPlan{How: k.How, Kept: k.Kept, Promises: k.Promises, CostKnown: k.Known, Mean: web.Money(k.Mean)}
		})
	}
	r := p.Replay
	if r == nil {
		return f
	}
	f.Futures, f.Promises, f.Kept, f.CannotSay, f.Until = r.Futures, r.Promises, r.Kept, r.CannotSay, webDay(r.Until)
	f.CostKnown, f.Mean, f.P10, f.P90 = r.Cost.Known, web.Money(r.Cost.Mean), web.Money(r.Cost.P10), web.Money(r.Cost.P90)
	for _, j := range r.Jobs {
		if j.Finish == schedule.FinishDone || only != uuid.Nil && j.Job != only {
			continue
		}
		f.Jobs = append(f.Jobs, finishLine(j, r, d, only == uuid.Nil))
	}
	return f
}

func finishLine(j schedule.JobReplay, r *schedule.Replayed, d directory, named bool) web.FinishLine {
	line := web.FinishLine{Told: j.Finish == schedule.FinishSpread, Why: j.Why, P10: webDay(j.P10), P50: webDay(j.P50), P90: webDay(j.P90),
		Promised: webDay(j.Promised), Broken: j.Promised.Known() && j.Promised < r.From, Chance: webChance(j.Chance),
		Hire: web.Money(j.Hire), LostHalfDays: j.Lost}
	if job, known := d.jobs[j.Job]; named && known {
		line.Ref, line.Href, line.Place = job.Ref, jobHref(job.Ref), shortPlace(job.Site.Address)
	}
	return line
}
