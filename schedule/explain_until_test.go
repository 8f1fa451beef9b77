package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// between reads a stretch of a reason; asked stands for a first that it leaves
// out. throughout is false when something is free between them.
func between(t *testing.T, value string, asked civil.HalfDay) (first, last civil.HalfDay, throughout bool) {
	t.Helper()
	read := func(s string, half civil.Half) civil.HalfDay {
		day, word, _ := strings.Cut(s, " ")
		d, err := civil.Parse(day)
		if err != nil {
			t.Fatalf("%q: %v", value, err)
		}
		switch word {
		case "morning":
			half = civil.Morning
		case "afternoon":
			half = civil.Afternoon
		}
		return d.In(half)
	}
	if a, b, ok := strings.Cut(value, " to "); ok {
		return read(a, civil.Morning), read(b, civil.Afternoon), true
	}
	if a, b, ok := strings.Cut(value, " and "); ok {
		return read(a, civil.Morning), read(b, civil.Afternoon), false
	}
	return asked, read(value, civil.Afternoon), true
}

// until holds one reason against the visits of a plan, counted afresh.
func until(t *testing.T, s schedule.Snapshot, p schedule.Plan, job uuid.UUID, r schedule.Reason, asked civil.HalfDay) {
	first, last, throughout := between(t, r.Value, asked)
	refs := map[uuid.UUID]string{}
	for _, j := range s.Jobs {
		refs[j.ID] = j.Ref
	}
	gangs, sets := map[civil.Date]int{}, map[civil.Date]int{}
	crewAt := map[civil.HalfDay]string{}
	firm := ""
	for _, f := range s.ScaffoldFirms {
		if f.Name == r.Subject {
			firm = f.ID.String()
		}
	}
	var crew *schedule.Crew
	for i := range s.Crews {
		if s.Crews[i].Name == r.Subject {
			crew = &s.Crews[i]
		}
	}
	for _, v := range p.Visits {
		if v.Job == job {
			continue
		}
		for _, h := range v.HalfDays {
			if crew != nil && v.Crew == crew.ID {
				crewAt[h] = refs[v.Job]
			}
		}
		if v.Stage.Trade() != schedule.ScaffoldTrade || v.ScaffoldFirm.String() != firm {
			continue
		}
		for d := v.First().Date(); d <= v.Last().Date(); d++ {
			if slices.ContainsFunc(v.HalfDays, func(h civil.HalfDay) bool { return h.Date() == d }) {
				gangs[d]++
			}
		}
		if up := find(p, v.Job, schedule.ScaffoldErection); v.Stage == schedule.ScaffoldStrike {
			from := s.FirstDay
			if up != nil {
				from = up.First().Date()
			}
			for d := from; d <= v.Last().Date(); d++ {
				sets[d]++
			}
		}
	}
	for h := first; h <= last; h++ {
		if !throughout && h != first && h != last || run(s, crew, h, 1) == nil {
			continue // free between them, or nobody works
		}
		ok := false
		switch r.Rule {
		case schedule.RuleElsewhere:
			ref := crewAt[h]
			if ok = ref != ""; throughout && r.Limit != "" {
				ok = ref == r.Limit
			}
		case schedule.RuleGangs:
			ok = fmt.Sprint(gangs[h.Date()]) == r.Limit
		case schedule.RuleSets:
			ok = fmt.Sprint(sets[h.Date()]) == r.Limit
		}
		if !ok {
			t.Errorf("%s: not so on %s", r.Say(), h.Short())
			return
		}
	}
}

// What a reason says of a crew, a gang or a set from when until when is so in
// the plan without the job that asks: its own erection does not stand in its way.
// The visits are counted here by themselves, on invented firms.
func TestUntilIsTrue(t *testing.T) {
	t.Parallel()
	met := map[schedule.Rule]int{}
	for seed := range uint64(30) {
		s := BuildExample(seed, 18, 5, 40)
		for i := range s.Jobs { // nothing stands or runs: the plan has every taken day
			for k := range s.Jobs[i].Stages {
				st := &s.Jobs[i].Stages[k]
				st.State, st.StartedOn, st.DoneOn = schedule.StatePlanned, civil.NoDate, civil.NoDate
			}
		}
		s.Bookings = nil
		for i := range s.ScaffoldFirms {
			s.ScaffoldFirms[i].Sets = 2 + int(seed%2)
		}
		p := plan(t, s, 40, seed)
		r := rand.New(rand.NewPCG(seed, 8))
		for range 6 {
			v := p.Visits[r.IntN(len(p.Visits))]
			h := s.FirstDay.In(civil.Morning) + civil.HalfDay(r.IntN(int(v.First()-s.FirstDay.In(civil.Morning))+1))
			asked := schedule.Request{Job: v.Job, Stage: v.Stage, At: h}
			clash, err := schedule.MinimalClash(s, p, asked)
			if err != nil {
				t.Fatal(err)
			}
			x, err := schedule.Explain(s, p, v.Job, v.Stage)
			if err != nil {
				t.Fatal(err)
			}
			told := map[civil.HalfDay][]schedule.Reason{h: clash}
			for _, n := range x.Sooner {
				told[n.From] = append(told[n.From], n.Reasons...)
			}
			for at, reasons := range told {
				for _, why := range reasons {
					if slices.Contains([]schedule.Rule{schedule.RuleElsewhere, schedule.RuleGangs, schedule.RuleSets}, why.Rule) {
						met[why.Rule]++
						until(t, s, p, v.Job, why, at)
					}
				}
			}
		}
	}
	if len(met) != 3 {
		t.Errorf("only these were said: %v", met)
	}
}
