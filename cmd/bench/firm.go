package main

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/composed"
	"toeboard/weather/fault"
	"toeboard/weather/openmeteo"
)

// inventedDay is the morning on which invented firms plan unless told otherwise:
// a Monday in the last of the winter, with Easter a month off.
var inventedDay = civil.On(2027, time.March, 1)

// firmSize says how large a firm to invent.
type firmSize struct {
	jobs, crews int
	scaffolders int // 0 = in proportion
	days        int
	first       civil.Date // the morning on which it plans, 0 = inventedDay
}

func (z firmSize) check() error {
	var bad []error
	within := func(flag string, n, from, to int) {
		if n < from || n > to {
			bad = append(bad, fault.Bad(flag, strconv.Itoa(n), fmt.Sprintf("%d to %d", from, to)))
		}
	}
	within("--jobs", z.jobs, 1, 20_000)
	within("--crews", z.crews, 2, 2_000)
	within("--scaffolders", z.scaffolders, 0, 500)
	within("--days", z.days, 14, 400)
	return errors.Join(bad...)
}

// inventFirm makes up a firm in the middle of its work. Everything in it is
// invented; the same size and seed give the same firm. It is meant to be
// plausible for Britain (common practice, no source, but for the lengths of
// stages, which follow the trade's usual ones): two fifths of the crews do
// roofs; a house needs 2 to 6 half-days of roof work by modules and covering; a
// scaffold firm asks 5 to 10 working days' notice and includes 4 to 8 weeks of
// hire; half the jobs wait for a grid consent before commissioning; some for
// kit, landlords, highway licences; one job in seven is under way. Scaffold
// firms have about a fifth more gangs than the crews can keep busy. The chances
// come from a composed ensemble of ten days and from the climate after it, by
// the same code that reads real forecasts.
func inventFirm(z firmSize, seed uint64) (schedule.Snapshot, error) {
	f, err := inventAll(z, seed)
	if err != nil {
		return schedule.Snapshot{}, err
	}
	return f.s, nil
}

func inventAll(z firmSize, seed uint64) (*inventor, error) {
	if err := z.check(); err != nil {
		return nil, err
	}
	holidays, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		return nil, err
	}
	if z.first == 0 {
		z.first = inventedDay
	}
	f := &inventor{r: rand.New(rand.NewPCG(seed, 0x66_6972_6d)), size: z, seed: seed, s: schedule.Snapshot{
		Firm: schedule.Firm{Name: "An invented firm", TimeZone: "Europe/London", Division: "england-and-wales", Hours: civil.UsualHours, Rates: schedule.DefaultRates()},
		Now:  z.first.At(7, 0, time.UTC), FirstDay: z.first, Days: z.days, Frozen: schedule.FrozenDays, Holidays: holidays,
	}}
	f.s.Firm.ID = f.id("firm", 0)
	f.depots()
	f.crews()
	f.scaffolders()
	for i := range z.jobs {
		f.job(i)
	}
	return f, f.skies()
}

type inventor struct {
	r     *rand.Rand
	seed  uint64
	size  firmSize
	s     schedule.Snapshot
	depot []weather.Point
	at    []int            // by job: its depot
	sky   []weather.Series // by depot: its forecast
}

// firmSpace is the name space (RFC 9562) of invented identifiers.
var firmSpace = uuid.MustParse("0d9d8f0e-93c6-5a5e-8a55-58e0c9b1a3f4")

func (f *inventor) id(what string, n int) uuid.UUID {
	return uuid.NewSHA1(firmSpace, fmt.Appendf(nil, "%d %s %d", f.seed, what, n))
}

// between draws a whole number, both ends included.
func (f *inventor) between(from, to int) int { return from + f.r.IntN(to-from+1) }

// percent is true so many times in a hundred.
func (f *inventor) percent(n int) bool { return f.r.IntN(100) < n }

// day draws a day of the plan, by its number from 0.
func (f *inventor) day(from, to int) civil.Date {
	return f.s.FirstDay + civil.Date(f.between(from, to))
}

// depots: one for each forty crews, somewhere in England.
func (f *inventor) depots() {
	for range 1 + f.size.crews/40 {
		f.depot = append(f.depot, weather.Point{Lat: 51.3 + 2.9*f.r.Float64(), Lon: -2.6 + 2.9*f.r.Float64()})
	}
}

// near draws a place within so many kilometres of a depot, rounded to about 10 m.
func (f *inventor) near(depot int, km float64) (lat, lon float64) {
	r, angle := km*math.Sqrt(f.r.Float64()), 2*math.Pi*f.r.Float64()
	d := f.depot[depot]
	round := func(x float64) float64 { return math.Round(x*1e4) / 1e4 }
	return round(d.Lat + r*math.Cos(angle)/111.2), round(d.Lon + r*math.Sin(angle)/(111.2*math.Cos(d.Lat*math.Pi/180)))
}

