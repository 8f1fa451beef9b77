package schedule_test

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/dbtest"
	"toeboard/migrations/tenant"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// scene is a firm in a database of its own, with a neighbour firm that must
// never see or touch it.
type scene struct {
	*testing.T
	db        *dbtest.DB
	store     *schedule.Store
	firm      uuid.UUID
	neighbour uuid.UUID
	crew      schedule.Crew
	sparks    schedule.Crew
	yards     []schedule.ScaffoldFirm
	jobs      []schedule.Job
}

var ctx = context.Background()

// storeNow is a Wednesday morning in London in winter.
var storeNow = time.Date(2026, 12, 2, 9, 30, 0, 123456000, time.UTC)

func firmNamed(name string) schedule.Firm {
	return schedule.Firm{ID: newID(), Name: name, TimeZone: "Europe/London", Division: "england-and-wales", Hours: civil.UsualHours,
		Rates: schedule.DefaultRates(), BaseLat: 53.17, BaseLon: -0.38}
}

func newScene(t *testing.T) *scene {
	t.Helper()
	t.Parallel()
	db := dbtest.New(t)
	s := &scene{T: t, db: db, store: schedule.NewStore(db.App, newID)}
	for _, f := range []*uuid.UUID{&s.firm, &s.neighbour} {
		firm := firmNamed(fmt.Sprintf("Firm %d", len(s.yards)))
		*f = firm.ID
		s.must(s.store.CreateFirm(ctx, firm, []schedule.Holiday{{Day: dec(25), Title: "Christmas Day", Source: "published list"}}))
	}
	s.addCrews()
	for _, name := range []string{"Larkspur Access", "Upright & Brace"} {
		y := schedule.ScaffoldFirm{ID: newID(), Name: name, Email: "yard@scaffold.example", Phone: "01632 960101", GangsPerDay: 2, Sets: 9,
			ErectNotice: 5, StrikeNotice: 3, VisitPrice: 780_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true}
		s.must(s.store.SaveScaffoldFirm(ctx, s.firm, y))
		s.yards = append(s.yards, y)
	}
	for i := range 3 {
		j := sampleJobs()[0]
		j.ID, j.Site.ID, j.Customer.ID = newID(), newID(), newID()
		j.Ref, j.CreatedAt = fmt.Sprintf("J-%d", 1001+i), storeNow.Add(-time.Hour)
		s.must(s.store.SaveJob(ctx, s.firm, j, "office", storeNow))
		s.jobs = append(s.jobs, j)
	}
	return s
}

func (s *scene) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

func (s *scene) addCrews() {
	s.crew = schedule.Crew{ID: newID(), Name: "Alder", Trade: schedule.RoofTrade, HomeLat: 53.1, HomeLon: -0.3, HalfDayCost: 156_00, Active: true}
	s.sparks = schedule.Crew{ID: newID(), Name: "Damson", Trade: schedule.ElectricalTrade, HomeLat: 53.2, HomeLon: -0.4, HalfDayCost: 88_00, Active: true}
	for _, c := range []schedule.Crew{s.crew, s.sparks} {
		s.must(s.store.SaveCrew(ctx, s.firm, c))
	}
}

// owner runs plain SQL past the policies, to set a scene or to look.
func (s *scene) owner(sql string, args ...any) {
	s.Helper()
	if _, err := s.db.Owner.Exec(ctx, sql, args...); err != nil {
		s.Fatalf("%s: %v", sql, err)
	}
}

// app runs plain SQL as the service does, within the firm.
func (s *scene) app(sql string, args ...any) error {
	return tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, sql, args...)
		return err
	})
}

