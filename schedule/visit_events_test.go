package schedule_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// However often plans are published, a crew's calendar is what the last one
// says from its first day on, one live event for each day of a visit, and a
// sequence rises by one when a day changed and stays when none did.
func TestCrewsCalendarsFollowThePlans(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		id := func(n byte) uuid.UUID { return uuid.UUID{15: n} }
		type key struct {
			crew, job uuid.UUID
			stage     schedule.StageKind
			nth       int
		}
		var now []schedule.VisitEvent
		at := time.Date(2026, 12, 1, 16, 0, 0, 0, time.UTC)
		first := civil.On(2026, 12, 2)
		for range rapid.IntRange(1, 8).Draw(t, "plans") {
			p := schedule.Plan{FirstDay: first, Days: 20}
			for job := range byte(4) {
				for _, stage := range []schedule.StageKind{schedule.RoofWork, schedule.FirstFix} {
					if r.IntN(4) == 0 {
						continue
					}
					v := schedule.Visit{Job: id(job), Stage: stage, Crew: id(100 + byte(r.IntN(2)))}
					start := (first + civil.Date(r.IntN(6))).In(civil.Morning) + civil.HalfDay(r.IntN(2))
					for h := range 1 + r.IntN(5) {
						v.HalfDays = append(v.HalfDays, start+civil.HalfDay(h))
					}
					p.Visits = append(p.Visits, v)
				}
			}
			before := map[key]schedule.VisitEvent{}
			for _, e := range now {
				before[key{e.Crew, e.Job, e.Stage, e.Nth}] = e
			}
			for _, e := range schedule.ReviseVisits(now, p, at) {
				k := key{e.Crew, e.Job, e.Stage, e.Nth}
				old, there := before[k]
				if there && e.Sequence != old.Sequence+1 || !there && e.Sequence != 0 {
					t.Fatalf("%+v goes to sequence %d from %+v", k, e.Sequence, old)
				}
				if there && old.First == e.First && old.Last == e.Last && old.Off == e.Off {
					t.Fatalf("nothing changed, and it is written again: %+v", e)
				}
				before[k] = e
			}
			now = now[:0]
			for _, e := range before {
				now = append(now, e)
			}
			want := map[civil.HalfDay]map[uuid.UUID]int{}
			for _, v := range p.Visits {
				for _, h := range v.HalfDays {
					if want[h] == nil {
						want[h] = map[uuid.UUID]int{}
					}
					want[h][v.Crew]++
				}
			}
			for _, e := range now {
				if e.Off || e.First.Date() < p.FirstDay {
					continue
				}
				for h := e.First; h <= e.Last; h++ {
					want[h][e.Crew]--
				}
			}
			for h, crews := range want {
				for crew, n := range crews {
					if n != 0 {
						t.Fatalf("on %s crew %s has %+d visits in the plan beside its calendar", h.Short(), crew, n)
					}
				}
			}
			if again := schedule.ReviseVisits(now, p, at); len(again) != 0 {
				t.Fatalf("the same plan again changes %d events", len(again))
			}
			first += civil.Date(r.IntN(4))
			at = at.AddDate(0, 0, 1)
		}
	})
}
