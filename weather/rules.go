package weather

import (
	"fmt"
	"time"
)

// rule is one limit made ready for one place and task.
type rule struct {
	Limit
	name   string // "gust while carrying modules"
	source string
	ages   bool // beyond stop the forecast no longer counts: unknown, not stop
}

// level gives the verdict on a value. An unknown value is unknown where the
// quantity has a stop level; where it has only a caution level it can hide no
// more than that.
func (r *rule) level(v Value) Verdict {
	switch {
	case !v.Known && r.Stop.Known:
		return Unknown
	case !v.Known:
		return Caution
	case r.Stop.Known && r.beyond(v.N, r.Stop.N):
		if r.ages {
			return Unknown
		}
		return Stop
	case r.Caution.Known && r.beyond(v.N, r.Caution.N):
		return Caution
	default:
		return Go
	}
}

func (r *rule) beyond(value, level float64) bool {
	if r.Quantity.LowStops() {
		return value <= level
	}
	return value >= level
}

// rules are all limits of one task at one place, ready to be asked.
type rules struct {
	task    Task
	place   Place
	factors windFactors
	hourly  []rule // asked of every step
	whole   []rule // asked of the forecast or the window as a whole
	films   map[*Member][]float64
}

// rulesFor makes the limits ready. It refuses what cannot be judged: a place
// that is none, limits with a hole, a task that is not outdoors.
func rulesFor(l Limits, p Place, task Task, panel *Panel) (rules, error) {
	if !task.Outdoor() {
		return rules{}, fmt.Errorf("%s has no weather limits to judge by", task.Doing())
	}
	if err := l.Check(); err != nil {
		return rules{}, fmt.Errorf("limits version %d: %w", l.Version, err)
	}
	return rulesOf(l, p, task, panel)
}

// rulesOf is rulesFor for an outdoor task and limits that were checked.
func rulesOf(l Limits, p Place, task Task, panel *Panel) (rules, error) {
	factors, err := p.factors()
	if err != nil {
		return rules{}, err
	}
	rs := rules{task: task, place: p, factors: factors}
	for q := WindMean; int(q) < len(quantities); q++ {
		row, ok := l.find(task, q)
		if !ok {
			continue
		}
		r := rule{Limit: row, name: ruleName(row, task), source: row.Says(), ages: q == FetchAge || q == RunAge}
		if start, had := startLimits().find(task, q); had {
			if why := row.looserThan(start); why != "" {
				r.source += "; " + why
			}
		}
		if task == PanelCarrying && q == WindGust {
			if r, err = r.tightenedBy(panel); err != nil {
				return rules{}, err
			}
		}
		if q == FetchAge || q == RunAge || q == Agreement {
			rs.whole = append(rs.whole, r)
		} else {
			rs.hourly = append(rs.hourly, r)
		}
	}
	if r, ok := p.sunRule(task); ok {
		rs.hourly = append(rs.hourly, r)
	}
	return rs, nil
}

func ruleName(row Limit, task Task) string {
	switch row.Quantity {
	case RecentRain:
		return fmt.Sprintf("rain in the %d hours before %s", row.Hours, task.Doing())
	case FetchAge, RunAge, StepLength, Agreement, LowSun:
		return row.Quantity.Name()
	default:
		return row.Quantity.Name() + " while " + task.Doing()
	}
}

// tightenedBy lowers the gust limit to what the module allows. A module only
// ever tightens the firm's limit.
func (r rule) tightenedBy(panel *Panel) (rule, error) {
	p, said := ReferencePanel(), "module not named, taken as "
	if panel != nil {
		p, said = *panel, "module of "
	}
	computed, err := PanelWindLimit(p)
	if err != nil {
		return rule{}, err
	}
	if r.Stop.N <= computed.Stop && (!r.Caution.Known || r.Caution.N <= computed.Caution) {
		return r, nil
	}
	r.source = fmt.Sprintf("%s%s: %s; firm's own rule", said, p.size(), computed.Sum)
	r.Stop = Is(min(r.Stop.N, computed.Stop))
	if r.Caution.Known {
		r.Caution = Is(min(r.Caution.N, computed.Caution))
	} else {
		r.Caution = Is(computed.Caution)
	}
	return r, nil
}

// nowhere is a step that no member covers: all of it unknown.
var nowhere = Hour{}

// step is one step of a member with what the rules may ask beside it.
type step struct {
	member   *Member
	index    int // of the step in the member's hours; -1: the member does not cover it
	from, to time.Time
}

func (s step) hour() *Hour {
	if s.index < 0 {
		return &nowhere
	}
	return &s.member.Hours[s.index]
}

// read gives what a rule asks of a step, at the place; estimated says that a
// gust was estimated from the mean. Daylight is asked elsewhere.
func (rs *rules) read(r *rule, s step) (v Value, estimated bool) {
	h := s.hour()
	switch r.Quantity {
	case WindMean:
		return scale(h.WindMean, rs.factors.mean), false
	case WindGust:
		g, estimated := gustOrEstimate(h.WindMean, h.WindGust)
		return scale(g, rs.factors.gust), estimated
	case Rain:
		return h.Rain, false // of a six-hour step: all of it might fall in one hour
	case RecentRain:
		return rainBefore(s, time.Duration(r.Hours)*time.Hour), false
	case Temperature:
		return h.Temp, false
	case FrostRisk:
		return rs.frostMargin(s), false
	case Lightning:
		return h.Thunder, false
	case RoofFilm:
		return rs.film(s), false
	case Heat:
		return heat(h), false
	case Cold:
		return cold(h.Temp, scale(h.WindMean, rs.factors.mean)), false
	case Visibility:
		return h.Visibility, false
	case LowSun:
		return rs.place.sunAhead(h, s.from, s.to), false
	case StepLength:
		return Is(s.to.Sub(s.from).Hours()), false
	default:
		return Value{}, false
	}
}

// rainBefore adds up the rain of the steps that end after before-span and start
// before the step, unknown when any of them is.
func rainBefore(s step, span time.Duration) Value {
	if s.index < 0 {
		return Value{}
	}
	sum, need := 0.0, s.from.Add(-span)
	for i := s.index - 1; ; i-- {
		if i < 0 {
			return Value{}
		}
		h := &s.member.Hours[i]
		if !h.Rain.Known || !h.From.Add(h.Span).Equal(s.member.Hours[i+1].From) {
			return Value{}
		}
		sum += h.Rain.N
		if !h.From.After(need) {
			return Is(sum)
		}
	}
}
