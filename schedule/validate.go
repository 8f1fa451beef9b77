package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// The rules that Validate holds a plan against. MODEL.md numbers them.
const (
	ruleDays      = "the plan's days"
	ruleKnown     = "known jobs and stages"
	ruleOnce      = "each stage once"
	ruleAccounted = "every open stage accounted for"
	ruleHalfDays  = "half-days in order"
	ruleLength    = "as long as the stage"
	ruleWho       = "who does it"
	ruleTrade     = "a crew of the trade"
	ruleWorking   = "working days only"
	ruleDayOff    = "on the scaffold firm's days"
	ruleArea      = "in the scaffold firm's area"
	ruleLead      = "a competent lead present"
	ruleUnbroken  = "one visit without gaps"
	ruleOnePlace  = "one crew, one place"
	ruleGangs     = "gangs a day"
	ruleSets      = "sets standing"
	ruleOrder     = "order of stages"
	ruleTogether  = "scaffold from erection to strike"
	ruleFirm      = "one scaffold firm a job"
	ruleReady     = "not before the job is ready"
	ruleConsent   = "not before the consent"
	ruleKit       = "not before the kit"
	ruleNotice    = "notice to the scaffold firm"
	ruleWeather   = "no outdoor work on an unknown chance"
	ruleLeast     = "no outdoor work on a chance below the firm's least"
	ruleChance    = "a chance is above 0 and below 1"
	ruleStarted   = "what has started carries on"
	ruleFrozen    = "frozen days stay as published"
	ruleBooked    = "bookings inside their notice stay"
	ruleCost      = "the cost adds up"
)

// Validate holds a plan against every rule and says each that is broken, with
// its numbers; nothing when the plan is sound. It was written apart from the
// planner and shares only the types and the calendar with it: it walks through
// half-days and dates, and knows no slots, modes or search.
func Validate(s Snapshot, p Plan) []Violation {
	v := newValidation(&s, &p)
	if p.FirstDay != s.FirstDay || p.Days != s.Days {
		v.say(ruleDays, nil, StageUnknown, "The plan runs %d days from %s, the snapshot %d from %s.", p.Days, p.FirstDay, s.Days, s.FirstDay)
	}
	if p.FirstDay < v.today {
		v.say(ruleDays, nil, StageUnknown, "The plan begins on %s, and today is %s.", p.FirstDay.Short(), v.today.Short())
	}
	for _, visit := range v.visits {
		v.visit(visit)
	}
	v.crewsInOnePlace()
	v.scaffoldFirms()
	for _, j := range v.jobs {
		v.job(j)
	}
	v.stayed()
	v.pins()
	v.told()
	v.sum()
	return v.broken
}

// newValidation reads a plan and the facts that it is held against.
func newValidation(s *Snapshot, p *Plan) *validation {
	v := &validation{s: s, p: p, work: newWorkdays(s.Holidays), today: s.today(), lastDay: s.lastDay(), frozenTo: s.frozenUntil()}
	v.read()
	return v
}

type validation struct {
	s        *Snapshot
	p        *Plan
	work     workdays
	today    civil.Date
	lastDay  civil.Date
	frozenTo civil.Date
	jobs     []*Job
	byID     map[uuid.UUID]*Job
	booked   map[uuid.UUID]*Booking
	visits   []*Visit // those of known stages, one each
	of       map[visitKey]*Visit
	base     map[visitKey]*Visit // as published
	sight    map[sightKey]*Outlook
	left     map[visitKey]bool
	stays    map[*Visit]bool     // by visit: it stands where it had to
	yards    map[uuid.UUID]*yard // by scaffold firm, each made when first asked for
	broken   []Violation
}

// yard is what is about one scaffold firm.
type yard struct {
	visits    []*Visit   // its erections and strikes
	jobs      []*Job     // those whose scaffold may be its own
	elsewhere []*Booking // live ones of jobs that are not in the plan
}

type visitKey struct {
	job   uuid.UUID
	stage StageKind
}

type sightKey struct {
	site uuid.UUID
	task weather.Task
	by   uuid.UUID // the scaffold firm whose own gust limit counts
}

