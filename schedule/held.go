package schedule

import (
	"cmp"
	"fmt"
	"slices"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// held is a visit that the planner may not move: a stage in progress, a
// published visit in the frozen days, a booking inside its notice, a day that
// the office took since the plan was published.
type held struct {
	work  int
	kind  StageKind
	who   int // index of the crew or scaffold firm
	slots []civil.HalfDay
	late  bool   // in the crew's days with Saturdays
	why   string // the whole sentence that the visit carries
	again int    // half-days from the start of the plan: the order in which they are settled
}

// holding settles which visits are held. A visit that cannot stay where it was
// is given up; the rules of MODEL.md say when that is.
type holding struct {
	*facts
	busy  map[heldKey]bool // a crew's half-days that are taken
	gangs map[gangKey]int  // erections and strikes of a scaffold firm on a day
	done  map[jobStage]civil.HalfDay
	held  []held
	moved map[jobStage]string // why a visit that was to stay does not
}

type heldKey struct {
	crew int
	at   civil.HalfDay
}

type gangKey struct {
	firm int
	on   civil.Date
}

type jobStage struct {
	work int
	kind StageKind
}

// holds gives the held visits, and of those that were to stay and cannot, why.
func (f *facts) holds() ([]held, map[jobStage]string) {
	h := &holding{facts: f, busy: map[heldKey]bool{}, gangs: map[gangKey]int{}, done: map[jobStage]civil.HalfDay{}, moved: map[jobStage]string{}}
	h.bookedByOthers()
	h.heldForOffers()
	started, published := h.candidates()
	for _, c := range started {
		h.carryOn(c)
	}
	for _, c := range published {
		if no := h.stay(c); no != "" && len(c.slots) > 0 {
			h.moved[jobStage{c.work, c.kind}] = fmt.Sprintf("Was to stay on %s, but %s.", c.slots[0].Short(), no)
		}
	}
	return h.held, h.moved
}

// bookedByOthers counts the gangs that bookings of jobs outside the plan need.
func (h *holding) bookedByOthers() {
	for _, b := range h.others {
		f := h.firm(b.ScaffoldFirm)
		if b.State != BookingErected {
			h.gangs[gangKey{f, b.ErectOn}]++
		}
		if b.StrikeOn != b.ErectOn || b.State == BookingErected {
			h.gangs[gangKey{f, b.StrikeOn}]++
		}
	}
}

// candidates lists started stages, and published or booked visits that should
// stay, each in the order in which they are settled.
func (h *holding) candidates() (started, published []held) {
	for i := range h.work {
		w := &h.work[i]
		for _, k := range StageKinds {
			if !w.open(k) || w.blocked[k].why != "" {
				continue
			}
			if w.stage[k].State == StateStarted {
				started = append(started, h.began(i, k))
				continue
			}
			if c, ok := h.published(i, k); ok {
				published = append(published, c)
			}
		}
	}
	by := func(a, b held) int {
		return cmp.Or(cmp.Compare(a.again, b.again), cmp.Compare(a.work, b.work), cmp.Compare(a.kind, b.kind))
	}
	slices.SortFunc(started, by)
	slices.SortFunc(published, by)
	return started, published
}

// began gives a started stage; who carries it on is settled later.
func (h *holding) began(i int, k StageKind) held {
	w := &h.work[i]
	on := w.stage[k].StartedOn
	if w.begun[k] != nil {
		on = w.begun[k].First().Date()
	}
	return held{work: i, kind: k, late: w.begun[k] != nil && h.onSaturday(w.begun[k].HalfDays), again: 2 * int(on-h.s.FirstDay)}
}

// onSaturday tells whether half-days that are still to come lie on a Saturday.
func (h *holding) onSaturday(list []civil.HalfDay) bool {
	return slices.ContainsFunc(list, func(at civil.HalfDay) bool { return at.Date() >= h.s.FirstDay && h.saturday(at.Date()) })
}

// carryOn holds a started stage in the first half-days that its crew has free;
// with whoever could finish first when nothing says who began it.
func (h *holding) carryOn(c held) {
	w := &h.work[c.work]
	who := h.crewsFor(w, c.kind)
	if c.kind.Trade() == ScaffoldTrade {
		who = h.firmsFor(w)
	}
	best := held{}
	for _, c.who = range who {
		slots := h.firstFree(c)
		if slots != nil && (best.slots == nil || slots[len(slots)-1] < best.slots[len(best.slots)-1]) {
			best = c
			best.slots = slots
		}
	}
	if best.slots != nil {
		best.why = fmt.Sprintf("In progress since %s: %s carries on in its first free half-days.", w.stage[c.kind].StartedOn.Short(), h.name(best))
		h.hold(best)
	}
}

// firstFree gives the first half-days in which a stage can be worked on end.
func (h *holding) firstFree(c held) (slots []civil.HalfDay) {
	w := &h.work[c.work]
	chances := h.chancesBy(w, c.kind, c.who)
	for at := h.s.FirstDay.In(civil.Morning); at <= h.last.In(civil.Afternoon); at++ {
		switch {
		case !h.opens(c, at.Date()):
			continue
		case h.taken(c, at) || chances != nil && !h.fit(chances.At(at)):
			slots = nil
			continue
		}
		if slots = append(slots, at); h.kept(w, c.kind, slots) != nil {
			return slots
		}
	}
	return nil
}

func (h *holding) name(c held) string {
	if c.kind.Trade() == ScaffoldTrade {
		return h.firms[c.who].Name
	}
	return h.crews[c.who].Name
}

func (h *holding) opens(c held, d civil.Date) bool {
	if c.kind.Trade() == ScaffoldTrade {
		return h.comes(c.who, d)
	}
	if c.late {
		return h.worksLate(h.crews[c.who], d)
	}
	return h.works(h.crews[c.who], d)
}

func (h *holding) taken(c held, at civil.HalfDay) bool {
	if c.kind.Trade() == ScaffoldTrade {
		return h.gangs[gangKey{c.who, at.Date()}] >= h.firms[c.who].GangsPerDay
	}
	return h.busy[heldKey{c.who, at}]
}

func (h *holding) hold(c held) {
	day := civil.NoDate
	for _, at := range c.slots {
		if c.kind.Trade() != ScaffoldTrade {
			h.busy[heldKey{c.who, at}] = true
		} else if at.Date() != day {
			day = at.Date()
			h.gangs[gangKey{c.who, day}]++
		}
	}
	if w := &h.work[c.work]; c.kind == ScaffoldErection && !w.standing {
		w.coming, w.since, w.owner = true, c.slots[0].Date(), c.who
	}
	h.done[jobStage{c.work, c.kind}] = c.slots[len(c.slots)-1]
	h.held = append(h.held, c)
}

// published gives the visit that should stay for a planned stage: as booked
// inside the notice, else as published in the frozen days.
func (h *holding) published(i int, k StageKind) (held, bool) {
	w := &h.work[i]
	c := held{work: i, kind: k}
	if k.Trade() == ScaffoldTrade {
		if on, firm, limit, ok := h.insideNotice(w, k); ok {
			c.who, c.slots = firm, h.halfDaysOn(w, k, on, firm)
			c.again = 2 * int(on-h.s.FirstDay)
			c.why = fmt.Sprintf("Booked with %s for %s, inside its notice of %s.", h.firms[firm].Name, on.Short(), workingDays(limit))
			return c, true
		}
		if on, firm, ok := h.booked(w, k); ok && firm >= 0 && on >= h.s.FirstDay && w.taken && k == ScaffoldErection {
			c.who, c.slots = firm, h.halfDaysOn(w, k, on, firm)
			if !h.pinsLet(w, c) {
				return c, false
			}
			c.again = 2 * int(on-h.s.FirstDay)
			c.why = fmt.Sprintf("Agreed with %s for %s since the plan was published.", h.firms[firm].Name, on.Short())
			return c, true
		}
	}
	base := w.base[k]
	stays := w.pinned(k, PinStays)
	if base == nil || base.First().Date() > h.frozen && !stays {
		return c, false
	}
	c.late = h.onSaturday(base.HalfDays)
	c.slots, c.again = h.asNow(w, k, base.HalfDays), int(base.First()-h.s.FirstDay.In(civil.Morning))
	c.why = fmt.Sprintf("Published for %s, inside the %s that stay as they are.", base.First().Short(), frozenWords(h.s.Frozen))
	if stays {
		c.why = fmt.Sprintf("Published for %s, and pinned: the whole job stays as published.", base.First().Short())
	}
	if k.Trade() == ScaffoldTrade {
		c.who = h.facts.firm(base.ScaffoldFirm)
	} else {
		c.who = h.crew(base.Crew)
	}
	return c, c.who >= 0 && h.pinsLet(w, c)
}

// pinsLet tells whether the pins let a visit stay: a person's word goes before
// the rule that published visits stay.
func (h *holding) pinsLet(w *work, c held) bool {
	return len(c.slots) == 0 || w.mayIn(c.kind, c.slots) && w.mayBy(c.kind, h.idOf(c.kind, c.who))
}

func frozenWords(n int) string {
	if n == 1 {
		return "first working day"
	}
	return fmt.Sprintf("first %d working days", n)
}

func workingDays(n int) string {
	if n == 1 {
		return "1 working day"
	}
	return fmt.Sprintf("%d working days", n)
}

// booked gives the day for which a scaffold firm expects an erection or a
// strike: by the live booking, else by the published plan, whose publishing
// booked it. A day that the firm refused is not booked.
func (f *facts) booked(w *work, k StageKind) (on civil.Date, firm int, ok bool) {
	switch b := w.booking; {
	case b != nil && b.State == BookingCountered && k == ScaffoldErection:
		return b.OfferedOn, f.firm(b.ScaffoldFirm), b.OfferedOn.Known()
	case b != nil && k == ScaffoldErection:
		firm = f.firm(b.ScaffoldFirm)
		return b.ErectOn, firm, b.State != BookingErected && b.State != BookingRefused && !f.saidNo(w, firm, b.ErectOn)
	case b != nil:
		return b.StrikeOn, f.firm(b.ScaffoldFirm), true
	case w.base[k] != nil:
		on, firm = w.base[k].First().Date(), f.firm(w.base[k].ScaffoldFirm)
		return on, firm, k != ScaffoldErection || !f.saidNo(w, firm, on)
	}
	return civil.NoDate, -1, false
}

// insideNotice gives the booked day when it is too near to be moved. The offer
// of another day is not a booking yet.
func (h *holding) insideNotice(w *work, k StageKind) (on civil.Date, firm, notice int, ok bool) {
	on, firm, ok = h.booked(w, k)
	if !ok || firm < 0 || on < h.s.FirstDay || w.booking != nil && w.booking.State == BookingCountered && k == ScaffoldErection {
		return on, firm, 0, false
	}
	notice = noticeOf(h.firms[firm], k)
	return on, firm, notice, on < h.days.add(h.today, notice)
}

func noticeOf(s *ScaffoldFirm, k StageKind) int {
	if k == ScaffoldErection {
		return s.ErectNotice
	}
	return s.StrikeNotice
}

// halfDaysOn gives the half-days of a visit booked for a day: those published
// for it, else from the first half-day that the roof work leaves.
func (h *holding) halfDaysOn(w *work, k StageKind, on civil.Date, firm int) []civil.HalfDay {
	if !h.days.is(on) {
		return nil
	}
	if !h.comes(firm, on) { // so it will not stay, and the reason names the day
		return []civil.HalfDay{on.In(civil.Morning)}
	}
	if b := w.base[k]; b != nil && b.First().Date() == on && h.facts.firm(b.ScaffoldFirm) == firm {
		return h.asNow(w, k, b.HalfDays)
	}
	at := on.In(civil.Morning)
	if roof := cmp.Or(w.base[RoofWork], w.begun[RoofWork]); k == ScaffoldStrike && roof != nil && roof.Last() == at {
		at++
	}
	var slots []civil.HalfDay
	for ; h.kept(w, k, slots) == nil && at <= h.last.In(civil.Afternoon); at++ {
		if h.comes(firm, at.Date()) {
			slots = append(slots, at)
		}
	}
	return slots
}

// takesMore says that half-days are too few for a stage.
func (f *facts) takesMore(w *work, k StageKind) string {
	return fmt.Sprintf("the stage takes more now, for its %s of work", halfDays(w.stage[k].HalfDays))
}

// stay holds a visit unless a fact or another held visit forbids it; no is
// then what does, as the end of a sentence.
func (h *holding) stay(c held) (no string) {
	w := &h.work[c.work]
	switch {
	case len(c.slots) > 0 && c.kind.Trade() == ScaffoldTrade && h.firms[c.who].DaysOff.Has(c.slots[0].Date()):
		return staysAway(h.firms[c.who], weekdayOf(c.slots[0].Date()))
	case len(c.slots) == 0 || len(h.kept(w, c.kind, c.slots)) != len(c.slots):
		return h.takesMore(w, c.kind)
	case c.slots[0].Date() < w.release[c.kind].on:
		return w.release[c.kind].why
	case c.kind.Trade() == ScaffoldTrade && !w.standing && !w.coming && !h.serves(w, c.who):
		return h.firms[c.who].tooFar(siteOf(w.job))
	case !h.who(w, c):
		return fmt.Sprintf("%s does not do such work any more", h.name(c))
	case c.slots[len(c.slots)-1] > h.last.In(civil.Afternoon):
		return fmt.Sprintf("the plan ends on %s", h.last.Short())
	}
	for _, before := range w.before(c.kind) {
		end, settled := h.done[jobStage{c.work, before}]
		if w.open(before) && (!settled || end >= c.slots[0]) {
			return fmt.Sprintf("%s before it is not sure to be over by then", before)
		}
	}
	if no := h.noTime(c, h.chancesBy(w, c.kind, c.who)); no != "" {
		return no
	}
	if c.kind.Trade() == ScaffoldTrade && !h.mayBe(w, c) {
		return fmt.Sprintf("%s cannot be asked for that day any more", h.name(c))
	}
	h.hold(c)
	return ""
}

// noTime says what forbids the half-days themselves: nobody there, somebody
// elsewhere, the weather.
func (h *holding) noTime(c held, chances *Outlook) string {
	at := c.slots[0]
	for _, next := range c.slots {
		for ; at < next; at++ {
			if h.opens(c, at.Date()) {
				return fmt.Sprintf("%s, inside the visit, would be left idle", at.Short())
			}
		}
		switch {
		case !h.opens(c, at.Date()) && c.kind.Trade() != ScaffoldTrade && (h.days.is(at.Date()) || c.late):
			return fmt.Sprintf("%s has no competent lead (%s) present on %s", h.name(c), skillFor(c.kind.Trade()), at.Date().Short())
		case !h.opens(c, at.Date()) && c.kind.Trade() == ScaffoldTrade && h.days.is(at.Date()):
			return staysAway(h.firms[c.who], weekdayOf(at.Date()))
		case !h.opens(c, at.Date()):
			return fmt.Sprintf("nobody works on %s", at.Date().Short())
		case h.taken(c, at):
			return fmt.Sprintf("%s is held elsewhere on %s", h.name(c), at.Short())
		case chances != nil && !h.fit(chances.At(at)):
			return h.unfit(c.kind, c.who, chances.At(at), at)
		}
		at++
	}
	return ""
}

// unfit says why an outdoor stage may not be planned in a half-day.
func (f *facts) unfit(k StageKind, who int, c weather.Chance, at civil.HalfDay) string {
	if !c.Known {
		return fmt.Sprintf("the chance of weather for %s%s is not known for %s, and an unknown chance is never taken as good", k, f.limitWords(k, who), at.Short())
	}
	return fmt.Sprintf("the chance of weather for %s%s on %s is %s, and the firm plans on no less than %d%%", k, f.limitWords(k, who), at.Short(), percent(c), f.s.Firm.Rates.LeastChance)
}

// who tells whether the crew or the scaffold firm may still do the stage.
func (h *holding) who(w *work, c held) bool {
	if c.kind.Trade() == ScaffoldTrade {
		return slices.Contains(h.firmsFor(w), c.who)
	}
	return slices.Contains(h.crewsFor(w, c.kind), c.who)
}

// mayBe tells whether the day keeps the notice or is the booked one.
func (h *holding) mayBe(w *work, c held) bool {
	d := c.slots[0].Date()
	if on, firm, ok := h.booked(w, c.kind); ok && firm == c.who && on == d {
		return true
	}
	return !h.refused(w, c.kind, c.who, d) && d >= h.firstAsked(w, c.kind, c.who)
}

// offered gives the day that a scaffold firm offers for an erection; NoDate =
// it offers none.
func (f *facts) offered(w *work, k StageKind, firm int) civil.Date {
	b := w.booking
	if k != ScaffoldErection || b == nil || b.State != BookingCountered || f.firm(b.ScaffoldFirm) != firm {
		return civil.NoDate
	}
	return b.OfferedOn
}

// firstAsked gives the first day for which a scaffold firm may be asked: after
// its notice, and not before a day that it offers. The booked or offered day
// itself may come sooner.
func (f *facts) firstAsked(w *work, k StageKind, firm int) civil.Date {
	on := f.days.add(f.today, noticeOf(f.firms[firm], k))
	if offer := f.offered(w, k, firm); offer.Known() {
		on = max(on, offer)
	}
	return on
}

// refused tells whether the scaffold firm said that it cannot erect on this day:
// in its answer to the booking as it stands, or before.
func (f *facts) refused(w *work, k StageKind, firm int, d civil.Date) bool {
	if k != ScaffoldErection {
		return false
	}
	b := w.booking
	return b != nil && b.State.noDay() && f.firm(b.ScaffoldFirm) == firm && b.ErectOn == d || f.saidNo(w, firm, d)
}
