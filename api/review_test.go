package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// An assessment that the decision finds too old can be issued again though no
// fact changed; before that day the same facts give the same version.
func TestAnOldAssessmentCanBeIssuedAgain(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	for _, c := range []struct{ days, version int }{{365, 1}, {366, 2}} { // common practice, no source: safety reviews after a year
		day := tuesday + civil.Date(c.days)
		s.setClock(benchStart.AddDate(0, 0, c.days))
		s.publishByHand(func(p *schedule.Plan) {
			p.FirstDay, p.Visits = day, p.Visits[:1]
			p.Visits[0].HalfDays = []civil.HalfDay{day.In(civil.Morning)}
		})
		old := func() bool {
			m, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", day)
			must(t, err)
			for _, c := range m.Decision.Conditions {
				if c.Code == "B05" {
					return strings.Contains(c.Value, "older than")
				}
			}
			t.Fatal("no B05")
			return false
		}
		if old() != (c.version == 2) {
			t.Errorf("%d days after: too old is %t", c.days, old())
		}
		for range 2 { // and a retry makes no third
			a, err := s.svc.IssueAssessment(ctx, s.firm, "Q-1", "Imogen Thackray")
			must(t, err)
			if a.Version != c.version {
				t.Errorf("%d days after it is version %d, want %d", c.days, a.Version, c.version)
			}
			s.setClock(s.clock().Add(time.Minute))
		}
		if old() {
			t.Errorf("%d days after it is still too old", c.days)
		}
	}
}
