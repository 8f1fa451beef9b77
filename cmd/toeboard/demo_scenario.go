package main

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// scenario is the demo's invented firm as data: nothing in it is real but the
// bank holidays. It is built for the morning on which the demo's clock starts,
// so that scaffolds stand, reports are a day or nine days old and promises lie
// ahead whenever the demo is run.
type scenario struct {
	firm          schedule.Firm
	people        []scenarioPerson
	crews         []schedule.Crew
	scaffoldFirms []schedule.ScaffoldFirm
	jobs          []schedule.Job
	standing      []standing
	pins          []scenarioPin
	day           civil.Date
}

// scenarioPin is something that the office has fixed about a job.
type scenarioPin struct {
	ref string
	pin schedule.Pin
}

// scenarioPerson is somebody with a sign-in and competences.
type scenarioPerson struct {
	schedule.Person
	email       string
	competences []scenarioCompetence
}

type scenarioCompetence struct {
	kind  string
	until civil.Date
}

// standing is a scaffold that stands when the demo starts, and what is written
// of it.
type standing struct {
	ref       string
	firm      int // index into scaffoldFirms
	erected   civil.Date
	strike    civil.Date // the day agreed for taking it down
	inspected civil.Date // the last inspection
	hour      int        // of the last inspection, by the clock on the wall
	signed    bool       // the crew has held its briefing and signed
}

// base is the place the firm drives from: open country with no town of its own
// name, so that no real address is meant.
const baseLat, baseLon = 53.17, -0.38

// winterHours keep half an hour of daylight at both ends on the shortest day.
var winterHours = civil.Hours{MorningStart: 8*60 + 15, MorningEnd: 12*60 + 15, AfternoonStart: 12*60 + 45, AfternoonEnd: 15*60 + 45}

// newScenario builds the firm for the morning of day. It is the same for the
// same day, but for the identifiers.
func newScenario(day civil.Date, holidays []schedule.Holiday, ids func() uuid.UUID) scenario {
	sc := scenario{
		day: day,
		firm: schedule.Firm{
			ID: ids(), Name: "Quillmere Solar", TimeZone: "Europe/London", Division: "england-and-wales",
			Hours: winterHours, Rates: schedule.DefaultRates(), BaseLat: baseLat, BaseLon: baseLon,
		},
	}
	sc.addPeople(ids)
	sc.addScaffoldFirms(ids)
	sc.addJobs(holidays, ids)
	sc.addPins(holidays)
	return sc
}

func (sc *scenario) addPeople(ids func() uuid.UUID) {
	far := sc.day + 420
	roof := []scenarioCompetence{{"roof", far}, {"first_aid", far}, {"roof_rescue", far}}
	leadRoof := append([]scenarioCompetence{{"lead_roof", far}}, roof...)
	spark := []scenarioCompetence{{"electrical", far}, {"first_aid", far}}
	mate := []scenarioCompetence{{"first_aid", far}}
	office := sc.person(ids, "Imogen Thackray", schedule.Office, nil)
	_ = office
	sc.addCrew(ids, "Alder", schedule.RoofTrade, 52, -0.02,
		sc.person(ids, "Rhodri Pask", schedule.CrewLead, leadRoof),
		sc.person(ids, "Dele Ashworth", schedule.CrewMember, roof),
		sc.person(ids, "Marek Tyne", schedule.CrewMember, roof))
	sc.addCrew(ids, "Birch", schedule.RoofTrade, 54, 0.03,
		sc.person(ids, "Saoirse Lund", schedule.CrewLead, leadRoof),
		sc.person(ids, "Tom Okafor", schedule.CrewMember, roof),
		sc.person(ids, "Wilf Garnett", schedule.CrewMember, roof))
	sc.addCrew(ids, "Cedar", schedule.RoofTrade, 50, 0.05,
		sc.person(ids, "Joss Marchetti", schedule.CrewLead, leadRoof),
		sc.person(ids, "Priya Holt", schedule.CrewMember, roof))
	sc.addCrew(ids, "Damson", schedule.ElectricalTrade, 44, -0.04,
		sc.person(ids, "Callum Reyes", schedule.CrewLead, spark),
		sc.person(ids, "Beth Nowak", schedule.CrewMember, mate))
	sc.addCrew(ids, "Elder", schedule.ElectricalTrade, 46, 0.01,
		sc.person(ids, "Anwen Sadiq", schedule.CrewLead, spark),
		sc.person(ids, "Luka Finch", schedule.CrewMember, mate))
}

