package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// prices holds the amounts that make up a plan's cost, each as MODEL.md
// defines it. The planner's fast cost and Price both take them from here; how
// a plan adds up, each works out for itself.
type prices struct {
	*facts
	rates    Rates
	workdays int                 // working days of the plan
	ordinal  map[civil.Date]int  // of each of them, from 0
	roads    map[roadKey]float64 // [km] between places, as far as the firm gave them
	cancels  []civil.Date        // by scaffold firm: what is agreed for a day before this is inside its cancel notice
}

func newPrices(f *facts) *prices {
	p := &prices{facts: f, rates: f.s.Firm.Rates, ordinal: map[civil.Date]int{}, roads: f.s.roads()}
	for d := f.s.FirstDay; d <= f.last; d++ {
		if f.days.is(d) {
			p.ordinal[d] = p.workdays
			p.workdays++
		}
	}
	for _, s := range f.firms {
		p.cancels = append(p.cancels, f.days.add(f.today, s.CancelNotice))
	}
	return p
}

// idle is what a crew's half-day without work counts: the firm's share of its
// pay on the first working day, falling in equal steps to nothing after the
// last, since the further off, the likelier new work fills it.
func (p *prices) idle(c *Crew, d civil.Date) Pence {
	n, ok := p.ordinal[d]
	if !ok {
		return 0
	}
	return c.HalfDayCost * Pence(p.rates.IdleShare) * Pence(p.workdays-n) / Pence(100*p.workdays)
}

// trip is the price of one leg: kilometres by road x rate, rounded to the penny.
func (p *prices) trip(a, b weather.Point) Pence {
	return Pence(math.Round(p.roadKm(a, b) * float64(p.rates.TravelPerKm)))
}

// roadKm is how far it is by road [km]: what the firm gave, else great-circle
// kilometres x road factor.
func (p *prices) roadKm(a, b weather.Point) float64 {
	if km, ok := p.roads[roadBetween(a, b)]; ok {
		return km
	}
	return a.KmTo(b) * p.rates.RoadFactor
}

// lost is the price of a half-day that weather takes from a stage.
func (p *prices) lost(k StageKind) Pence {
	switch {
	case k.Task() == weather.Indoors:
		return 0
	case k.Trade() == ScaffoldTrade:
		return p.rates.LostScaffoldVisit
	default:
		return p.rates.LostRoofHalfDay
	}
}

// weather is the expected cost of one outdoor half-day: (1 - chance) x rate,
// rounded to the penny. An unknown chance counts as none at all.
func (p *prices) weather(c weather.Chance, k StageKind) Pence {
	chance := 0.0
	if c.Known {
		chance = c.P
	}
	return Pence(math.Round((1 - chance) * float64(p.lost(k))))
}

// late is the price of commissioning that ends on a day: each working day after
// the promise at the rate of a promise that was told or was not, dearer by the
// firm's growth with every full week of five working days that it is late
// already. Each day is rounded down to the penny.
func (p *prices) late(j *Job, on civil.Date) (sum Pence) {
	if !j.PromisedOn.Known() {
		return 0
	}
	for left, week := p.days.after(j.PromisedOn, on), 0; left > 0; left, week = left-5, week+1 {
		sum += Pence(min(left, 5)) * (p.lateRate(j) * Pence(100+week*p.rates.LateGrowth) / 100)
	}
	return sum
}

// lateRate is what a day of the first week after the promise costs.
func (p *prices) lateRate(j *Job) Pence {
	if j.PromiseTold {
		return p.rates.LateTold
	}
	return p.rates.LatePerDay
}

// hire is the price of the weeks begun after those that are included, for a
// scaffold that stands from one day to another, both inclusive.
func (p *prices) hire(f *ScaffoldFirm, from, to civil.Date) Pence {
	weeks := (int(to-from) + 1 + 6) / 7
	return f.WeeklyHire * Pence(max(0, weeks-f.IncludedWeeks))
}

// idleScaffold is the price of the days on which a scaffold stands for nothing:
// the days from one date to another, both inclusive, but for those that its
// work takes; only those of the included weeks, since later ones are hired.
func (p *prices) idleScaffold(w *work, f *ScaffoldFirm, from, to civil.Date) Pence {
	return p.rates.IdleScaffoldDay * Pence(w.daysIdle(f, from, to))
}

