package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// firstMonday is the first day of the invented firms; 7 December 2026 is a
// Monday, with Christmas three weeks off.
var firstMonday = civil.On(2026, time.December, 7)

// id makes an identifier that a reader can find again.
func id(kind, n int) uuid.UUID {
	return uuid.MustParse(fmt.Sprintf("00000000-0000-7000-8000-%04d%08d", kind, n))
}

// lead is a person who leads a crew and may do so for years.
func lead(n int, skill string) schedule.Membership {
	return schedule.Membership{
		Person: schedule.Person{ID: id(1, n), Name: fmt.Sprintf("Lead %d", n), Role: schedule.CrewLead, Active: true},
		From:   civil.On(2020, 1, 1), Until: civil.NoDate, Lead: true,
		Skills: []schedule.Skill{{Kind: skill, From: civil.On(2020, 1, 1), Until: civil.NoDate}},
	}
}

func roofCrew(n int) schedule.Crew {
	return schedule.Crew{ID: id(2, n), Name: fmt.Sprintf("Roof %d", n), Trade: schedule.RoofTrade, HomeLat: 52.6, HomeLon: -1.1,
		HalfDayCost: 260_00, Members: []schedule.Membership{lead(n, "lead_roof")}, Active: true}
}

func sparks(n int) schedule.Crew {
	return schedule.Crew{ID: id(3, n), Name: fmt.Sprintf("Electrical %d", n), Trade: schedule.ElectricalTrade, HomeLat: 52.65, HomeLon: -1.15,
		HalfDayCost: 180_00, Members: []schedule.Membership{lead(100+n, "electrical")}, Active: true}
}

func scaffolder(n int) schedule.ScaffoldFirm {
	return schedule.ScaffoldFirm{ID: id(4, n), Name: [...]string{"Northgate", "Southwell", "Eastcote"}[n%3], GangsPerDay: 2, Sets: 6,
		ErectNotice: 5, StrikeNotice: 3, VisitPrice: 800_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true}
}

// house is a job with all six stages and nothing in their way.
func house(n int) schedule.Job {
	j := schedule.Job{ID: id(5, n), Ref: fmt.Sprintf("J-%03d", n), State: schedule.JobOpen, ReadyOn: civil.NoDate, PromisedOn: civil.NoDate,
		Site: schedule.Site{ID: id(6, n), Address: fmt.Sprintf("%d Mill Lane", n), Lat: 52.6 + float64(n%7)/50, Lon: -1.1 - float64(n%5)/50, Terrain: "III", WorkingHeightM: 6}}
	for _, k := range schedule.StageKinds {
		j.Stages = append(j.Stages, schedule.Stage{Kind: k, HalfDays: map[schedule.StageKind]int{schedule.RoofWork: 2}[k] + 1, StartedOn: civil.NoDate, DoneOn: civil.NoDate})
	}
	j.Stages[1].HalfDays = 3
	return j
}

// forecast gives a site the same chance for all outdoor tasks in every
// half-day.
func forecast(j schedule.Job, from civil.Date, days int, p func(civil.HalfDay) float64) (list []schedule.Outlook) {
	for _, task := range []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying} {
		o := schedule.Outlook{Site: j.Site.ID, Task: task, First: from.In(civil.Morning)}
		for h := o.First; h < o.First+civil.HalfDay(2*days); h++ {
			o.Chances = append(o.Chances, weather.Chance{Known: true, P: p(h), Basis: "16 of 20 forecast members"})
		}
		list = append(list, o)
	}
	return list
}

func fair(civil.HalfDay) float64 { return 0.8 }

