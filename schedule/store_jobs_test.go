package schedule_test

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func TestJobsComeBackWhole(t *testing.T) {
	s := newScene(t)
	got, err := s.store.Jobs(ctx, s.firm)
	s.must(err)
	for i, j := range s.jobs {
		if !reflect.DeepEqual(got[i], j) {
			t.Errorf("job\n got %+v\nwant %+v", got[i], j)
		}
	}
	one, err := s.store.Job(ctx, s.firm, "J-1002")
	if err != nil || !reflect.DeepEqual(one, s.jobs[1]) {
		t.Errorf("one job %+v, %v", one, err)
	}
	_, err = s.store.Job(ctx, s.firm, "J-9")
	wantKind(t, "no such job", err, fault.NotFound)
}

func TestAnyJobComesBackFromTheDatabase(t *testing.T) {
	s := newScene(t)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		j := anyJob(t, fmt.Sprintf("R-%d", n))
		j.ID, j.Site.ID, j.Customer.ID, j.CreatedAt = newID(), newID(), newID(), storeNow
		if err := s.store.SaveJob(ctx, s.firm, j, "office", storeNow); err != nil {
			t.Fatalf("%v", err)
		}
		got, err := s.store.Job(ctx, s.firm, j.Ref)
		if err != nil || !reflect.DeepEqual(got, j) {
			t.Fatalf("%v\n got %+v\nwant %+v", err, got, j)
		}
	})
}

func TestAJobKeepsItsIdentity(t *testing.T) {
	s := newScene(t)
	j := s.jobs[0]
	j.ID, j.Site.ID, j.Customer.ID, j.CreatedAt = newID(), newID(), newID(), storeNow.Add(time.Hour)
	j.Modules = 20
	s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
	got, err := s.store.Job(ctx, s.firm, j.Ref)
	if err != nil || got.ID != s.jobs[0].ID || got.Site.ID != s.jobs[0].Site.ID || got.CreatedAt != s.jobs[0].CreatedAt || got.Modules != 20 {
		t.Errorf("%+v, %v", got, err)
	}
	renamed := s.jobs[0]
	renamed.Ref = "J-9"
	wantKind(t, "a job under another reference", s.store.SaveJob(ctx, s.firm, renamed, "office", storeNow), fault.Conflict)
	bad := j
	bad.Modules = 0
	before := s.everything()
	wantKind(t, "a job out of bounds", s.store.SaveJob(ctx, s.firm, bad, "office", storeNow), fault.Invalid)
	s.unchanged(before, "a refused job")
}

func (s *scene) readFile(file string) schedule.Import {
	s.Helper()
	known, err := s.store.Jobs(ctx, s.firm)
	s.must(err)
	return read(s, file, known)
}

func TestAnImportIsAllOrNothing(t *testing.T) {
	s := newScene(t)
	var b bytes.Buffer
	jobs, err := s.store.Jobs(ctx, s.firm)
	s.must(err)
	extra := jobs[0]
	extra.Ref = "J-2000"
	s.must(schedule.WriteJobs(&b, append(jobs, extra)))
	im := s.readFile(put(s, b.String(), "modules", "14"))
	if len(im.New) != 1 || len(im.Changed) != 3 {
		t.Fatalf("%+v", im)
	}
	// The database fails one statement for one job, the last (as in tests of a
	// certificate authority's store); the rest of the service runs for real.
	s.owner(`CREATE FUNCTION fail_one() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'no' USING ERRCODE = 'disk_full'; END $$`)
	s.owner(`CREATE TRIGGER fail_one BEFORE UPDATE ON job FOR EACH ROW WHEN (NEW.ref = 'J-1003') EXECUTE FUNCTION fail_one()`)
	before := s.everything()
	err = s.store.ApplyImport(ctx, s.firm, im, "office", storeNow)
	wantKind(t, "a full disk", err, fault.Unavailable)
	s.unchanged(before, "a failed import")
	s.owner(`DROP TRIGGER fail_one ON job`)
	s.must(s.store.ApplyImport(ctx, s.firm, im, "office", storeNow))
	got, err := s.store.Jobs(ctx, s.firm)
	s.must(err)
	if len(got) != 4 || got[3].Ref != "J-2000" || got[0].Modules != 14 || got[3].Modules != 14 || got[3].ID == got[0].ID || got[3].CreatedAt != storeNow {
		t.Errorf("after the import %+v", got)
	}
	if again := s.readFile(put(s, b.String(), "modules", "14")); again.Unchanged != 4 {
		t.Errorf("the same file again: %+v", again)
	}
}

