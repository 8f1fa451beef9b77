package schedule_test

import (
	"testing"

	"toeboard/schedule"
)

// How long the questions of the office take on a published plan of 200 jobs and
// 20 crews: go test ./schedule -run none -bench 'Ask' -benchtime 20x.
func askedFirm(b *testing.B, jobs, crews int) (schedule.Snapshot, schedule.Plan) {
	b.Helper()
	s := BuildExample(1, jobs, crews, 84)
	p := plan(b, s, 6, 1)
	return publish(s, p, 1), p
}

func askWhy(b *testing.B, jobs, crews int) {
	s, p := askedFirm(b, jobs, crews)
	n := 0
	for b.Loop() {
		v := p.Visits[(37*n)%len(p.Visits)] // another stage each time
		if _, err := schedule.Explain(s, p, v.Job, v.Stage); err != nil {
			b.Fatal(err)
		}
		n++
	}
}

func BenchmarkAskWhy200Jobs(b *testing.B)  { askWhy(b, 200, 20) }
func BenchmarkAskWhy2000Jobs(b *testing.B) { askWhy(b, 2000, 200) }

// The five best places for a new job.
func BenchmarkAskOffers200Jobs(b *testing.B) {
	s, _ := askedFirm(b, 200, 20)
	s, j := wanted(s, 900, 0.7)
	for b.Loop() {
		offers, _, err := schedule.Offers(s, j, 5)
		if err != nil || len(offers) == 0 {
			b.Fatal(len(offers), err)
		}
	}
}