// everything is the content of all tables as text, to tell whether anything
// changed.
func (s *scene) everything() map[string]string {
	s.Helper()
	rows, err := s.db.Owner.Query(ctx, `SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'schema_migrations'`)
	s.must(err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	s.must(err)
	all := map[string]string{}
	for _, table := range tables {
		var content string
		s.must(s.db.Owner.QueryRow(ctx, `SELECT coalesce(string_agg(t::text, E'\n' ORDER BY t::text), '') FROM `+pgx.Identifier{table}.Sanitize()+` t`).Scan(&content))
		all[table] = content
	}
	return all
}

func (s *scene) unchanged(before map[string]string, while string) {
	s.Helper()
	for table, now := range s.everything() {
		if now != before[table] {
			s.Errorf("%s changed table %s\nbefore\n%s\nafter\n%s", while, table, before[table], now)
		}
	}
}

// planOf plans one job's scaffold and roof.
func (s *scene) planOf(base uuid.UUID, visits ...schedule.Visit) schedule.Plan {
	s.Helper()
	p, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{Base: base, FirstDay: dec(3), Days: 60, Seed: 1<<63 + 5, Schedules: 100, Visits: visits,
		MadeBy: "office", MadeAt: storeNow})
	s.must(err)
	return p
}

func (s *scene) chain(i int, yard int, erect, strike civil.Date) []schedule.Visit {
	j := s.jobs[i]
	roof := schedule.Visit{Job: j.ID, Stage: schedule.RoofWork, Crew: s.crew.ID, Why: "after the erection",
		HalfDays: []civil.HalfDay{(erect + 1).In(civil.Morning), (erect + 1).In(civil.Afternoon), (erect + 2).In(civil.Afternoon)}}
	return []schedule.Visit{scaffoldVisit(j, schedule.ScaffoldErection, s.yards[yard].ID, erect, "a gang is free"), roof,
		scaffoldVisit(j, schedule.ScaffoldStrike, s.yards[yard].ID, strike, "the roof is done")}
}

// booked publishes a first plan of job 0 and gives its booking.
func (s *scene) booked() schedule.Booking {
	s.Helper()
	_, changes, err := s.store.Publish(ctx, s.firm, s.planOf(uuid.Nil, s.chain(0, 0, dec(10), dec(15))...).ID, "office", storeNow, nil)
	s.must(err)
	if len(changes) != 1 {
		s.Fatalf("changes %+v", changes)
	}
	return changes[0].After
}

func wantKind(t *testing.T, what string, err error, want fault.Kind) {
	t.Helper()
	if err == nil || fault.KindOf(err) != want {
		t.Errorf("%s: error %v, want %s", what, err, want)
	}
}

// ---------------------------------------------------------------- the firm

func TestFirmComesBack(t *testing.T) {
	s := newScene(t)
	f := firmNamed("Quillmere Solar")
	f.Rates.LatePerDay, f.Hours.MorningStart = 7, 7*60
	s.must(s.store.CreateFirm(ctx, f, []schedule.Holiday{{Day: dec(28), Title: "Boxing Day (substitute)", Source: "published list"}, {Day: dec(25), Title: "Christmas Day", Source: "published list"}}))
	got, err := s.store.Firm(ctx, f.ID)
	if err != nil || got != f {
		t.Errorf("%+v, %v; want %+v", got, err, f)
	}
	f.Name, f.TimeZone, f.Division = "Quillmere Sun", "Europe/Belfast", "northern-ireland"
	s.must(s.store.SaveFirm(ctx, f))
	if got, err = s.store.Firm(ctx, f.ID); err != nil || got != f {
		t.Errorf("after a change: %+v, %v; want %+v", got, err, f)
	}
	s.must(s.store.SaveHoliday(ctx, f.ID, schedule.Holiday{Day: dec(28), Title: "Boxing Day", Source: "office"}))
	s.must(s.store.RemoveHoliday(ctx, f.ID, dec(25)))
	days, err := s.store.Holidays(ctx, f.ID)
	if want := []schedule.Holiday{{Day: dec(28), Title: "Boxing Day", Source: "office"}}; err != nil || !slices.Equal(days, want) {
		t.Errorf("holidays %+v, %v", days, err)
	}
	wantKind(t, "a holiday that is not there", s.store.RemoveHoliday(ctx, f.ID, dec(26)), fault.NotFound)
	_, err = s.store.Firm(ctx, newID())
	wantKind(t, "no such firm", err, fault.NotFound)
	all, err := s.store.Firms(ctx)
	if err != nil || len(all) != 3 || !slices.ContainsFunc(all, func(a schedule.FirmAt) bool { return a.ID == f.ID && a.TimeZone == "Europe/Belfast" }) {
		t.Errorf("firms %+v, %v", all, err)
	}
}

