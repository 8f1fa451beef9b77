package schedule

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
)

// PinKind is what a person fixes in the plan.
type PinKind string

// The kinds of pins. The first six are about one stage, PinNotBefore may be
// about a whole job as well, the last two always are.
const (
	PinStart     PinKind = "start"      // the stage starts in this half-day
	PinOn        PinKind = "on"         // the stage starts on this day
	PinNotBefore PinKind = "not_before" // it starts not before this day
	PinNotAfter  PinKind = "not_after"  // it is over by the end of this day
	PinBy        PinKind = "by"         // this crew does it, or this scaffold firm
	PinNotBy     PinKind = "not_by"     // this one does not
	PinStays     PinKind = "stays"      // the whole job stays as published
	PinLeftOut   PinKind = "left_out"   // the whole job is left out of the plan
)

// PinKinds lists every kind in the order in which they are shown.
var PinKinds = []PinKind{PinStart, PinOn, PinNotBefore, PinNotAfter, PinBy, PinNotBy, PinStays, PinLeftOut}

// Pin is something that a person fixed in the plan. It binds the planner, and
// gives way to facts: to what has begun, to a booking inside its notice, to
// consents, kit, weather and closed days. One that gives way is named.
type Pin struct {
	ID    uuid.UUID
	Job   uuid.UUID
	Stage StageKind // StageUnknown = the whole job
	Kind  PinKind
	Who   uuid.UUID  // PinBy and PinNotBy: a crew, or for erection and strike a scaffold firm; else uuid.Nil
	On    civil.Date // of the kinds that speak of a day; else NoDate
	Half  civil.Half // of PinStart
	Why   string     // a word why, by whoever set it
	SetBy string
	SetAt time.Time
}

// wholeJob tells whether the kind may only be about a whole job.
func (k PinKind) wholeJob() bool { return k == PinStays || k == PinLeftOut }

// HasDay tells whether pins of the kind name a day.
func (k PinKind) HasDay() bool {
	return k == PinStart || k == PinOn || k == PinNotBefore || k == PinNotAfter
}

// HasWho tells whether pins of the kind name a crew or a scaffold firm.
func (k PinKind) HasWho() bool { return k == PinBy || k == PinNotBy }

// Check holds a pin against what a pin can be, for a job; who gives the trade
// of crew or scaffold firm Who, TradeUnknown when there is none.
func (p Pin) Check(j Job, who Trade) error {
	c := &bounds{}
	c.text("why", p.Why, maxLine, true, false)
	_, has := j.Stage(p.Stage)
	switch {
	case !slices.Contains(PinKinds, p.Kind):
		c.add("kind", string(p.Kind), "one of start, on, not_before, not_after, by, not_by, stays, left_out")
	case p.Kind.wholeJob() && p.Stage != StageUnknown:
		c.add("stage", p.Stage.Key(), "no stage: it is about the whole job")
	case !p.Kind.wholeJob() && p.Stage == StageUnknown && p.Kind != PinNotBefore:
		c.add("stage", "", "the stage that it is about")
	case p.Stage != StageUnknown && !has:
		c.add("stage", p.Stage.Key(), "a stage of "+j.Ref)
	case p.Kind.HasWho() && who != p.Stage.Trade():
		want := "a " + p.Stage.Trade().String() + " crew"
		if p.Stage.Trade() == ScaffoldTrade {
			want = "a scaffold firm"
		}
		c.add("who", "", want+", who could do "+p.Stage.String())
	}
	if p.Kind.HasDay() {
		if !p.On.Known() {
			c.add("day", "", "the day that it is about")
		}
		c.day("day", p.On)
	}
	return errors.Join(c.bad...)
}

// Words says what is fixed; who names crews and scaffold firms.
func (p Pin) Words(who func(uuid.UUID) string) string {
	what := p.Stage.String()
	if p.Stage == StageUnknown {
		what = "the whole job"
	}
	switch p.Kind {
	case PinStart:
		return fmt.Sprintf("%s starts on %s %s", what, p.day(), map[civil.Half]string{civil.Morning: "am", civil.Afternoon: "pm"}[p.Half])
	case PinOn:
		return fmt.Sprintf("%s starts on %s", what, p.day())
	case PinNotBefore:
		return fmt.Sprintf("%s starts not before %s", what, p.day())
	case PinNotAfter:
		return fmt.Sprintf("%s is over by %s", what, p.day())
	case PinBy:
		return fmt.Sprintf("%s is done by %s", what, who(p.Who))
	case PinNotBy:
		return fmt.Sprintf("%s is not done by %s", what, who(p.Who))
	case PinStays:
		return "the whole job stays as published"
	case PinLeftOut:
		return "the whole job is left out of the plan"
	default:
		return "an unknown pin"
	}
}

