package schedule

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// stageCount sizes tables by stage; index 0 is StageUnknown and stays empty.
const stageCount = int(ScaffoldStrike) + 1

// facts is a snapshot read for planning: what of each job is still to be done,
// from when, and what can have no place whatever the search does. MODEL.md
// writes the same down in mathematics.
type facts struct {
	s           *Snapshot
	days        workdays
	today, last civil.Date
	frozen      civil.Date // the last day on which published visits stay
	crews       []*Crew    // by name, for the search by facts (order.go)
	firms       []*ScaffoldFirm
	work        []work // open jobs, by reference, for the search by facts
	others      []Booking
	outlooks    map[outlookKey]*Outlook
}

type outlookKey struct {
	site uuid.UUID
	task weather.Task
	by   uuid.UUID // the scaffold firm whose own gust limit it keeps
}

// work is one open job.
type work struct {
	job      *Job
	stage    [stageCount]*Stage    // nil = the job has none
	base     [stageCount]*Visit    // as published, from the first day on; nil = not published
	begun    [stageCount]*Visit    // published visit of a started stage, whenever
	did      [stageCount]uuid.UUID // the crew that the published plan has for a stage that is done; Nil = it names none
	pins     []*Pin                // in the order of the snapshot
	near     [stageCount]bool      // booked inside the notice: no pin takes it away but one that leaves the job out
	booking  *Booking              // the live one, nil = none
	refused  []RefusedDay          // days that scaffold firms refused for it
	rebooked bool                  // a day was agreed with its scaffold firm that is not the published one
	taken    bool                  // so it was for its erection: the office took the day
	noStrike bool                  // the published plan found no day for its strike, so the booked one is nobody's word
	standing bool                  // its scaffold is up, or going up
	coming   bool                  // its erection is held: the scaffold goes up on a day that may not be moved
	since    civil.Date            // when it stands or comes: the day from which it is hired
	owner    int                   // index of the scaffold firm whose scaffold it is, -1 = not known
	release  [stageCount]release
	blocked  [stageCount]block
}

// release is the first day of a stage and the fact that sets it.
type release struct {
	on  civil.Date
	why string // "the consent (grid connection) is expected on Tue 8 Dec"
}

// block is why a stage can have no place, "" = it may have one, and the stage
// at which the reason lies.
type block struct {
	why  string
	root StageKind
	pin  bool // not the facts but a person's pin leaves it out
}

func newFacts(s *Snapshot) *facts { return readFacts(s, order{}) }

func readFacts(s *Snapshot, by order) *facts {
	f := &facts{s: s, days: newWorkdays(s.Holidays), today: s.today(), last: s.lastDay(), frozen: s.frozenUntil(),
		outlooks: make(map[outlookKey]*Outlook, len(s.Outlooks))}
	for i := range s.Outlooks {
		o := &s.Outlooks[i]
		f.outlooks[outlookKey{o.Site, o.Task, o.By}] = o
	}
	for i := range s.Crews {
		f.crews = append(f.crews, &s.Crews[i])
	}
	slices.SortFunc(f.crews, by.crews(f))
	for i := range s.ScaffoldFirms {
		f.firms = append(f.firms, &s.ScaffoldFirms[i])
	}
	slices.SortFunc(f.firms, by.firms)
	f.readJobs(by)
	f.readPins()
	for i := range f.work {
		f.work[i].readStart(f)
		f.work[i].readBlocks(f)
		for _, k := range []StageKind{ScaffoldErection, ScaffoldStrike} {
			f.work[i].near[k] = f.bookedNear(&f.work[i], k)
		}
		f.readPinned(&f.work[i])
	}
	return f
}

func compareIDs(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) }

