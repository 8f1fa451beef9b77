package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Offer is a place in the published plan in which a new job could be done,
// nothing that is planned being moved for it.
type Offer struct {
	On     civil.Date // the day on which the roof work starts; without roof work the first stage of a crew
	Done   civil.Date // the day on which the job is commissioned; NoDate when it has no such stage
	Visits []Visit    // by stage
	More   Pence      // what the plan costs more with the job in it
	Wait   Pence      // what the customer's waiting is taken to be worth: each working day from the plan's first to On as a day late
	Items  []CostDiff
	Why    string // what makes up the cost, and the chance, in one sentence
}

// Roof gives the visit of the roof work; nil when the job has none.
func (o Offer) Roof() *Visit {
	for i := range o.Visits {
		if o.Visits[i].Stage == RoofWork {
			return &o.Visits[i]
		}
	}
	return nil
}

// HeldOffer is a place that was told to a customer and is kept free for them
// until an instant. Taken, it is a job with the same identifier, and its place
// is kept until a plan with that job is published.
type HeldOffer struct {
	ID      uuid.UUID
	For     string // who it was told to
	Contact string // where they can be reached
	Job     Job    // what was asked for
	Visits  []Visit
	More    Pence // what it cost when it was told
	Until   time.Time
	ToldBy  string
	ToldAt  time.Time
	State   OfferState
	EndedBy string // who took or released it; "" = nobody
	EndedAt time.Time
}

// OfferState is what became of a held offer.
type OfferState string

// The states of a held offer.
const (
	OfferHeld     OfferState = "held"
	OfferTaken    OfferState = "taken"
	OfferReleased OfferState = "released"
	OfferExpired  OfferState = "expired"
)

// HeldDays is for how many working days an offer is held unless somebody says
// otherwise (start value, common practice, no source).
const HeldDays = 3

// On gives the day on which the roof work starts; without roof work the first
// stage that a crew does.
func (h HeldOffer) On() civil.Date { return leadingDay(h.Visits) }

// Done gives the day of commissioning; NoDate = none.
func (h HeldOffer) Done() civil.Date { return doneDay(h.Visits) }

func leadingDay(visits []Visit) civil.Date {
	for _, k := range leadingStages {
		for _, v := range visits {
			if v.Stage == k {
				return v.First().Date()
			}
		}
	}
	return civil.NoDate
}

func doneDay(visits []Visit) civil.Date {
	for _, v := range visits {
		if v.Stage == Commissioning {
			return v.Last().Date()
		}
	}
	return civil.NoDate
}

// Hold puts held offers into a snapshot: their crews are taken in their
// half-days, and their scaffolds are booked like those of jobs outside the
// plan. An offer whose job is in the snapshot holds nothing any more: that job
// is planned, where its pins say.
func (s *Snapshot) Hold(offers []HeldOffer) {
	s.Offers = offers
	for _, h := range offers {
		if !slices.ContainsFunc(s.Jobs, func(j Job) bool { return j.ID == h.ID }) {
			s.Bookings = append(s.Bookings, h.bookings()...)
		}
	}
}

// bookings gives the scaffold of an offer as a booking that nobody has asked
// for yet.
func (h HeldOffer) bookings() []Booking {
	b := Booking{ID: h.ID, Job: h.ID, UID: h.ID.String() + "@offer", State: BookingWanted, OfferedOn: civil.NoDate}
	for _, v := range h.Visits {
		switch v.Stage {
		case ScaffoldErection:
			b.ScaffoldFirm, b.ErectOn = v.ScaffoldFirm, v.First().Date()
		case ScaffoldStrike:
			b.StrikeOn = v.Last().Date()
		}
	}
	if b.ScaffoldFirm == uuid.Nil {
		return nil
	}
	return []Booking{b}
}

// heldAt gives the held offer that has a crew in a half-day; nil = none has.
func (s *Snapshot) heldAt(crew uuid.UUID, at civil.HalfDay) *HeldOffer {
	for i := range s.Offers {
		h := &s.Offers[i]
		if slices.ContainsFunc(s.Jobs, func(j Job) bool { return j.ID == h.ID }) {
			continue
		}
		for _, v := range h.Visits {
			if v.Crew == crew && slices.Contains(v.HalfDays, at) {
				return h
			}
		}
	}
	return nil
}