func TestFirmsThatCannotWorkAreRefused(t *testing.T) {
	s := newScene(t)
	before := s.everything()
	for field, change := range map[string]func(*schedule.Firm){
		"firm's name": func(f *schedule.Firm) { f.Name = "" },
		"time zone":   func(f *schedule.Firm) { f.TimeZone = "Europe/Londonium" },
		"division":    func(f *schedule.Firm) { f.Division = "wales" },
		"hours":       func(f *schedule.Firm) { f.Hours.AfternoonStart = f.Hours.MorningStart },
		"latitude":    func(f *schedule.Firm) { f.BaseLat = 91 },
	} {
		f := firmNamed("x")
		change(&f)
		err := s.store.CreateFirm(ctx, f, nil)
		if each := fault.Each(err); len(each) != 1 || each[0].Field != field || each[0].Want == "" {
			t.Errorf("%s: %v", field, err)
		}
	}
	err := s.store.CreateFirm(ctx, firmNamed("x"), []schedule.Holiday{{Day: dec(25), Title: "Christmas Day"}, {Day: dec(26)}})
	wantKind(t, "a holiday without a name", err, fault.Invalid)
	s.unchanged(before, "refused firms")
}

// ---------------------------------------------------------------- people

func TestCrewsComeBackByDate(t *testing.T) {
	s := newScene(t)
	lead := schedule.Person{ID: newID(), Name: "Rhodri Pask", Role: schedule.CrewLead, Phone: "01632 960001", Active: true}
	mate := schedule.Person{ID: newID(), Name: "Dele Ashworth", Role: schedule.CrewMember, Active: true}
	office := schedule.Person{ID: newID(), Name: "Imogen Thackray", Role: schedule.Office, Active: false}
	for _, p := range []schedule.Person{lead, mate, office} {
		s.must(s.store.SavePerson(ctx, s.firm, p))
	}
	s.must(s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: mate, From: dec(1), Until: civil.NoDate}))
	s.must(s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: lead, From: dec(1), Until: dec(20), Lead: true}))
	s.must(s.store.AddAbsence(ctx, s.firm, mate.ID, schedule.Absence{From: dec(7), Until: dec(7), Reason: "leave"}))
	s.owner(`INSERT INTO competence (firm_id, person_id, kind, valid_from, valid_to) VALUES ($1, $2, 'lead_roof', '2026-01-01', '2026-12-10'), ($1, $2, 'first_aid', '2026-01-01', NULL)`, s.firm, lead.ID)
	got, err := s.store.Crews(ctx, s.firm)
	s.must(err)
	want := s.crew
	want.Members = []schedule.Membership{
		{Person: lead, From: dec(1), Until: dec(20), Lead: true, Skills: []schedule.Skill{
			{Kind: "first_aid", From: civil.MustParse("2026-01-01"), Until: civil.NoDate}, {Kind: "lead_roof", From: civil.MustParse("2026-01-01"), Until: dec(10)}}},
		{Person: mate, From: dec(1), Until: civil.NoDate, Absences: []schedule.Absence{{From: dec(7), Until: dec(7), Reason: "leave"}}},
	}
	if len(got) != 2 || !reflect.DeepEqual(got[0], want) || !reflect.DeepEqual(got[1], s.sparks) {
		t.Errorf("crews\n got %+v\nwant %+v", got, want)
	}
	if m := got[0].Members[1]; m.On(dec(7)) || !m.On(dec(8)) || m.On(civil.On(2026, 11, 30)) {
		t.Error("the absence or the first day is a day off")
	}
	people, err := s.store.People(ctx, s.firm)
	if err != nil || !slices.Equal(people, []schedule.Person{mate, office, lead}) {
		t.Errorf("people %+v, %v", people, err)
	}
	wantKind(t, "in two crews at once", s.store.AddMember(ctx, s.firm, s.sparks.ID, schedule.Membership{Person: mate, From: dec(30), Until: civil.NoDate}), fault.Conflict)
	wantKind(t, "two leads at once", s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: office, From: dec(20), Until: dec(20), Lead: true}), fault.Conflict)
	s.must(s.store.EndMember(ctx, s.firm, s.crew.ID, mate.ID, dec(9)))
	s.must(s.store.AddMember(ctx, s.firm, s.sparks.ID, schedule.Membership{Person: mate, From: dec(10), Until: civil.NoDate}))
	wantKind(t, "ended twice", s.store.EndMember(ctx, s.firm, s.crew.ID, mate.ID, dec(12)), fault.NotFound)
	if got, err = s.store.Crews(ctx, s.firm); err != nil || got[0].Members[1].Until != dec(9) || len(got[1].Members) != 1 {
		t.Errorf("after changing crews %+v, %v", got, err)
	}
}