func (f *facts) readJobs(by order) {
	for i := range f.s.Jobs {
		if f.s.Jobs[i].State == JobOpen {
			f.work = append(f.work, work{job: &f.s.Jobs[i], owner: -1})
		}
	}
	slices.SortFunc(f.work, by.jobs)
	at := make(map[uuid.UUID]*work, len(f.work))
	for i := range f.work {
		w := &f.work[i]
		at[w.job.ID] = w
		for k := range w.job.Stages {
			if st := &w.job.Stages[k]; st.Kind > 0 && int(st.Kind) < stageCount {
				w.stage[st.Kind] = st
			}
		}
	}
	f.readBase(at)
	live := map[uuid.UUID][]Booking{}
	for _, b := range f.s.Bookings {
		if !b.Live() {
			continue
		}
		if at[b.Job] == nil {
			f.others = append(f.others, b)
			continue
		}
		live[b.Job] = append(live[b.Job], b)
	}
	for id, bookings := range live {
		at[id].booking, _ = keepOne(bookings)
	}
	for _, r := range f.s.Refused {
		if w := at[r.Job]; w != nil {
			w.refused = append(w.refused, r)
		}
	}
	for i := range f.work {
		f.work[i].readAgreed()
		f.work[i].readScaffold(f)
	}
}

func (f *facts) readBase(at map[uuid.UUID]*work) {
	if f.s.Base == nil {
		return
	}
	for _, u := range f.s.Base.Unplanned {
		if w := at[u.Job]; w != nil && u.Stage == ScaffoldStrike {
			w.noStrike = true
		}
	}
	for i := range f.s.Base.Visits {
		v := &f.s.Base.Visits[i]
		w := at[v.Job]
		if w == nil || len(v.HalfDays) == 0 || v.Stage <= 0 || int(v.Stage) >= stageCount || w.stage[v.Stage] == nil {
			continue
		}
		switch state := w.stage[v.Stage].State; {
		case state == StateDone:
			w.did[v.Stage] = v.Crew
		case state == StateStarted:
			w.begun[v.Stage] = v
		case state == StatePlanned && v.First() >= f.s.FirstDay.In(civil.Morning):
			w.base[v.Stage] = v
		}
	}
}

// readAgreed forgets the published day of an erection or a strike for which
// another day is agreed since: the appointment is the agreed one.
func (w *work) readAgreed() {
	b := w.booking
	if b == nil || b.State != BookingConfirmed && b.State != BookingErected {
		return
	}
	erect, strike := w.base[ScaffoldErection], w.base[ScaffoldStrike]
	if erect != nil && (erect.ScaffoldFirm != b.ScaffoldFirm || erect.First().Date() != b.ErectOn) {
		w.base[ScaffoldErection], w.rebooked, w.taken = nil, true, b.State == BookingConfirmed
	}
	if strike != nil && (strike.ScaffoldFirm != b.ScaffoldFirm || strike.Last().Date() != b.StrikeOn) {
		w.base[ScaffoldStrike], w.rebooked = nil, true
	}
}

// readScaffold works out whether a scaffold stands, since when and whose.
func (w *work) readScaffold(f *facts) {
	erection, strike, roof := w.stage[ScaffoldErection], w.stage[ScaffoldStrike], w.stage[RoofWork]
	if strike != nil && strike.State == StateDone {
		return
	}
	if erection != nil && erection.State != StateDone && w.booking != nil && w.booking.State == BookingErected {
		done := *erection // the booking says that it is up
		done.State, done.StartedOn, done.DoneOn = StateDone, w.booking.ErectOn, w.booking.ErectOn
		erection, w.stage[ScaffoldErection] = &done, &done
	}
	up := erection != nil && erection.State != StatePlanned || strike != nil && strike.State == StateStarted
	booked := w.booking != nil && (w.booking.State == BookingErected || roof != nil && roof.State != StatePlanned)
	w.standing = up || booked
	if !w.standing {
		return
	}
	switch {
	case up && erection != nil && erection.StartedOn.Known():
		w.since = erection.StartedOn
	case w.booking != nil:
		w.since = w.booking.ErectOn
	case up && erection != nil && erection.DoneOn.Known():
		w.since = erection.DoneOn
	default:
		w.since = f.s.FirstDay
	}
	w.owner = f.ownerOf(w)
}

// ownerOf finds whose scaffold it is: the booking says so, or the published
// plan, or there is only one firm that it can be.
func (f *facts) ownerOf(w *work) int {
	id := uuid.Nil
	switch {
	case w.booking != nil:
		id = w.booking.ScaffoldFirm
	case f.s.Base != nil:
		for _, v := range f.s.Base.Visits {
			if v.Job == w.job.ID && v.Stage.Trade() == ScaffoldTrade {
				id = v.ScaffoldFirm
			}
		}
	}
	if id == uuid.Nil && len(f.firms) == 1 {
		return 0
	}
	return f.firm(id)
}

