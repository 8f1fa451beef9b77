package safety_test

import (
	"crypto/sha256"
	"strings"
	"testing"

	"toeboard/safety"
	"toeboard/weather/fault"
)

func seen() safety.SiteHazard {
	return safety.SiteHazard{Name: "Loose chimney pot", Who: []string{"crew"}, Stages: []string{"roof_work"}, Before: safety.Score{Likelihood: 3, Severity: 5},
		After: safety.Score{Likelihood: 1, Severity: 5}, Controls: []safety.Control{{Step: "prevent", Do: "Strapped by the mason"}}, Evidence: "photo of the strap",
		Why: "leans over the platform", By: "Rhodri Pask", At: at(7, 0)}
}

func TestWhatIsSeenOnSiteMakesTheVersionStale(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	v := sc.issue(t, 0)
	photo := &safety.KeptPhoto{SHA256: sha256.Sum256([]byte("a photo")), MediaType: "image/jpeg", Body: []byte("a photo")}
	h := seen()
	h.ID, h.Job = newID(), sc.job
	got, err := sc.store.AddSiteHazard(ctx, sc.firm, h, photo)
	if err != nil || got.Code() != "S1" || !got.PhotoSum.Known() {
		t.Fatalf("%+v, %v", got, err)
	}
	if again, err := sc.store.AddSiteHazard(ctx, sc.firm, h, photo); err != nil || again.No != 1 {
		t.Errorf("the same again: %+v, %v", again, err)
	}
	other := h
	other.Why = "something else"
	if _, err := sc.store.AddSiteHazard(ctx, sc.firm, other, photo); fault.KindOf(err) != fault.Conflict {
		t.Errorf("other content under one identity: %v", err)
	}
	kept, err := sc.store.Photo(ctx, sc.firm, got.Photo)
	if err != nil || string(kept.Body) != "a photo" || kept.SHA256 != photo.SHA256 {
		t.Errorf("the photo: %+v, %v", kept, err)
	}
	now, err := sc.store.CurrentAssessment(ctx, sc.firm, sc.job)
	if err != nil || now.FactsNow == v.FactsHash {
		t.Errorf("the version in force still fits the facts: %v", err)
	}
	facts, _, err := sc.store.Facts(ctx, sc.firm, sc.job)
	if err != nil || !strings.Contains(facts.Say("site_hazards"), "S1 Loose chimney pot") {
		t.Errorf("the facts say %q, %v", facts.Say("site_hazards"), err)
	}
	all, err := sc.store.SiteHazards(ctx, sc.firm, sc.job)
	if err != nil || len(all) != 1 {
		t.Fatalf("%v, %v", all, err)
	}
	if err := sc.store.RemoveSiteHazard(ctx, sc.firm, sc.job, got.ID, "", "Rhodri Pask", at(8, 0)); fault.KindOf(err) != fault.Invalid {
		t.Errorf("taken away without a reason: %v", err)
	}
	if err := sc.store.RemoveSiteHazard(ctx, sc.firm, sc.job, got.ID, "the mason took it down", "Rhodri Pask", at(8, 0)); err != nil {
		t.Fatal(err)
	}
	if err := sc.store.RemoveSiteHazard(ctx, sc.firm, sc.job, got.ID, "again", "Rhodri Pask", at(8, 0)); fault.KindOf(err) != fault.Conflict {
		t.Errorf("taken away twice: %v", err)
	}
	if now, err = sc.store.CurrentAssessment(ctx, sc.firm, sc.job); err != nil || now.FactsNow != v.FactsHash {
		t.Errorf("with nothing seen the version fits again: %v", err)
	}
	next := seen()
	next.Job = sc.job
	if got, err := sc.store.AddSiteHazard(ctx, sc.firm, next, nil); err != nil || got.Code() != "S2" {
		t.Errorf("a number is not given twice: %+v, %v", got, err)
	}
	bad := *photo
	bad.Body = []byte("another photo")
	next.ID = newID()
	if _, err := sc.store.AddSiteHazard(ctx, sc.firm, next, &bad); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a photo that does not fit its sum: %v", err)
	}
	if all, err := sc.store.SiteHazards(ctx, sc.firm, sc.job); err != nil || len(all) != 1 {
		t.Errorf("half of it is kept: %v, %v", all, err)
	}
	first := *sc
	sc.addFirm(t)
	if _, err := sc.store.Photo(ctx, sc.firm, got.Photo); fault.KindOf(err) != fault.NotFound {
		t.Errorf("another firm sees the photo: %v", err)
	}
	if all, err := sc.store.SiteHazards(ctx, sc.firm, first.job); err != nil || len(all) != 0 {
		t.Errorf("another firm sees %v, %v", all, err)
	}
}

