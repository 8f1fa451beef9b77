package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule/ical"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// uidHost ends every booking's UID. A UID is for life and a service may move to
// another address, so the host is one that can never be anybody's (RFC 2606).
const uidHost = "@toeboard.invalid"

// Live tells whether the scaffold firm still has something to do for the
// booking.
func (b Booking) Live() bool { return b.State != BookingCancelled && b.State != BookingStruck }

// Status is what a calendar shows of the booking's state.
func (b Booking) Status() ical.Status {
	switch b.State {
	case BookingWanted, BookingSent, BookingCountered, BookingRefused:
		return ical.Tentative
	case BookingConfirmed, BookingErected, BookingInspected, BookingOffHire, BookingStruck:
		return ical.Confirmed
	case BookingCancelled:
		return ical.Cancelled
	default:
		return ical.StatusUnknown
	}
}

// Days writes "erect Mon 7 Dec, strike Fri 11 Dec".
func (b Booking) Days() string {
	return fmt.Sprintf("erect %s, strike %s", b.ErectOn.Short(), b.StrikeOn.Short())
}

// revised makes b into next. The sequence rises when the days or what a
// calendar shows of the state change (RFC 5546 2.1.4), and with whatever else the
// scaffold firm is told: that its offer is not taken, that the scaffold is to come
// down. The change time never
// falls, whatever a clock says, since a client keeps the later of two versions.
func (b Booking) revised(next Booking, now time.Time) Booking {
	next.ID, next.Job, next.ScaffoldFirm, next.UID = b.ID, b.Job, b.ScaffoldFirm, b.UID
	if next.State != BookingCountered {
		next.OfferedOn = civil.NoDate
	}
	next.Sequence = b.Sequence
	if next.ErectOn != b.ErectOn || next.StrikeOn != b.StrikeOn || next.Status() != b.Status() ||
		(next.State == BookingOffHire) != (b.State == BookingOffHire) && next.State != BookingStruck ||
		b.State == BookingCountered && next.State == BookingWanted {
		next.Sequence++
	}
	next.ChangedAt = instant(now)
	if next.ChangedAt.Before(b.ChangedAt) || next.State == BookingSent { // that it was sent is no news to a calendar
		next.ChangedAt = b.ChangedAt
	}
	return next
}

// instant is a time as the database keeps it: UTC, whole microseconds.
func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// change puts a revision and its sentence together.
func (b Booking) change(next Booking, now time.Time, why string) BookingChange {
	before := b
	return BookingChange{Before: &before, After: b.revised(next, now), Why: why, At: instant(now)}
}

// Nothing tells whether the change changes nothing.
func (c BookingChange) Nothing() bool { return c.Before != nil && *c.Before == c.After }

func (b Booking) same() BookingChange { return BookingChange{Before: &b, After: b} }

// Confirmed is the booking after its scaffold firm agreed to the days. A
// confirmed one stays as it is.
func (b Booking) Confirmed(now time.Time) (BookingChange, error) {
	switch b.State {
	case BookingConfirmed:
		return b.same(), nil
	case BookingWanted, BookingSent, BookingCountered, BookingRefused:
		next := b
		next.State = BookingConfirmed
		return b.change(next, now, "Confirmed by the scaffold firm: "+b.Days()+"."), nil
	default:
		return BookingChange{}, b.refuse("only a booking that waits for an answer can be confirmed")
	}
}

// offerWithin is how many days after the day asked for a scaffold firm may offer.
const offerWithin = 90

// LastOffer is the last day that a scaffold firm may offer for the booking: 90
// days after the day that was asked for, or after today when that has passed.
func (b Booking) LastOffer(today civil.Date) civil.Date { return max(b.ErectOn, today) + offerWithin }

