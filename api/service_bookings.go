package api

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Booked is what the office knows of its scaffolds.
type Booked struct {
	directory
	Today    civil.Date
	Zone     *time.Location
	Bookings []schedule.Booking // live: what stands by its next charge, then what is to come
	First    []schedule.ToStrike
}

// Booked reads the scaffolds that stand or are to come.
func (s *Service) Booked(ctx context.Context, firm uuid.UUID) (Booked, error) {
	var b Booked
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return b, err
	}
	if b.Zone, err = f.Location(); err != nil {
		return b, fmt.Errorf("read the firm's zone: %w", err)
	}
	b.Today = civil.DateOf(s.now(), b.Zone)
	if b.directory, err = s.directory(ctx, firm); err != nil {
		return b, err
	}
	all, err := s.schedule.Bookings(ctx, firm)
	if err != nil {
		return b, err
	}
	b.Bookings = slices.DeleteFunc(all, func(k schedule.Booking) bool { return !k.Live() })
	slices.SortStableFunc(b.Bookings, func(x, y schedule.Booking) int {
		if x.State.Stands() != y.State.Stands() {
			if x.State.Stands() {
				return -1
			}
			return 1
		}
		if x.State.Stands() {
			return int(b.hire(x).NextOn - b.hire(y).NextOn)
		}
		return byErection(x, y)
	})
	jobs, firms := b.byRef(), sortedBy(b.firms, func(f schedule.ScaffoldFirm) string { return f.Name })
	b.First = schedule.StrikeFirst(b.Bookings, jobs, firms, b.Today)
	return b, nil
}

// hire is what a booking's hire comes to today.
func (b Booked) hire(k schedule.Booking) schedule.Hire {
	return schedule.HireOf(k, b.firms[k.ScaffoldFirm], b.Today)
}

// OfferCosts says what taking the day that a scaffold firm offers would do, by a
// what-if: the plan with the day against the plan without. Nothing is saved.
func (s *Service) OfferCosts(ctx context.Context, firm uuid.UUID, b schedule.Booking) (string, error) {
	w, _, err := s.WhatIf(ctx, firm, []schedule.Change{{Kind: schedule.ChangePin, Job: b.Job, Stage: schedule.ScaffoldErection,
		Who: b.ScaffoldFirm, On: b.OfferedOn, Until: civil.NoDate}})
	if err != nil {
		return "", err
	}
	if len(w.Lost) > 0 {
		return "No plan can take it: " + strings.Join(w.Lost, "; ") + ".", nil
	}
	return w.Say(), nil
}

// OffHire asks the scaffold firm to take a scaffold down. Once work on the roof
// has begun, the roof must have been checked tight first: without the scaffold
// nobody gets there to mend it.
func (s *Service) OffHire(ctx context.Context, firm, booking uuid.UUID, on civil.Date, by string) (schedule.Booking, error) {
	b, err := s.schedule.Booking(ctx, firm, booking)
	if err != nil {
		return b, err
	}
	j, err := s.schedule.JobByID(ctx, firm, b.Job)
	if err != nil {
		return b, err
	}
	if roof, has := j.Stage(schedule.RoofWork); has && roof.State != schedule.StatePlanned {
		records, err := s.safety.JobRecords(ctx, firm, j.ID, safety.Weatherproof)
		if err != nil {
			return b, err
		}
		if state, says := safety.MayStrike(records); state != safety.Met {
			return b, &fault.Error{Kind: fault.Conflict, Field: "roof", Value: j.Ref, Want: "the finished roof checked tight before the scaffold comes down (" + says + "): record it among the job's records"}
		}
	}
	return s.schedule.OffHire(ctx, firm, booking, on, by, s.now())
}