func (f *facts) firm(id uuid.UUID) int {
	return slices.IndexFunc(f.firms, func(s *ScaffoldFirm) bool { return s.ID == id })
}

func (f *facts) crew(id uuid.UUID) int {
	return slices.IndexFunc(f.crews, func(c *Crew) bool { return c.ID == id })
}

// open tells whether a stage of the job is still to be done.
func (w *work) open(k StageKind) bool { return w.stage[k] != nil && w.stage[k].State != StateDone }

func (w *work) planned(k StageKind) bool {
	return w.stage[k] != nil && w.stage[k].State == StatePlanned
}

// left is how many half-days of work a stage still has. Of a started stage it
// is the share of its published half-days that lie on the first day and later,
// rounded up and at least one, since it is not done; all when nothing was
// published.
func (w *work) left(k StageKind, first civil.Date) int {
	n := w.stage[k].HalfDays
	if w.begun[k] == nil {
		return n
	}
	left := 0
	for _, h := range w.begun[k].HalfDays {
		if h.Date() >= first {
			left++
		}
	}
	all := len(w.begun[k].HalfDays)
	return max((n*left+all-1)/all, 1)
}

// later raises the first day of a stage.
func (w *work) later(k StageKind, on civil.Date, why string) {
	if on.Known() && on > w.release[k].on {
		w.release[k] = release{on, why}
	}
}

func (w *work) block(k StageKind, why string) {
	if w.open(k) && w.blocked[k].why == "" {
		w.blocked[k] = block{why: why, root: k}
	}
}

// blockAs blocks a stage because of another.
func (w *work) blockAs(k, because StageKind, how string) {
	if b := w.blocked[because]; w.planned(k) && w.blocked[k].why == "" && !(b.pin && w.near[ScaffoldErection] && how == goesWith) {
		why := w.blocked[b.root].why
		w.blocked[k] = block{fmt.Sprintf("%s %s: %s", how, b.root, why), b.root, b.pin}
	}
}

// readStart sets the first day of each planned stage. What has started has
// passed these gates.
func (w *work) readStart(f *facts) {
	for _, k := range StageKinds {
		w.release[k] = release{on: f.s.FirstDay}
		if !w.planned(k) {
			continue
		}
		w.later(k, w.job.ReadyOn, fmt.Sprintf("the job is ready on %s", w.job.ReadyOn.Short()))
		for _, before := range w.before(k) {
			if st := w.stage[before]; st != nil && st.State == StateDone && st.DoneOn.Known() {
				w.later(k, st.DoneOn+1, fmt.Sprintf("%s is done on %s", before, st.DoneOn.Short()))
			}
		}
		w.readConsents(k, f.today)
		if k == RoofWork || k == SecondFix {
			w.readKit(k, f.today)
		}
		if on := w.release[k]; on.on > f.last {
			w.block(k, fmt.Sprintf("%s, and the plan ends on %s.", capital(on.why), f.last.Short()))
		}
	}
}

// before lists the stages that must be finished before a stage of this job:
// the chain's, and the erection before the strike when no roof work lies
// between them.
func (w *work) before(k StageKind) []StageKind {
	if k == ScaffoldStrike && !w.open(RoofWork) && w.planned(ScaffoldErection) {
		return []StageKind{ScaffoldErection}
	}
	return k.After()
}

// readConsents: a day that has passed without the consent is no expectation
// any more.
func (w *work) readConsents(k StageKind, today civil.Date) {
	for _, c := range w.job.Consents {
		if c.Stage != k {
			continue
		}
		name := c.Kind.Words()
		switch {
		case c.State == ConsentRefused:
			w.block(k, fmt.Sprintf("The consent (%s) was refused, and %s waits for it.", name, k))
		case c.State == ConsentGranted && c.GrantedOn.Known():
			w.later(k, c.GrantedOn, fmt.Sprintf("the consent (%s) holds from %s", name, c.GrantedOn.Short()))
		case c.ExpectedOn.Known() && c.ExpectedOn < today:
			w.block(k, fmt.Sprintf("Waits for a consent (%s, %s) that was expected on %s and has not come.", name, c.State, c.ExpectedOn.Short()))
		case c.ExpectedOn.Known():
			w.later(k, c.ExpectedOn, fmt.Sprintf("the consent (%s) is expected on %s", name, c.ExpectedOn.Short()))
		default:
			w.block(k, fmt.Sprintf("Waits for a consent (%s, %s), and nobody knows yet when it comes.", name, c.State))
		}
	}
}

