package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
)

// The service notices a gale by itself: from the hours that a forecast fetched
// afterwards says were blown through, and from a reading of the crew.
func TestGustsAreNoticedOnceAndCloseTheScaffold(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	events := func() []safety.ScaffoldEvent {
		all, err := s.safety.Events(ctx, s.firm, s.q1.ID)
		must(t, err)
		return all
	}
	s.forecasts(calm)
	if n, err := s.svc.NoticeGusts(ctx, s.firm); err != nil || n != 0 || len(events()) != 0 {
		t.Fatalf("a calm day made %d events, %v", n, err)
	}
	s.forecasts(storm)
	if n, err := s.svc.NoticeGusts(ctx, s.firm); err != nil || n != 1 {
		t.Fatalf("a storm made %d events, %v", n, err)
	}
	if n, err := s.svc.NoticeGusts(ctx, s.firm); err != nil || n != 0 {
		t.Errorf("noticed again: %d, %v", n, err)
	}
	all := events()
	if len(all) != 1 || all[0].What != "wind" || !strings.Contains(all[0].Detail, "analysis of "+testProvider) || all[0].At.After(s.clock()) || all[0].By != "noticed by the service" {
		t.Fatalf("recorded %+v", all)
	}
	f, _, err := s.svc.ScaffoldFile(ctx, s.firm, s.q1.Ref)
	must(t, err)
	if tag := f.Tag(s.clock(), time.UTC); tag.State == safety.Met || !strings.Contains(tag.Why, "gust") {
		t.Errorf("the tag says %+v", tag)
	}
	// Inspected again, it may be used; a reading of the crew closes it again.
	r := goodReport(safety.Inspection, s.clock().Add(-time.Minute))
	r.Job = s.q1.ID
	_, err = s.safety.AddReport(ctx, s.firm, r)
	must(t, err)
	if n, err := s.svc.NoticeGusts(ctx, s.firm); err != nil || n != 0 {
		t.Errorf("what came before the inspection is noticed after it: %d, %v", n, err)
	}
	lead := Caller{Firm: s.firm, Person: s.lead, Name: "Rhodri Pask", Role: schedule.CrewLead, Location: time.UTC}
	s.setClock(s.clock().Add(time.Minute))
	_, _, err = s.svc.ReportSky(ctx, lead, s.svc.ids(), s.q1.Ref, SkyInput{What: safety.GustRead, GustMS: weather.Is(19)})
	must(t, err)
	if all = events(); len(all) != 2 || !strings.Contains(all[0].Detail, "19.0 m/s, read on site") {
		t.Errorf("a reading of 19 m/s: %+v", all)
	}
	// The firm's own gust counts.
	_, err = s.safety.SetFirmHazards(ctx, s.firm, safety.FirmHazards{EventGustMS: 30}, 0, "sheltered yard", "Imogen Thackray", s.clock())
	must(t, err)
	s.setClock(s.clock().Add(time.Minute))
	r.At, r.ID, r.RecordedAt = s.clock(), s.svc.ids(), s.clock()
	_, err = s.safety.AddReport(ctx, s.firm, r)
	must(t, err)
	s.setClock(s.clock().Add(time.Minute))
	_, _, err = s.svc.ReportSky(ctx, lead, s.svc.ids(), s.q1.Ref, SkyInput{What: safety.GustRead, GustMS: weather.Is(25)})
	must(t, err)
	if all = events(); len(all) != 2 {
		t.Errorf("25 m/s with the event gust at 30: %+v", all)
	}
}