func (f *inventor) crews() {
	roofs := min(max(1, (2*f.size.crews+2)/5), f.size.crews-1)
	for i := range f.size.crews {
		c := schedule.Crew{ID: f.id("crew", i), Name: fmt.Sprintf("Roof %d", i+1), Trade: schedule.RoofTrade, HalfDayCost: schedule.Pence(100 * f.between(240, 330)), Active: true}
		skill := "lead_roof"
		if i >= roofs {
			c.Name, c.Trade, skill = fmt.Sprintf("Electrical %d", i-roofs+1), schedule.ElectricalTrade, "electrical"
			c.HalfDayCost = schedule.Pence(100 * f.between(170, 230))
		}
		c.HomeLat, c.HomeLon = f.near(i%len(f.depot), 15)
		c.Members = []schedule.Membership{f.member(2*i, true, skill), f.member(2*i+1, false, skill)}
		f.s.Crews = append(f.s.Crews, c)
	}
}

func (f *inventor) member(n int, lead bool, skill string) schedule.Membership {
	m := schedule.Membership{
		Person: schedule.Person{ID: f.id("person", n), Role: schedule.CrewMember, Active: true},
		From:   f.s.FirstDay - civil.Date(f.between(100, 2000)), Until: civil.NoDate, Lead: lead,
		Skills: []schedule.Skill{{Kind: skill, From: f.s.FirstDay - 2100, Until: civil.NoDate}},
	}
	if lead {
		m.Person.Role = schedule.CrewLead
	} else {
		m.Skills = nil
	}
	if f.percent(20) {
		from := f.day(0, f.size.days-1)
		m.Absences = []schedule.Absence{{From: from, Until: from + civil.Date(f.between(0, 9)), Reason: "leave"}}
	}
	return m
}

// scaffolders: gangs and sets for about a fifth more than the crews can do,
// shared out among two firms or more.
func (f *inventor) scaffolders() {
	n := f.size.scaffolders
	if n == 0 {
		n = max(2, f.size.crews/8)
	}
	const gangsPerCrew, setsPerCrew = 0.65, 4.2
	for i := range n {
		share := (0.8 + 0.4*f.r.Float64()) * float64(f.size.crews) / float64(n)
		f.s.ScaffoldFirms = append(f.s.ScaffoldFirms, schedule.ScaffoldFirm{
			ID: f.id("scaffold firm", i), Name: fmt.Sprintf("Scaffold %d", i+1), Active: true,
			GangsPerDay: max(1, int(math.Round(gangsPerCrew*share))), Sets: max(2, int(math.Round(setsPerCrew*share))),
			ErectNotice: f.between(5, 10), StrikeNotice: f.between(2, 5),
			VisitPrice: schedule.Pence(1000 * f.between(65, 110)), IncludedWeeks: f.between(4, 8), WeeklyHire: schedule.Pence(500 * f.between(6, 14)),
		})
	}
}

func (f *inventor) job(n int) {
	j := schedule.Job{ID: f.id("job", n), Ref: fmt.Sprintf("J-%05d", n+1), State: schedule.JobOpen, Modules: f.between(6, 20), ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 2,
		ReadyOn: civil.NoDate, PromisedOn: civil.NoDate, CreatedAt: f.s.Now.AddDate(0, 0, -f.between(1, 60))}
	depot := n % len(f.depot)
	f.at = append(f.at, depot)
	j.Site = schedule.Site{ID: f.id("site", n), Terrain: []string{"II", "III", "III", "IV"}[f.r.IntN(4)], WorkingHeightM: 7}
	j.Site.Lat, j.Site.Lon = f.near(depot, 35)
	j.Stages = f.stages(j.Modules)
	if f.percent(30) {
		j.ReadyOn = f.day(-5, f.size.days/2)
	}
	if f.percent(85) {
		j.PromisedOn = f.day(10, f.size.days+10)
	}
	f.consents(&j)
	f.kit(&j)
	if f.percent(15) {
		f.underWay(&j, n)
	} else if f.percent(12) {
		f.booked(&j, n)
	}
	f.s.Jobs = append(f.s.Jobs, j)
}

// stages gives the six stages with their usual lengths.
func (f *inventor) stages(modules int) (list []schedule.Stage) {
	roof := (modules + 4) / 5 // a day for eight to ten on tile
	if f.percent(25) {
		roof = (modules + 2) / 3 // slate
	}
	half := map[schedule.StageKind]int{
		schedule.ScaffoldErection: f.between(1, 2), schedule.RoofWork: min(6, roof), schedule.FirstFix: f.between(1, 2),
		schedule.SecondFix: f.between(1, 4), schedule.Commissioning: 1, schedule.ScaffoldStrike: 1,
	}
	for _, k := range schedule.StageKinds {
		list = append(list, schedule.Stage{Kind: k, HalfDays: half[k], StartedOn: civil.NoDate, DoneOn: civil.NoDate})
	}
	return list
}

