//go:build unix

package main

import (
	"context"
	"testing"
	"time"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Somebody works alone and does not call. Two workers in processes of their own
// notice it as they start. The office and whoever expects the call each get one
// letter, at a real mail server.
func TestAMissedCallLeavesTheHouse(t *testing.T) {
	h := openHouse(t, nil)
	k := catchMails(t)
	h.onlyMine(t)
	ctx, firm := context.Background(), h.scen.firm.ID
	loc, err := h.scen.firm.Location()
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now().Add(-100 * time.Minute) // the workers live by the real clock
	crew := h.scen.crews[0]
	who := crew.Members[0].Person
	_, err = h.safety.ArrangeCheckIn(ctx, firm, safety.Person{ID: who.ID, Name: who.Name}, safety.CheckIn{Crew: crew.ID, Job: h.scen.jobs[0].ID, Day: civil.DateOf(began, loc),
		Contact: "Gwen Strand", Phone: "01632 960199", EveryMin: 90, IfMissed: "drives out", Email: "gwen@neighbour.example", By: who.ID, At: began, From: began})
	if err != nil {
		t.Fatal(err)
	}
	offices := 0
	for _, p := range h.scen.people {
		if p.Role == schedule.Office {
			offices++
		}
	}
	_, _, out := h.mailWorker(t, k, "")
	_, _, other := h.mailWorker(t, k, "")
	var n int
	for deadline := time.Now().Add(time.Minute); n < offices+1; time.Sleep(50 * time.Millisecond) {
		if err := h.owner.QueryRow(ctx, `SELECT count(*) FROM message WHERE kind = 'call_missed' AND state = 'sent'`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d letters left, want %d; the workers say\n%s\n%s", n, offices+1, out, other)
		}
	}
	h.copies(t, k, "missed-call")
	var all int
	if err := h.owner.QueryRow(ctx, `SELECT count(*) FROM message WHERE kind = 'call_missed'`).Scan(&all); err != nil || all != offices+1 {
		t.Errorf("%d letters about one missed call, want %d: %v", all, offices+1, err)
	}
}
