package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// A draft made on Tuesday before work begins: it can be published until then,
// and from then on neither that day nor nine days later, whatever else is as it
// was.
func TestADraftWhoseFirstDayHasBegunIsStale(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	draft := s.saveByHand(aDayLater)
	start, _ := civil.UsualHours.Window(tuesday.In(civil.Morning), time.UTC) // London in December
	for at, want := range map[time.Time]string{
		start.Add(-time.Minute):          "",
		start:                            "it begins on Tue 1 Dec, and the first day that can still be planned is Wed 2 Dec",
		start.Add(9*24*time.Hour - 60e9): "it begins on Tue 1 Dec, and the first day that can still be planned is Thu 10 Dec",
	} {
		s.setClock(at)
		p, err := s.svc.Proposal(ctx, s.firm)
		must(t, err)
		if want == "" != (p.Stale == "") || !strings.Contains(p.Stale, want) {
			t.Errorf("at %s the page says %q, want %q", at, p.Stale, want)
		}
		if want == "" {
			continue
		}
		if _, _, err := s.svc.Publish(ctx, s.firm, draft.ID, "Imogen Thackray", nil); fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), want) {
			t.Errorf("at %s publishing gives %v, want %q", at, err, want)
		}
	}
	if now, err := s.schedule.CurrentPlan(ctx, s.firm); err != nil || now.ID != s.plan.ID {
		t.Errorf("published is plan %d, %v", now.Version, err)
	}
	s.setClock(start.Add(-time.Minute))
	if _, _, err := s.svc.Publish(ctx, s.firm, draft.ID, "Imogen Thackray", nil); err != nil {
		t.Errorf("a minute before work: %v", err)
	}
}

// The facts that a draft is held against are those of the transaction that
// publishes it: what was changed after the caller looked still counts.
func TestPublishingReadsTheFactsAgain(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	draft := s.saveByHand(aDayLater)
	_, _, err := s.svc.Publish(ctx, s.firm, draft.ID, "Imogen Thackray", func(*schedule.Plan) error { return nil })
	must(t, err)
	second := s.saveByHand(nil)
	asked := 0
	_, _, err = s.schedule.Publish(ctx, s.firm, second.ID, "Imogen Thackray", s.clock(), func(now schedule.Snapshot, p schedule.Plan) error {
		asked++
		if p.ID != second.ID || now.Base == nil || now.Base.ID != draft.ID || len(now.Jobs) != 2 || now.FirstDay != p.FirstDay || len(now.Bookings) == 0 {
			t.Errorf("asked about %+v on the facts of %s", p.ID, now.FirstDay)
		}
		return fault.Changed("plan", "3", "the crew fell ill")
	})
	if asked != 1 || fault.KindOf(err) != fault.Conflict {
		t.Errorf("asked %d times, %v", asked, err)
	}
	if now, err := s.schedule.CurrentPlan(ctx, s.firm); err != nil || now.ID != draft.ID {
		t.Errorf("published is plan %d, %v", now.Version, err)
	}
}

// The scene's firm knows only Christmas 2026, and its plans run to 28 December.
func TestTheProposalSaysHowFarHolidaysAreKnown(t *testing.T) {
	s := newScene(t)
	s.saveByHand(aDayLater)
	s.by(s.office).get("/plan").want(200).says("Holidays are known up to Friday 25 December 2026: every weekday after it, to the plan's end on Monday 28 December 2026, counts")
}