// standing is the price of a scaffold's standing: hire and idle days.
func (p *prices) standing(w *work, f *ScaffoldFirm, from, to civil.Date) Pence {
	return p.hire(f, from, to) + p.idleScaffold(w, f, from, to)
}

// daysIdle counts them.
func (w *work) daysIdle(f *ScaffoldFirm, from, to civil.Date) int {
	return max(0, min(int(to-from)+1, 7*f.IncludedWeeks)-w.scaffoldDays())
}

// scaffoldDays is how many days the work on and of the job's scaffold takes,
// done or not: half of the half-days of erection, roof work and strike, rounded
// up.
func (w *work) scaffoldDays() int {
	n := 0
	for _, k := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
		if w.stage[k] != nil {
			n += w.stage[k].HalfDays
		}
	}
	return (n + 1) / 2
}

// handover tells what it costs that one crew does a stage after another did the
// one before it.
func (p *prices) handover(before, after uuid.UUID) Pence {
	if before == uuid.Nil || after == uuid.Nil || before == after {
		return 0
	}
	return p.rates.Handover
}

// handsOver gives the stage of the job whose crew a stage should have: the
// electrical one before it. StageUnknown = none.
func (w *work) handsOver(k StageKind) StageKind {
	switch {
	case k == SecondFix && w.stage[FirstFix] != nil:
		return FirstFix
	case k == Commissioning && w.stage[SecondFix] != nil:
		return SecondFix
	case k == Commissioning && w.stage[FirstFix] != nil:
		return FirstFix
	default:
		return StageUnknown
	}
}

// overtime is what a crew's half-day on a Saturday costs: its pay besides the
// week's, since the week is paid already. Rounded down to the penny.
func (p *prices) overtime(c *Crew, d civil.Date) Pence {
	if d.Weekday() != time.Saturday {
		return 0
	}
	return c.HalfDayCost * Pence(p.rates.OvertimePercent) / 100
}

// soonDays is how near a day is when moving it costs MovedSoon, and farDays how
// far off when it costs MovedVisit (common practice, no source).
const (
	soonDays = 7
	farDays  = 28
)

// moved is the price of moving a published visit to a day, or of taking it out
// (NoDate). It counts the days from today to the nearer of the old day and the
// new: MovedVisit from 28 days on, MovedSoon up to 7, and evenly between. A day
// that the customer confirmed costs MovedConfirmed besides when it is given up.
func (p *prices) moved(w *work, v *Visit, to civil.Date) Pence {
	was := v.First().Date()
	near := was
	if to.Known() {
		near = min(near, to)
	}
	ahead := Pence(min(max(int(near-p.today), soonDays), farDays))
	sum := p.rates.MovedVisit + (p.rates.MovedSoon-p.rates.MovedVisit)*(farDays-ahead)/(farDays-soonDays)
	if to != was && w.job.ConfirmedFor(v.Stage) == was {
		sum += p.rates.MovedConfirmed
	}
	return sum
}

// bookingMoved is the price of an erection or strike by a scaffold firm on a
// day, when another day or firm was agreed. The strike of a scaffold that
// stands is agreed for its booked day, also before the first plan, unless the
// published plan had none for it.
func (p *prices) bookingMoved(w *work, k StageKind, firm uuid.UUID, on civil.Date) Pence {
	b := w.booking
	switch {
	case b == nil:
		return 0
	case b.State == BookingConfirmed:
	case b.State == BookingErected && k == ScaffoldStrike && !w.noStrike:
	default:
		return 0
	}
	agreed := b.ErectOn
	if k == ScaffoldStrike {
		agreed = b.StrikeOn
	}
	if agreed < p.s.FirstDay || on == agreed && firm == b.ScaffoldFirm {
		return 0
	}
	return p.rates.MovedBooking + p.cancelCharge(b, agreed)
}

// cancelCharge is what the scaffold firm charges for a visit that is agreed for a
// day and is moved or called off inside its cancel notice.
func (p *prices) cancelCharge(b *Booking, agreed civil.Date) Pence {
	if f := p.firm(b.ScaffoldFirm); f >= 0 && agreed < p.cancels[f] {
		return p.firms[f].CancelCharge
	}
	return 0
}