func (v *validation) say(rule string, j *Job, k StageKind, format string, args ...any) {
	b := Violation{Rule: rule, Stage: k, Say: fmt.Sprintf(format, args...)}
	if j != nil {
		b.Job = j.ID
		b.Say = fmt.Sprintf("%s, %s: %s", j.Ref, k, b.Say)
	}
	v.broken = append(v.broken, b)
}

// read sorts the plan out and names what it does not know.
func (v *validation) read() {
	v.byID, v.booked = map[uuid.UUID]*Job{}, map[uuid.UUID]*Booking{}
	v.stays, v.yards = map[*Visit]bool{}, map[uuid.UUID]*yard{}
	v.of, v.left, v.base, v.sight = map[visitKey]*Visit{}, map[visitKey]bool{}, map[visitKey]*Visit{}, map[sightKey]*Outlook{}
	if v.s.Base != nil {
		for i := range v.s.Base.Visits {
			if x := &v.s.Base.Visits[i]; len(x.HalfDays) > 0 {
				v.base[visitKey{x.Job, x.Stage}] = x
			}
		}
	}
	for i := range v.s.Outlooks {
		v.sight[sightKey{v.s.Outlooks[i].Site, v.s.Outlooks[i].Task, v.s.Outlooks[i].By}] = &v.s.Outlooks[i]
	}
	for i := range v.s.Jobs {
		if j := &v.s.Jobs[i]; j.State == JobOpen {
			v.jobs = append(v.jobs, j)
			v.byID[j.ID] = j
		}
	}
	for i := range v.s.Bookings {
		b := &v.s.Bookings[i]
		if b.State == BookingStruck || b.State == BookingCancelled {
			continue
		}
		old := v.booked[b.Job]
		if old == nil || old.State != BookingErected && (b.State == BookingErected || b.UID < old.UID) || old.State == BookingErected && b.State == BookingErected && b.UID < old.UID {
			v.booked[b.Job] = b
		}
	}
	for i := range v.p.Visits {
		visit := &v.p.Visits[i]
		key := visitKey{visit.Job, visit.Stage}
		j := v.byID[visit.Job]
		if j == nil {
			v.say(ruleKnown, nil, visit.Stage, "%s is planned for job %s, which is not open in the snapshot.", capital(visit.Stage.String()), visit.Job)
			continue
		}
		st, has := v.stage(j, visit.Stage)
		switch {
		case !has:
			v.say(ruleKnown, j, visit.Stage, "the job has no such stage.")
		case st.State == StateDone:
			v.say(ruleKnown, j, visit.Stage, "it was done on %s and is planned again.", st.DoneOn.Short())
		case v.of[key] != nil:
			v.say(ruleOnce, j, visit.Stage, "it is planned twice.")
		default:
			v.of[key] = visit
			v.visits = append(v.visits, visit)
		}
	}
	for _, u := range v.p.Unplanned {
		j := v.byID[u.Job]
		key := visitKey{u.Job, u.Stage}
		switch {
		case j == nil:
			v.say(ruleKnown, nil, u.Stage, "Job %s is listed as left out but is not open in the snapshot.", u.Job)
			continue
		case v.of[key] != nil || v.left[key]:
			v.say(ruleOnce, j, u.Stage, "it is listed as left out and stands in the plan besides.")
		case strings.TrimSpace(u.Why) == "":
			v.say(ruleAccounted, j, u.Stage, "it is left out without a reason.")
		}
		v.left[key] = true
	}
}

// stage gives a stage as the facts have it: an erection whose booking says
// that it is up is done.
func (v *validation) stage(j *Job, k StageKind) (Stage, bool) {
	st, has := j.Stage(k)
	if b := v.booked[j.ID]; has && k == ScaffoldErection && b != nil && b.State == BookingErected && st.State != StateDone {
		st.State, st.StartedOn, st.DoneOn = StateDone, b.ErectOn, b.ErectOn
		if strike, ok := j.Stage(ScaffoldStrike); ok && strike.State == StateDone {
			return j.Stage(k)
		}
	}
	return st, has
}

func (v *validation) open(j *Job, k StageKind) bool {
	st, has := v.stage(j, k)
	return has && st.State != StateDone
}

func (v *validation) get(j *Job, k StageKind) *Visit { return v.of[visitKey{j.ID, k}] }

func (v *validation) crew(id uuid.UUID) *Crew {
	for i := range v.s.Crews {
		if v.s.Crews[i].ID == id {
			return &v.s.Crews[i]
		}
	}
	return nil
}