// bears tells whether a pin is about a stage.
func (p *Pin) bears(k StageKind) bool { return p.Stage == k || p.Stage == StageUnknown }

// allows tells whether a visit in some half-days keeps the pin, as far as its
// days go.
func (p *Pin) allows(slots []civil.HalfDay) bool {
	first, last := slots[0], slots[len(slots)-1]
	switch p.Kind {
	case PinStart:
		return first == p.On.In(p.Half)
	case PinOn:
		return first.Date() == p.On
	case PinNotBefore:
		return first.Date() >= p.On
	case PinNotAfter:
		return last.Date() <= p.On
	default:
		return true
	}
}

// allowsWho tells whether somebody may do the stage by the pin.
func (p *Pin) allowsWho(who uuid.UUID) bool {
	return !(p.Kind == PinBy && who != p.Who || p.Kind == PinNotBy && who == p.Who)
}

// About tells whether the pin is about a stage of a job.
func (p Pin) About(job uuid.UUID, k StageKind) bool { return p.Job == job && p.bears(k) }

// KeptBy tells whether a visit of a stage that the pin is about is as the pin
// wants it. PinStates says why one is not.
func (p Pin) KeptBy(v Visit) bool {
	who := v.Crew
	if v.Stage.Trade() == ScaffoldTrade {
		who = v.ScaffoldFirm
	}
	return p.Kind != PinLeftOut && len(v.HalfDays) > 0 && p.allows(v.HalfDays) && p.allowsWho(who)
}

func (f *facts) readPins() {
	for i := range f.s.Pins {
		for k := range f.work {
			if f.work[k].job.ID == f.s.Pins[i].Job {
				f.work[k].pins = append(f.work[k].pins, &f.s.Pins[i])
			}
		}
	}
}

// pinned tells whether a pin of some kind is about a job or a stage of it.
func (w *work) pinned(k StageKind, kinds ...PinKind) bool {
	return slices.ContainsFunc(w.pins, func(p *Pin) bool { return p.bears(k) && slices.Contains(kinds, p.Kind) })
}

// mayIn and mayBy tell whether the pins let a stage stand in some half-days,
// and be done by somebody. Whose scaffold stands or comes is no longer open.
func (w *work) mayIn(k StageKind, slots []civil.HalfDay) bool {
	return !slices.ContainsFunc(w.pins, func(p *Pin) bool { return p.bears(k) && !p.allows(slots) })
}

func (w *work) mayBy(k StageKind, who uuid.UUID) bool {
	mates := []StageKind{k}
	if k.Trade() == ScaffoldTrade {
		if w.standing || w.coming || w.near[ScaffoldErection] {
			return true
		}
		mates = []StageKind{ScaffoldErection, ScaffoldStrike} // one firm does both
	}
	return !slices.ContainsFunc(w.pins, func(p *Pin) bool {
		return slices.Contains(mates, p.Stage) && !p.allowsWho(who)
	})
}

// whoMay narrows those who could do a stage to those whom the pins let.
func (f *facts) whoMay(w *work, k StageKind, could []int) (list []int) {
	for _, x := range could {
		id := f.idOf(k, x)
		if w.mayBy(k, id) {
			list = append(list, x)
		}
	}
	return list
}

func (f *facts) idOf(k StageKind, who int) uuid.UUID {
	if k.Trade() == ScaffoldTrade {
		return f.firms[who].ID
	}
	return f.crews[who].ID
}

// nameOf names a crew or a scaffold firm.
func (s *Snapshot) nameOf(id uuid.UUID) string {
	for i := range s.Crews {
		if s.Crews[i].ID == id {
			return s.Crews[i].Name
		}
	}
	for i := range s.ScaffoldFirms {
		if s.ScaffoldFirms[i].ID == id {
			return s.ScaffoldFirms[i].Name
		}
	}
	return "somebody who is not here any more"
}

// pinWords says all that is fixed about a stage, as the beginning of a
// sentence; "" = nothing.
func (f *facts) pinWords(w *work, k StageKind) string {
	var list []string
	for _, p := range w.pins {
		if p.bears(k) && p.Kind != PinStays {
			list = append(list, p.Words(f.s.nameOf))
		}
	}
	if len(list) == 0 {
		return ""
	}
	return "Pinned: " + strings.Join(list, ", and ")
}