// readKit: kit must be on site before the work, so work starts the day after
// it is due, or on the day on which it came. Kit that is overdue has no day.
func (w *work) readKit(k StageKind, today civil.Date) {
	for _, kit := range w.job.Kit {
		switch {
		case kit.ArrivedOn.Known():
			w.later(k, kit.ArrivedOn, fmt.Sprintf("the kit (%s) arrived on %s", kit.Item, kit.ArrivedOn.Short()))
		case kit.DueOn.Known() && kit.DueOn < today:
			w.block(k, fmt.Sprintf("Waits for kit (%s) that was expected on %s and has not come.", kit.Item, kit.DueOn.Short()))
		case kit.DueOn.Known():
			w.later(k, kit.DueOn+1, fmt.Sprintf("the kit (%s) is due on %s", kit.Item, kit.DueOn.Short()))
		default:
			w.block(k, fmt.Sprintf("Waits for kit (%s), which has no delivery date.", kit.Item))
		}
	}
}

// readBlocks says which stages can have no place, and hands that on to those
// that wait for them.
func (w *work) readBlocks(f *facts) {
	for _, k := range StageKinds {
		if next := w.overtakenBy(k); w.open(k) && next != StageUnknown {
			has := "has begun"
			if w.stage[next].State == StateDone {
				has = "is done"
			}
			w.block(k, fmt.Sprintf("%s %s, though %s is not marked done: mark it, or take the stage out.", capital(next.String()), has, k))
		}
	}
	if w.planned(ScaffoldErection) && !w.standing {
		if w.stage[ScaffoldStrike] == nil {
			w.block(ScaffoldErection, "The job has no strike, so its scaffold would never come down: add the stage.")
		}
	} else if w.open(ScaffoldStrike) && w.owner < 0 {
		if w.standing {
			w.block(ScaffoldStrike, "Its scaffold stands, but no booking says which scaffold firm's it is: record the booking.")
		} else {
			w.block(ScaffoldStrike, "The job has a strike but no scaffold to strike: add the erection, or record the booking.")
		}
	}
	f.readPlaces(w)
	w.handOn()
}

const goesWith = "Goes with"

// handOn blocks what waits for a blocked stage. A scaffold is booked from
// erection to strike or not at all, so its three stages are blocked together.
func (w *work) handOn() {
	if w.together() {
		for _, k := range []StageKind{RoofWork, ScaffoldErection, ScaffoldStrike} {
			if w.blocked[k].why != "" {
				for _, mate := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
					w.blockAs(mate, k, goesWith)
				}
			}
		}
	}
	for _, k := range StageKinds { // each stands behind those it waits for
		for _, before := range w.before(k) {
			if w.open(before) && w.blocked[before].why != "" {
				w.blockAs(k, before, "Waits for")
			}
		}
	}
}

// together tells whether the job's scaffold is still to be booked, so that
// erection, roof work and strike are planned together or not at all.
func (w *work) together() bool { return w.planned(ScaffoldErection) && !w.standing && !w.coming }

// overtakenBy gives a stage after k that is done, or has begun while k has not.
func (w *work) overtakenBy(k StageKind) StageKind {
	for _, next := range StageKinds {
		st := w.stage[next]
		if st != nil && follows(next, k) && (st.State == StateDone || st.State == StateStarted && w.planned(k)) {
			return next
		}
	}
	return StageUnknown
}

// follows tells whether a stage comes after another, directly or not.
func follows(next, k StageKind) bool {
	for _, before := range next.After() {
		if before == k || follows(before, k) {
			return true
		}
	}
	return false
}