func (v *validation) firm(id uuid.UUID) *ScaffoldFirm {
	for i := range v.s.ScaffoldFirms {
		if v.s.ScaffoldFirms[i].ID == id {
			return &v.s.ScaffoldFirms[i]
		}
	}
	return nil
}

// present tells whether the crew's lead is there and holds what the trade asks.
func present(c *Crew, d civil.Date) bool {
	need := map[Trade]string{RoofTrade: "lead_roof", ElectricalTrade: "electrical"}[c.Trade]
	return slices.ContainsFunc(c.Members, func(m Membership) bool {
		return m.Lead && m.Person.Active && m.On(d) && m.Holds(need, d)
	})
}

// visit checks one visit by itself.
func (v *validation) visit(x *Visit) {
	j := v.byID[x.Job]
	st, _ := v.stage(j, x.Stage)
	if len(x.HalfDays) == 0 {
		v.say(ruleHalfDays, j, x.Stage, "it has no half-days.")
		return
	}
	for i, h := range x.HalfDays {
		if i > 0 && h <= x.HalfDays[i-1] {
			v.say(ruleHalfDays, j, x.Stage, "%s stands after %s.", h.Short(), x.HalfDays[i-1].Short())
		}
		if h.Date() < v.s.FirstDay || h.Date() > v.lastDay {
			v.say(ruleDays, j, x.Stage, "%s lies outside %s to %s.", h.Short(), v.s.FirstDay.Short(), v.lastDay.Short())
		}
		if !v.work.is(h.Date()) && !(x.Stage.Trade() != ScaffoldTrade && v.overtime(h.Date())) {
			v.say(ruleWorking, j, x.Stage, "%s is no working day.", h.Date().Short())
		}
	}
	if want := v.halfDaysLeft(j, st); !v.asLong(j, st.Kind, want, x.HalfDays) {
		v.say(ruleLength, j, x.Stage, "it has %s, which bring %.2f, and the stage is work of %d.", halfDays(len(x.HalfDays)), float64(v.bring(j, st.Kind, x.HalfDays))/tenThousand, want)
	}
	if x.Chance.Known && !(x.Chance.P > 0 && x.Chance.P < 1) {
		v.say(ruleChance, j, x.Stage, "its chance is %v.", x.Chance.P)
	}
	v.whoDoes(j, x)
	v.sky(j, x)
	if st.State == StatePlanned {
		v.notBefore(j, x)
		v.before(j, x)
	}
}

// halfDaysLeft: a started stage has what was published for it from the first
// day on, one at least; a stage that has not started has all.
func (v *validation) halfDaysLeft(j *Job, st Stage) int {
	was := v.published(j, st.Kind)
	if st.State != StateStarted || was == nil {
		return st.HalfDays
	}
	past := 0
	for _, h := range was.HalfDays {
		if h < v.s.FirstDay.In(civil.Morning) {
			past++
		}
	}
	for n := 1; n < st.HalfDays; n++ { // the least that is no smaller a share of the whole
		if n*len(was.HalfDays) >= st.HalfDays*(len(was.HalfDays)-past) {
			return n
		}
	}
	return st.HalfDays
}

// tenThousand is a whole half-day, as its share of work is counted.
const tenThousand = 10_000

// forecastFor is how many days from today on every half-day counts whole.
const forecastFor = 12

// bring counts what half-days are expected to bring of a stage's work, in
// ten-thousandths of a half-day: all of each, and for roof work on days past the
// forecast the chance of weather.
func (v *validation) bring(j *Job, k StageKind, list []civil.HalfDay) (sum int) {
	for _, h := range list {
		if k != RoofWork || int(h.Date()-v.today) < forecastFor {
			sum += tenThousand
		} else if c := v.chance(j, k, h); c.Known {
			sum += int(math.Round(tenThousand * c.P))
		}
	}
	return sum
}

// asLong tells whether half-days are just as many as work of n half-days takes:
// enough, and without the last of them not enough.
func (v *validation) asLong(j *Job, k StageKind, n int, list []civil.HalfDay) bool {
	need := n * tenThousand
	if k == RoofWork {
		need -= tenThousand / 2
	}
	return len(list) > 0 && v.bring(j, k, list) >= need && v.bring(j, k, list[:len(list)-1]) < need
}