// offerable refuses a day on which no scaffold can sensibly be offered. off are
// the scaffold firm's days off.
func (b Booking) offerable(offered, today civil.Date, holidays []Holiday, off Weekdays) error {
	bad := func(format string, args ...any) error {
		return fault.Bad("offered day", offered.String(), fmt.Sprintf(format, args...))
	}
	next := func() string {
		return gangDay(AddWorkingDays(offered, 1, holidays), newWorkdays(holidays), off).Short()
	}
	switch last := b.LastOffer(today); {
	case !offered.Known() || offered < today:
		return bad("a day from %s on", today.Long())
	case offered > last:
		return bad("a day to %s at the latest, %d days after %s", last.Long(), offerWithin, (last - offerWithin).Short())
	case offered == b.ErectOn:
		return bad("this is the day that is booked: confirm it instead, or offer another")
	case offered.Weekday() == time.Saturday || offered.Weekday() == time.Sunday:
		return bad("a working day, such as %s: %s is a weekend, and nobody is there", next(), offered.Short())
	case !WorkingDay(offered, holidays):
		i := slices.IndexFunc(holidays, func(h Holiday) bool { return h.Day == offered })
		return bad("a working day, such as %s: %s is a holiday (%s), and nobody is there", next(), offered.Short(), holidays[i].Title)
	case off.Has(offered):
		return bad("a day on which your gangs work, such as %s: the office has it that they do not work on %s", next(), off.Words())
	}
	return nil
}

// gangDay is a day, or the first working day after it that is no day off.
func gangDay(d civil.Date, days workdays, off Weekdays) civil.Date {
	for off.valid() && off.Has(d) {
		d = days.add(d, 1)
	}
	return d
}

// Countered is the booking after its scaffold firm offered another erect day:
// one on which the installer works and that is none of its own days off, from
// today to LastOffer. The booked days stay until the office answers.
func (b Booking) Countered(offered, today civil.Date, holidays []Holiday, off Weekdays, now time.Time) (BookingChange, error) {
	if !b.Live() || b.State.Stands() {
		return BookingChange{}, b.refuse("another day can be offered only before the scaffold stands")
	}
	if err := b.offerable(offered, today, holidays, off); err != nil {
		return BookingChange{}, err
	}
	if b.State == BookingCountered && offered == b.OfferedOn {
		return b.same(), nil
	}
	next := b
	next.State, next.OfferedOn = BookingCountered, offered
	return b.change(next, now, fmt.Sprintf("The scaffold firm offers %s instead of %s to erect.", offered.Short(), b.ErectOn.Short())), nil
}

// Accepted is the booking after the office took the day that the scaffold firm
// offers: confirmed for that day. The strike keeps its day when it still lies
// after it; else the scaffold stands for as many working days as was booked, or
// longer where the strike would fall on one of the scaffold firm's days off.
// Saying no is no change of the booking: the next plan asks for another day.
func (b Booking) Accepted(offered, today civil.Date, holidays []Holiday, off Weekdays, now time.Time) (BookingChange, error) {
	switch {
	case b.State == BookingConfirmed && b.ErectOn == offered:
		return b.same(), nil
	case b.State != BookingCountered:
		return BookingChange{}, b.refuse("there is no offer to take")
	case b.OfferedOn != offered:
		return BookingChange{}, fault.Changed("offered day", offered.String(), "the scaffold firm offers "+b.OfferedOn.Short()+" now: look again")
	case offered < today:
		return BookingChange{}, fault.Changed("offered day", offered.String(), "the day has passed: ask the scaffold firm for another")
	}
	next := b
	next.State, next.ErectOn = BookingConfirmed, offered
	strike := "strike stays " + b.StrikeOn.Short()
	if b.StrikeOn <= offered {
		days := newWorkdays(holidays)
		next.StrikeOn = gangDay(days.add(offered, max(1, days.after(b.ErectOn, b.StrikeOn))), days, off)
		strike = fmt.Sprintf("strike from %s to %s", b.StrikeOn.Short(), next.StrikeOn.Short())
	}
	return b.change(next, now, fmt.Sprintf("The office takes the day that the scaffold firm offered: erect from %s to %s, %s.",
		b.ErectOn.Short(), offered.Short(), strike)), nil
}

// Erected is the booking after the scaffold went up on a day, which is a fact
// from then on.
func (b Booking) Erected(on, today civil.Date, now time.Time) (BookingChange, error) {
	switch {
	case b.State.Stands() && on == b.ErectOn:
		return b.same(), nil
	case !b.Live() || b.State.Stands():
		return BookingChange{}, b.refuse("only a booking that waits for its erection can be marked erected")
	case !on.Known() || on > today:
		return BookingChange{}, fault.Bad("erected on", on.String(), "the day it went up, not after today, "+today.Long())
	}
	next := b
	next.State, next.ErectOn = BookingErected, on
	next.StrikeOn = max(next.StrikeOn, on)
	why := "Erected on " + on.Short() + " as booked."
	if on != b.ErectOn {
		why = fmt.Sprintf("Erected on %s, booked for %s.", on.Short(), b.ErectOn.Short())
	}
	return b.change(next, now, why), nil
}