// readPlaces blocks a stage that nobody could do in any half-day of the plan,
// even if they had nothing else to do.
func (f *facts) readPlaces(w *work) {
	for _, k := range StageKinds {
		if !w.open(k) || w.blocked[k].why != "" {
			continue
		}
		n, placed := w.left(k, f.s.FirstDay), false
		from := w.release[k].on.In(civil.Morning)
		known := func(c weather.Chance) bool { return c.Known }
		anyone, anyTime, anyKnown := false, false, false
		for who, open := range f.calendars(w, k) {
			chances := f.chancesBy(w, k, who)
			anyone = true
			anyTime = anyTime || f.run(w, k, open, from, nil, nil)
			anyKnown = anyKnown || f.run(w, k, open, from, known, chances)
			if placed = f.run(w, k, open, from, f.fit, chances); placed {
				break
			}
		}
		switch {
		case placed:
		case !anyone && k.Trade() == ScaffoldTrade:
			w.block(k, f.nobodyServes(w))
		case !anyone:
			w.block(k, fmt.Sprintf("There is no %s crew.", k.Trade()))
		case !anyTime && k.Trade() == ScaffoldTrade:
			w.block(k, fmt.Sprintf("There are no %s from %s to %s, the plan's last day.", workingHalfDays(n), w.release[k].on.Short(), f.last.Short()))
		case !anyTime:
			w.block(k, fmt.Sprintf("No %s crew has a competent lead (%s) present for %s in a row from %s to %s, the plan's last day.",
				k.Trade(), skillFor(k.Trade()), halfDays(n), w.release[k].on.Short(), f.last.Short()))
		case anyKnown:
			w.block(k, fmt.Sprintf("The chance of weather for %s reaches %d%%, the least that the firm plans on, in no %s in a row from %s to %s, the plan's last day.",
				k, f.s.Firm.Rates.LeastChance, halfDays(n), w.release[k].on.Short(), f.last.Short()))
		default:
			w.block(k, fmt.Sprintf("The chance of weather for %s is not known for %s in a row from %s on, and an unknown chance is never taken as good.",
				k, halfDays(n), w.release[k].on.Short()))
		}
	}
}

func halfDays(n int) string {
	if n == 1 {
		return "1 half-day"
	}
	return fmt.Sprintf("%d half-days", n)
}

func workingHalfDays(n int) string { return strings.Replace(halfDays(n), "half", "working half", 1) }

func capital(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s) // "£4" begins with two bytes
	return string(unicode.ToUpper(r)) + s[n:]
}

// skillFor is the competence that a crew's lead must hold.
func skillFor(t Trade) string {
	switch t {
	case RoofTrade:
		return "lead_roof"
	case ElectricalTrade:
		return "electrical"
	default:
		return ""
	}
}

// works tells whether a crew works on a day as on any: it is a working day, and
// its lead, with the competence of its trade, is there.
func (f *facts) works(c *Crew, d civil.Date) bool { return f.days.is(d) && leads(c, d) }

// comes tells whether a scaffold firm's gangs work on a day: it is a working
// day, and none of the firm's days off.
func (f *facts) comes(firm int, d civil.Date) bool { return f.days.is(d) && f.firms[firm].Works(d) }

// staysAway says that a scaffold firm does not work on a weekday.
func staysAway(f *ScaffoldFirm, off Weekdays) string {
	return fmt.Sprintf("%s does not work on %s", f.Name, off.Words())
}

// worksLate tells the same with Saturdays, which are overtime.
func (f *facts) worksLate(c *Crew, d civil.Date) bool {
	return (f.days.is(d) || f.saturday(d)) && leads(c, d)
}

// saturday tells whether crews may work overtime on a day: a Saturday that is
// no holiday, when the firm pays for such days.
func (f *facts) saturday(d civil.Date) bool {
	return f.s.Firm.Rates.OvertimePercent > 0 && d.Weekday() == time.Saturday && !f.days[d]
}

// leads tells whether an active crew's lead is there on a day with the
// competence of its trade.
func leads(c *Crew, d civil.Date) bool {
	if !c.Active {
		return false
	}
	for _, m := range c.Members {
		if m.Lead && m.Person.Active && m.On(d) && m.Holds(skillFor(c.Trade), d) {
			return true
		}
	}
	return false
}

// crewsFor gives the crews that may do a stage: of the trade, and for a
// started stage the crew that started it as long as there is one.
func (f *facts) crewsFor(w *work, k StageKind) (list []int) {
	if began := w.begun[k]; began != nil {
		if c := f.crew(began.Crew); c >= 0 && f.crews[c].Active && f.crews[c].Trade == k.Trade() {
			return []int{c}
		}
	}
	for i, c := range f.crews {
		if c.Active && c.Trade == k.Trade() {
			list = append(list, i)
		}
	}
	return list
}