func (f *inventor) consents(j *schedule.Job) {
	for _, c := range []struct {
		kind  schedule.ConsentKind
		stage schedule.StageKind
		often int // per cent
		weeks int // at most until it comes
	}{
		{schedule.GridConnection, schedule.Commissioning, 50, 9},
		{schedule.Planning, schedule.RoofWork, 5, 8},
		{schedule.Landlord, schedule.ScaffoldErection, 6, 4},
		{schedule.HighwayLicence, schedule.ScaffoldErection, 6, 3},
	} {
		if !f.percent(c.often) {
			continue
		}
		one := schedule.Consent{Kind: c.kind, Stage: c.stage, State: schedule.ConsentApplied, ExpectedOn: f.day(1, 7*c.weeks), GrantedOn: civil.NoDate}
		switch {
		case f.percent(60):
			one.State, one.GrantedOn = schedule.ConsentGranted, f.day(-30, -1)
		case f.percent(4):
			one.ExpectedOn = civil.NoDate
		case f.percent(2):
			one.State = schedule.ConsentRefused
		}
		j.Consents = append(j.Consents, one)
	}
}

func (f *inventor) kit(j *schedule.Job) {
	for _, item := range []string{"modules and rails", "inverter", "battery"} {
		if item == "battery" && !f.percent(60) {
			continue
		}
		k := schedule.Kit{Item: item, Quantity: 1, DueOn: f.day(1, 35), ArrivedOn: civil.NoDate}
		switch {
		case f.percent(55):
			k.DueOn, k.ArrivedOn = f.s.FirstDay-7, f.s.FirstDay-civil.Date(f.between(3, 9))
		case f.percent(2):
			k.DueOn = civil.NoDate
		}
		j.Kit = append(j.Kit, k)
	}
}

// workingBack gives a working day some working days before the first.
func (f *inventor) workingBack(n int) civil.Date {
	return schedule.AddWorkingDays(f.s.FirstDay, -n, f.s.Holidays)
}

// underWay puts a job in mid-work: its scaffold stands, and its roof has begun,
// is done or waits.
func (f *inventor) underWay(j *schedule.Job, n int) {
	up := f.between(4, 9)
	f.done(j, schedule.ScaffoldErection, f.workingBack(up), f.workingBack(up))
	for i := range j.Kit {
		j.Kit[i].ArrivedOn = f.workingBack(up + 1)
	}
	switch f.r.IntN(3) {
	case 0:
		f.begun(j, schedule.RoofWork, f.workingBack(1))
	case 1:
		f.done(j, schedule.RoofWork, f.workingBack(3), f.workingBack(2))
		if f.percent(50) {
			f.done(j, schedule.FirstFix, f.workingBack(3), f.workingBack(3))
		}
	}
	f.book(j, n, schedule.BookingErected, f.workingBack(up), schedule.AddWorkingDays(f.s.FirstDay, f.between(4, 15), f.s.Holidays))
}

// booked gives a job a scaffold booking in the weeks to come.
func (f *inventor) booked(j *schedule.Job, n int) {
	erect := f.between(1, 14)
	on := schedule.AddWorkingDays(f.s.FirstDay, erect, f.s.Holidays)
	state := []schedule.BookingState{schedule.BookingConfirmed, schedule.BookingConfirmed, schedule.BookingConfirmed, schedule.BookingSent, schedule.BookingCountered}[f.r.IntN(5)]
	f.book(j, n, state, on, schedule.AddWorkingDays(on, f.between(5, 12), f.s.Holidays))
	if state == schedule.BookingCountered {
		b := &f.s.Bookings[len(f.s.Bookings)-1]
		b.OfferedOn = schedule.AddWorkingDays(on, f.between(1, 4), f.s.Holidays)
	}
}

func (f *inventor) book(j *schedule.Job, n int, state schedule.BookingState, erect, strike civil.Date) {
	firm := f.s.ScaffoldFirms[f.r.IntN(len(f.s.ScaffoldFirms))]
	f.s.Bookings = append(f.s.Bookings, schedule.Booking{ID: f.id("booking", n), Job: j.ID, ScaffoldFirm: firm.ID, UID: fmt.Sprintf("%05d@firm.invalid", n+1),
		State: state, ErectOn: erect, StrikeOn: strike, OfferedOn: civil.NoDate, ChangedAt: f.s.Now})
}

func stageOf(j *schedule.Job, k schedule.StageKind) *schedule.Stage {
	for i := range j.Stages {
		if j.Stages[i].Kind == k {
			return &j.Stages[i]
		}
	}
	return nil
}