// heldHalfDays gives by crew the half-days that offers hold.
func (s *Snapshot) heldHalfDays() map[uuid.UUID]map[civil.HalfDay]bool {
	held := map[uuid.UUID]map[civil.HalfDay]bool{}
	for _, h := range s.Offers {
		if slices.ContainsFunc(s.Jobs, func(j Job) bool { return j.ID == h.ID }) {
			continue
		}
		for _, v := range h.Visits {
			if v.Crew == uuid.Nil {
				continue
			}
			if held[v.Crew] == nil {
				held[v.Crew] = map[civil.HalfDay]bool{}
			}
			for _, at := range v.HalfDays {
				held[v.Crew][at] = true
			}
		}
	}
	return held
}

// reserve takes from the crews the half-days that offers hold.
func (m *model) reserve() {
	for crew, held := range m.s.heldHalfDays() {
		c := m.crew(crew)
		if c < 0 {
			continue
		}
		for s := range m.data.Slots {
			if held[m.halfDay(s)] {
				m.data.Resources[c].Capacity[s] = 0
			}
		}
	}
}

// asOffered gives the snapshot as it is for offering places: a job that was
// taken from an offer and is in no published plan yet still holds its place.
func (s Snapshot) asOffered() Snapshot {
	for _, h := range s.Offers {
		if s.Base == nil || !slices.ContainsFunc(s.Base.Visits, func(v Visit) bool { return v.Job == h.ID }) {
			had := len(s.Jobs)
			s.Jobs = slices.DeleteFunc(slices.Clone(s.Jobs), func(j Job) bool { return j.ID == h.ID })
			if len(s.Jobs) < had {
				s.Bookings = append(slices.Clone(s.Bookings), h.bookings()...)
			}
		}
	}
	return s
}

// Offers gives the best places for a new job beside the published plan, at most
// n, each on another day: those first that cost least, the customer's wait
// counted as the firm counts a day late. The job is not in the snapshot; its site's outlooks are. Where there is none it says what stands in
// the way.
func Offers(s Snapshot, job Job, n int) ([]Offer, []Reason, error) {
	if s.Base == nil {
		return nil, nil, fault.Changed("plan", "", "no plan is published yet: publish one, then places can be offered")
	}
	if n < 1 || n > 50 {
		return nil, nil, fault.Bad("offers", fmt.Sprint(n), "1 to 50")
	}
	s = s.asOffered()
	before := layOut(&s, *s.Base)
	cost := before.priced(before.placed)
	job.State = JobOpen
	s.Jobs = append(slices.Clone(s.Jobs), job)
	if err := s.check(); err != nil {
		return nil, nil, err
	}
	d := layOut(&s, *s.Base)
	i, err := d.find(job.ID)
	if err != nil {
		return nil, nil, err
	}
	kind := leading(job)
	if kind == StageUnknown {
		return nil, nil, fault.Bad("stages", "", "at least one stage that a crew does")
	}
	found := d.places(i, kind)
	if len(found) == 0 {
		return nil, d.nowhere(i), nil
	}
	var offers []Offer
	for _, p := range found[:min(n, len(found))] {
		offers = append(offers, d.offer(i, p, cost))
	}
	slices.SortStableFunc(offers, func(a, b Offer) int {
		return cmp.Or(cmp.Compare(a.More+a.Wait, b.More+b.Wait), cmp.Compare(a.On, b.On))
	})
	return offers, nil, nil
}

// nowhere says what stands in the way of a job that has no place: of the first
// stage that can have none, or that the stages leave no room for each other.
func (d *desk) nowhere(i int) []Reason {
	for _, k := range StageKinds {
		if !d.work[i].open(k) {
			continue
		}
		if no := d.against(i, ask{kind: k, lo: 0, hi: d.data.Slots + beyond - 1, who: -1, by: d.data.Slots + beyond}); len(no) > 0 {
			return no
		}
	}
	return []Reason{{RulePlanEnd, "plan", "", d.last.String(), "date", "plan"},
		{RuleGate, "each stage could have a place, and all of them together found none before that", "", "", "", "search"}}
}

// leadingStages are those whose day a customer asks for, the first that the job
// has.
var leadingStages = []StageKind{RoofWork, FirstFix, SecondFix, Commissioning}

