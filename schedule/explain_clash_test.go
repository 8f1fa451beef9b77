package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// small invents a firm of a few days with a job of three stages that several
// facts stand in the way of, and others that have their place already.
func small(t *testing.T, seed uint64, kinds []schedule.StageKind) (schedule.Snapshot, schedule.Plan) {
	r := rand.New(rand.NewPCG(seed, 11))
	one := func(in int) bool { return r.IntN(in) == 0 }
	s := firm(t, 3)
	s.Days, s.Frozen = 9, 0
	s.Crews = append(s.Crews, roofCrew(2), sparks(2))
	s.ScaffoldFirms[0].ErectNotice, s.ScaffoldFirms[0].StrikeNotice = r.IntN(3), r.IntN(3)
	s.ScaffoldFirms[0].GangsPerDay, s.ScaffoldFirms[0].Sets = 1+r.IntN(2), 1+r.IntN(2)
	if seed%3 == 0 {
		s.ScaffoldFirms[0].DaysOff = schedule.Weekdays(1 << (seed / 3 % 5))
	}
	for i := range s.Jobs {
		s.Jobs[i].Stages = slices.DeleteFunc(s.Jobs[i].Stages, func(st schedule.Stage) bool { return !slices.Contains(kinds, st.Kind) })
		for k := range s.Jobs[i].Stages {
			s.Jobs[i].Stages[k].HalfDays = 1 + r.IntN(2)
		}
	}
	for i := range s.Crews {
		if one(3) {
			away(&s, s.Crews[i].ID, s.FirstDay+civil.Date(r.IntN(4)))
		}
	}
	j := &s.Jobs[0]
	if one(3) {
		j.ReadyOn = s.FirstDay + civil.Date(r.IntN(4))
	}
	if one(2) {
		j.Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: s.FirstDay + civil.Date(r.IntN(4)), ArrivedOn: civil.NoDate}}
	}
	if one(2) {
		j.Consents = []schedule.Consent{consent(kinds[r.IntN(3)], schedule.ConsentApplied, s.FirstDay+civil.Date(r.IntN(5)))}
	}
	if one(3) {
		dark := s.FirstDay + civil.Date(r.IntN(5))
		sky(&s, 0, weather.PanelCarrying, func(h civil.HalfDay) weather.Chance {
			if h.Date() == dark {
				return weather.Chance{}
			}
			return known(0.8)
		})
	}
	return s, plan(t, s, 60, seed)
}

// only keeps of a firm's facts those that reasons name.
func only(t *testing.T, s schedule.Snapshot, p schedule.Plan, target schedule.Job, reasons []schedule.Reason) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	has := func(rule schedule.Rule, subject, unit string) bool {
		return slices.ContainsFunc(reasons, func(r schedule.Reason) bool {
			return r.Rule == rule && (subject == "" || r.Subject == subject) && strings.HasSuffix(r.Unit, unit)
		})
	}
	s.Jobs = slices.Clone(s.Jobs)
	j := &s.Jobs[0]
	if !has(schedule.RuleReady, "", "") {
		j.ReadyOn = civil.NoDate
	}
	j.Kit = slices.DeleteFunc(slices.Clone(j.Kit), func(k schedule.Kit) bool { return !has(schedule.RuleKit, k.Item, "") })
	j.Consents = slices.DeleteFunc(slices.Clone(j.Consents), func(c schedule.Consent) bool { return !has(schedule.RuleConsent, c.Kind.Words(), "") })
	s.Crews = slices.Clone(s.Crews)
	p.Visits = slices.Clone(p.Visits)
	for i := range s.Crews {
		c := &s.Crews[i]
		if !has(schedule.RuleAway, c.Name, "") {
			c.Members = slices.Clone(c.Members)
			c.Members[0].Absences = nil
		}
		if !has(schedule.RuleElsewhere, c.Name, "") {
			p.Visits = slices.DeleteFunc(p.Visits, func(v schedule.Visit) bool { return v.Crew == c.ID && v.Job != target.ID })
		}
	}
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	for i := range s.ScaffoldFirms {
		f := &s.ScaffoldFirms[i]
		if !has(schedule.RuleNotice, f.Name, "erect") {
			f.ErectNotice = 0
		}
		if !has(schedule.RuleNotice, f.Name, "strike") {
			f.StrikeNotice = 0
		}
		if !has(schedule.RuleGangs, f.Name, "") {
			f.GangsPerDay = 50
		}
		if !has(schedule.RuleSets, f.Name, "") {
			f.Sets = 50
		}
		if !has(schedule.RuleDayOff, f.Name, "") {
			f.DaysOff = 0
		}
	}
	if !has(schedule.RulePlanEnd, "", "") {
		s.Days, p.Days = s.Days+12, p.Days+12
	}
	s.Outlooks = slices.Clone(s.Outlooks)
	for i := range s.Outlooks {
		o := &s.Outlooks[i]
		o.Chances = slices.Clone(o.Chances)
		for len(o.Chances) < 2*s.Days {
			o.Chances = append(o.Chances, known(0.8))
		}
		if !has(schedule.RuleSky, "", "") {
			for n := range o.Chances {
				o.Chances[n] = known(0.8)
			}
		}
	}
	return s, p
}