// readPinned takes out what pins take out, and what they leave no place for by
// the facts alone. It comes after the facts: what they block, they block.
func (f *facts) readPinned(w *work) {
	if len(w.pins) == 0 {
		return
	}
	for _, k := range StageKinds {
		if !w.planned(k) || w.blocked[k].why != "" {
			continue
		}
		if w.pinned(k, PinLeftOut) {
			w.blockByPin(k, "Pinned: the whole job is left out of the plan.")
		} else if no := f.pinClash(w, k); no != "" {
			w.blockByPin(k, fmt.Sprintf("%s, but %s.", f.pinWords(w, k), no))
		}
	}
	w.handOn()
}

func (w *work) blockByPin(k StageKind, why string) {
	w.block(k, why)
	w.blocked[k].pin = true
}

// pinClash says which fact leaves a pinned stage no place; "" = none does.
// Whether it finds one beside everything else, the search shows.
func (f *facts) pinClash(w *work, k StageKind) string {
	if !w.pinned(k, PinStart, PinOn, PinNotBefore, PinNotAfter, PinBy, PinNotBy) || w.near[k] {
		return ""
	}
	could := f.crewsFor(w, k)
	if k.Trade() == ScaffoldTrade {
		could = f.firmsFor(w)
	}
	who := f.whoMay(w, k, could)
	if len(who) == 0 {
		if no := f.pinnedTooFar(w); no != "" && k.Trade() == ScaffoldTrade {
			return no
		}
		return fmt.Sprintf("nobody else could do %s", k)
	}
	no := ""
	for _, x := range who {
		for _, late := range []bool{false, true} {
			c := held{kind: k, who: x, late: late}
			why, ok := f.placeFor(w, c)
			if ok {
				return ""
			}
			if no == "" || why != "" && !late {
				no = why
			}
		}
	}
	return no
}

// placeFor looks for half-days that the facts and the pins both allow; why says
// what stood in the way of the best of those that the pins allow.
func (f *facts) placeFor(w *work, c held) (why string, ok bool) {
	k := c.kind
	h := &holding{facts: f}
	why = "no half-days of the plan are like that"
	for at := f.s.FirstDay.In(civil.Morning); at <= f.last.In(civil.Afternoon); at++ {
		if !h.opens(c, at.Date()) {
			if f.startPinned(w, k, at) {
				switch why = fmt.Sprintf("%s cannot work on %s", h.name(c), at.Date().Short()); {
				case !f.days.is(at.Date()):
					why = "nobody works on " + at.Date().Short()
				case k.Trade() == ScaffoldTrade:
					why = staysAway(f.firms[c.who], weekdayOf(at.Date()))
				}
			}
			continue
		}
		if c.slots = h.openFrom(w, c, at); c.slots == nil || !w.mayIn(k, c.slots) {
			continue
		}
		if no := f.factAgainst(w, c); no != "" {
			why = no
			continue
		}
		return "", true
	}
	return why, false
}

// startPinned tells whether a pin names just this half-day or its day.
func (f *facts) startPinned(w *work, k StageKind, at civil.HalfDay) bool {
	return slices.ContainsFunc(w.pins, func(p *Pin) bool {
		return p.bears(k) && (p.Kind == PinStart && p.On.In(p.Half) == at || p.Kind == PinOn && p.On == at.Date())
	})
}

// openFrom gives the half-days that a stage takes of somebody from one on; nil
// when the plan ends before.
func (h *holding) openFrom(w *work, c held, at civil.HalfDay) (list []civil.HalfDay) {
	left := h.needs(w, c.kind)
	for ; left > 0 && at <= h.last.In(civil.Afternoon); at++ {
		if h.opens(c, at.Date()) {
			list = append(list, at)
			left -= h.brings(w, c.kind, at)
		}
	}
	if left > 0 {
		return nil
	}
	return list
}

// factAgainst says which fact forbids half-days to a stage, whoever else is
// planned: gates, notice, weather.
func (f *facts) factAgainst(w *work, c held) string {
	d := c.slots[0].Date()
	if r := w.release[c.kind]; d < r.on {
		return r.why
	}
	if c.kind.Trade() == ScaffoldTrade {
		h := &holding{facts: f}
		if !h.mayBe(w, c) {
			return fmt.Sprintf("%s cannot be asked for %s any more: %s is the first day that it can", f.firms[c.who].Name, d.Short(), f.firstAsked(w, c.kind, c.who).Short())
		}
	}
	if o := f.chancesBy(w, c.kind, c.who); o != nil {
		for _, at := range c.slots {
			if !f.fit(o.At(at)) {
				return f.unfit(c.kind, c.who, o.At(at), at)
			}
		}
	}
	return ""
}

// bookedNear tells whether an erection or strike is booked inside its notice,
// which no pin moves.
func (f *facts) bookedNear(w *work, k StageKind) bool {
	if k.Trade() != ScaffoldTrade {
		return false
	}
	h := &holding{facts: f}
	_, _, _, near := h.insideNotice(w, k)
	return near
}