// Struck is the booking after the scaffold came down on a day.
func (b Booking) Struck(on, today civil.Date, now time.Time) (BookingChange, error) {
	switch {
	case b.State == BookingStruck && on == b.StrikeOn:
		return b.same(), nil
	case !b.State.Stands():
		return BookingChange{}, b.refuse("only a scaffold that stands can be struck: mark it erected first")
	case !on.Known() || on < b.ErectOn || on > today:
		return BookingChange{}, fault.Bad("struck on", on.String(),
			fmt.Sprintf("the day it came down, from %s, when it went up, to today, %s", b.ErectOn.Long(), today.Long()))
	}
	next := b
	next.State, next.StrikeOn = BookingStruck, on
	why := "Struck on " + on.Short() + " as booked."
	if on != b.StrikeOn {
		why = fmt.Sprintf("Struck on %s, booked for %s.", on.Short(), b.StrikeOn.Short())
	}
	return b.change(next, now, why), nil
}

// Refused is the booking after its scaffold firm said that it cannot do the day
// and offered no other. The booked days stay until the next plan.
func (b Booking) Refused(now time.Time) (BookingChange, error) {
	switch {
	case b.State == BookingRefused:
		return b.same(), nil
	case !b.Live() || b.State.Stands():
		return BookingChange{}, b.refuse("a day can be refused only before the scaffold stands")
	}
	next := b
	next.State = BookingRefused
	return b.change(next, now, fmt.Sprintf("The scaffold firm cannot do %s and offers no other day.", b.ErectOn.Short())), nil
}

// OfferDeclined is the booking after the office did not take the day that the
// scaffold firm offers: it is wanted for its own days again.
func (b Booking) OfferDeclined(offered civil.Date, now time.Time) (BookingChange, error) {
	switch {
	case b.State != BookingCountered:
		return BookingChange{}, b.refuse("there is no offer to decline")
	case b.OfferedOn != offered:
		return BookingChange{}, fault.Changed("offered day", offered.String(), "the scaffold firm offers "+b.OfferedOn.Short()+" now: look again")
	}
	next := b
	next.State = BookingWanted
	return b.change(next, now, fmt.Sprintf("The office does not take %s: still wanted, %s.", offered.Short(), b.Days())), nil
}

// Sent is the booking after its invitation left. One that was answered
// meanwhile, or that changed since, stays as it is.
func (b Booking) Sent(sequence int, now time.Time) BookingChange {
	if b.State != BookingWanted || b.Sequence != sequence {
		return b.same()
	}
	next := b
	next.State = BookingSent
	return b.change(next, now, "The invitation was sent.")
}

// Inspected is the booking after a competent person inspected the scaffold. It
// records that it was seen and not what was found: that is the scaffold report.
func (b Booking) Inspected(now time.Time) (BookingChange, error) {
	switch b.State {
	case BookingInspected:
		return b.same(), nil
	case BookingErected:
		next := b
		next.State = BookingInspected
		return b.change(next, now, "The scaffold was inspected."), nil
	default:
		return BookingChange{}, b.refuse("only a scaffold that stands is inspected")
	}
}

// OffHired is the booking after the office asked to have the scaffold taken down
// on a day, from today on.
func (b Booking) OffHired(strikeOn, today civil.Date, now time.Time) (BookingChange, error) {
	switch {
	case !b.State.Stands():
		return BookingChange{}, b.refuse("only a scaffold that stands can be wanted off hire")
	case !strikeOn.Known() || strikeOn < max(today, b.ErectOn):
		return BookingChange{}, fault.Bad("strike on", strikeOn.String(), "the day on which it is to come down, from "+max(today, b.ErectOn).Long()+" on")
	case b.State == BookingOffHire && b.StrikeOn == strikeOn:
		return b.same(), nil
	}
	next := b
	next.State, next.StrikeOn = BookingOffHire, strikeOn
	return b.change(next, now, "No longer needed: please take it down on "+strikeOn.Short()+"."), nil
}

// KeptOnHire is the booking after the office took back that it wants the
// scaffold down.
func (b Booking) KeptOnHire(now time.Time) (BookingChange, error) {
	if b.State != BookingOffHire {
		return BookingChange{}, b.refuse("nobody asked to have it taken down")
	}
	next := b
	next.State = BookingErected
	return b.change(next, now, "Still needed: please leave it standing, strike "+b.StrikeOn.Short()+"."), nil
}