func TestFirmHazardsAreVersions(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	f := safety.FirmHazards{Overrides: []safety.Override{{Hazard: "H25", Why: "we never strip", Off: true}}, EventGustMS: 15}
	set, err := sc.store.SetFirmHazards(ctx, sc.firm, f, 0, "our first", "Imogen Thackray", at(9, 0))
	if err != nil || set.Version != 1 {
		t.Fatalf("%+v, %v", set, err)
	}
	if _, err := sc.store.SetFirmHazards(ctx, sc.firm, f, 0, "late", "Imogen Thackray", at(9, 1)); fault.KindOf(err) != fault.Conflict {
		t.Errorf("set on an older version: %v", err)
	}
	if _, err := sc.store.SetFirmHazards(ctx, sc.firm, safety.FirmHazards{EventGustMS: 300}, 1, "", "Imogen Thackray", at(9, 1)); len(fault.Each(err)) != 2 {
		t.Errorf("every fault at once: %v", err)
	}
	got, err := sc.store.FirmHazards(ctx, sc.firm)
	if err != nil || got.Version != 1 || got.EventGust() != 15 || len(got.Overrides) != 1 {
		t.Errorf("in force: %+v, %v", got, err)
	}
	sc.addFirm(t)
	if got, err := sc.store.FirmHazards(ctx, sc.firm); err != nil || got.Version != 0 || got.EventGust() != safety.UsualEventGust {
		t.Errorf("another firm has %+v, %v", got, err)
	}
}

func TestAnswersAndVersionsAreKept(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	if err := sc.store.AddAnswers(ctx, sc.firm, sc.job, newID(), safety.SurveyAnswer{Answers: map[string]any{"moss": true, "pets": nil}, By: "Rhodri Pask", At: at(7, 0)}); err != nil {
		t.Fatal(err)
	}
	got, err := sc.store.AnswersOf(ctx, sc.firm, sc.job)
	if err != nil || len(got) != 1 || got[0].Answers["moss"] != true || got[0].By != "Rhodri Pask" {
		t.Errorf("%+v, %v", got, err)
	}
	sc.issue(t, 0)
	sc.issue(t, 1)
	all, err := sc.store.AssessmentVersions(ctx, sc.firm, sc.job)
	if err != nil || len(all) != 2 || all[0].Version != 2 || all[1].Body.Hash() != all[1].BodyHash {
		t.Errorf("%d versions, %v", len(all), err)
	}
}

// certificateOf is a whole certificate for a handover.
func certificateOf(kind string) safety.Certificate {
	if kind != safety.Handover {
		return safety.Certificate{}
	}
	return safety.Certificate{DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties, every other lift", ReceivedBy: "Imogen Thackray"}
}

// fillSite records one of each that this file and store_scaffold.go keep, and
// takes away again what would change the assessment.
func (sc *scene) fillSite(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	h := seen()
	h.Job = sc.job
	got, err := sc.store.AddSiteHazard(ctx, sc.firm, h, nil)
	must(err)
	must(sc.store.RemoveSiteHazard(ctx, sc.firm, sc.job, got.ID, "taken down", "Rhodri Pask", at(7, 1)))
	must(sc.store.AddAnswers(ctx, sc.firm, sc.job, newID(), safety.SurveyAnswer{Answers: map[string]any{"pets": false}, By: "Rhodri Pask", At: at(7, 0)}))
	_, err = sc.store.SetFirmHazards(ctx, sc.firm, safety.FirmHazards{EventGustMS: 16}, 0, "windy valley", "Imogen Thackray", at(7, 0))
	must(err)
	reports, err := sc.store.Reports(ctx, sc.firm, sc.job)
	must(err)
	_, err = sc.store.AddRemedy(ctx, sc.firm, sc.job, safety.Remedy{Report: reports[0].ID, Done: "board changed", By: "Ines Varga", DoneAt: at(7, 0), RecordedBy: "Rhodri Pask", RecordedAt: at(7, 5)})
	must(err)
	must(sc.store.AddDelivery(ctx, sc.firm, sc.job, safety.Delivery{Report: reports[0].ID, To: "Quillmere Solar", At: at(7, 0), RecordedBy: "Rhodri Pask", RecordedAt: at(7, 5)}))
}

func TestTheScaffoldsFile(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	ctx := t.Context()
	f, err := sc.store.ScaffoldFile(ctx, sc.firm, sc.job)
	if err != nil || len(f.Reports) != 2 || len(f.Remedies) != 1 || len(f.Deliveries) != 1 || !f.Expected {
		t.Fatalf("%+v, %v", f, err)
	}
	for _, r := range f.Reports {
		if (r.Kind == safety.Handover) != (r.Certificate == certificateOf(safety.Handover)) {
			t.Errorf("%s reads back with %+v", r.Kind, r.Certificate)
		}
	}
	gusts, err := sc.store.GustReadings(ctx, sc.firm, sc.job)
	if err != nil || len(gusts) != 2 || gusts[0].GustMS != 4.2 || gusts[1].GustMS != 4.5 {
		t.Errorf("readings %v, %v", gusts, err)
	}
	if err := sc.store.AddDelivery(ctx, sc.firm, sc.job, safety.Delivery{Report: f.Deliveries[0].Report, To: "again", At: at(7, 0), RecordedBy: "x", RecordedAt: at(8, 0)}); fault.KindOf(err) != fault.Conflict {
		t.Errorf("delivered twice: %v", err)
	}
	if _, err := sc.store.AddRemedy(ctx, sc.firm, sc.job, safety.Remedy{Report: newID(), Done: "x", By: "y", DoneAt: at(7, 0), RecordedBy: "x", RecordedAt: at(8, 0)}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a remedy of no report: %v", err)
	}
}