// leading is the stage whose day the customer asks for.
func leading(j Job) StageKind {
	for _, k := range leadingStages {
		if _, has := j.Stage(k); has {
			return k
		}
	}
	return StageUnknown
}

type placing struct {
	placed []solver.Placement
	cost   solver.Cost
}

// waiting is what a wait until a day counts.
func (d *desk) waiting(on civil.Date) Pence {
	return d.s.Firm.Rates.LatePerDay * Pence(d.days.after(d.s.FirstDay, on))
}

// places tries the leading stage on every day, the best place first, the wait
// counted. A place is only one in which the whole job is done.
func (d *desk) places(i int, kind StageKind) (found []placing) {
	alone := d.alone(i)
	for day := range d.s.Days {
		lo := solver.Slot(2 * day)
		q := ask{kind: kind, lo: lo, hi: lo + 1, who: -1, by: d.data.Slots + beyond}
		if !d.days.is(d.s.FirstDay+civil.Date(day)) || !d.room(i, q, nil).fits() {
			continue
		}
		placed, cost, ok := alone.cheapest(q)
		if ok && d.whole(i, placed) {
			found = append(found, placing{placed, cost + solver.Cost(d.waiting(d.s.FirstDay+civil.Date(day)))})
		}
	}
	slices.SortStableFunc(found, func(a, b placing) int { return cmp.Compare(a.cost, b.cost) })
	return found
}

func (d *desk) whole(i int, placed []solver.Placement) bool {
	for _, k := range StageKinds {
		if a := d.index[i][k]; d.work[i].open(k) && (a < 0 || placed[a].Mode < 0) {
			return false
		}
	}
	return true
}

func (d *desk) offer(i int, p placing, without Cost) Offer {
	with := d.planOf(p.placed)
	o := Offer{}
	for _, v := range with.Visits {
		if v.Job == d.work[i].job.ID {
			o.Visits = append(o.Visits, v)
		}
	}
	o.On, o.Done = leadingDay(o.Visits), doneDay(o.Visits)
	o.More, o.Items = diffCosts(without, Price(*d.s, with))
	o.Wait = d.waiting(o.On)
	o.Why = capital(sayDiff(o.Items)) + "."
	if v := o.Roof(); v != nil && v.Chance.Known {
		o.Why += fmt.Sprintf(" %s chance of fit weather throughout roof work.", capital(percent(v.Chance)))
	}
	o.Why += o.far()
	return o
}

// far says when more than half of what an offer costs is travel, which no day
// makes cheaper.
func (o Offer) far() string {
	for _, d := range o.Items {
		if d.Item == Travel && d.More > 0 && 2*d.More > o.More {
			return fmt.Sprintf(" The roof is far off: %s of the %s is travel, on any day.", d.More, o.More)
		}
	}
	return ""
}

// StillFree says what stands in the way of some visits of a new job beside the
// published plan and what is held already; nil = nothing does. It knows nothing
// of the weather.
func StillFree(s Snapshot, visits []Visit) []Reason {
	s = s.asOffered()
	var list []Reason
	for _, v := range visits {
		if v.Crew == uuid.Nil {
			continue
		}
		for _, at := range v.HalfDays {
			if r, busy := s.busyAt(v.Crew, at); busy {
				list = append(list, r)
				break
			}
		}
	}
	return append(list, s.noScaffold(visits)...)
}

// busyAt says where a crew is in a half-day by the published plan or an offer.
func (s *Snapshot) busyAt(crew uuid.UUID, at civil.HalfDay) (Reason, bool) {
	if h := s.heldAt(crew, at); h != nil {
		return Reason{RuleTaken, s.nameOf(crew), at.String(), h.For, "half-day", "held offers"}, true
	}
	i := slices.IndexFunc(s.Crews, func(c Crew) bool { return c.ID == crew })
	if i < 0 || !leads(&s.Crews[i], at.Date()) {
		return Reason{RuleAway, s.nameOf(crew), at.Date().String(), "", "date", "absences and competences"}, true
	}
	if s.Base == nil {
		return Reason{}, false
	}
	for _, v := range s.Base.Visits {
		if v.Crew != crew || !slices.Contains(v.HalfDays, at) {
			continue
		}
		for _, j := range s.Jobs {
			if st, has := j.Stage(v.Stage); j.ID == v.Job && has && st.State != StateDone {
				return Reason{RuleElsewhere, s.nameOf(crew), at.String(), j.Ref, "half-day", "published plan"}, true
			}
		}
	}
	return Reason{}, false
}

