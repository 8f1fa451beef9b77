package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// messages counts what was written for each booking and sequence.
func (s *scene) messages() map[string]int {
	s.Helper()
	rows, err := s.db.Owner.Query(ctx, `SELECT topic, sequence, count(*) FROM message GROUP BY 1, 2`)
	s.must(err)
	defer rows.Close()
	all := map[string]int{}
	for rows.Next() {
		var topic string
		var sequence, n int
		s.must(rows.Scan(&topic, &sequence, &n))
		all[fmt.Sprintf("%s %d", topic, sequence)] = n
	}
	s.must(rows.Err())
	return all
}

// addJobs makes n more jobs.
func (s *scene) addJobs(n int) {
	s.Helper()
	for range n {
		j := sampleJobs()[0]
		j.ID, j.Site.ID, j.Customer.ID = newID(), newID(), newID()
		j.Ref, j.CreatedAt = fmt.Sprintf("J-%d", 1001+len(s.jobs)), storeNow.Add(-time.Hour)
		s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
		s.jobs = append(s.jobs, j)
	}
}

// standing is a job's scaffold without its roof work, which one crew could not
// do for so many.
func (s *scene) standing(i int, yard int, erect, strike civil.Date) []schedule.Visit {
	all := s.chain(i, yard, erect, strike)
	return []schedule.Visit{all[0], all[2]}
}

func (s *scene) publish(base uuid.UUID, at time.Time, visits ...schedule.Visit) (schedule.Plan, []schedule.BookingChange) {
	s.Helper()
	p, changes, err := s.store.Publish(ctx, s.firm, s.planOf(base, visits...).ID, "office", at, nil)
	s.must(err)
	return p, changes
}

// A plan of 200 jobs that leaves 190 bookings alone sends ten messages.
func TestAReplanOfTwoHundredJobsTellsOnlyTheTenThatMove(t *testing.T) {
	s := newScene(t)
	s.addJobs(197)
	var visits []schedule.Visit
	for i := range s.jobs {
		visits = append(visits, s.standing(i, i%2, dec(7)+civil.Date(i/20), dec(17)+civil.Date(i/20))...)
	}
	first, changes := s.publish(uuid.Nil, storeNow, visits...)
	if len(changes) != 200 || len(s.messages()) != 200 {
		t.Fatalf("the first plan makes %d changes and %d messages", len(changes), len(s.messages()))
	}
	visits = nil
	for i := range s.jobs {
		late := civil.Date(0)
		if i%20 == 7 {
			late = 1
		}
		visits = append(visits, s.standing(i, i%2, dec(7)+civil.Date(i/20)+late, dec(17)+civil.Date(i/20)+late)...)
	}
	_, changes = s.publish(first.ID, storeNow.Add(time.Hour), visits...)
	written := s.messages()
	if len(changes) != 10 || len(written) != 210 {
		t.Errorf("the second plan makes %d changes and %d messages, want 10 and 10", len(changes), len(written)-200)
	}
	for _, c := range changes {
		if n := written[fmt.Sprintf("booking/%s %d", c.After.ID, c.After.Sequence)]; n != 1 {
			t.Errorf("%s is told %d times", c.After.UID, n)
		}
	}
	var jobs int
	s.must(s.db.Owner.QueryRow(ctx, `SELECT count(*) FROM queue.river_job WHERE kind = 'send_message'`).Scan(&jobs))
	if jobs != 210 {
		t.Errorf("%d workers are woken for 210 messages", jobs)
	}
}

// Random histories on the database: plans, answers, facts. After each step no
// job has two live bookings, no sequence fell, every sequence that a plan or the
// office made was told once, and the feed is the database.
func TestHistoriesOnTheDatabase(t *testing.T) {
	s := newScene(t)
	r := rand.New(rand.NewPCG(20261126, 7))
	base, at := uuid.Nil, storeNow
	seen := map[uuid.UUID]int{}
	told := map[string]bool{}
	for step := range 120 {
		at = at.Add(time.Duration(1+r.IntN(90)) * time.Minute)
		if r.IntN(3) == 0 || base == uuid.Nil {
			var visits []schedule.Visit
			for i := range s.jobs {
				if r.IntN(6) > 0 {
					erect := dec(7) + civil.Date(r.IntN(14))
					visits = append(visits, s.standing(i, r.IntN(2), erect, erect+civil.Date(2+r.IntN(9)))...)
				}
			}
			var changes []schedule.BookingChange
			var p schedule.Plan
			p, changes = s.publish(base, at, visits...)
			base = p.ID
			for _, c := range changes {
				told[fmt.Sprintf("booking/%s %d", c.After.ID, c.After.Sequence)] = true
			}
		} else {
			s.happens(r, at, told)
		}
		all, err := s.store.Bookings(ctx, s.firm)
		s.must(err)
		live := map[uuid.UUID]int{}
		for _, b := range all {
			if b.Live() {
				live[b.Job]++
			}
			if b.Sequence < seen[b.ID] {
				t.Fatalf("step %d: the sequence of %s fell from %d to %d", step, b.UID, seen[b.ID], b.Sequence)
			}
			seen[b.ID] = b.Sequence
		}
		for job, n := range live {
			if n > 1 {
				t.Fatalf("step %d: job %s has %d live bookings", step, job, n)
			}
		}
		if step%10 == 0 {
			s.feedIsTheDatabase()
		}
	}
	written := s.messages()
	for key, n := range written {
		if n != 1 || !told[key] {
			t.Errorf("%s: %d messages, to be told: %t", key, n, told[key])
		}
	}
	for key := range told {
		if written[key] == 0 {
			t.Errorf("%s was never told", key)
		}
	}
	if len(told) < 60 {
		t.Errorf("only %d changes were told: the histories are too quiet", len(told))
	}
}

// happens lets a scaffold firm or the office do something that may not follow.
func (s *scene) happens(r *rand.Rand, at time.Time, told map[string]bool) {
	s.Helper()
	all, err := s.store.Bookings(ctx, s.firm)
	s.must(err)
	b := all[r.IntN(len(all))]
	before := b.Sequence
	office := false
	var after schedule.Booking
	switch r.IntN(8) {
	case 0:
		after, err = s.store.AnswerBooking(ctx, s.firm, b.ID, b.Sequence, schedule.Answer{Confirm: true, How: schedule.ByPage}, "yard", at)
	case 1:
		after, err = s.store.AnswerBooking(ctx, s.firm, b.ID, b.Sequence, schedule.Answer{OfferedOn: b.ErectOn + civil.Date(r.IntN(5)), How: schedule.ByPage}, "yard", at)
	case 2:
		after, err = s.store.AnswerBooking(ctx, s.firm, b.ID, b.Sequence, schedule.Answer{Refuse: true, How: schedule.ByMail}, "yard", at)
	case 3:
		office = true
		after, err = s.store.AcceptOffer(ctx, s.firm, b.ID, b.Sequence, b.OfferedOn, "office", at)
	case 4:
		office = true
		after, err = s.store.DeclineOffer(ctx, s.firm, b.ID, b.Sequence, b.OfferedOn, "office", at)
	case 5:
		office = true
		after, err = s.store.OffHire(ctx, s.firm, b.ID, dec(20), "office", at)
	case 6:
		after, err = s.store.MarkInspected(ctx, s.firm, b.ID, "office", schedule.ByOffice, at)
	case 7:
		office = true
		after, err = s.store.KeepOnHire(ctx, s.firm, b.ID, "office", at)
	}
	if err == nil && office && after.Sequence > before {
		told[fmt.Sprintf("booking/%s %d", after.ID, after.Sequence)] = true
	}
}
