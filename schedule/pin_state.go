package schedule

import (
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// PinAnswer is what became of a pin in a plan.
type PinAnswer int

// The answers. The zero value is Unknown.
const (
	PinUnknown PinAnswer = iota
	PinKept              // the plan is as the pin wants it
	PinClashes           // a fact stands against it
	PinMoot              // it speaks of what is over, or of nothing any more
	PinWaits             // it was set after the plan was made, and no fact by itself stands against it
)

// String writes the answer in a word.
func (a PinAnswer) String() string {
	return [...]string{"unknown", "kept", "clashes", "moot", "waits"}[a]
}

// PinState is a pin and what became of it, with one sentence.
type PinState struct {
	Pin    Pin
	Answer PinAnswer
	Why    string
}

// PinStates says of every pin of a snapshot whether a plan of it keeps it, and
// of one that it does not, what stands against it. None is dropped in silence.
func PinStates(s Snapshot, p Plan) []PinState {
	f := newFacts(&s)
	list := make([]PinState, 0, len(s.Pins))
	for i := range s.Pins {
		pin := s.Pins[i]
		answer, why := f.pinState(&pin, &p)
		if answer == PinClashes && !p.MadeAt.IsZero() && pin.SetAt.After(p.MadeAt) {
			if no := f.factsAgainst(&pin); no != "" {
				why = no
			} else {
				answer, why = PinWaits, "It was set after this plan was made: plan again to plan by it."
			}
		}
		list = append(list, PinState{pin, answer, why})
	}
	return list
}

// factsAgainst says which fact stands against a pin whatever is planned; "" =
// none does by itself.
func (f *facts) factsAgainst(pin *Pin) string {
	for i := range f.work {
		w := &f.work[i]
		for _, k := range StageKinds {
			switch {
			case w.job.ID != pin.Job || !pin.bears(k) || !w.planned(k) || pin.Kind == PinLeftOut:
			case w.blocked[k].why != "":
				return w.blocked[k].why
			case f.bookedNear(w, k):
				return fmt.Sprintf("The day of %s is booked inside the scaffold firm's notice, which no pin moves.", k)
			}
		}
	}
	return ""
}

func (f *facts) pinState(pin *Pin, p *Plan) (PinAnswer, string) {
	i := slices.IndexFunc(f.work, func(w work) bool { return w.job.ID == pin.Job })
	if i < 0 {
		return PinMoot, "The job is not open any more."
	}
	w := &f.work[i]
	switch pin.Kind {
	case PinStays:
		return f.staysState(w, p)
	case PinLeftOut:
		return f.leftOutState(w, p)
	}
	kinds := []StageKind{pin.Stage}
	if pin.Stage == StageUnknown {
		kinds = StageKinds
	}
	answer, why := PinMoot, "Nothing of the job is still to be planned."
	for _, k := range kinds {
		a, say := f.stageState(w, k, pin, p)
		if a == PinClashes {
			return a, say
		}
		if a == PinKept || len(kinds) == 1 {
			answer, why = a, say
		}
	}
	return answer, why
}

// stageState is a pin's state for one stage.
func (f *facts) stageState(w *work, k StageKind, pin *Pin, p *Plan) (PinAnswer, string) {
	if !w.planned(k) {
		if w.open(k) {
			return PinMoot, fmt.Sprintf("%s has begun, and work in progress goes on.", capital(k.String()))
		}
		return PinMoot, fmt.Sprintf("%s is done.", capital(k.String()))
	}
	v := visitOf(p, w.job.ID, k)
	if v == nil {
		return PinClashes, leftOutWhy(p, w.job.ID, k)
	}
	who := v.Crew
	if k.Trade() == ScaffoldTrade {
		who = v.ScaffoldFirm
	}
	if pin.allows(v.HalfDays) && pin.allowsWho(who) {
		return PinKept, fmt.Sprintf("%s is planned from %s with %s.", capital(k.String()), v.First().Short(), f.s.nameOf(who))
	}
	say := fmt.Sprintf("%s is planned from %s with %s", capital(k.String()), v.First().Short(), f.s.nameOf(who))
	switch {
	case f.bookedNear(w, k):
		say += ": its day is booked inside the scaffold firm's notice, which no pin moves."
	case k.Trade() == ScaffoldTrade && pin.Kind.HasWho():
		say += ": whose scaffold stands is a fact."
	default:
		say += ": plan again to plan by this pin."
	}
	return PinClashes, say
}

// staysState tells whether all that was published of a job and has not begun is
// as published.
func (f *facts) staysState(w *work, p *Plan) (PinAnswer, string) {
	var moved []string
	published := 0
	for _, k := range StageKinds {
		was := w.base[k]
		if was == nil || !w.planned(k) {
			continue
		}
		published++
		is := visitOf(p, w.job.ID, k)
		switch {
		case is == nil:
			moved = append(moved, fmt.Sprintf("%s was published for %s and has no place: %s", k, was.First().Short(), leftOutWhy(p, w.job.ID, k)))
		case !is.Stays(was):
			moved = append(moved, fmt.Sprintf("%s was published for %s and stands on %s: %s", k, was.First().Short(), is.First().Short(), is.Why))
		}
	}
	switch {
	case len(moved) > 0:
		return PinClashes, capital(strings.Join(moved, " "))
	case published == 0:
		return PinMoot, "Nothing of the job is published that is still to come."
	}
	return PinKept, "All of it stands as published."
}

func (f *facts) leftOutState(w *work, p *Plan) (PinAnswer, string) {
	open := false
	for _, k := range StageKinds {
		if !w.planned(k) {
			continue
		}
		open = true
		if v := visitOf(p, w.job.ID, k); v != nil {
			return PinClashes, fmt.Sprintf("%s is planned from %s: plan again to leave it out.", capital(k.String()), v.First().Short())
		}
	}
	if !open {
		return PinMoot, "Nothing of the job is still to be planned."
	}
	return PinKept, "It is left out."
}

func visitOf(p *Plan, job uuid.UUID, k StageKind) *Visit {
	for i := range p.Visits {
		if p.Visits[i].Job == job && p.Visits[i].Stage == k && len(p.Visits[i].HalfDays) > 0 {
			return &p.Visits[i]
		}
	}
	return nil
}

func leftOutWhy(p *Plan, job uuid.UUID, k StageKind) string {
	for _, u := range p.Unplanned {
		if u.Job == job && u.Stage == k {
			return u.Why
		}
	}
	return fmt.Sprintf("The plan does not speak of %s.", k)
}