// noScaffold counts the gangs and sets that the visits would need.
func (s *Snapshot) noScaffold(visits []Visit) (list []Reason) {
	b := HeldOffer{Visits: visits}.bookings()
	if len(b) == 0 || s.Base == nil {
		return nil
	}
	d := layOut(s, *s.Base)
	f := d.firm(b[0].ScaffoldFirm)
	if f < 0 {
		return []Reason{{RuleGate, "the scaffold firm is not used any more", "", "", "", "scaffold firms"}}
	}
	name := d.firms[f].Name
	for day := b[0].ErectOn; day <= b[0].StrikeOn; day++ {
		n := int(day - s.FirstDay)
		if n < 0 || n >= s.Days {
			continue
		}
		if (day == b[0].ErectOn || day == b[0].StrikeOn) && d.gang[f][n] >= d.firms[f].GangsPerDay {
			list = append(list, Reason{RuleGangs, name, day.String(), fmt.Sprint(d.firms[f].GangsPerDay), "gangs a day", "terms of " + name})
		}
		if d.stand[f][n] >= d.firms[f].Sets {
			return append(list, Reason{RuleSets, name, day.String(), fmt.Sprint(d.firms[f].Sets), "sets", "terms of " + name})
		}
	}
	return list
}

// AsJob gives the job that an offer becomes when it is taken, and the pins that
// keep its place: every stage that a crew does starts in its half-day with its
// crew, and the scaffold firm is the one that was counted on. The customer is
// promised the day of commissioning, and is who it was told to.
func (h HeldOffer) AsJob(by string, now time.Time) (Job, []Pin) {
	j := h.Job
	j.ID, j.State = h.ID, JobOpen
	if j.Customer = h.customer(); h.Contact != "" && j.Customer.Email+j.Customer.Phone == "" {
		j.Note = strings.TrimSpace("To be reached: " + h.Contact + "\n" + j.Note)
	}
	if done := h.Done(); done.Known() {
		j.PromisedOn, j.PromiseTold = done, true
	}
	var pins []Pin
	for _, v := range h.Visits {
		pin := Pin{Job: j.ID, Stage: v.Stage, On: civil.NoDate, Why: "told to " + h.For, SetBy: by, SetAt: now}
		who := pin
		who.Kind, who.Who = PinBy, v.Crew
		if v.Stage.Trade() == ScaffoldTrade {
			if who.Who = v.ScaffoldFirm; v.Stage == ScaffoldErection {
				pins = append(pins, who)
			}
			continue
		}
		pin.Kind, pin.On, pin.Half = PinStart, v.First().Date(), v.First().Half()
		pins = append(pins, pin, who)
	}
	return j, pins
}

// customer gives whom an offer was told to. Where they can be reached is an
// address, a telephone number, or a longer word that the note keeps.
func (h HeldOffer) customer() Customer {
	c := Customer{ID: uuid.NewSHA1(h.ID, []byte("customer")), Name: h.For}
	if looksLikeEmail(h.Contact) {
		c.Email = h.Contact
	} else if utf8.RuneCountInString(h.Contact) <= maxPhone {
		c.Phone = h.Contact
	}
	return c
}

// heldForOffers counts what offers hold as taken before anything else stays.
func (h *holding) heldForOffers() {
	for crew, half := range h.s.heldHalfDays() {
		if c := h.crew(crew); c >= 0 {
			for at := range half {
				h.busy[heldKey{c, at}] = true
			}
		}
	}
}

// offers takes what held offers keep free; which customer it is for does not
// matter.
func (h *factHash) offers(s Snapshot) {
	for _, o := range sorted(h, s.Offers, func(a, b HeldOffer) int { return compareIDs(a.ID, b.ID) }) {
		for _, v := range o.Visits {
			h.id(v.Crew, v.ScaffoldFirm)
			h.ints(int64(v.Stage), int64(len(v.HalfDays)))
			for _, at := range v.HalfDays {
				h.ints(int64(at))
			}
		}
	}
}