func (sc *scenario) person(ids func() uuid.UUID, name string, role schedule.Role, can []scenarioCompetence) schedule.Person {
	p := schedule.Person{ID: ids(), Name: name, Role: role, Active: true}
	if role == schedule.Office || role == schedule.CrewLead { // 01632 960000 to 960999 are kept for fiction
		p.Phone = fmt.Sprintf("01632 960%03d", 10+len(sc.people))
	}
	first := strings.ToLower(strings.Fields(name)[0])
	sc.people = append(sc.people, scenarioPerson{Person: p, email: first + "@quillmere.example", competences: can})
	return p
}

// addCrew makes a crew whose first person leads it. pounds is paid for the
// whole crew each half-day per head (invented).
func (sc *scenario) addCrew(ids func() uuid.UUID, name string, trade schedule.Trade, pounds int, off float64, people ...schedule.Person) {
	c := schedule.Crew{
		ID: ids(), Name: name, Trade: trade, HomeLat: baseLat + off, HomeLon: baseLon - off, Active: true,
		HalfDayCost: schedule.Pence(pounds * 100 * len(people)),
	}
	for i, p := range people {
		c.Members = append(c.Members, schedule.Membership{Person: p, From: sc.day - 300, Until: civil.NoDate, Lead: i == 0})
	}
	sc.crews = append(sc.crews, c)
}

// addScaffoldFirms makes one scaffold firm that comes any day to any place, and
// one with days off, an area that leaves out the houses near the coast, a
// charge for cancelling and a gust limit of its own (all invented).
func (sc *scenario) addScaffoldFirms(ids func() uuid.UUID) {
	sc.scaffoldFirms = []schedule.ScaffoldFirm{
		{ID: ids(), Name: "Upright & Brace", Email: "yard@uprightbrace.example", Phone: "01632 960101", GangsPerDay: 2, Sets: 9,
			ErectNotice: 5, StrikeNotice: 3, VisitPrice: 780_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true},
		{ID: ids(), Name: "Larkspur Access", Email: "bookings@larkspur.example", Phone: "01632 960144", GangsPerDay: 1, Sets: 6,
			ErectNotice: 7, StrikeNotice: 5, VisitPrice: 720_00, IncludedWeeks: 6, WeeklyHire: 38_00, Active: true, DaysOff: schedule.Monday,
			YardLat: baseLat - 0.07, YardLon: baseLon - 0.04, ReachKm: 35, CancelNotice: 3, CancelCharge: 95_00, GustLimit: 13},
	}
}

var (
	lanes = []string{"Pikestaff Lane", "Heron Row", "Mallow Close", "Old Drove", "Tansy Street", "Windpump Road",
		"Sallow End", "Cooper's Yard", "Plover Rise", "Linseed Way"}
	surnames = []string{"Abara", "Bickerdike", "Cromar", "Dunmore", "Eskdale", "Farrant", "Goswick", "Hallam", "Inskip",
		"Jessop", "Kettering", "Lomax", "Mistry", "Norcliffe", "Ormesby", "Pettigrew", "Quarmby", "Rushden", "Sizer", "Tolland"}
	coverings = []string{"concrete_tile", "clay_tile", "slate"}
)

const scenarioJobs = 38

// firstRoofs is how many scaffolds stand waiting for their roof on the first
// morning: one whose crew has signed, one whose crew has not, and one whose
// last inspection is nine days old.
const firstRoofs = 3

func (sc *scenario) addJobs(holidays []schedule.Holiday, ids func() uuid.UUID) {
	// The numbers are drawn from a fixed seed: the demo is the same firm for all.
	r := rand.New(rand.NewPCG(20, 26))
	for i := range scenarioJobs {
		sc.jobs = append(sc.jobs, sc.job(i, r, holidays, ids))
	}
	back := func(n int) civil.Date { return schedule.AddWorkingDays(sc.day, -n, holidays) }
	ahead := func(n int) civil.Date { return schedule.AddWorkingDays(sc.day, n, holidays) }
	// What already happened when the demo starts.
	sc.stand(0, standing{firm: 0, erected: back(2), strike: ahead(4), inspected: back(1), signed: true})
	sc.stand(1, standing{firm: 1, erected: sc.working(1, back(1), -1, holidays), strike: sc.working(1, ahead(6), 1, holidays), inspected: back(1)})
	sc.stand(2, standing{firm: 0, erected: back(9), strike: ahead(5), inspected: sc.day - 9})
	// Their cables are run, so that the roof is what commissioning waits for.
	for i := range firstRoofs {
		setStage(&sc.jobs[i], schedule.FirstFix, schedule.StateDone, back(3))
	}
	for i := 1; i < firstRoofs; i++ {
		setStage(&sc.jobs[i], schedule.SecondFix, schedule.StateDone, back(2))
	}
	sc.finish(3, sc.working(1, back(12), -1, holidays), sc.working(1, ahead(5), 1, holidays), back(6), back(5))
	sc.finish(4, back(16), ahead(3), back(9), back(8))
}