// chargeWords says of an agreed visit that is given up what its scaffold firm
// charges for that, as the end of a sentence; "" = nothing.
func (b *bill) chargeWords(w *work, k StageKind) string {
	if w.booking == nil {
		return ""
	}
	agreed := w.booking.ErectOn
	if k == ScaffoldStrike {
		agreed = w.booking.StrikeOn
	}
	charge := b.cancelCharge(w.booking, agreed)
	if charge == 0 {
		return ""
	}
	return fmt.Sprintf("; %s charges %s of it for a visit given up within %s", b.firmName(w.booking), charge, workingDays(b.firms[b.firm(w.booking.ScaffoldFirm)].CancelNotice))
}

// absent is the price of leaving a stage out. Only one that could have a place
// counts as left out; but a promise is late and an appointment is moved
// whatever the reason.
func (p *prices) absent(w *work, k StageKind, could bool) (sum Pence) {
	if could {
		sum += p.leftOut(w, k)
	}
	if k == Commissioning {
		sum += p.late(w.job, p.last)
	}
	if w.base[k] != nil {
		sum += p.moved(w, w.base[k], civil.NoDate)
	}
	if w.planned(k) && k.Trade() == ScaffoldTrade {
		sum += p.bookingMoved(w, k, uuid.Nil, civil.NoDate)
	}
	return sum
}

// leftOut is the price of a stage that found no place. An erection's scaffold
// will have to be paid all the same, so its least price counts as well, and the
// weather of roof work is still to come: a plan must not become cheaper by leaving
// work undone.
func (p *prices) leftOut(w *work, k StageKind) Pence {
	sum := max(p.rates.UnplannedStage, p.weatherAhead(w, k))
	if k == ScaffoldErection && w.together() {
		if who := p.firmsFor(w); len(who) > 0 {
			sum += p.firms[slices.MinFunc(who, func(a, b int) int { return cmp.Compare(p.firms[a].VisitPrice, p.firms[b].VisitPrice) })].VisitPrice
		}
	}
	return sum
}

// Price works out what a plan costs, line by line, each with its sentence. It
// reads the plan's visits and the snapshot, and nothing that the search kept.
// Lines of nothing are left out. Visits of unknown jobs, stages, crews or
// scaffold firms are for Validate to name; Price passes over them.
func Price(s Snapshot, p Plan) Cost {
	b := newBill(&s, p)
	for i := range b.work {
		b.job(i)
	}
	for _, c := range b.crews {
		b.crewLines(c)
	}
	rank := map[CostItem]int{}
	for i, item := range []CostItem{Lateness, ScaffoldVisits, ScaffoldHire, ScaffoldIdle, WeatherRisk, Moved, NotPlanned, Handovers, Overtime, IdleCrew, Travel} {
		rank[item] = i
	}
	slices.SortStableFunc(b.cost.Lines, func(x, y CostLine) int { return cmp.Compare(rank[x.Item], rank[y.Item]) })
	return b.cost
}

// bill adds up one plan.
type bill struct {
	*prices
	visits map[uuid.UUID]*[stageCount]*Visit
	jobs   map[uuid.UUID]*Job
	workOf map[uuid.UUID]*work
	byCrew map[uuid.UUID][]*Visit
	cost   Cost
}

func newBill(s *Snapshot, p Plan) *bill {
	b := &bill{prices: newPrices(newFacts(s)), visits: map[uuid.UUID]*[stageCount]*Visit{},
		jobs: map[uuid.UUID]*Job{}, workOf: map[uuid.UUID]*work{}, byCrew: map[uuid.UUID][]*Visit{}}
	for i := range b.work {
		j := b.work[i].job
		b.visits[j.ID], b.jobs[j.ID], b.workOf[j.ID] = &[stageCount]*Visit{}, j, &b.work[i]
	}
	for i := range p.Visits {
		v := &p.Visits[i]
		of := b.visits[v.Job]
		if of == nil || len(v.HalfDays) == 0 || v.Stage <= 0 || int(v.Stage) >= stageCount {
			continue
		}
		of[v.Stage] = v
		b.byCrew[v.Crew] = append(b.byCrew[v.Crew], v)
	}
	return b
}