func (b Booking) refuse(want string) error {
	return fault.Changed("booking", string(b.State), "it is "+b.State.String()+" now: "+want)
}

// Rebook tells what publishing p does to the bookings: which are made, moved
// and cancelled, and why. live are the firm's bookings as they stand; struck
// and cancelled ones among them are left alone. Publishing the same plan again
// changes nothing. Cancellations come first, then by job reference, so that the
// changes can be written in this order.
//
// A booking runs from the first day of its erection to the last day of its
// strike. One that moves is wanted again under its UID; one whose scaffold
// stands keeps its erect day as a fact and moves only its strike. A job whose
// strike found no day keeps the strike day it had if the planned work ends by
// then, else the scaffold is taken to stand to the end of the plan.
func Rebook(s Snapshot, p Plan, live []Booking, now time.Time, ids func() uuid.UUID) []BookingChange {
	r := newRebooking(s, p, live, now)
	var changes []BookingChange
	for _, job := range r.order() {
		changes = append(changes, r.job(job, ids)...)
	}
	slices.SortStableFunc(changes, func(a, b BookingChange) int {
		return cmp.Compare(cancelledLast(a), cancelledLast(b))
	})
	return changes
}

func cancelledLast(c BookingChange) int {
	if c.After.State == BookingCancelled {
		return 0
	}
	return 1
}

// rebooking holds one call's tables.
type rebooking struct {
	plan      Plan
	now       time.Time
	jobs      map[uuid.UUID]*Job
	visits    map[uuid.UUID][]Visit
	unplanned map[uuid.UUID][]Unplanned
	live      map[uuid.UUID][]Booking
}

func newRebooking(s Snapshot, p Plan, live []Booking, now time.Time) *rebooking {
	r := &rebooking{plan: p, now: now, jobs: map[uuid.UUID]*Job{}, visits: map[uuid.UUID][]Visit{},
		unplanned: map[uuid.UUID][]Unplanned{}, live: map[uuid.UUID][]Booking{}}
	for i := range s.Jobs {
		if s.Jobs[i].State == JobOpen {
			r.jobs[s.Jobs[i].ID] = &s.Jobs[i]
		}
	}
	for _, v := range p.Visits {
		r.visits[v.Job] = append(r.visits[v.Job], v)
	}
	for _, u := range p.Unplanned {
		r.unplanned[u.Job] = append(r.unplanned[u.Job], u)
	}
	for _, b := range live {
		if b.Live() {
			r.live[b.Job] = append(r.live[b.Job], b)
		}
	}
	return r
}

// order gives every job with a booking or an open job in the plan: by
// reference, jobs that are no longer open last.
func (r *rebooking) order() []uuid.UUID {
	var all []uuid.UUID
	for id := range r.live {
		all = append(all, id)
	}
	for id := range r.visits {
		if _, has := r.live[id]; !has && r.jobs[id] != nil {
			all = append(all, id)
		}
	}
	slices.SortFunc(all, func(a, b uuid.UUID) int {
		x, y := r.jobs[a], r.jobs[b]
		switch {
		case x != nil && y != nil && x.Ref != y.Ref:
			return strings.Compare(x.Ref, y.Ref)
		case (x == nil) != (y == nil):
			if x == nil {
				return 1
			}
			return -1
		}
		return strings.Compare(a.String(), b.String())
	})
	return all
}

// wanted is what the plan asks of a scaffold firm for one job.
type wanted struct {
	firm            uuid.UUID
	erectOn         civil.Date
	strikeOn        civil.Date
	standing        bool // the scaffold is up: its erect day is a fact
	erectWhy        string
	strikeWhy       string
	erect, strike   *Visit
	lastOutdoorWork civil.Date
}

func (r *rebooking) job(id uuid.UUID, ids func() uuid.UUID) []BookingChange {
	current, extra := keepOne(r.live[id])
	var changes []BookingChange
	for _, b := range extra {
		changes = append(changes, r.cancel(b, "another booking stands for the same job"))
	}
	want, ok := r.wanted(id, current)
	switch {
	case current == nil && !ok:
	case current == nil:
		changes = append(changes, r.book(id, want, ids))
	case !ok && current.State.Stands(): // it stands, whatever the plan says
	case !ok:
		changes = append(changes, r.cancel(*current, r.whyNot(id)))
	case want.firm != current.ScaffoldFirm:
		changes = append(changes, r.cancel(*current, "another scaffold firm does this job"), r.book(id, want, ids))
	case want.erectOn != current.ErectOn || want.strikeOn != current.StrikeOn:
		changes = append(changes, r.move(*current, want))
	}
	return changes
}

