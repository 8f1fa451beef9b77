package safety

import (
	"cmp"
	"slices"
	"strings"

	"toeboard/weather/civil"
)

// How many questions at the point of work: at least the fewest where there are
// so many risks, more only while the next is as bad as the last of them.
const (
	fewestRiskQuestions = 3
	mostRiskQuestions   = 5
)

// riskCheck begins the key of a question about one of the job's top risks; the
// hazard's id follows.
const riskCheck = "risk_"

// TopRisks lists the three to five risks of an assessment that weigh most after
// their controls, of the stages that are done today: first those in the highest
// band of the assessment's own matrix, then the worse harm (scores of one band are
// accepted alike, and no control brings severity 5 under a score of 5). Of equal
// ones those come first that this job has by its own facts and most jobs have not:
// what every job has is asked by the checks that every morning has. Then the
// higher score before the controls, then the id.
func TopRisks(a Assessment, stages []string) []Entry {
	type weighed struct {
		entry      *Entry
		band, harm int
		own        int // 1 = of this job, 0 = of most jobs, -1 = only the day decides, and other checks ask
	}
	var all []weighed
	for i := range a.Entries {
		e := &a.Entries[i]
		if !slices.ContainsFunc(stages, func(s string) bool { return slices.Contains(e.Stages, s) }) {
			continue
		}
		w := weighed{entry: e, band: a.Matrix.rank(e.After), harm: e.After.Severity}
		switch {
		case e.Presence == DecidedThen:
			w.own = -1
		case e.ofThisJob():
			w.own = 1
		}
		all = append(all, w)
	}
	slices.SortStableFunc(all, func(x, y weighed) int {
		return cmp.Or(y.band-x.band, y.harm-x.harm, y.own-x.own, y.entry.Before.Product()-x.entry.Before.Product(), strings.Compare(x.entry.Hazard, y.entry.Hazard))
	})
	n := min(fewestRiskQuestions, len(all))
	for n >= fewestRiskQuestions && n < min(mostRiskQuestions, len(all)) && all[n].band == all[n-1].band && all[n].harm == all[n-1].harm {
		n++
	}
	top := make([]Entry, n)
	for i := range top {
		top[i] = *all[i].entry
	}
	return top
}

// ofThisJob tells whether a hazard is here by something that most jobs have not: a
// fact of the survey, or what somebody saw on site. What nobody knows yet tells of
// no job.
func (e Entry) ofThisJob() bool {
	return slices.ContainsFunc(e.Because, func(s string) bool {
		d, isFact := factSaid(s)
		return !isFact || !d.OfMost && !strings.HasSuffix(s, saidNo)
	})
}

// saidNo ends the sentence of a fact that is not so: it rules something else in,
// and is nothing to look at.
const saidNo = ": no"

// here names the facts for which a hazard is on this very job, as far as they tell
// more than that there is such work at all; "" when none does.
func (e Entry) here() string {
	if e.Presence == ToConfirm {
		return "to be confirmed here: " + names(e.Missing)
	}
	var facts, seen []string
	for _, s := range e.Because {
		d, isFact := factSaid(s)
		name, value, _ := strings.Cut(s, ": ")
		switch {
		case !isFact:
			seen = append(seen, s)
		case d.From == FromPlan && d.Kind == YesNo, strings.HasSuffix(s, saidNo):
		case value == "yes":
			facts = append(facts, name)
		case d.Kind == Word:
			facts = append(facts, name+" "+value)
		default:
			facts = append(facts, s)
		}
	}
	if len(facts) > 0 {
		seen = append([]string{"here by " + strings.Join(facts, ", ")}, seen...)
	}
	return strings.Join(seen, "; ")
}

// riskChecks makes a question at the point of work of each of today's top risks,
// with the facts that put it here: is what prevents it seen here and now? Of a part of the day it is those of the
// whole day's that belong to the part, for they are what was asked.
func (m *morning) riskChecks(c Check) []Check {
	if m.Assessment == nil {
		return nil
	}
	var all []Check
	stages := m.Stages
	if m.wholeDay != nil {
		stages = m.wholeDay
	}
	for _, e := range TopRisks(m.Assessment.Body, stages) {
		if !m.does(e.Stages...) {
			continue
		}
		one := Check{Key: riskCheck + e.Hazard, When: c.When, Evidence: c.Evidence, Question: e.Name}
		if here := e.here(); here != "" {
			one.Question += ", " + here
		}
		if does := e.prevents(); does != "" {
			one.Question += ": " + lowerFirst(does)
		}
		one.Question += ". " + c.Question
		if len(e.Evidence) > 0 {
			one.Evidence = e.Evidence[0]
		}
		all = append(all, one)
	}
	return all
}

// prevents is the first control that can be looked at on the spot: one that
// prevents, or else the first there is.
func (e Entry) prevents() string {
	for _, c := range e.Controls {
		if c.Step == "prevent" {
			return c.Do
		}
	}
	if len(e.Controls) == 0 {
		return ""
	}
	return e.Controls[0].Do
}

// isRiskCheck tells whether a check's key is that of a question about a hazard.
func isRiskCheck(key string) bool {
	id, ok := strings.CutPrefix(key, riskCheck)
	return ok && id != "" && len(id) <= 40 && !strings.ContainsFunc(id, func(r rune) bool {
		return !(r == '_' || r == '-' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z')
	})
}

// SignedBefore is the last signature that a person gave at a job, to any
// version.
type SignedBefore struct {
	Version int        // of the assessment
	Day     civil.Date // for which it was given
	Changed []string   // what the version in force says otherwise, in sentences; nil = nothing
}
