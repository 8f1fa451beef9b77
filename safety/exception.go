package safety

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// OwnRule is a condition that only advises, as the firm has it for itself: it
// may make it binding, and then name one person who may record an exception. No
// condition of the law can be one.
type OwnRule struct {
	Code    string    `json:"code"`
	Version int       `json:"version"`
	Binding bool      `json:"binding"`
	Holder  Person    `json:"holder"` // who may record an exception; ID Nil = nobody
	Why     string    `json:"why"`
	SetBy   uuid.UUID `json:"set_by"`
	SetAt   time.Time `json:"set_at"` // UTC
}

// Exception is one crew's reasoned exception from a firm's own rule, at one job
// on one day.
type Exception struct {
	ID     uuid.UUID  `json:"id"`
	Crew   uuid.UUID  `json:"crew"`
	Job    uuid.UUID  `json:"job"`
	Day    civil.Date `json:"day"`
	Code   string     `json:"code"`
	Reason string     `json:"reason"`
	By     uuid.UUID  `json:"by"`
	At     time.Time  `json:"at"` // UTC
}

// OwnRuleCodes lists the conditions that a firm may make binding for itself:
// those that only advise.
func OwnRuleCodes() []string {
	var all []string
	for _, c := range conditions {
		if c.advice {
			all = append(all, c.code)
		}
	}
	return all
}

// RuleOf names a condition and what it asks.
func RuleOf(code string) (rule, limit string) {
	for _, c := range conditions {
		if c.code == code {
			return c.rule, c.limit
		}
	}
	return "", ""
}

// exceptionCompetences are those of which whoever records an exception holds
// one on the day (common practice, no source).
var exceptionCompetences = []string{LeadRoof, Electrical, ScaffoldInspection}

// MayExcept tells whether a person is competent on a day to record an exception
// where the firm names them.
func MayExcept(p Person, day civil.Date) bool {
	return slices.ContainsFunc(exceptionCompetences, func(k string) bool { return p.Holds(k, day) })
}

// ownRule gives the firm's own rule about a condition, nil when it has none that
// binds. A condition of the law never has one, whatever the snapshot says.
func (m *morning) ownRule(c condition) *OwnRule {
	if !c.advice {
		return nil
	}
	var newest *OwnRule
	for i, r := range m.OwnRules {
		if r.Code == c.code && (newest == nil || r.Version > newest.Version) {
			newest = &m.OwnRules[i]
		}
	}
	if newest == nil || !newest.Binding {
		return nil
	}
	return newest
}

// excepted says in words which exception from the firm's own rule counts; ""
// when none does.
func (m *morning) excepted(r OwnRule) string {
	for _, e := range m.Exceptions {
		if e.Code == r.Code && e.Crew == m.Crew && e.Job == m.Job && e.Day == m.Day && !e.At.After(m.now) && said(e.Reason) &&
			r.Holder.ID != uuid.Nil && e.By == r.Holder.ID && MayExcept(r.Holder, m.Day) {
			return fmt.Sprintf("exception by %s at %s: %s", r.Holder.Name, m.clock(e.At), strings.TrimSpace(e.Reason))
		}
	}
	return ""
}