// keepOne picks the booking that goes on. There should be one; of several the
// one that stands, else the oldest UID.
func keepOne(live []Booking) (current *Booking, extra []Booking) {
	if len(live) == 0 {
		return nil, nil
	}
	live = slices.Clone(live)
	slices.SortFunc(live, func(a, b Booking) int {
		if a.State.Stands() != b.State.Stands() {
			if a.State.Stands() {
				return -1
			}
			return 1
		}
		return strings.Compare(a.UID, b.UID)
	})
	for _, b := range live[1:] {
		if !b.State.Stands() {
			extra = append(extra, b)
		}
	}
	return &live[0], extra
}

// wanted reads the plan for one job; ok is false when it asks for no scaffold.
func (r *rebooking) wanted(id uuid.UUID, current *Booking) (w wanted, ok bool) {
	job := r.jobs[id]
	if job == nil {
		return w, false
	}
	w.lastOutdoorWork = civil.NoDate
	for i, v := range r.visits[id] {
		if len(v.HalfDays) == 0 {
			continue
		}
		switch v.Stage {
		case ScaffoldErection:
			w.erect = &r.visits[id][i]
		case ScaffoldStrike:
			w.strike = &r.visits[id][i]
		case RoofWork:
			w.lastOutdoorWork = max(w.lastOutdoorWork, v.Last().Date())
		}
	}
	return w, r.erection(&w, job, current) && r.strike(&w, id, current)
}

// erection fills in firm and erect day.
func (r *rebooking) erection(w *wanted, job *Job, current *Booking) bool {
	stage, _ := job.Stage(ScaffoldErection)
	switch {
	case current != nil && current.State.Stands():
		w.standing, w.firm, w.erectOn = true, current.ScaffoldFirm, current.ErectOn
	case stage.State == StateDone && current != nil:
		w.standing, w.firm, w.erectOn = true, current.ScaffoldFirm, stage.DoneOn
	case stage.State == StateDone && w.strike != nil:
		w.standing, w.firm, w.erectOn = true, w.strike.ScaffoldFirm, stage.DoneOn
	case w.erect != nil:
		w.firm, w.erectOn, w.erectWhy = w.erect.ScaffoldFirm, w.erect.First().Date(), w.erect.Why
	default:
		return false
	}
	return w.erectOn.Known()
}

// strike fills in the strike day.
func (r *rebooking) strike(w *wanted, id uuid.UUID, current *Booking) bool {
	if w.strike != nil {
		w.strikeOn, w.strikeWhy = w.strike.Last().Date(), w.strike.Why
		return true
	}
	needed := max(w.erectOn, w.lastOutdoorWork)
	if w.erect != nil && !w.standing {
		needed = max(needed, w.erect.Last().Date())
	}
	if current != nil && current.StrikeOn >= needed {
		w.strikeOn = current.StrikeOn
		return true
	}
	w.strikeOn = max(needed, r.plan.FirstDay+civil.Date(r.plan.Days)-1)
	w.strikeWhy = "the strike has no day yet, so the scaffold is taken to stand to the end of the plan"
	for _, u := range r.unplanned[id] {
		if u.Stage == ScaffoldStrike && u.Why != "" {
			w.strikeWhy += " (" + sentencePart(u.Why) + ")"
		}
	}
	return true
}

func (r *rebooking) book(id uuid.UUID, w wanted, ids func() uuid.UUID) BookingChange {
	b := Booking{ID: ids(), Job: id, ScaffoldFirm: w.firm, State: BookingWanted, ErectOn: w.erectOn, StrikeOn: w.strikeOn,
		OfferedOn: civil.NoDate, ChangedAt: instant(r.now)}
	b.UID = b.ID.String() + uidHost
	why := fmt.Sprintf("New booking: %s; %s.", b.Days(), cause(w.erectWhy, w.strikeWhy))
	if w.standing {
		b.State = BookingErected
		why = fmt.Sprintf("The scaffold stands since %s: strike %s; %s.", b.ErectOn.Short(), b.StrikeOn.Short(), cause(w.strikeWhy))
	}
	return BookingChange{After: b, Why: why, At: b.ChangedAt}
}