// possible tries every way to place the job's three stages, the other visits
// being where they are, and asks the validator about each.
func possible(s schedule.Snapshot, p schedule.Plan, j schedule.Job, may func(schedule.Visit) bool) bool {
	p.Visits = slices.DeleteFunc(slices.Clone(p.Visits), func(v schedule.Visit) bool { return v.Job == j.ID })
	p.Unplanned = nil
	for _, job := range s.Jobs {
		for _, st := range job.Stages {
			if find(p, job.ID, st.Kind) == nil && job.ID != j.ID {
				p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: job.ID, Stage: st.Kind, Why: "left out of account"})
			}
		}
	}
	n := len(p.Visits)
	var place func(k int, from civil.HalfDay) bool
	place = func(k int, from civil.HalfDay) bool {
		if k == len(j.Stages) {
			// Of the other jobs only what this one adds may be wrong: their own
			// visits may have lost their partners.
			return !slices.ContainsFunc(schedule.Validate(s, p), func(b schedule.Violation) bool {
				return b.Job == j.ID || b.Rule == "gangs a day" || b.Rule == "sets standing" || b.Rule == "one crew, one place"
			})
		}
		st := j.Stages[k]
		for h := from; h.Date() < s.FirstDay+civil.Date(s.Days); h++ {
			for _, v := range ways(s, j, st, h) {
				if !may(v) {
					continue
				}
				p.Visits = append(p.Visits[:n+k:n+k], v)
				if place(k+1, v.Last()+1) {
					return true
				}
			}
		}
		return false
	}
	return place(0, s.FirstDay.In(civil.Morning))
}

// closed makes holidays of a scaffold firm's days off.
func closed(s schedule.Snapshot, f schedule.ScaffoldFirm) schedule.Snapshot {
	s.Holidays = slices.Clone(s.Holidays)
	for d := s.FirstDay; d < s.FirstDay+civil.Date(s.Days); d++ {
		if f.DaysOff.Has(d) {
			s.Holidays = append(s.Holidays, schedule.Holiday{Day: d})
		}
	}
	return s
}

func ways(s schedule.Snapshot, j schedule.Job, st schedule.Stage, h civil.HalfDay) (list []schedule.Visit) {
	if st.Kind.Trade() == schedule.ScaffoldTrade {
		for _, f := range s.ScaffoldFirms {
			if at := run(closed(s, f), nil, h, st.HalfDays); at != nil {
				list = append(list, schedule.Visit{Job: j.ID, Stage: st.Kind, ScaffoldFirm: f.ID, HalfDays: at})
			}
		}
		return list
	}
	for _, c := range s.Crews {
		if at := run(s, &c, h, st.HalfDays); at != nil && c.Trade == st.Kind.Trade() {
			list = append(list, schedule.Visit{Job: j.ID, Stage: st.Kind, Crew: c.ID, HalfDays: at})
		}
	}
	return list
}

// A clash is a real one and a smallest one: with just the facts that it names
// the request cannot be granted, and without any one of them it can. An
// enumerator that knows only the validator says so.
func TestAClashIsIrreducible(t *testing.T) {
	t.Parallel()
	electrical := []schedule.StageKind{schedule.FirstFix, schedule.SecondFix, schedule.Commissioning}
	scaffold := []schedule.StageKind{schedule.ScaffoldErection, schedule.RoofWork, schedule.ScaffoldStrike}
	met := map[schedule.Rule]int{}
	for seed := range uint64(40) {
		kinds := electrical
		if seed%2 == 1 {
			kinds = scaffold
		}
		s, p := small(t, seed, kinds)
		r := rand.New(rand.NewPCG(seed, 12))
		j := s.Jobs[0]
		q := schedule.Request{Job: j.ID, Stage: kinds[r.IntN(3)], On: s.FirstDay + civil.Date(r.IntN(5))}
		clash, err := schedule.MinimalClash(s, p, q)
		if err != nil {
			t.Fatal(err)
		}
		asks := func(asked bool) func(schedule.Visit) bool {
			return func(v schedule.Visit) bool { return !asked || v.Stage != q.Stage || v.First().Date() == q.On }
		}
		if clash == nil {
			if !possible(s, p, j, asks(true)) {
				t.Errorf("seed %d: %s on %s is called possible and is not", seed, q.Stage, q.On.Short())
			}
			continue
		}
		var said []string
		for _, c := range clash {
			met[c.Rule]++
			said = append(said, c.Say())
		}
		say := strings.Join(said, " + ")
		given := func(c schedule.Reason) bool { return c.Rule == schedule.RulePlanStart || c.Rule == schedule.RuleOrder }
		asked := func(list []schedule.Reason) bool {
			return slices.ContainsFunc(list, func(c schedule.Reason) bool { return c.Rule == schedule.RuleAsked })
		}
		if alone, with := only(t, s, p, j, clash); possible(alone, with, j, asks(asked(clash))) {
			t.Errorf("seed %d: possible in spite of %s", seed, say)
		}
		for n, c := range clash {
			if given(c) {
				continue // it cannot be otherwise
			}
			less := slices.Delete(slices.Clone(clash), n, n+1)
			if alone, with := only(t, s, p, j, less); !possible(alone, with, j, asks(asked(less))) {
				t.Errorf("seed %d: impossible without %q too: %s", seed, c.Say(), say)
			}
		}
	}
	if len(met) < 8 {
		t.Errorf("the firms met only these facts: %v", met)
	}
}

// The office reads a clash as a sum.
func TestAClashInWords(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: s.FirstDay + 2, ArrivedOn: civil.NoDate}}
	p := plan(t, s, 60, 1)
	clash, err := schedule.MinimalClash(s, p, schedule.Request{Job: s.Jobs[0].ID, Stage: schedule.SecondFix, On: s.FirstDay + 1})
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(clash[0].Say(), " + ", clash[1].Say()); len(clash) != 2 || got != "second fix is asked for Tue 8 Dec + the kit (battery) is due on Wed 9 Dec" {
		t.Errorf("%d facts: %s", len(clash), got)
	}
}