func TestAnImportThatWasOvertakenIsAConflict(t *testing.T) {
	s := newScene(t)
	changed := s.readFile("reference,promised on\nJ-1001,2027-01-15\n")
	var b bytes.Buffer
	extra := s.jobs[0]
	extra.Ref = "J-2000"
	s.must(schedule.WriteJobs(&b, []schedule.Job{extra}))
	added := s.readFile(b.String())
	extra.ID, extra.Site.ID, extra.Customer.ID = newID(), newID(), newID()
	s.must(s.store.SaveKit(ctx, s.firm, "J-1001", schedule.Kit{Item: "battery", Quantity: 2, DueOn: dec(9), ArrivedOn: civil.NoDate}))
	s.must(s.store.SaveJob(ctx, s.firm, extra, "office", storeNow))
	before := s.everything()
	wantKind(t, "a job changed since", s.store.ApplyImport(ctx, s.firm, changed, "office", storeNow), fault.Conflict)
	wantKind(t, "a job added since", s.store.ApplyImport(ctx, s.firm, added, "office", storeNow), fault.Conflict)
	s.unchanged(before, "an overtaken import")
}

func TestProgress(t *testing.T) {
	s := newScene(t)
	today := dec(2)
	s.must(s.store.StageStarted(ctx, s.firm, "J-1001", schedule.RoofWork, dec(1), storeNow))
	s.must(s.store.StageDone(ctx, s.firm, "J-1001", schedule.RoofWork, today, "lead", storeNow))
	j, err := s.store.Job(ctx, s.firm, "J-1001")
	s.must(err)
	if st, _ := j.Stage(schedule.RoofWork); st.State != schedule.StateDone || st.StartedOn != dec(1) || st.DoneOn != today {
		t.Errorf("roof work %+v", st)
	}
	s.must(s.store.SaveConsent(ctx, s.firm, "J-1001", schedule.Consent{Kind: schedule.Landlord, Stage: schedule.ScaffoldErection, State: schedule.ConsentGranted, ExpectedOn: civil.NoDate, GrantedOn: today}))
	s.must(s.store.SaveKit(ctx, s.firm, "J-1001", schedule.Kit{Item: "mesh", Quantity: 1, DueOn: civil.NoDate, ArrivedOn: today}))
	j, err = s.store.Job(ctx, s.firm, "J-1001")
	s.must(err)
	if len(j.Consents) != 3 || j.Consents[1].Kind != schedule.Landlord || len(j.Kit) != 3 || j.Kit[2].ArrivedOn != today {
		t.Errorf("consents %+v, kit %+v", j.Consents, j.Kit)
	}
	before := s.everything()
	for what, c := range map[string]struct {
		err  error
		kind fault.Kind
	}{
		"done tomorrow":          {s.store.StageDone(ctx, s.firm, "J-1002", schedule.RoofWork, dec(3), "lead", storeNow), fault.Invalid},
		"done on no day":         {s.store.StageDone(ctx, s.firm, "J-1002", schedule.RoofWork, civil.NoDate, "lead", storeNow), fault.Invalid},
		"done before started":    {s.store.StageDone(ctx, s.firm, "J-1001", schedule.RoofWork, dec(1)-1, "lead", storeNow), fault.Invalid},
		"started after done":     {s.store.StageStarted(ctx, s.firm, "J-1001", schedule.RoofWork, today+1, storeNow), fault.Invalid},
		"no such job":            {s.store.StageDone(ctx, s.firm, "J-9", schedule.RoofWork, today, "lead", storeNow), fault.NotFound},
		"no such stage":          {s.store.StageDone(ctx, s.firm, "J-1001", schedule.StageUnknown, today, "lead", storeNow), fault.NotFound},
		"granted without a day":  {s.store.SaveConsent(ctx, s.firm, "J-1001", schedule.Consent{Kind: schedule.Planning, Stage: schedule.RoofWork, State: schedule.ConsentGranted, ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate}), fault.Invalid},
		"kit without a quantity": {s.store.SaveKit(ctx, s.firm, "J-1001", schedule.Kit{Item: "x", DueOn: civil.NoDate, ArrivedOn: civil.NoDate}), fault.Invalid},
	} {
		wantKind(t, what, c.err, c.kind)
	}
	s.unchanged(before, "refused progress")
}

