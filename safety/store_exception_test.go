package safety_test

import (
	"testing"

	"github.com/google/uuid"

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
	sc.induct(t, sc.lead, "Rhodri Pask")
	sc.induct(t, sc.mate, "Dele Ashworth")
	_, err = sc.store.ArrangeCheckIn(ctx, sc.firm, safety.Person{ID: sc.lead, Name: "Rhodri Pask"}, safety.CheckIn{Crew: sc.crew, Job: sc.job, Day: day,
		Contact: "Imogen Thackray", Phone: "01632 960101", EveryMin: 60, IfMissed: "drives out", Email: "imogen@firm.example", By: sc.lead, At: at(7, 7), From: at(8, 0)})
	must(err)
	_, err = sc.store.AddLoneCall(ctx, sc.firm, safety.LoneCall{Crew: sc.crew, Job: sc.job, Day: day, Person: sc.lead, What: safety.CallWell, By: sc.lead, At: at(7, 8)})
	must(err)
}

// induct keeps that somebody was told everything, in two parts.
func (sc *scene) induct(t *testing.T, person uuid.UUID, name string) {
	t.Helper()
	var keys []string
	for _, topic := range safety.Topics() {
		keys = append(keys, topic.Key)
	}
	for _, part := range [][]string{keys[:3], keys[3:]} {
		_, err := sc.store.AddInduction(t.Context(), sc.firm, safety.Person{ID: person, Name: name}, safety.Induction{On: day - 30, GivenBy: "Imogen Thackray, office",
			Covered: part, Proof: safety.ByPIN, RecordedBy: sc.other, At: at(6, 5)}, day)
		if err != nil {
			t.Fatal(err)
		}
	}
}

// What somebody was told and whom they ring reads back as it was kept, counts on
// the morning, and is refused alike by the store and by its checks.
func TestInductionsAndCheckInsInTheDatabase(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil || len(snap.CheckIns) != 1 || snap.CheckIns[0].Phone != "01632 960101" || !snap.CheckIns[0].At.Equal(at(7, 7)) || snap.CheckIns[0].Email != "imogen@firm.example" ||
		!snap.CheckIns[0].From.Equal(at(8, 0)) || len(snap.LoneCalls) != 1 || snap.LoneCalls[0].What != safety.CallWell {
		t.Fatalf("whom the lead rings: %+v, %+v, %v", snap.CheckIns, snap.LoneCalls, err)
	}
	for _, p := range snap.People {
		if open := safety.NotCovered(p, day); len(p.Inductions) != 2 || len(open) > 0 || len(p.Inductions[1].Covered) != len(safety.Topics())-3 {
			t.Errorf("%s: %+v, open %v", p.Name, p.Inductions, open)
		}
		if open := safety.NotCovered(p, day-31); len(open) != len(safety.Topics()) {
			t.Errorf("%s is inducted before the day: open %v", p.Name, open)
		}
	}
	p := safety.Person{ID: sc.mate, Name: "Dele Ashworth"}
	i := safety.Induction{ID: newID(), On: day, GivenBy: "Imogen Thackray", Covered: []string{"stop_rule"}, Proof: safety.ByPIN, RecordedBy: sc.other, At: at(7, 0)}
	for _, again := range []int{1, 2} {
		if _, err := sc.store.AddInduction(t.Context(), sc.firm, p, i, day); err != nil {
			t.Errorf("try %d: %v", again, err)
		}
	}
	if by, err := sc.store.Inductions(t.Context(), sc.firm); err != nil || len(by[sc.mate]) != 3 {
		t.Errorf("sent twice it is one: %d, %v", len(by[sc.mate]), err)
	}
	i.ID, i.Proof = newID(), "typed"
	if _, err := sc.store.AddInduction(t.Context(), sc.firm, p, i, day); fault.KindOf(err) != fault.Invalid {
		t.Errorf("without a PIN: %v", err)
	}
	i.Proof = safety.ByPIN
	if _, err := sc.store.AddInduction(t.Context(), sc.firm, safety.Person{ID: newID(), Name: "Nobody"}, i, day); fault.KindOf(err) != fault.NotFound {
		t.Errorf("of nobody: %v", err)
	}
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
