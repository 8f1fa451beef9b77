package api

import (
	"context"
	"maps"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
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

// Each visit that moves is charged by itself: a row shows its own amount, and
// another row of the same job does not have it.
func TestEachMovedVisitShowsItsOwnCharge(t *testing.T) {
	s := newScene(t)
	charges := map[schedule.StageKind]schedule.Pence{schedule.ScaffoldErection: 91_23, schedule.RoofWork: 37_45}
	s.saveByHand(func(p *schedule.Plan) {
		aDayLater(p)
		p.Visits[4].Crew = s.damson.ID
		for _, k := range schedule.StageKinds {
			if n := charges[k]; n != 0 {
				p.Cost.Total += n
				p.Cost.Lines = append(p.Cost.Lines, schedule.CostLine{Item: schedule.Moved, Job: s.q2.ID, Stage: k, Amount: n, Why: "moved"})
			}
		}
	})
	p, err := s.svc.Proposal(context.Background(), s.firm)
	must(t, err)
	groups, _, _ := moveGroups(p)
	got := map[string]web.Money{}
	told := 0
	for _, g := range groups {
		for _, m := range g.Moves {
			if m.ChargeAt == "" {
				got[m.What] += m.Charge
			} else if m.What == "roof work" && m.ChargeAt == "told once, under "+s.damson.Name {
				told++
			}
		}
	}
	want := map[string]web.Money{"scaffold erection": 91_23, "roof work": 37_45}
	if !maps.Equal(got, want) || told != 1 {
		t.Errorf("the rows show %v, want %v; %d refer to the other crew", got, want, told)
	}
}

// The scene's firm knows only Christmas 2026, and its plans run to 28 December.
func TestTheProposalSaysHowFarHolidaysAreKnown(t *testing.T) {
	s := newScene(t)
	s.saveByHand(aDayLater)
	s.by(s.office).get("/plan").want(200).says("Holidays are known up to Friday 25 December 2026: every weekday after it, to the plan's end on Monday 28 December 2026, counts")
}

// What is at short notice goes by the firm's own frozen days, not by those that
// a firm begins with.
func TestShortNoticeGoesByTheFirmsFrozenDays(t *testing.T) {
	s := newScene(t)
	s.saveByHand(aDayLater)
	ctx := context.Background()
	for _, frozen := range []int{0, 9} {
		is, err := s.schedule.Rates(ctx, s.firm)
		must(t, err)
		is.Rates.FrozenDays = frozen
		_, err = s.schedule.SetRates(ctx, s.firm, is.Rates, is.Version, "Imogen Thackray", s.clock())
		must(t, err)
		p, err := s.svc.Proposal(ctx, s.firm)
		must(t, err)
		if is, want := p.noticeEnds(schedule.RoofWork, nil, nil), schedule.AddWorkingDays(p.Today, frozen, p.Holidays); is != want {
			t.Errorf("with %d frozen days short notice ends on %s, want %s", frozen, is.Short(), want.Short())
		}
	}
}