// working gives a day, or the next one in steps of working days on which a
// scaffold firm works.
func (sc *scenario) working(firm int, d civil.Date, step int, holidays []schedule.Holiday) civil.Date {
	for !sc.scaffoldFirms[firm].Works(d) {
		d = schedule.AddWorkingDays(d, step, holidays)
	}
	return d
}

// stand puts a scaffold up on job i.
func (sc *scenario) stand(i int, s standing) {
	j := &sc.jobs[i]
	s.ref, s.hour = j.Ref, 16
	sc.standing = append(sc.standing, s)
	setStage(j, schedule.ScaffoldErection, schedule.StateDone, s.erected)
}

// finish puts a scaffold up on job i and the roof on it: what is left is the
// electrical work and the strike.
func (sc *scenario) finish(i int, erected, strike, roof, first civil.Date) {
	sc.stand(i, standing{firm: i % 2, erected: erected, strike: strike, inspected: first})
	setStage(&sc.jobs[i], schedule.RoofWork, schedule.StateDone, roof)
	setStage(&sc.jobs[i], schedule.FirstFix, schedule.StateDone, first)
}

func setStage(j *schedule.Job, k schedule.StageKind, state schedule.StageState, on civil.Date) {
	for i := range j.Stages {
		if j.Stages[i].Kind == k {
			j.Stages[i].State, j.Stages[i].StartedOn, j.Stages[i].DoneOn = state, on, on
		}
	}
}

// addPins fixes two things: a customer who is away, and a crew that knows the
// house. Neither is about the first morning.
func (sc *scenario) addPins(holidays []schedule.Holiday) {
	away := schedule.AddWorkingDays(sc.day, 12, holidays)
	sc.pins = []scenarioPin{
		{sc.jobs[14].Ref, schedule.Pin{Kind: schedule.PinNotBefore, Stage: schedule.RoofWork, On: away, Why: "the customer is away until then and keeps the keys"}},
		{sc.jobs[9].Ref, schedule.Pin{Kind: schedule.PinBy, Stage: schedule.SecondFix, On: civil.NoDate, Who: sc.crews[3].ID, Why: "they surveyed the old switchgear there"}},
	}
	for i := range sc.pins {
		sc.pins[i].pin.SetBy = sc.people[0].Name
	}
}

// untold is which of every five jobs has a promised day that nobody has told
// its customer yet.
const untold = 4

// job draws one house. Every eighth stands near the coast, higher up and in
// open ground.
func (sc *scenario) job(i int, r *rand.Rand, holidays []schedule.Holiday, ids func() uuid.UUID) schedule.Job {
	modules := 8 + r.IntN(11)
	covering := coverings[r.IntN(len(coverings))]
	battery := r.IntN(3) == 0
	ref := fmt.Sprintf("Q-%d", 1041+i)
	if i < firstRoofs { // a day's roof each, so that three crews have one that morning
		modules, covering, battery = 8+i, "concrete_tile", false
	}
	j := schedule.Job{
		ID: ids(), Ref: ref, State: schedule.JobOpen,
		Customer: schedule.Customer{ID: ids(), Name: surnames[i%len(surnames)] + " household",
			Email: fmt.Sprintf("customer%02d@mail.example", i+1), Phone: fmt.Sprintf("01632 96%04d", 200+i)},
		Site:    sc.site(i, r, covering, ids),
		Modules: modules, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95,
		ReadyOn:    civil.NoDate,
		PromisedOn: promiseAfter(sc.day, 6+i+r.IntN(8), holidays),
		CreatedAt:  sc.day.At(9, 0, time.UTC).AddDate(0, 0, -40+i/2),
	}
	j.PromiseTold = i%5 != untold
	if i < 5 { // under way already, so promised soon
		j.PromisedOn = schedule.AddWorkingDays(sc.day, []int{1, 1, 1, 2, 3}[i], holidays)
	}
	j.Site.Facts["battery"] = battery
	j.Stages = stages(modules, covering == "slate", battery)
	j.Consents = sc.consents(i, modules, battery, holidays)
	j.Kit = sc.kit(i, modules, battery, holidays)
	return j
}