// The firm's clock decides which day it is, not UTC: at 23:30 UTC in July it is
// tomorrow in London.
func TestTodayIsTheFirmsToday(t *testing.T) {
	s := newScene(t)
	late := time.Date(2026, 7, 1, 23, 30, 0, 0, time.UTC)
	s.must(s.store.StageDone(ctx, s.firm, "J-1001", schedule.RoofWork, civil.On(2026, 7, 2), "lead", late))
	wantKind(t, "the day after", s.store.StageDone(ctx, s.firm, "J-1002", schedule.RoofWork, civil.On(2026, 7, 3), "lead", late), fault.Invalid)
}

// A stage that is told to be finished and the booking of its scaffold never
// disagree.
func TestAFinishedErectionMarksTheBooking(t *testing.T) {
	s := newScene(t)
	b := s.booked() // to be erected on the 10th
	later := dec(11).At(8, 0, time.UTC)
	s.must(s.store.StageDone(ctx, s.firm, "J-1001", schedule.ScaffoldErection, dec(11), "lead", later))
	got, err := s.store.Booking(ctx, s.firm, b.ID)
	if err != nil || got.State != schedule.BookingErected || got.ErectOn != dec(11) || got.Sequence != 1 {
		t.Errorf("booking %+v, %v", got, err)
	}
	wantKind(t, "struck by hand before it is due", s.store.StageDone(ctx, s.firm, "J-1001", schedule.ScaffoldStrike, dec(12), "lead", later), fault.Invalid)
	s.must(s.store.StageDone(ctx, s.firm, "J-1001", schedule.ScaffoldStrike, dec(14), "lead", dec(14).At(16, 0, time.UTC)))
	if got, err = s.store.Booking(ctx, s.firm, b.ID); err != nil || got.State != schedule.BookingStruck || got.StrikeOn != dec(14) {
		t.Errorf("booking %+v, %v", got, err)
	}
	h, err := s.store.BookingHistory(ctx, s.firm, b.ID)
	if err != nil || len(h) != 3 || h[1].Why != "Erected on Fri 11 Dec, booked for Thu 10 Dec." || h[2].Why != "Struck on Mon 14 Dec, booked for Tue 15 Dec." || h[2].ChangedBy != "lead" {
		t.Errorf("history %+v, %v", h, err)
	}
}

func TestAFileThatSaysTheScaffoldStandsMarksTheBooking(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	later := dec(11).At(8, 0, time.UTC)
	im := s.readFile("reference,scaffold erection done on\nJ-1001,11/12/2026\n")
	s.must(s.store.ApplyImport(ctx, s.firm, im, "office", later))
	if got, err := s.store.Booking(ctx, s.firm, b.ID); err != nil || got.State != schedule.BookingErected || got.ErectOn != dec(11) {
		t.Errorf("booking %+v, %v", got, err)
	}
}

// When the house or the access changes, the calendar must take notice though
// the days stay.
func TestANewAddressIsToldToTheScaffoldFirm(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	later := storeNow.Add(time.Hour)
	s.must(s.store.ApplyImport(ctx, s.firm, s.readFile("reference,promised on,survey moss\nJ-1001,2027-01-20,yes\n"), "office", later))
	if got, err := s.store.Booking(ctx, s.firm, b.ID); err != nil || got != b {
		t.Errorf("what is none of the scaffold firm's business changed the booking: %+v, %v", got, err)
	}
	s.must(s.store.ApplyImport(ctx, s.firm, s.readFile("reference,address\nJ-1001,\"14 Heron Row, Quillmere\"\n"), "office", later))
	got, err := s.store.Booking(ctx, s.firm, b.ID)
	if err != nil || got.ChangedAt != later || got.Sequence != b.Sequence || got.ErectOn != b.ErectOn {
		t.Errorf("booking %+v, %v", got, err)
	}
	h, err := s.store.BookingHistory(ctx, s.firm, b.ID)
	if err != nil || len(h) != 2 || !strings.Contains(h[1].Why, "the days stay") {
		t.Errorf("history %+v, %v", h, err)
	}
}