// firmsFor gives the scaffold firms that may do a stage: the one whose
// scaffold stands or comes, else all that are active and go to the job.
func (f *facts) firmsFor(w *work) (list []int) {
	if w.standing || w.coming {
		if w.owner >= 0 {
			return []int{w.owner}
		}
		return nil
	}
	for i, firm := range f.firms {
		if firm.Active && f.serves(w, i) {
			list = append(list, i)
		}
	}
	return list
}

// calendars gives one by one those who may do a stage, with their day-by-day
// calendars.
func (f *facts) calendars(w *work, k StageKind) iter.Seq2[int, func(civil.Date) bool] {
	return func(yield func(int, func(civil.Date) bool) bool) {
		if k.Trade() == ScaffoldTrade {
			for _, x := range f.firmsFor(w) {
				if !yield(x, func(d civil.Date) bool { return f.comes(x, d) }) {
					return
				}
			}
			return
		}
		late := f.s.Firm.Rates.OvertimePercent > 0
		for _, c := range f.crewsFor(w, k) {
			if !yield(c, func(d civil.Date) bool { return f.works(f.crews[c], d) }) || late && !yield(c, func(d civil.Date) bool { return f.worksLate(f.crews[c], d) }) {
				return
			}
		}
	}
}

// chances gives the outlook that a stage is held against; nil = indoors. An
// outdoor stage without an outlook has one in which nothing is known.
func (f *facts) chances(w *work, k StageKind) *Outlook {
	if k.Task() == weather.Indoors {
		return nil
	}
	if o := f.outlooks[outlookKey{w.job.Site.ID, k.Task(), uuid.Nil}]; o != nil {
		return o
	}
	return &Outlook{}
}

// chancesBy is chances for whoever does the stage: a scaffold firm with a gust
// limit of its own has an outlook of its own, and without it nothing is known.
func (f *facts) chancesBy(w *work, k StageKind, who int) *Outlook {
	if k.Trade() != ScaffoldTrade || who < 0 || f.firms[who].GustLimit == 0 {
		return f.chances(w, k)
	}
	if o := f.outlooks[outlookKey{w.job.Site.ID, k.Task(), f.firms[who].ID}]; o != nil {
		return o
	}
	return &Outlook{}
}

// ownSky tells whether any scaffold firm has a gust limit of its own, so that the
// weather of a stage hangs on who does it.
func (f *facts) ownSky(k StageKind) bool {
	return k.Trade() == ScaffoldTrade && slices.ContainsFunc(f.firms, func(s *ScaffoldFirm) bool { return s.GustLimit > 0 })
}

// limitWords says whose gust limit a chance keeps, as a part of a sentence; "" =
// no scaffold firm's own.
func (f *facts) limitWords(k StageKind, who int) string {
	if k.Trade() != ScaffoldTrade || who < 0 || f.firms[who].GustLimit == 0 {
		return ""
	}
	return sayGustLimit(f.firms[who].Name, plainNumber(f.firms[who].GustLimit))
}

func sayGustLimit(firm, limit string) string {
	return fmt.Sprintf(" within %s's own limit of %s m/s gust", firm, limit)
}

// fit tells whether an outdoor stage may be planned in a half-day: its chance is
// known and not below the firm's least.
func (f *facts) fit(c weather.Chance) bool { return c.Known && !f.tooSmall(c) }

// tooSmall tells whether a known chance is below the firm's least.
func (f *facts) tooSmall(c weather.Chance) bool {
	return c.Known && c.P < float64(f.s.Firm.Rates.LeastChance)/100
}

// run tells whether as many neighbouring open half-days as a stage takes exist
// from a half-day on, each with a chance that may be planned where chances are
// given.
func (f *facts) run(w *work, k StageKind, open func(civil.Date) bool, from civil.HalfDay, may func(weather.Chance) bool, chances *Outlook) bool {
	row, need := 0, f.needs(w, k)
	for h := max(from, f.s.FirstDay.In(civil.Morning)); h <= f.last.In(civil.Afternoon); h++ {
		if !open(h.Date()) {
			continue
		}
		if chances != nil && !may(chances.At(h)) {
			row = 0
			continue
		}
		if row += f.brings(w, k, h); row >= need {
			return true
		}
	}
	return false
}