func (b *bill) add(item CostItem, job, crew uuid.UUID, amount Pence, format string, args ...any) {
	if amount == 0 {
		return
	}
	b.cost.Total += amount
	b.cost.Lines = append(b.cost.Lines, CostLine{Item: item, Job: job, Crew: crew, Amount: amount, Why: fmt.Sprintf(format, args...)})
}

// addMoved adds what the move of one visit is charged.
func (b *bill) addMoved(job uuid.UUID, k StageKind, amount Pence, format string, args ...any) {
	had := len(b.cost.Lines)
	b.add(Moved, job, uuid.Nil, amount, format, args...)
	for i := range b.cost.Lines[had:] {
		b.cost.Lines[had+i].Stage = k
	}
}

func (b *bill) job(i int) {
	w := &b.work[i]
	visits := b.visits[w.job.ID]
	for _, k := range StageKinds {
		if !w.open(k) {
			continue
		}
		v := visits[k]
		if v == nil {
			b.missing(w, k)
			continue
		}
		b.weatherLine(w, v)
		b.movedLine(w, v)
		b.handoverLine(w, v, visits)
		if k == Commissioning {
			end := v.Last().Date()
			b.add(Lateness, w.job.ID, uuid.Nil, b.late(w.job, end), "%s: commissioned on %s, %s.", w.job.Ref, end.Short(), b.lateWords(w.job, end))
		}
	}
	b.scaffold(w, visits)
}

func (b *bill) lateWords(j *Job, on civil.Date) string {
	n := b.days.after(j.PromisedOn, on)
	promised := "promised"
	if j.PromiseTold {
		promised = "promised (and told)"
	}
	if n <= 5 || b.rates.LateGrowth == 0 {
		return fmt.Sprintf("%s after the %s %s, at %s each", workingDays(n), promised, j.PromisedOn.Short(), b.lateRate(j))
	}
	return fmt.Sprintf("%s after the %s %s, at %s each in the first week and %d%% more in each that follows", workingDays(n), promised, j.PromisedOn.Short(), b.lateRate(j), b.rates.LateGrowth)
}

func (b *bill) missing(w *work, k StageKind) {
	id := w.job.ID
	if w.blocked[k].why == "" || w.blocked[k].pin {
		scaffold := ""
		if k == ScaffoldErection && w.together() {
			scaffold = " and the scaffold's price is still to be paid"
		}
		if b.weatherAhead(w, k) > b.rates.UnplannedStage {
			scaffold = fmt.Sprintf(", and the weather of its %s of work, which would cost less in any place of the plan, is still to come", halfDays(w.left(k, b.s.FirstDay)))
		}
		b.add(NotPlanned, id, uuid.Nil, b.leftOut(w, k), "%s: %s could start in the plan but has no place%s.", w.job.Ref, k, b.byPin(w, k)+scaffold)
	}
	if k == Commissioning {
		b.add(Lateness, id, uuid.Nil, b.late(w.job, b.last), "%s: not commissioned by the plan's last day, %s, %s.", w.job.Ref, b.last.Short(), b.lateWords(w.job, b.last))
	}
	if v := w.base[k]; v != nil {
		b.addMoved(id, k, b.moved(w, v, civil.NoDate), "%s: %s was published for %s%s and has no place now.", w.job.Ref, k, v.First().Short(), confirmed(w, v, civil.NoDate))
	}
	if w.planned(k) && k.Trade() == ScaffoldTrade {
		b.addMoved(id, k, b.bookingMoved(w, k, uuid.Nil, civil.NoDate), "%s: %s is agreed with %s and has no day now%s.", w.job.Ref, k, b.firmName(w.booking), b.chargeWords(w, k))
	}
}

// byPin says that a person's word left a stage out.
func (b *bill) byPin(w *work, k StageKind) string {
	if w.blocked[k].pin {
		return ", since a pin leaves it none"
	}
	return ""
}

func (b *bill) firmName(booking *Booking) string {
	if booking != nil {
		if f := b.firm(booking.ScaffoldFirm); f >= 0 {
			return b.firms[f].Name
		}
	}
	return "the scaffold firm"
}