func london(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// firm is a small firm with n houses to do and no trouble.
func firm(t testing.TB, n int) schedule.Snapshot {
	s := schedule.Snapshot{
		Firm: schedule.Firm{ID: id(0, 1), Name: "Quillmere Roofs", TimeZone: "Europe/London", Division: "england-and-wales",
			Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 52.6, BaseLon: -1.1},
		Now: firstMonday.At(7, 0, time.UTC), FirstDay: firstMonday, Days: 42, Frozen: 2,
		Holidays:      []schedule.Holiday{{Day: civil.On(2026, 12, 25), Title: "Christmas Day"}, {Day: civil.On(2026, 12, 28), Title: "Boxing Day"}, {Day: civil.On(2027, 1, 1), Title: "New Year's Day"}},
		Crews:         []schedule.Crew{roofCrew(1), sparks(1)},
		ScaffoldFirms: []schedule.ScaffoldFirm{scaffolder(0)},
	}
	for i := range n {
		s.Jobs = append(s.Jobs, house(i+1))
		s.Outlooks = append(s.Outlooks, forecast(s.Jobs[i], s.FirstDay, s.Days, fair)...)
	}
	return s
}

// BuildExample invents a firm in the middle of its work: jobs at every stage,
// consents and kit to come, leave, full scaffold firms, weather that turns.
// The same numbers give the same firm.
func BuildExample(seed uint64, jobs, crews, days int) schedule.Snapshot {
	b := &exampleFirm{r: rand.New(rand.NewPCG(seed, 1)), s: schedule.Snapshot{
		Firm: schedule.Firm{ID: id(0, 1), Name: "Quillmere Roofs", TimeZone: "Europe/London", Division: "england-and-wales",
			Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 52.6, BaseLon: -1.1},
		Now: firstMonday.At(7, 0, time.UTC), FirstDay: firstMonday, Days: days, Frozen: 2,
		Holidays: []schedule.Holiday{{Day: civil.On(2026, 12, 25)}, {Day: civil.On(2026, 12, 28)}, {Day: civil.On(2027, 1, 1)}},
	}}
	b.crews(crews)
	for i := range max(1, crews/4) {
		f := scaffolder(i)
		f.Name = fmt.Sprintf("%s %d", f.Name, i)
		f.GangsPerDay, f.Sets = 1+b.r.IntN(3), 2+b.r.IntN(3+jobs/4)
		f.ErectNotice, f.StrikeNotice, f.IncludedWeeks = b.r.IntN(8), b.r.IntN(5), 1+b.r.IntN(5)
		b.s.ScaffoldFirms = append(b.s.ScaffoldFirms, f)
	}
	b.sky()
	for i := range jobs {
		b.job(i + 1)
	}
	return b.s
}

type exampleFirm struct {
	r     *rand.Rand
	s     schedule.Snapshot
	front []float64 // by half-day: the weather that all sites share
}

func (b *exampleFirm) one(in int) bool { return b.r.IntN(in) == 0 }

func (b *exampleFirm) day(from, n int) civil.Date {
	return b.s.FirstDay + civil.Date(from+b.r.IntN(n))
}

func (b *exampleFirm) crews(n int) {
	for i := range n {
		c := roofCrew(i + 1)
		if i%2 == 1 {
			c = sparks(i + 1)
		}
		c.HomeLat, c.HomeLon = 52.4+b.r.Float64()*0.5, -1.4+b.r.Float64()*0.6
		if b.one(3) {
			from := b.day(0, b.s.Days)
			c.Members[0].Absences = []schedule.Absence{{From: from, Until: from + civil.Date(b.r.IntN(6)), Reason: "leave"}}
		}
		if n > 4 && b.one(9) {
			c.Members[0].Skills[0].Until = b.day(5, b.s.Days)
		}
		b.s.Crews = append(b.s.Crews, c)
	}
}

func (b *exampleFirm) sky() {
	p := 0.7
	for range 2 * b.s.Days {
		p = min(0.97, max(0.04, p+(b.r.Float64()-0.48)*0.4))
		b.front = append(b.front, p)
	}
}

func (b *exampleFirm) job(n int) {
	j := house(n)
	j.Site.Lat, j.Site.Lon = 52.4+b.r.Float64()*0.5, -1.4+b.r.Float64()*0.6
	for i := range j.Stages {
		j.Stages[i].HalfDays = 1 + b.r.IntN([...]int{0, 2, 4, 2, 2, 1, 1}[j.Stages[i].Kind])
	}
	if b.one(3) {
		j.ReadyOn = b.day(-3, 20)
	}
	if !b.one(4) {
		j.PromisedOn = b.day(0, b.s.Days)
	}
	for _, kind := range []schedule.ConsentKind{schedule.GridConnection, schedule.Landlord} {
		if b.one(3) {
			c := schedule.Consent{Kind: kind, Stage: j.Stages[b.r.IntN(6)].Kind, State: schedule.ConsentApplied, ExpectedOn: b.day(-5, 30), GrantedOn: civil.NoDate}
			switch b.r.IntN(8) {
			case 0:
				c.State = schedule.ConsentRefused
			case 1:
				c.ExpectedOn = civil.NoDate
			case 2, 3, 4:
				c.State, c.GrantedOn = schedule.ConsentGranted, b.day(-20, 18)
			}
			j.Consents = append(j.Consents, c)
		}
	}
	for i := range b.r.IntN(3) {
		k := schedule.Kit{Item: fmt.Sprintf("item %d", i), Quantity: 1, DueOn: b.day(-4, 20), ArrivedOn: civil.NoDate}
		if b.one(12) {
			k.DueOn = civil.NoDate
		} else if b.one(2) {
			k.ArrivedOn = b.s.FirstDay - 2
		}
		j.Kit = append(j.Kit, k)
	}
	b.progress(&j, n)
	b.s.Jobs = append(b.s.Jobs, j)
	known := 2 * b.s.Days
	if b.one(5) {
		known = b.r.IntN(known)
	}
	for _, o := range forecast(j, b.s.FirstDay, b.s.Days, fair) {
		for i := range o.Chances {
			o.Chances[i].P = min(0.97, max(0.03, b.front[i]+(b.r.Float64()-0.5)*0.1))
			if i >= known || b.one(150) {
				o.Chances[i] = weather.Chance{}
			}
		}
		b.s.Outlooks = append(b.s.Outlooks, o)
	}
}

// progress puts some jobs in mid-work and some scaffolds on the books.
func (b *exampleFirm) progress(j *schedule.Job, n int) {
	set := func(k schedule.StageKind, state schedule.StageState, on civil.Date) {
		for i := range j.Stages {
			if j.Stages[i].Kind == k {
				j.Stages[i].State, j.Stages[i].StartedOn = state, on
				if state == schedule.StateDone {
					j.Stages[i].DoneOn = on
				}
			}
		}
	}
	book := func(state schedule.BookingState, erect, strike civil.Date) {
		f := b.s.ScaffoldFirms[b.r.IntN(len(b.s.ScaffoldFirms))]
		b.s.Bookings = append(b.s.Bookings, schedule.Booking{ID: id(7, n), Job: j.ID, ScaffoldFirm: f.ID, UID: fmt.Sprintf("%d@toeboard.invalid", n),
			State: state, ErectOn: erect, StrikeOn: strike, OfferedOn: civil.NoDate})
	}
	switch b.r.IntN(9) {
	case 0: // scaffold up
		up := b.day(-9, 8)
		set(schedule.ScaffoldErection, schedule.StateDone, up)
		book(schedule.BookingErected, up, b.day(0, 14))
	case 1: // roof work begun
		up := b.day(-9, 6)
		set(schedule.ScaffoldErection, schedule.StateDone, up)
		set(schedule.RoofWork, schedule.StateStarted, b.s.FirstDay-1)
		book(schedule.BookingErected, up, b.day(2, 14))
	case 2: // only the strike and the electrics are left
		up := b.day(-30, 20)
		set(schedule.ScaffoldErection, schedule.StateDone, up)
		set(schedule.RoofWork, schedule.StateDone, b.s.FirstDay-2)
		book(schedule.BookingErected, up, b.day(0, 10))
	case 3: // booked
		erect := b.day(0, 12)
		book([]schedule.BookingState{schedule.BookingWanted, schedule.BookingSent, schedule.BookingConfirmed}[b.r.IntN(3)], erect, erect+civil.Date(1+b.r.IntN(12)))
	case 4: // refused, mostly with an offer
		erect := b.day(2, 12)
		if erect%3 == 0 {
			book(schedule.BookingRefused, erect, erect+9)
			break
		}
		book(schedule.BookingCountered, erect, erect+9)
		b.s.Bookings[len(b.s.Bookings)-1].OfferedOn = erect + 2
	case 5: // a job whose scaffold stands though nobody knows whose
		if b.one(3) {
			set(schedule.ScaffoldErection, schedule.StateDone, b.day(-9, 8))
		}
	}
}