func (f *inventor) begun(j *schedule.Job, k schedule.StageKind, on civil.Date) {
	st := stageOf(j, k)
	st.State, st.StartedOn = schedule.StateStarted, on
}

func (f *inventor) done(j *schedule.Job, k schedule.StageKind, from, to civil.Date) {
	st := stageOf(j, k)
	st.State, st.StartedOn, st.DoneOn = schedule.StateDone, from, to
}

// Forecasts of the invented firms.
const (
	forecastDays    = 10
	forecastMembers = 20
)

// outdoor are the tasks that stages wait for the weather with.
var outdoor = []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying, weather.RoofCovering}

type skyKey struct {
	depot   int
	terrain string
}

// skies gives every site its chances. Sites of one depot and terrain see one
// sky: a real ensemble's grid is no finer. Chances are kept to four decimals,
// so that a file of them stays small.
func (f *inventor) skies() error {
	loc, err := f.s.Firm.Location()
	if err != nil {
		return err
	}
	f.sky = make([]weather.Series, len(f.depot))
	for i, d := range f.depot {
		all, err := openmeteo.Parse(composed.Body(d.Lat, d.Lon, f.s.Now, forecastDays, forecastMembers, f.seed), f.s.Now)
		if err != nil {
			return fmt.Errorf("the composed sky: %w", err)
		}
		f.sky[i] = all[0]
	}
	known := map[skyKey][][]weather.Chance{}
	for i := range f.s.Jobs {
		j := &f.s.Jobs[i]
		key := skyKey{f.at[i], j.Site.Terrain}
		if known[key] == nil {
			if known[key], err = f.chances(f.sky[key.depot], f.depot[key.depot], j.Site, loc); err != nil {
				return err
			}
		}
		for k, task := range outdoor[:3] {
			f.s.Outlooks = append(f.s.Outlooks, schedule.Outlook{Site: j.Site.ID, Task: task, First: f.s.FirstDay.In(civil.Morning), Chances: known[key][k]})
		}
	}
	return nil
}

func (f *inventor) chances(series weather.Series, at weather.Point, site schedule.Site, loc *time.Location) ([][]weather.Chance, error) {
	terrain, err := weather.ParseTerrain(site.Terrain)
	if err != nil {
		return nil, err
	}
	rows := weather.Outlook(series, weather.DefaultLimits(), f.ahead(at, terrain, site, loc, f.s.Days))
	for h := range rows[2] { // roof work needs both of its tasks
		if c := rows[3][h]; !c.Known || rows[2][h].Known && c.P < rows[2][h].P {
			rows[2][h] = c
		}
	}
	for _, row := range rows {
		for h := range row {
			row[h].P = math.Round(row[h].P*1e4) / 1e4
			row[h].Basis = ""
		}
	}
	return rows[:3], nil
}

// ahead is what is asked of the weather at a site for so many days.
func (f *inventor) ahead(at weather.Point, terrain weather.Terrain, site schedule.Site, loc *time.Location, days int) weather.Ahead {
	return weather.Ahead{
		Place: weather.Place{Lat: at.Lat, Lon: at.Lon, Terrain: terrain, HeightM: site.WorkingHeightM}, Tasks: outdoor,
		First: f.s.FirstDay.In(civil.Morning), N: 2 * days, Hours: f.s.Firm.Hours, Loc: loc, Now: f.s.Now, Climate: weather.DefaultClimate(),
	}
}

// futureDays is how many days the futures reach past the plan, as in the service.
const futureDays = 42

// futures gives the weathers that may come to the firm, out of the same
// forecast and climate as its chances.
func (f *inventor) futures() (schedule.Futures, error) {
	loc, err := f.s.Firm.Location()
	if err != nil {
		return schedule.Futures{}, err
	}
	out := schedule.Futures{N: weather.FuturesOf(forecastMembers)}
	draws := weather.NewDraws(f.s.FirstDay, f.s.Days+futureDays, out.N, f.seed)
	known := map[skyKey][]weather.Passing{}
	for i := range f.s.Jobs {
		site := f.s.Jobs[i].Site
		key := skyKey{f.at[i], site.Terrain}
		if known[key] == nil {
			terrain, err := weather.ParseTerrain(site.Terrain)
			if err != nil {
				return schedule.Futures{}, err
			}
			known[key] = weather.Futures(f.sky[key.depot], weather.DefaultLimits(), f.ahead(f.depot[key.depot], terrain, site, loc, f.s.Days+futureDays), draws)
			known[key][2] = known[key][2].And(known[key][3]) // roof work needs both of its tasks
		}
		for k, task := range outdoor[:3] {
			out.Rows = append(out.Rows, schedule.FutureRow{Site: site.ID, Task: task, Passing: known[key][k]})
		}
	}
	return out, nil
}