func (b *bill) weatherLine(w *work, v *Visit) {
	who := -1
	if v.Stage.Trade() == ScaffoldTrade {
		who = b.firm(v.ScaffoldFirm)
	}
	o := b.chancesBy(w, v.Stage, who)
	if o == nil {
		return
	}
	var sum Pence
	var chances []string
	for _, h := range v.HalfDays {
		c := o.At(h)
		sum += b.weather(c, v.Stage)
		chances = append(chances, percent(c))
	}
	if len(chances) == 1 {
		b.add(WeatherRisk, w.job.ID, v.Crew, sum, "%s: %s on %s, chance of fit weather%s %s, at %s a lost half-day.",
			w.job.Ref, v.Stage, v.First().Short(), b.limitWords(v.Stage, who), chances[0], b.lost(v.Stage))
		return
	}
	n := w.left(v.Stage, b.s.FirstDay)
	if v.Reserve(n) > 0 {
		b.add(WeatherRisk, w.job.ID, v.Crew, sum, "%s: %s from %s to %s, %s for %d of work: those that the weather is likely to take, each at %s; %s that %d are fit.",
			w.job.Ref, v.Stage, v.First().Short(), v.Last().Short(), halfDays(len(v.HalfDays)), n, b.lost(v.Stage), percent(visitChance(v.HalfDays, o, n)), n)
		return
	}
	b.add(WeatherRisk, w.job.ID, v.Crew, sum, "%s: %s from %s, chance of fit weather %s, one half-day after the other, at %s a lost half-day; %s that all are fit, the worse half of each day multiplied.",
		w.job.Ref, v.Stage, v.First().Short(), strings.Join(chances, ", "), b.lost(v.Stage), percent(visitChance(v.HalfDays, o, len(v.HalfDays))))
}

// percent writes a chance in whole percent, never as 0 or 100; one under 10% is
// rounded down, as on the pages, so that 9.6% is not 10% beside a least chance.
func percent(c weather.Chance) string {
	if !c.Known {
		return "unknown"
	}
	switch { // no forecast is sure, and no chance is written as if it were
	case c.P < 0.01:
		return "under 1%"
	case c.P < 0.1:
		return fmt.Sprintf("%d%%", int(100*c.P+1e-9))
	case c.P >= 0.995:
		return "over 99%"
	}
	return fmt.Sprintf("%.0f%%", 100*c.P)
}

func (b *bill) movedLine(w *work, v *Visit) {
	was := w.base[v.Stage]
	if was != nil && !v.Stays(was) {
		b.addMoved(w.job.ID, v.Stage, b.moved(w, was, v.First().Date()), "%s: %s moves from %s with %s%s to %s with %s.",
			w.job.Ref, v.Stage, was.First().Short(), b.whoDoes(was), confirmed(w, was, v.First().Date()), v.First().Short(), b.whoDoes(v))
	}
	if w.planned(v.Stage) && v.Stage.Trade() == ScaffoldTrade {
		b.addMoved(w.job.ID, v.Stage, b.bookingMoved(w, v.Stage, v.ScaffoldFirm, v.First().Date()), "%s: %s on %s is not what was agreed with %s%s.",
			w.job.Ref, v.Stage, v.First().Date().Short(), b.firmName(w.booking), b.chargeWords(w, v.Stage))
	}
}

// handoverLine prices that a stage is done by another crew than the one before.
func (b *bill) handoverLine(w *work, v *Visit, visits *[stageCount]*Visit) {
	before := w.handsOver(v.Stage)
	if before == StageUnknown {
		return
	}
	crew := w.did[before]
	if was := visits[before]; was != nil {
		crew = was.Crew
	}
	b.add(Handovers, w.job.ID, v.Crew, b.handover(crew, v.Crew), "%s: %s is done by %s, %s by %s, who must be told what was found.",
		w.job.Ref, before, b.crewName(crew), v.Stage, b.crewName(v.Crew))
}

func (b *bill) crewName(id uuid.UUID) string {
	if c := b.crew(id); c >= 0 {
		return b.crews[c].Name
	}
	return "nobody known"
}

// confirmed says that the customer had confirmed the day that is given up.
func confirmed(w *work, was *Visit, to civil.Date) string {
	if on := was.First().Date(); to == on || w.job.ConfirmedFor(was.Stage) != on {
		return ""
	}
	return ", which the customer confirmed,"
}