// asNow gives of published half-days those that a stage still takes.
func (v *validation) asNow(j *Job, k StageKind, was []civil.HalfDay) []civil.HalfDay {
	st, _ := j.Stage(k)
	for i := range was {
		if v.asLong(j, k, st.HalfDays, was[:i+1]) {
			return was[:i+1]
		}
	}
	return was
}

func (v *validation) published(j *Job, k StageKind) *Visit { return v.base[visitKey{j.ID, k}] }

// whoDoes checks crew or scaffold firm, the lead, and that the visit is whole.
func (v *validation) whoDoes(j *Job, x *Visit) {
	var here func(civil.Date) bool
	if x.Stage.Trade() == ScaffoldTrade {
		f := v.firm(x.ScaffoldFirm)
		if x.Crew != uuid.Nil || f == nil {
			v.say(ruleWho, j, x.Stage, "it needs a scaffold firm of the snapshot and no crew.")
			return
		}
		here = v.gangDays(f)
		for _, h := range x.HalfDays {
			if v.work.is(h.Date()) && !here(h.Date()) {
				v.say(ruleDayOff, j, x.Stage, "%s, and %s does not work on %ss.", h.Short(), f.Name, h.Date().Weekday())
			}
		}
		if !v.standing(j) && !v.comesTo(j, f) {
			v.say(ruleArea, j, x.Stage, "it is %.1f km from the yard of %s, which goes %d km.", yardOf(f).KmTo(siteOf(j)), f.Name, f.ReachKm)
		}
		if !f.Active && !v.standing(j) {
			v.say(ruleWho, j, x.Stage, "%s is not used any more.", f.Name)
		}
	} else {
		c := v.crew(x.Crew)
		if x.ScaffoldFirm != uuid.Nil || c == nil || !c.Active {
			v.say(ruleWho, j, x.Stage, "it needs an active crew of the snapshot and no scaffold firm.")
			return
		}
		if c.Trade != x.Stage.Trade() {
			v.say(ruleTrade, j, x.Stage, "%s is a %s crew, the stage is %s work.", c.Name, c.Trade, x.Stage.Trade())
		}
		for _, h := range x.HalfDays {
			if !present(c, h.Date()) {
				v.say(ruleLead, j, x.Stage, "%s has no competent lead present on %s.", c.Name, h.Short())
			}
		}
		here = v.hours(c, x.HalfDays)
	}
	for h := x.First(); h < x.Last(); h++ {
		if here(h.Date()) && !slices.Contains(x.HalfDays, h) {
			v.say(ruleUnbroken, j, x.Stage, "%s could be worked and is left out between %s and %s.", h.Short(), x.First().Short(), x.Last().Short())
		}
	}
}

func yardOf(f *ScaffoldFirm) weather.Point { return weather.Point{Lat: f.YardLat, Lon: f.YardLon} }

// comesTo tells whether a job lies in a scaffold firm's area, or the firm said of
// the live booking that it comes.
func (v *validation) comesTo(j *Job, f *ScaffoldFirm) bool {
	if b := v.booked[j.ID]; b != nil && b.ScaffoldFirm == f.ID && (b.State == BookingConfirmed || b.State == BookingCountered) {
		return true
	}
	return f.ReachKm == 0 || yardOf(f).KmTo(siteOf(j)) <= float64(f.ReachKm)
}

// gangDays gives the days on which a scaffold firm's gangs work: working days
// but its days off; of a firm that is not known, every working day.
func (v *validation) gangDays(f *ScaffoldFirm) func(civil.Date) bool {
	return func(d civil.Date) bool { return v.work.is(d) && (f == nil || !f.DaysOff.Has(d)) }
}

// overtime tells whether crews may work on a day that is no working day: a
// Saturday, no holiday, and the firm pays for it.
func (v *validation) overtime(d civil.Date) bool {
	return v.s.Firm.Rates.OvertimePercent != 0 && d.Weekday() == time.Saturday &&
		!slices.ContainsFunc(v.s.Holidays, func(h Holiday) bool { return h.Day == d })
}

// hours gives the days of a crew by which a visit of some half-days is judged:
// with Saturdays when it is worked on one, without when it is not.
func (v *validation) hours(c *Crew, list []civil.HalfDay) func(civil.Date) bool {
	late := v.saturdays(list)
	return func(d civil.Date) bool { return (v.work.is(d) || late && v.overtime(d)) && present(c, d) }
}