func (r *rebooking) cancel(b Booking, why string) BookingChange {
	next := b
	next.State = BookingCancelled
	return b.change(next, r.now, fmt.Sprintf("Cancelled: %s is off; %s.", b.Days(), why))
}

func (r *rebooking) move(b Booking, w wanted) BookingChange {
	next := b
	next.ErectOn, next.StrikeOn = w.erectOn, w.strikeOn
	switch {
	case !w.standing:
		next.State = BookingWanted
	case !b.State.Stands():
		next.State = BookingErected
	}
	return b.change(next, r.now, whyMoved(b, next, w))
}

func whyMoved(was, is Booking, w wanted) string {
	erect, strike := was.ErectOn != is.ErectOn, was.StrikeOn != is.StrikeOn
	of := func(what string, from, to civil.Date) string {
		return fmt.Sprintf("%s from %s to %s", what, from.Short(), to.Short())
	}
	offered := ""
	if was.State == BookingCountered && was.OfferedOn == is.ErectOn {
		offered = ", the day you offered"
	}
	switch {
	case erect && strike:
		return fmt.Sprintf("Moved: %s%s, %s; %s.", of("erect", was.ErectOn, is.ErectOn), offered,
			of("strike", was.StrikeOn, is.StrikeOn), cause(w.erectWhy, w.strikeWhy))
	case erect:
		return fmt.Sprintf("Moved: %s%s, strike stays %s; %s.", of("erect", was.ErectOn, is.ErectOn), offered,
			is.StrikeOn.Short(), cause(w.erectWhy))
	default:
		return fmt.Sprintf("Moved: %s, erect stays %s; %s.", of("strike", was.StrikeOn, is.StrikeOn),
			is.ErectOn.Short(), cause(w.strikeWhy))
	}
}

// cause is the first reason that is given.
func cause(reasons ...string) string {
	for _, why := range reasons {
		if part := sentencePart(why); part != "" {
			return part
		}
	}
	return "the whole plan was made again"
}

// sentencePart makes a sentence fit to stand inside another: one line, no full
// stop.
func sentencePart(why string) string {
	return strings.TrimRight(strings.Join(strings.Fields(why), " "), ". ")
}

// whyNot says why the plan has no scaffold for a job that had one booked.
func (r *rebooking) whyNot(id uuid.UUID) string {
	if r.jobs[id] == nil {
		return "the job is no longer open"
	}
	for _, u := range r.unplanned[id] {
		if part := sentencePart(u.Why); part != "" {
			return fmt.Sprintf("the job has no place in the plan: %s", part)
		}
	}
	return "the plan has no scaffold for this job"
}

// Contact is whom a scaffold firm rings about a booking.
type Contact struct {
	Name, Phone, Email string
	ChangedAt          time.Time // of these words; zero = not known
}