func TestPeopleAndCrewsThatCannotBeAreRefused(t *testing.T) {
	s := newScene(t)
	p := schedule.Person{ID: newID(), Name: "A", Role: schedule.Office, Active: true}
	s.must(s.store.SavePerson(ctx, s.firm, p))
	before := s.everything()
	for what, c := range map[string]struct {
		err  error
		kind fault.Kind
	}{
		"no name":               {s.store.SavePerson(ctx, s.firm, schedule.Person{Role: schedule.Office}), fault.Invalid},
		"no such role":          {s.store.SavePerson(ctx, s.firm, schedule.Person{Name: "A", Role: "boss"}), fault.Invalid},
		"scaffold trade":        {s.store.SaveCrew(ctx, s.firm, schedule.Crew{Name: "A", Trade: schedule.ScaffoldTrade}), fault.Invalid},
		"no trade":              {s.store.SaveCrew(ctx, s.firm, schedule.Crew{Name: "A"}), fault.Invalid},
		"name taken":            {s.store.SaveCrew(ctx, s.firm, schedule.Crew{Name: "Alder", Trade: schedule.RoofTrade}), fault.Conflict},
		"paid to come":          {s.store.SaveCrew(ctx, s.firm, schedule.Crew{Name: "A", Trade: schedule.RoofTrade, HalfDayCost: -1}), fault.Invalid},
		"member backwards":      {s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: p, From: dec(2), Until: dec(1)}), fault.Invalid},
		"member from no day":    {s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: p, From: civil.NoDate, Until: civil.NoDate}), fault.Invalid},
		"nobody as member":      {s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: schedule.Person{ID: newID()}, From: dec(1), Until: dec(2)}), fault.NotFound},
		"member of no crew":     {s.store.AddMember(ctx, s.firm, newID(), schedule.Membership{Person: p, From: dec(1), Until: dec(2)}), fault.NotFound},
		"absent without end":    {s.store.AddAbsence(ctx, s.firm, p.ID, schedule.Absence{From: dec(1), Until: civil.NoDate, Reason: "ill"}), fault.Invalid},
		"absent without reason": {s.store.AddAbsence(ctx, s.firm, p.ID, schedule.Absence{From: dec(1), Until: dec(1)}), fault.Invalid},
		"nobody absent":         {s.store.AddAbsence(ctx, s.firm, newID(), schedule.Absence{From: dec(1), Until: dec(1), Reason: "ill"}), fault.NotFound},
		"yard without gangs":    {s.store.SaveScaffoldFirm(ctx, s.firm, schedule.ScaffoldFirm{Name: "A", Sets: 1}), fault.Invalid},
		"yard's name taken":     {s.store.SaveScaffoldFirm(ctx, s.firm, schedule.ScaffoldFirm{Name: s.yards[0].Name, GangsPerDay: 1, Sets: 1}), fault.Conflict},
		"yard that never works": {s.store.SaveScaffoldFirm(ctx, s.firm, schedule.ScaffoldFirm{Name: "A", GangsPerDay: 1, Sets: 1, DaysOff: 31}), fault.Invalid},
		"yard's e-mail":         {s.store.SaveScaffoldFirm(ctx, s.firm, schedule.ScaffoldFirm{Name: "A", Email: "yard", GangsPerDay: 1, Sets: 1}), fault.Invalid},
	} {
		wantKind(t, what, c.err, c.kind)
		if each := fault.Each(c.err); len(each) == 0 || each[0].Want == "" {
			t.Errorf("%s: %v does not say what would be right", what, c.err)
		}
	}
	s.unchanged(before, "refused people and crews")
}