// saturdays tells whether half-days that are still to come lie on a Saturday that
// is worked.
func (v *validation) saturdays(list []civil.HalfDay) bool {
	return slices.ContainsFunc(list, func(h civil.HalfDay) bool { return h.Date() >= v.s.FirstDay && v.overtime(h.Date()) })
}

// workable tells whether a chance lets an outdoor half-day be planned.
func (v *validation) workable(c weather.Chance) bool {
	return c.Known && 100*c.P >= float64(v.s.Firm.Rates.LeastChance)
}

func (v *validation) sky(j *Job, x *Visit) {
	if x.Stage.Task() == weather.Indoors {
		return
	}
	for _, h := range x.HalfDays {
		switch c := v.chanceBy(j, x.Stage, x.ScaffoldFirm, h); {
		case !c.Known:
			v.say(ruleWeather, j, x.Stage, "the chance for %s is not known.", h.Short())
		case !v.workable(c):
			v.say(ruleLeast, j, x.Stage, "the chance for %s is %.1f%%, the firm plans on no less than %d%%.", h.Short(), 100*c.P, v.s.Firm.Rates.LeastChance)
		}
	}
}

func (v *validation) chance(j *Job, k StageKind, h civil.HalfDay) weather.Chance {
	return v.chanceBy(j, k, uuid.Nil, h)
}

// chanceBy gives the chance for whoever does an erection or strike: a scaffold
// firm with a gust limit of its own is held against that.
func (v *validation) chanceBy(j *Job, k StageKind, firm uuid.UUID, h civil.HalfDay) weather.Chance {
	key := sightKey{site: j.Site.ID, task: k.Task()}
	if f := v.firm(firm); f != nil && f.GustLimit > 0 {
		key.by = firm
	}
	if o := v.sight[key]; o != nil {
		return o.At(h)
	}
	return weather.Chance{}
}

// notBefore checks the gates that open on a day.
func (v *validation) notBefore(j *Job, x *Visit) {
	d := x.First().Date()
	for _, b := range v.gates(j, x.Stage) {
		switch {
		case !b.on.Known():
			v.say(b.rule, j, x.Stage, "%s.", b.why)
		case d < b.on:
			v.say(b.rule, j, x.Stage, "it starts on %s, but %s.", d.Short(), b.why)
		}
	}
	if x.Stage.Trade() != ScaffoldTrade {
		return
	}
	if f := v.firm(x.ScaffoldFirm); f != nil {
		if why := v.noNotice(j, x.Stage, f, d); why != "" {
			v.say(ruleNotice, j, x.Stage, "%s", why)
		}
	}
}

// gate is the first day of a stage by one fact; NoDate = none can be given.
type gate struct {
	rule string
	on   civil.Date
	why  string
}

func (v *validation) gates(j *Job, k StageKind) (list []gate) {
	if j.ReadyOn.Known() {
		list = append(list, gate{ruleReady, j.ReadyOn, "the job is ready on " + j.ReadyOn.Short()})
	}
	for _, c := range j.Consents {
		name := strings.ReplaceAll(string(c.Kind), "_", " ")
		switch {
		case c.Stage != k:
		case c.State == ConsentRefused:
			list = append(list, gate{ruleConsent, civil.NoDate, "the " + name + " was refused"})
		case c.State == ConsentGranted && c.GrantedOn.Known():
			list = append(list, gate{ruleConsent, c.GrantedOn, "the " + name + " is granted from " + c.GrantedOn.Short()})
		case c.ExpectedOn.Known() && c.ExpectedOn < v.today:
			list = append(list, gate{ruleConsent, civil.NoDate, "the " + name + " was expected on " + c.ExpectedOn.Short() + " and has not come"})
		default:
			list = append(list, gate{ruleConsent, c.ExpectedOn, "the " + name + " is expected: " + c.ExpectedOn.Short()})
		}
	}
	if k == RoofWork || k == SecondFix {
		for _, kit := range j.Kit {
			on := kit.ArrivedOn
			switch {
			case on.Known() || !kit.DueOn.Known():
			case kit.DueOn < v.today:
				list = append(list, gate{ruleKit, civil.NoDate, fmt.Sprintf("kit (%s) was expected on %s and has not come", kit.Item, kit.DueOn.Short())})
				continue
			default:
				on = kit.DueOn + 1
			}
			list = append(list, gate{ruleKit, on, fmt.Sprintf("kit (%s) can be used from: %s", kit.Item, on.Short())})
		}
	}
	return list
}