func (b *bill) whoDoes(v *Visit) string {
	if v.Stage.Trade() == ScaffoldTrade {
		if f := b.firm(v.ScaffoldFirm); f >= 0 {
			return b.firms[f].Name
		}
		return "nobody known"
	}
	return b.crewName(v.Crew)
}

// scaffold prices the visits and the hire of a job's scaffold.
func (b *bill) scaffold(w *work, visits *[stageCount]*Visit) {
	erect, strike := visits[ScaffoldErection], visits[ScaffoldStrike]
	from, to, firm := civil.NoDate, b.last, w.owner
	switch {
	case w.standing:
		from = w.since
	case erect != nil:
		from, firm = erect.First().Date(), b.firm(erect.ScaffoldFirm)
	}
	if firm < 0 || !from.Known() {
		return
	}
	f := b.firms[firm]
	if !w.standing {
		b.add(ScaffoldVisits, w.job.ID, uuid.Nil, f.VisitPrice, "%s: %s erects and strikes for %s, %s included.", w.job.Ref, f.Name, f.VisitPrice, weeks(f.IncludedWeeks))
	}
	until := "the end of the plan, since nothing brings it down"
	if strike != nil {
		to = strike.Last().Date()
		until = to.Short()
	}
	n := (int(to-from) + 7) / 7
	b.add(ScaffoldHire, w.job.ID, uuid.Nil, b.hire(f, from, to), "%s: the scaffold stands from %s to %s, %s begun, %d included, at %s a week after that.",
		w.job.Ref, from.Short(), until, weeks(n), f.IncludedWeeks, f.WeeklyHire)
	b.add(ScaffoldIdle, w.job.ID, uuid.Nil, b.idleScaffold(w, f, from, to), "%s: the scaffold stands from %s to %s for %s of work; %s of its included weeks stand idle, at %s each.",
		w.job.Ref, from.Short(), until, dayCount(w.scaffoldDays()), dayCount(w.daysIdle(f, from, to)), b.rates.IdleScaffoldDay)
}

func dayCount(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

func weeks(n int) string {
	if n == 1 {
		return "1 week"
	}
	return fmt.Sprintf("%d weeks", n)
}

// crewLines prices what a crew does not do and what it drives.
func (b *bill) crewLines(c *Crew) {
	at, out := map[civil.HalfDay]*Job{}, map[civil.HalfDay]bool{} // where, and whether it is travelled to
	for _, v := range b.byCrew[c.ID] {
		n := b.workOf[v.Job].left(v.Stage, b.s.FirstDay)
		for i, h := range v.HalfDays {
			at[h], out[h] = b.jobs[v.Job], i < n
		}
	}
	var idle, travel, overtime Pence
	free, all, days, late, km := 0, 0, 0, 0, 0.0
	home := weather.Point{Lat: c.HomeLat, Lon: c.HomeLon}
	for d := b.s.FirstDay; d <= b.last; d++ {
		here := home
		for _, h := range []civil.HalfDay{d.In(civil.Morning), d.In(civil.Afternoon)} {
			j := at[h]
			if b.works(c, d) {
				all++
				if j == nil {
					free++
					idle += b.idle(c, d)
				}
			}
			if j != nil {
				if extra := b.overtime(c, d); extra > 0 {
					overtime += extra
					late++
				}
			}
			if out[h] {
				travel += b.leg(here, siteOf(j), &km)
				here = siteOf(j)
			}
		}
		if here != home {
			days++
		}
		travel += b.leg(here, home, &km)
	}
	b.add(IdleCrew, uuid.Nil, c.ID, idle, "%s: %d of %d paid half-days have no work yet, each at %d%% of %s, less the further off it is.",
		c.Name, free, all, b.rates.IdleShare, c.HalfDayCost)
	b.add(Overtime, uuid.Nil, c.ID, overtime, "%s: %s on Saturdays, each at %d%% of %s.", c.Name, halfDays(late), b.rates.OvertimePercent, c.HalfDayCost)
	b.add(Travel, uuid.Nil, c.ID, travel, "%s: %.0f km by road on %d days, at %s a kilometre.", c.Name, km, days, b.rates.TravelPerKm)
}

func (b *bill) leg(from, to weather.Point, km *float64) Pence {
	if from == to {
		return 0
	}
	*km += b.roadKm(from, to)
	return b.trip(from, to)
}