func TestScaffoldFirmsComeBack(t *testing.T) {
	s := newScene(t)
	y := s.yards[0]
	y.Phone, y.Active, y.WeeklyHire, y.DaysOff = "", false, 50_00, schedule.Monday|schedule.Friday
	s.must(s.store.SaveScaffoldFirm(ctx, s.firm, y))
	got, err := s.store.ScaffoldFirms(ctx, s.firm)
	if err != nil || !slices.Equal(got, []schedule.ScaffoldFirm{y, s.yards[1]}) {
		t.Errorf("%+v, %v", got, err)
	}
}

// ---------------------------------------------------------------- firms apart

// TestASecondFirmSeesAndTouchesNothing calls every method as the neighbour with
// the first firm's identifiers.
func TestASecondFirmSeesAndTouchesNothing(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	draft := s.planOf(b2plan(s), s.chain(1, 1, dec(10), dec(15))...)
	s.must(s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage}, strings.Repeat("t", 43), storeNow))
	links, err := s.store.Links(ctx, s.firm, s.yards[0].ID)
	s.must(err)
	person := schedule.Person{ID: newID(), Name: "Rhodri Pask", Role: schedule.CrewLead, Active: true}
	s.must(s.store.SavePerson(ctx, s.firm, person))
	s.must(s.store.AddMember(ctx, s.firm, s.crew.ID, schedule.Membership{Person: person, From: dec(1), Until: civil.NoDate}))
	pin, err := s.store.SetPin(ctx, s.firm, "J-1003", schedule.Pin{Kind: schedule.PinLeftOut, Why: "x", SetBy: "x", SetAt: storeNow})
	s.must(err)
	_, err = s.store.SetTravel(ctx, s.firm, []schedule.Leg{{From: "A", To: "B", Km: 1}}, 0, "x", storeNow)
	s.must(err)
	_, err = s.store.SetRates(ctx, s.firm, schedule.DefaultRates(), 1, "x", storeNow)
	s.must(err)
	held, err := s.store.HoldOffer(ctx, s.firm, s.told(dec(10)), storeNow, dec(3), 60, nil)
	s.must(err)
	nobody := func(pgx.Tx, uuid.UUID) error { return nil }
	run, _, err := s.store.AskRun(ctx, s.firm, schedule.Run{AskedBy: "x", AskedAt: storeNow, Aim: schedule.LowestCost, Seed: 1, Schedules: 10, Workers: 1}, false, nobody)
	s.must(err)
	before := s.everything()
	n := s.neighbour
	none := func(err error, things any) {
		t.Helper()
		if v := reflect.ValueOf(things); err != nil || v.Len() != 0 {
			t.Errorf("the neighbour sees %+v, error %v", things, err)
		}
	}
	missing := func(err error) { t.Helper(); wantKind(t, "the neighbour", err, fault.NotFound) }
	// reads
	reads := map[string]func(){
		"Jobs":         func() { v, err := s.store.Jobs(ctx, n); none(err, v) },
		"Job":          func() { _, err := s.store.Job(ctx, n, "J-1001"); missing(err) },
		"Pins":         func() { v, err := s.store.Pins(ctx, n); none(err, v) },
		"RatesHistory": func() { v, err := s.store.RatesHistory(ctx, n); none(err, v) },
		"Travel":       func() { v, err := s.store.Travel(ctx, n); none(err, v.Legs) },
		"Rates": func() {
			if v, err := s.store.Rates(ctx, n); err != nil || v.Version != 1 {
				t.Errorf("the neighbour's rates are version %d, %v", v.Version, err)
			}
		},
		"HeldOffers": func() { v, err := s.store.HeldOffers(ctx, n, storeNow); none(err, v) },
		"OfficeContact": func() {
			if v, err := s.store.OfficeContact(ctx, n); err != nil || v != (schedule.Contact{}) {
				t.Errorf("the neighbour rings %+v, %v", v, err)
			}
		},
		"HeldOffer":   func() { _, err := s.store.HeldOffer(ctx, n, held.ID); missing(err) },
		"JobByID":     func() { _, err := s.store.JobByID(ctx, n, s.jobs[0].ID); missing(err) },
		"Run":         func() { _, err := s.store.Run(ctx, n, run.ID, time.Minute); missing(err) },
		"RunUnderWay": func() { _, err := s.store.RunUnderWay(ctx, n); missing(err) },
		"TakeRun": func() {
			if _, mine, err := s.store.TakeRun(ctx, n, run.ID, storeNow, 0); mine {
				t.Errorf("the neighbour works the run, %v", err)
			}
		},
		"FreeRun": func() {
			if freed, err := s.store.FreeRun(ctx, n, run.ID, 0, nobody); freed {
				t.Errorf("the neighbour frees the run, %v", err)
			}
		},
		"Beat": func() { _, _ = s.store.Beat(ctx, n, run, schedule.Progress{Schedules: 5}, time.Minute) },
		"EndRun": func() {
			if _, mine, err := s.store.EndRun(ctx, n, schedule.Run{ID: run.ID, State: schedule.RunFailed, Reason: "x", EndedAt: storeNow}, nil); mine {
				t.Errorf("the neighbour ends the run, %v", err)
			}
		},
		"GiveBackRun":    func() { _ = s.store.GiveBackRun(ctx, n, run, false, nobody) },
		"People":         func() { v, err := s.store.People(ctx, n); none(err, v) },
		"Crews":          func() { v, err := s.store.Crews(ctx, n); none(err, v) },
		"ScaffoldFirms":  func() { v, err := s.store.ScaffoldFirms(ctx, n); none(err, v) },
		"Bookings":       func() { v, err := s.store.Bookings(ctx, n); none(err, v) },
		"BookingsOf":     func() { v, err := s.store.BookingsOf(ctx, n, s.yards[0].ID); none(err, v) },
		"Booking":        func() { _, err := s.store.Booking(ctx, n, b.ID); missing(err) },
		"BookingHistory": func() { _, err := s.store.BookingHistory(ctx, n, b.ID); missing(err) },
		"Plan":           func() { _, err := s.store.Plan(ctx, n, draft.ID); missing(err) },
		"CurrentPlan":    func() { _, err := s.store.CurrentPlan(ctx, n); missing(err) },
		"PlanOn":         func() { _, err := s.store.PlanOn(ctx, n, dec(15)); missing(err) },
		"NewestDraft":    func() { _, err := s.store.NewestDraft(ctx, n); missing(err) },
		"Links":          func() { v, err := s.store.Links(ctx, n, s.yards[0].ID); none(err, v) },
		"Firm":           func() { f, err := s.store.Firm(ctx, n); s.must(err); none(nil, strings.TrimPrefix(f.Name, "Firm 0")) },
		"Holidays":       func() { v, err := s.store.Holidays(ctx, n); s.must(err); none(nil, v[1:]) }, // its own Christmas
		"Firms":          func() {},                                                                    // asked by no firm; tells IDs and zones only
		"LinkByToken":    func() {},                                                                    // asked by no firm; tested by itself
		"BookingByToken": func() {},                                                                    // the same
		"CrewByToken":    func() {},                                                                    // the same
		"FeedLink":       func() {},                                                                    // the same
		"VisitEvents":    func() { v, err := s.store.VisitEvents(ctx, n, s.crew.ID); none(err, v) },
		"HandoverFiles":  func() { v, err := s.store.HandoverFiles(ctx, n); none(err, v) },
		"HandoverFile":   func() { _, _, err := s.store.HandoverFile(ctx, n, b.ID); missing(err) },
		"Snapshot": func() {
			v, err := s.store.Snapshot(ctx, n, storeNow, dec(3), 30)
			s.must(err)
			if len(v.Crews)+len(v.ScaffoldFirms)+len(v.Jobs)+len(v.Bookings) != 0 || v.Base != nil {
				t.Errorf("the neighbour's snapshot has %+v", v)
			}
		},
	}
	// writes that name something of the first firm
	job := s.jobs[0]
	job.Ref = "N-1" // unknown to the neighbour, but with the first firm's identifiers
	writes := map[string]func() error{
		"AddMember": func() error {
			return s.store.AddMember(ctx, n, s.crew.ID, schedule.Membership{Person: person, From: dec(1), Until: dec(2)})
		},
		"EndMember": func() error { return s.store.EndMember(ctx, n, s.crew.ID, person.ID, dec(9)) },
		"AddAbsence": func() error {
			return s.store.AddAbsence(ctx, n, person.ID, schedule.Absence{From: dec(1), Until: dec(1), Reason: "x"})
		},
		"SaveConsent": func() error { return s.store.SaveConsent(ctx, n, "J-1001", schedule.Consent{}) },
		"SaveKit":     func() error { return s.store.SaveKit(ctx, n, "J-1001", schedule.Kit{}) },
		"StageStarted": func() error {
			return s.store.StageStarted(ctx, n, "J-1001", schedule.RoofWork, dec(1), storeNow)
		},
		"StageDone": func() error { return s.store.StageDone(ctx, n, "J-1001", schedule.RoofWork, dec(1), "x", storeNow) },
		"AcceptOffer": func() error {
			_, err := s.store.AcceptOffer(ctx, n, b.ID, 0, dec(11), "x", storeNow)
			return err
		},
		"AnswerBooking": func() error {
			_, err := s.store.AnswerBooking(ctx, n, b.ID, 0, schedule.Answer{Confirm: true}, "x", storeNow)
			return err
		},
		"MarkErected": func() error {
			_, err := s.store.MarkErected(ctx, n, b.ID, dec(1), "x", schedule.ByOffice, storeNow)
			return err
		},
		"MarkStruck": func() error {
			_, err := s.store.MarkStruck(ctx, n, b.ID, dec(1), "x", schedule.ByOffice, storeNow)
			return err
		},
		"AddStanding": func() error {
			return s.store.AddStanding(ctx, n, schedule.Booking{Job: s.jobs[2].ID, ScaffoldFirm: s.yards[0].ID, ErectOn: dec(1), StrikeOn: dec(9)}, storeNow)
		},
		"Publish":  func() error { _, _, err := s.store.Publish(ctx, n, draft.ID, "x", storeNow, nil); return err },
		"DropPlan": func() error { return s.store.DropPlan(ctx, n, draft.ID) },
		"PublishAgreed": func() error {
			_, _, err := s.store.PublishAgreed(ctx, n, draft.ID, "x", storeNow, nil, nil)
			return err
		},
		"DeclineOffer": func() error {
			_, err := s.store.DeclineOffer(ctx, n, b.ID, 0, dec(11), "x", storeNow)
			return err
		},
		"OffHire":    func() error { _, err := s.store.OffHire(ctx, n, b.ID, dec(11), "x", storeNow); return err },
		"KeepOnHire": func() error { _, err := s.store.KeepOnHire(ctx, n, b.ID, "x", storeNow); return err },
		"MarkInspected": func() error {
			_, err := s.store.MarkInspected(ctx, n, b.ID, "x", schedule.ByOffice, storeNow)
			return err
		},
		"AddHandoverFile": func() error {
			return s.store.AddHandoverFile(ctx, n, b.ID, "c.pdf", "application/pdf", []byte("%PDF-1.4 x"), "x", storeNow)
		},
		"NewCrewLink": func() error {
			return s.store.NewCrewLink(ctx, n, s.crew.ID, strings.Repeat("k", 43), "x", storeNow)
		},
		"SentTx": func() error {
			return tenant.Write(ctx, s.db.App, n, func(tx pgx.Tx) error { return s.store.SentTx(ctx, tx, n, b.ID, b.Sequence, storeNow) })
		},
		"SavePlan": func() error {
			_, err := s.store.SavePlan(ctx, n, schedule.Plan{FirstDay: dec(3), Days: 9, MadeBy: "x", MadeAt: storeNow, Visits: s.chain(0, 0, dec(10), dec(15))})
			return err
		},
		"ReleaseOffer": func() error { _, err := s.store.ReleaseOffer(ctx, n, held.ID, "x", storeNow); return err },
		"TakeOffer":    func() error { _, _, err := s.store.TakeOffer(ctx, n, held.ID, "N-7", "x", storeNow); return err },
		"StopRun":      func() error { _, err := s.store.StopRun(ctx, n, run.ID, "x", false, storeNow); return err },
		"CreateLink": func() error {
			return s.store.CreateLink(ctx, n, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage}, strings.Repeat("u", 43), storeNow)
		},
		"ExtendLink":  func() error { return s.store.ExtendLink(ctx, n, links[0].ID, storeNow.Add(time.Hour), storeNow) },
		"LinkUsed":    func() error { return s.store.LinkUsed(ctx, schedule.Link{Firm: n, ID: links[0].ID}, storeNow) },
		"RevokeLinks": func() error { _, err := s.store.RevokeLinks(ctx, n, s.yards[0].ID, "", storeNow); return err },
		"RevokeLink":  func() error { return s.store.RevokeLink(ctx, n, links[0].ID, storeNow) },
		"SetPin": func() error {
			_, err := s.store.SetPin(ctx, n, "J-1002", schedule.Pin{Kind: schedule.PinLeftOut, Why: "x", SetBy: "x", SetAt: storeNow})
			return err
		},
		"RemovePin":     func() error { return s.store.RemovePin(ctx, n, pin.ID, "x", "", storeNow) },
		"TellPromise":   func() error { return s.store.TellPromise(ctx, n, "J-1002", true) },
		"ConfirmVisit":  func() error { return s.store.ConfirmVisit(ctx, n, "J-1002", schedule.RoofWork, dec(9), "x", storeNow) },
		"RemoveHoliday": func() error { return s.store.RemoveHoliday(ctx, n, dec(26)) },
		"ApplyImport": func() error {
			return s.store.ApplyImport(ctx, n, schedule.Import{Changed: []schedule.ChangedJob{{Before: s.jobs[0], After: s.jobs[0]}}}, "x", storeNow)
		},
		"ChangeScaffoldFirm": func() error {
			y := s.yards[0]
			y.Sets++
			return s.store.ChangeScaffoldFirm(ctx, n, y, s.yards[0].Mark())
		},
	}
	// writes that can only add to the firm they are told; they are not repeated here
	own := []string{"CreateFirm", "SaveFirm", "SaveHoliday", "SavePerson", "SaveCrew", "SaveScaffoldFirm", "SaveJob", "SetRates", "SetTravel", "HoldOffer", "AskRun"}
	for i := range reflect.TypeOf(s.store).NumMethod() {
		name := reflect.TypeOf(s.store).Method(i).Name
		switch read, write := reads[name], writes[name]; {
		case read != nil:
			read()
		case write != nil:
			if err := write(); err == nil || fault.KindOf(err) != fault.NotFound {
				t.Errorf("%s by the neighbour: %v", name, err)
			}
		case !slices.Contains(own, name):
			t.Errorf("method %s is not tried by the neighbour: say here what it must not do", name)
		}
	}
	s.unchanged(before, "the neighbour")
	// The same identifiers in the neighbour's own rows are the neighbour's own.
	s.must(s.store.SaveJob(ctx, n, job, "x", storeNow))
	s.must(s.store.SaveCrew(ctx, n, schedule.Crew{ID: s.crew.ID, Name: "Alder", Trade: schedule.RoofTrade}))
	if got, err := s.store.Job(ctx, s.firm, "J-1001"); err != nil || got.Ref != "J-1001" {
		t.Errorf("the first firm's job is now %+v, %v", got, err)
	}
}

func b2plan(s *scene) uuid.UUID {
	p, err := s.store.CurrentPlan(ctx, s.firm)
	s.must(err)
	return p.ID
}