// noNotice says why a scaffold firm cannot be asked for a day; "" = it can: the
// notice is kept, or the day is booked already.
func (v *validation) noNotice(j *Job, k StageKind, f *ScaffoldFirm, d civil.Date) string {
	notice := f.ErectNotice
	if k == ScaffoldStrike {
		notice = f.StrikeNotice
	}
	b := v.booked[j.ID]
	if b != nil && k == ScaffoldErection && b.State.noDay() && b.ScaffoldFirm == f.ID && b.ErectOn == d {
		if b.State == BookingRefused {
			return fmt.Sprintf("%s cannot do %s and offered no other day.", f.Name, d.Short())
		}
		return fmt.Sprintf("%s refused %s and offered %s.", f.Name, d.Short(), b.OfferedOn.Short())
	}
	if k == ScaffoldErection && v.cannot(j, f.ID, d) {
		return fmt.Sprintf("%s said before that it cannot do %s.", f.Name, d.Short())
	}
	if on, firm := v.bookedFor(j, k); firm == f.ID && on == d {
		return ""
	}
	if b != nil && k == ScaffoldErection && b.State == BookingCountered && b.ScaffoldFirm == f.ID && d < b.OfferedOn {
		return fmt.Sprintf("%s offers %s and is asked for %s, which is sooner.", f.Name, b.OfferedOn.Short(), d.Short())
	}
	if earliest := v.work.add(v.today, notice); d < earliest {
		return fmt.Sprintf("%s is asked for %s, which keeps less than its notice of %s from %s: %s at the earliest.",
			f.Name, d.Short(), workingDays(notice), v.today.Short(), earliest.Short())
	}
	return ""
}

// cannot tells whether a scaffold firm refused a day for a job and has not
// confirmed it since.
func (v *validation) cannot(j *Job, firm uuid.UUID, d civil.Date) bool {
	b := v.booked[j.ID]
	if b != nil && b.State == BookingConfirmed && b.ScaffoldFirm == firm && b.ErectOn == d {
		return false
	}
	return slices.ContainsFunc(v.s.Refused, func(r RefusedDay) bool { return r.Job == j.ID && r.ScaffoldFirm == firm && r.On == d })
}

// bookedFor gives the day and firm that are booked, or offered, for a stage.
func (v *validation) bookedFor(j *Job, k StageKind) (civil.Date, uuid.UUID) {
	b := v.booked[j.ID]
	switch {
	case b == nil:
		was := v.published(j, k)
		if was != nil && was.First() >= v.s.FirstDay.In(civil.Morning) && !(k == ScaffoldErection && v.cannot(j, was.ScaffoldFirm, was.First().Date())) {
			return was.First().Date(), was.ScaffoldFirm
		}
		return civil.NoDate, uuid.Nil
	case k == ScaffoldStrike:
		return b.StrikeOn, b.ScaffoldFirm
	case b.State == BookingCountered:
		return b.OfferedOn, b.ScaffoldFirm
	case b.State == BookingRefused || v.cannot(j, b.ScaffoldFirm, b.ErectOn):
		return civil.NoDate, uuid.Nil
	default:
		return b.ErectOn, b.ScaffoldFirm
	}
}

// waitsFor lists the stages of the job that come before a stage.
func (v *validation) waitsFor(j *Job, k StageKind) []StageKind {
	list := map[StageKind][]StageKind{
		RoofWork: {ScaffoldErection}, SecondFix: {FirstFix}, Commissioning: {RoofWork, SecondFix}, ScaffoldStrike: {RoofWork, ScaffoldErection},
	}[k]
	return slices.DeleteFunc(list, func(b StageKind) bool { _, has := j.Stage(b); return !has })
}

