package schedule

import (
	"github.com/google/uuid"
)

// rulePinned is the rule that what a person fixed is kept by what is planned.
const rulePinned = "pins are kept"

// pins checks that every planned visit keeps what a person fixed about it. A
// stage that has begun, and an erection or strike booked inside its notice,
// stand where they are whatever is pinned. That a whole job stays as published
// is held with the visits that stay.
func (v *validation) pins() {
	for i := range v.s.Pins {
		p := &v.s.Pins[i]
		j := v.byID[p.Job]
		if j == nil {
			continue
		}
		for _, st := range j.Stages {
			st, _ := v.stage(j, st.Kind)
			x := v.get(j, st.Kind)
			if x == nil || len(x.HalfDays) == 0 || st.State != StatePlanned || p.Stage != StageUnknown && !v.about(p, st.Kind) {
				continue
			}
			if why := v.breaks(j, p, x); why != "" && !v.bookedTooNear(j, x) {
				v.say(rulePinned, j, st.Kind, "%s.", why)
			}
		}
	}
}

// about tells whether a pin of one stage speaks of another, too: who erects
// also strikes.
func (v *validation) about(p *Pin, k StageKind) bool {
	who := p.Kind == PinBy || p.Kind == PinNotBy
	return p.Stage == k || who && p.Stage.Trade() == ScaffoldTrade && k.Trade() == ScaffoldTrade
}

// breaks says how a visit breaks a pin; "" = it keeps it.
func (v *validation) breaks(j *Job, p *Pin, x *Visit) string {
	day, end := x.First().Date(), x.Last().Date()
	did := x.Crew
	if x.Stage.Trade() == ScaffoldTrade {
		did = x.ScaffoldFirm
		if v.standing(j) || x.Stage == ScaffoldStrike && v.came(j) {
			did = uuid.Nil // whose scaffold it is, is a fact
		}
	}
	switch p.Kind {
	case PinStart:
		if day != p.On || x.First().Half() != p.Half {
			return "it is pinned to start on " + p.On.In(p.Half).Short() + " and starts on " + x.First().Short()
		}
	case PinOn:
		if day != p.On {
			return "it is pinned to start on " + p.On.Short() + " and starts on " + day.Short()
		}
	case PinNotBefore:
		if day < p.On {
			return "it is pinned to start not before " + p.On.Short() + " and starts on " + day.Short()
		}
	case PinNotAfter:
		if end > p.On {
			return "it is pinned to be over by " + p.On.Short() + " and ends on " + end.Short()
		}
	case PinBy:
		if did != uuid.Nil && did != p.Who {
			return "it is pinned to be done by somebody else"
		}
	case PinNotBy:
		if did == p.Who {
			return "it is pinned to be done by somebody else"
		}
	case PinLeftOut:
		return "its job is pinned to be left out"
	}
	return ""
}

// came tells whether the erection stands where it had to.
func (v *validation) came(j *Job) bool {
	x := v.get(j, ScaffoldErection)
	return x != nil && v.fixed(x)
}

// bookedTooNear tells whether a visit stands on a day that is booked inside its
// notice.
func (v *validation) bookedTooNear(j *Job, x *Visit) bool {
	if x.Stage.Trade() != ScaffoldTrade {
		return false
	}
	on, firm, near := v.tooNear(j, x.Stage)
	return near && x.ScaffoldFirm == firm && x.First().Date() == on
}

// freed tells whether a pin lets a visit go from where it would have to stay.
func (v *validation) freed(j *Job, k StageKind, a anchor) bool {
	if len(a.at) == 0 {
		return false
	}
	x := &Visit{Job: j.ID, Stage: k, HalfDays: a.at}
	if k.Trade() == ScaffoldTrade {
		x.ScaffoldFirm = a.who
	} else {
		x.Crew = a.who
	}
	for i := range v.s.Pins {
		p := &v.s.Pins[i]
		if p.Job == j.ID && (p.Stage == StageUnknown || v.about(p, k)) && v.breaks(j, p, x) != "" {
			return true
		}
	}
	return false
}

// pinnedAsPublished tells whether a person fixed a whole job as published.
func (v *validation) pinnedAsPublished(j *Job) bool {
	for _, p := range v.s.Pins {
		if p.Job == j.ID && p.Kind == PinStays {
			return true
		}
	}
	return false
}

// hasPin tells whether a person fixed something about a stage.
func (v *validation) hasPin(j *Job, k StageKind) bool {
	for i := range v.s.Pins {
		if p := &v.s.Pins[i]; p.Job == j.ID && (p.Stage == StageUnknown || v.about(p, k)) {
			return true
		}
	}
	return false
}

// leftOutByPin tells whether a person left the whole job out.
func (v *validation) leftOutByPin(j *Job) bool {
	for _, p := range v.s.Pins {
		if p.Job == j.ID && p.Kind == PinLeftOut {
			return true
		}
	}
	return false
}
