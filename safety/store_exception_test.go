package safety_test

import (
	"testing"

	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// fillOwn leaves one row in each table of the firm's own rules and of the job's
// records.
func (sc *scene) fillOwn(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err := sc.store.SetOwnRule(ctx, sc.firm, safety.OwnRule{Code: "B17", Binding: true, Holder: safety.Person{ID: sc.lead}, Why: "two doors stayed shut", SetBy: sc.other, SetAt: at(7, 0)})
	must(err)
	_, err = sc.store.RecordException(ctx, sc.firm, safety.Exception{Crew: sc.crew, Job: sc.job, Day: day, Code: "B17", Reason: "the neighbour has the key", By: sc.lead, At: at(7, 5)})
	must(err)
	must(sc.store.DeclareFitness(ctx, sc.firm, safety.Fitness{Person: sc.lead, Day: day, Fit: true, By: sc.lead, At: at(7, 5)}))
	_, err = sc.store.AddRecord(ctx, sc.firm, safety.Record{Job: sc.job, Kind: safety.NearMiss, At: at(7, 1), By: sc.lead, RecordedAt: at(7, 6),
		Body: safety.Fields{"what": "a hammer fell onto the lawn", "learnt": "lanyards on every tool", "hazard": "H08"}}, nil)
	must(err)
	_, err = sc.store.ReportSky(ctx, sc.firm, safety.SkyReport{Job: sc.job, What: safety.GustRead, GustMS: weather.Is(4.2), At: at(7, 2), By: sc.mate, RecordedAt: at(7, 6)})
	must(err)
	must(sc.store.PlaceModule(ctx, sc.firm, sc.job, safety.ModulePlace{Row: 1, Col: 2, Serial: "INV-0007", By: sc.mate, At: at(7, 2)}))
	must(sc.store.ClearPlace(ctx, sc.firm, sc.job, newID(), 1, 2, sc.lead, at(7, 6)))
	_, err = sc.store.SetHeadRecipient(ctx, sc.firm, safety.HeadRecipient{Name: "The insurer", Address: "records@insurer.example", SetBy: "Imogen Thackray", SetAt: at(7, 6)})
	must(err)
}

// The database and the store refuse alike what nobody may except from, and the
// morning reads what was recorded.
func TestExceptionsInTheDatabase(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil || len(snap.OwnRules) != 1 || len(snap.Exceptions) != 1 || snap.OwnRules[0].Holder.Name != "Rhodri Pask" || len(snap.OwnRules[0].Holder.Competences) == 0 {
		t.Fatalf("the morning's own rules: %+v %+v, %v", snap.OwnRules, snap.Exceptions, err)
	}
	e := safety.Exception{Crew: sc.crew, Job: sc.job, Day: day, Code: "B02", Reason: "in a hurry", By: sc.lead, At: at(7, 5)}
	if _, err := sc.store.RecordException(t.Context(), sc.firm, e); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("from a condition of the law: %v", err)
	}
	e.Code, e.By = "B17", sc.mate
	if _, err := sc.store.RecordException(t.Context(), sc.firm, e); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("by somebody who is not named: %v", err)
	}
	r := safety.OwnRule{Code: "B02", Binding: true, Why: "x", SetBy: sc.other, SetAt: at(7, 0)}
	if _, err := sc.store.SetOwnRule(t.Context(), sc.firm, r); fault.KindOf(err) != fault.Invalid {
		t.Errorf("the law as a rule of the firm's own: %v", err)
	}
	r.Code = "B17"
	if _, err := sc.store.SetOwnRule(t.Context(), sc.firm, r); fault.KindOf(err) != fault.Conflict {
		t.Errorf("set over another's version: %v", err)
	}
}