func (v *validation) before(j *Job, x *Visit) {
	for _, b := range v.waitsFor(j, x.Stage) {
		st, _ := v.stage(j, b)
		switch before := v.get(j, b); {
		case st.State == StateDone:
			if x.First().Date() <= st.DoneOn && st.DoneOn >= v.s.FirstDay {
				v.say(ruleOrder, j, x.Stage, "it starts on %s, %s is done on %s.", x.First().Short(), b, st.DoneOn.Short())
			}
		case b == ScaffoldErection && x.Stage == ScaffoldStrike && v.overtaken(j, b):
			// the scaffold stands, only nobody marked its erection
		case before == nil || len(before.HalfDays) == 0:
			v.say(ruleOrder, j, x.Stage, "it is planned, but %s before it is not.", b)
		case x.First() <= before.Last():
			v.say(ruleOrder, j, x.Stage, "it starts on %s, but %s ends on %s.", x.First().Short(), b, before.Last().Short())
		}
	}
}

func (v *validation) crewsInOnePlace() {
	at := map[uuid.UUID]map[civil.HalfDay]*Visit{}
	for _, x := range v.visits {
		if x.Crew == uuid.Nil {
			continue
		}
		if at[x.Crew] == nil {
			at[x.Crew] = map[civil.HalfDay]*Visit{}
		}
		for _, h := range x.HalfDays {
			if o := v.s.heldAt(x.Crew, h); o != nil {
				v.say(ruleOnePlace, v.byID[x.Job], x.Stage, "its crew is held for %s on %s, until %s.", o.For, h.Short(), o.Until.Format("2 Jan 15:04"))
			}
			if other := at[x.Crew][h]; other != nil && other != x {
				v.say(ruleOnePlace, v.byID[x.Job], x.Stage, "its crew is at %s (%s) on %s.", v.byID[other.Job].Ref, other.Stage, h.Short())
				continue
			}
			at[x.Crew][h] = x
		}
	}
}

// standing tells whether a job's scaffold is up by the facts.
func (v *validation) standing(j *Job) bool {
	if st, ok := j.Stage(ScaffoldStrike); ok && st.State != StatePlanned {
		return st.State == StateStarted
	}
	if st, ok := j.Stage(ScaffoldErection); ok && st.State != StatePlanned {
		return true
	}
	b := v.booked[j.ID]
	roof, ok := j.Stage(RoofWork)
	return b != nil && (b.State == BookingErected || ok && roof.State != StatePlanned)
}

// owner gives the scaffold firm whose scaffold stands; Nil = nobody knows.
func (v *validation) owner(j *Job) uuid.UUID {
	if b := v.booked[j.ID]; b != nil {
		return b.ScaffoldFirm
	}
	for _, k := range []StageKind{ScaffoldStrike, ScaffoldErection} {
		if was := v.published(j, k); was != nil {
			return was.ScaffoldFirm
		}
	}
	if len(v.s.ScaffoldFirms) == 1 {
		return v.s.ScaffoldFirms[0].ID
	}
	return uuid.Nil
}

// scaffoldFirms counts gangs and sets by firm and day.
func (v *validation) scaffoldFirms() {
	for i := range v.s.ScaffoldFirms {
		f := &v.s.ScaffoldFirms[i]
		for d := v.s.FirstDay; d <= v.lastDay; d++ {
			chosen, given := v.gangs(f, d, func(*Visit) bool { return true })
			if chosen > 0 && chosen+given > f.GangsPerDay {
				v.say(ruleGangs, nil, StageUnknown, "%s has %d erections and strikes on %s, it has %d gangs.", f.Name, chosen+given, d.Short(), f.GangsPerDay)
			}
			chosen, given = v.sets(f, d)
			if chosen > 0 && chosen+given > f.Sets {
				v.say(ruleSets, nil, StageUnknown, "%s has %d scaffolds standing on %s, it has %d sets.", f.Name, chosen+given, d.Short(), f.Sets)
			}
		}
		v.lingering(f)
	}
}

// yard sorts out what is about a scaffold firm, so that counting a day does not
// walk all jobs of all firms.
func (v *validation) yard(f *ScaffoldFirm) *yard {
	if y := v.yards[f.ID]; y != nil {
		return y
	}
	y := &yard{}
	for _, x := range v.visits {
		if x.ScaffoldFirm == f.ID {
			y.visits = append(y.visits, x)
		}
	}
	for _, j := range v.jobs {
		if x := v.get(j, ScaffoldErection); v.owner(j) == f.ID || x != nil && x.ScaffoldFirm == f.ID {
			y.jobs = append(y.jobs, j)
		}
	}
	for i := range v.s.Bookings {
		b := &v.s.Bookings[i]
		if v.byID[b.Job] == nil && b.ScaffoldFirm == f.ID && b.State != BookingStruck && b.State != BookingCancelled {
			y.elsewhere = append(y.elsewhere, b)
		}
	}
	v.yards[f.ID] = y
	return y
}

