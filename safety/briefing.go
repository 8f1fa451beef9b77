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
// their controls, of the stages that are done today: the highest residual score
// first, of equal ones the one that was higher before, then by id.
func TopRisks(a Assessment, stages []string) []Entry {
	var all []Entry
	for _, e := range a.Entries {
		if slices.ContainsFunc(stages, func(s string) bool { return slices.Contains(e.Stages, s) }) {
			all = append(all, e)
		}
	}
	product := func(s Score) int { return s.Likelihood * s.Severity }
	slices.SortStableFunc(all, func(a, b Entry) int {
		return cmp.Or(product(b.After)-product(a.After), product(b.Before)-product(a.Before), strings.Compare(a.Hazard, b.Hazard))
	})
	n := min(fewestRiskQuestions, len(all))
	for n >= fewestRiskQuestions && n < min(mostRiskQuestions, len(all)) && product(all[n].After) == product(all[fewestRiskQuestions-1].After) {
		n++
	}
	return all[:n]
}

// riskChecks makes a question at the point of work of each of today's top risks:
// is what prevents it seen here and now? Of a part of the day it is those of the
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
		one := Check{Key: riskCheck + e.Hazard, When: c.When, Evidence: c.Evidence, Question: e.Name + ". " + c.Question}
		if does := e.prevents(); does != "" {
			one.Question = e.Name + ": " + lowerFirst(does) + ". " + c.Question
		}
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