// promiseAfter gives the day that this firm promises for work that so many
// working days of summer would do: from November to February it counts on half,
// as one does that has seen a winter (common practice, no source).
func promiseAfter(day civil.Date, n int, holidays []schedule.Holiday) civil.Date {
	for half := 2 * n; half > 0; half-- {
		day = schedule.AddWorkingDays(day, 1, holidays)
		if _, m, _ := day.Civil(); m >= time.March && m <= time.October {
			half--
		}
	}
	return day
}

func (sc *scenario) site(i int, r *rand.Rand, covering string, ids func() uuid.UUID) schedule.Site {
	s := schedule.Site{
		ID: ids(), Address: fmt.Sprintf("%d %s, Quillmere", 2+i+r.IntN(2)*38, lanes[r.IntN(len(lanes))]), Postcode: fmt.Sprintf("XQ%d %dAB", 1+i%8, 1+i%9),
		Lat: baseLat + (r.Float64()-0.5)*0.3, Lon: baseLon + (r.Float64()-0.5)*0.4,
		Terrain: "III", WorkingHeightM: 5.5 + float64(r.IntN(6))*0.5,
		Facts: map[string]any{},
	}
	if i%8 == 5 {
		s.Address = fmt.Sprintf("%d Seabank, Quillmere Haven", 1+i)
		s.Lat, s.Lon, s.Terrain, s.WorkingHeightM = 53.28+r.Float64()*0.05, 0.2, "I", 8.5
	}
	for k, v := range surveyFacts(i, r, covering) {
		s.Facts[k] = v
	}
	if i >= firstRoofs { // of the first roofs nobody wrote down where they look
		s.Facts["roof_faces_deg"] = []float64{180, 135, 225, 160, 90, 200, 270}[i%7]
	}
	return s
}

// stages gives the chain for a roof: 8-10 modules on tile take a day, more take
// longer, slate half as long again (common practice, no source).
func stages(modules int, slate, battery bool) []schedule.Stage {
	roof := 2
	if modules > 10 {
		roof = 3
	}
	if modules > 16 {
		roof = 4
	}
	if slate {
		roof += roof / 2
	}
	second := 1
	if battery {
		second = 2
	}
	of := map[schedule.StageKind]int{schedule.ScaffoldErection: 1, schedule.RoofWork: roof, schedule.FirstFix: 1,
		schedule.SecondFix: second, schedule.Commissioning: 1, schedule.ScaffoldStrike: 1}
	var all []schedule.Stage
	for _, k := range schedule.StageKinds {
		all = append(all, schedule.Stage{Kind: k, HalfDays: of[k], StartedOn: civil.NoDate, DoneOn: civil.NoDate})
	}
	return all
}

// noDate is the job whose grid connection has no date yet.
const noDate = 17

// consents: above 16 A a phase (3.68 kW at 230 V) the grid operator's approval
// comes first and commissioning waits for it; one job has no date for it yet,
// so that its commissioning cannot be planned and says so.
func (sc *scenario) consents(i, modules int, battery bool, holidays []schedule.Holiday) []schedule.Consent {
	if modules*430 <= 3680 && !battery && i != noDate {
		return nil
	}
	c := schedule.Consent{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentGranted,
		ExpectedOn: civil.NoDate, GrantedOn: sc.day - civil.Date(10+i%20)}
	switch {
	case i == noDate:
		c.State, c.GrantedOn = schedule.ConsentApplied, civil.NoDate
	case i > 12 && i%3 == 0:
		c.State, c.GrantedOn = schedule.ConsentApplied, civil.NoDate
		c.ExpectedOn = schedule.AddWorkingDays(sc.day, 4+i/2, holidays)
	}
	return []schedule.Consent{c}
}

func (sc *scenario) kit(i, modules int, battery bool, holidays []schedule.Holiday) []schedule.Kit {
	due := schedule.AddWorkingDays(sc.day, i/3, holidays)
	arrived := civil.NoDate
	if i < 9 {
		due, arrived = sc.day-4, sc.day-4
	}
	kit := []schedule.Kit{
		{Item: "430 W modules", Quantity: modules, DueOn: due, ArrivedOn: arrived},
		{Item: "rails, brackets and clamps", Quantity: 1, DueOn: due, ArrivedOn: arrived},
	}
	if battery {
		kit = append(kit, schedule.Kit{Item: "battery", Quantity: 1, DueOn: due, ArrivedOn: arrived})
	}
	return kit
}