// gangs counts the visits of a scaffold firm on a day, and what bookings of
// jobs that are not in the plan need besides.
func (v *validation) gangs(f *ScaffoldFirm, d civil.Date, count func(*Visit) bool) (chosen, given int) {
	for _, x := range v.yard(f).visits {
		if count(x) && slices.ContainsFunc(x.HalfDays, func(h civil.HalfDay) bool { return h.Date() == d }) {
			chosen++
		}
	}
	for _, b := range v.yard(f).elsewhere {
		if b.ErectOn == d && b.State != BookingErected || b.StrikeOn == d && (b.StrikeOn != b.ErectOn || b.State == BookingErected) {
			given++
		}
	}
	return chosen, given
}

// sets counts the scaffolds of a firm that stand on a day: those the plan chose
// to put up, and those that the facts put up: they stand already, or were to
// come on a day that may not be moved.
func (v *validation) sets(f *ScaffoldFirm, d civil.Date) (chosen, given int) {
	for _, j := range v.yard(f).jobs {
		switch there, byFacts := v.scaffoldOn(j, f, d); {
		case there && byFacts:
			given++
		case there:
			chosen++
		}
	}
	for _, b := range v.yard(f).elsewhere {
		if d >= b.ErectOn && d <= max(b.StrikeOn, v.s.FirstDay) {
			given++
		}
	}
	return chosen, given
}

// scaffoldOn tells whether a job's scaffold of a firm stands on a day, and
// whether the facts put it up.
func (v *validation) scaffoldOn(j *Job, f *ScaffoldFirm, d civil.Date) (there, byFacts bool) {
	until := v.lastDay
	if x := v.get(j, ScaffoldStrike); x != nil && len(x.HalfDays) > 0 {
		until = x.Last().Date()
	}
	if v.standing(j) {
		return v.owner(j) == f.ID && d <= until, true
	}
	x := v.get(j, ScaffoldErection)
	if x == nil || len(x.HalfDays) == 0 || x.ScaffoldFirm != f.ID || d < x.First().Date() || d > until {
		return false, false
	}
	return true, v.fixed(x)
}

// job checks what ties a job's visits together.
func (v *validation) job(j *Job) {
	for _, st := range j.Stages {
		if v.open(j, st.Kind) && v.get(j, st.Kind) == nil && !v.left[visitKey{j.ID, st.Kind}] {
			v.say(ruleAccounted, j, st.Kind, "it is neither planned nor listed as left out.")
		}
	}
	erect, strike := v.get(j, ScaffoldErection), v.get(j, ScaffoldStrike)
	if v.standing(j) {
		for _, x := range []*Visit{erect, strike} {
			if x != nil && x.ScaffoldFirm != v.owner(j) {
				v.say(ruleFirm, j, x.Stage, "it is not with the firm whose scaffold stands.")
			}
		}
		return
	}
	came := erect != nil && v.fixed(erect) // it comes even when its roof work finds no place
	if erect != nil && strike == nil && !came {
		v.say(ruleTogether, j, ScaffoldErection, "a scaffold would go up that no strike brings down.")
	}
	if erect != nil && v.open(j, RoofWork) && v.get(j, RoofWork) == nil && !came {
		v.say(ruleTogether, j, ScaffoldErection, "a scaffold would go up with no roof work on it.")
	}
	if erect != nil && strike != nil && erect.ScaffoldFirm != strike.ScaffoldFirm {
		v.say(ruleFirm, j, ScaffoldStrike, "another scaffold firm strikes than erects.")
	}
	if strike != nil && erect == nil {
		v.say(ruleTogether, j, ScaffoldStrike, "there is no scaffold to strike.")
	}
}

func (v *validation) sum() {
	total := Pence(0)
	for _, l := range v.p.Cost.Lines {
		total += l.Amount
	}
	if total != v.p.Cost.Total {
		v.say(ruleCost, nil, StageUnknown, "The lines of the cost sum to %s, the total says %s.", total, v.p.Cost.Total)
	}
}