// String writes "Asha Verma, 01632 960001, asha@firm.example" as far as known.
func (c Contact) String() string {
	var parts []string
	for _, s := range []string{c.Name, c.Phone, c.Email} {
		if s = strings.TrimSpace(s); s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}

// FeedOf puts bookings into a calendar: one whole-day event each, from erect day
// to strike day. Bookings that were cancelled before since, or struck on a day
// before it, are left out; NoDate leaves none out. loc is the firm's zone.
// Customers' names are not written: the scaffold firm needs the house, not who
// lives there.
func FeedOf(name string, bookings []Booking, jobs []Job, office Contact, since civil.Date, loc *time.Location) ical.Feed {
	byID := map[uuid.UUID]*Job{}
	for i := range jobs {
		byID[jobs[i].ID] = &jobs[i]
	}
	f := ical.Feed{Name: name}
	for _, b := range bookings {
		gone := b.State == BookingStruck && b.StrikeOn < since ||
			b.State == BookingCancelled && civil.DateOf(b.ChangedAt, loc) < since
		if !gone {
			f.Events = append(f.Events, event(b, byID[b.Job], office))
		}
	}
	return f
}

func event(b Booking, j *Job, office Contact) ical.Event {
	e := ical.Event{UID: b.UID, Sequence: b.Sequence, ChangedAt: b.ChangedAt, Status: b.Status(),
		FirstDay: b.ErectOn, LastDay: b.StrikeOn, Summary: "Scaffold"}
	if office.ChangedAt.After(e.ChangedAt) {
		e.ChangedAt = office.ChangedAt
	}
	e.Lines = []string{"Erect: " + b.ErectOn.Long(), "Strike: " + b.StrikeOn.Long(), "State: " + b.stateWords()}
	if j != nil {
		e.Summary = "Scaffold " + j.Ref + ", " + oneLine(j.Site.Address)
		e.Location = place(j.Site)
		e.Lat, e.Lon = j.Site.Lat, j.Site.Lon
		e.Lines = append(e.Lines, "Job: "+j.Ref)
		e.Lines = append(e.Lines, ForScaffold(j.Site)...)
	}
	if who := office.String(); who != "" {
		e.Lines = append(e.Lines, "Office: "+who)
	}
	return e
}

func (b Booking) stateWords() string {
	switch b.State {
	case BookingWanted, BookingSent:
		return "please confirm"
	case BookingCountered:
		return "you offered " + b.OfferedOn.Short() + "; the office will answer"
	case BookingRefused:
		return "you cannot do this day; the office will ask for another"
	case BookingErected, BookingInspected:
		return "standing"
	case BookingOffHire:
		return "please take it down on " + b.StrikeOn.Short()
	default:
		return b.State.String()
	}
}

func place(s Site) string {
	where := oneLine(s.Address)
	if s.Postcode != "" && !strings.Contains(where, s.Postcode) {
		where += ", " + s.Postcode
	}
	return where
}

// oneLine joins the lines of an address.
func oneLine(s string) string {
	var parts []string
	for _, line := range strings.Split(s, "\n") {
		if line = strings.Trim(line, " ,\r"); line != "" {
			parts = append(parts, line)
		}
	}
	return strings.Join(parts, ", ")
}

// loadKNM2 is the uniformly distributed load of each service class [kN/m2],
// EN 12811-1 table 3, read second-hand: check against the original.
var loadKNM2 = map[int]string{1: "0.75", 2: "1.5", 3: "2", 4: "3", 5: "4.5", 6: "6"}

var siteWarnings = []struct{ key, words string }{
	{"service_overhead", "The house takes its supply by an overhead cable"},
	{"footpath", "A public path or road passes beside the house"},
	{"conservatory_below", "Glass roof below the work"},
	{"neighbour_access", "Neighbours walk under or beside the work"},
}

// ForScaffold lists, a line each, what a scaffold firm should know of a site
// before it sends a gang: the scaffold that is wanted, then OfSite. What the
// survey did not find is left out, never guessed. The keys are those of the
// survey.
func ForScaffold(s Site) []string {
	var lines []string
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if s.WorkingHeightM > 0 {
		add("Working height: %s m above ground", plainNumber(s.WorkingHeightM))
	}
	if lifts, ok := s.Facts["scaffold_lifts"].(float64); ok && lifts > 0 {
		add("Lifts: %s", plainNumber(lifts))
	}
	if class, ok := s.Facts["scaffold_load_class"].(float64); ok && loadKNM2[int(class)] != "" {
		add("Load class: %d (%s kN/m2, EN 12811-1)", int(class), loadKNM2[int(class)])
	}
	return append(lines, OfSite(s)...)
}

// OfSite lists, a line each, how a site is reached and what there is to be
// careful of.
func OfSite(s Site) []string {
	var lines []string
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if access, ok := s.Facts["access"].(string); ok && access != "" {
		add("Access to the platform: %s", strings.ReplaceAll(access, "_", " "))
	}
	if pitch, ok := s.Facts["pitch_deg"].(float64); ok {
		add("Roof pitch: %s degrees", plainNumber(pitch))
	}
	if support, ok := s.Facts["ohl_support"].(string); ok && support != "" && support != "none" {
		line := "Overhead power line on " + strings.ReplaceAll(support, "_", " ")
		if m, ok := s.Facts["ohl_distance_m"].(float64); ok {
			line += ", " + plainNumber(m) + " m away"
		}
		add("%s", line)
	}
	for _, w := range siteWarnings {
		if yes, ok := s.Facts[w.key].(bool); ok && yes {
			add("%s", w.words)
		}
	}
	return lines
}

// plainNumber writes a number without an exponent, as short as it reads back.
func plainNumber(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
