package weather

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"time"
)

// Work is the question put to a forecast: may this be done there, then?
type Work struct {
	Place    Place
	Task     Task
	Panel    *Panel         // PanelCarrying: the module; nil takes ReferencePanel
	From, To time.Time      // the window; To is not part of it
	Loc      *time.Location // the firm's zone, for what people read and for daylight
	Now      time.Time      // the instant of the question: forecasts age
	Warnings []Warning      // those in force that cover the place: they only tighten
	Feeds    WarningFeeds   // how they were come by
}

// Level is one limit as it stands for this place and task, for the hour strip
// to draw.
type Level struct {
	Quantity Quantity `json:"quantity"`
	Rule     string   `json:"rule"`
	Caution  Value    `json:"caution"`
	Stop     Value    `json:"stop"`
	Unit     string   `json:"unit"`
	Source   string   `json:"source"`
}

// Check is what one level found in one step; the checks of a step stand in the
// order of Judgement.Levels.
type Check struct {
	Value     Value   `json:"value"`
	Verdict   Verdict `json:"verdict"`
	Estimated bool    `json:"estimated,omitempty"` // a gust taken from the mean wind
	By        string  `json:"by,omitempty"`        // the service beside that is worse; "" = the one that is judged
}

// StepVerdict is one step of the forecast, as far as it touches the window.
type StepVerdict struct {
	From    time.Time `json:"from"` // UTC
	To      time.Time `json:"to"`   // UTC
	Verdict Verdict   `json:"verdict"`
	Checks  []Check   `json:"checks"`
}

// Judgement is the answer: the verdict on the window and on each step of it,
// and every reason, the worst first.
type Judgement struct {
	Task     Task          `json:"task"`
	From     time.Time     `json:"from"`
	To       time.Time     `json:"to"`
	Verdict  Verdict       `json:"verdict"`
	Reasons  []Reason      `json:"reasons"`
	Levels   []Level       `json:"levels"`
	Steps    []StepVerdict `json:"steps"`
	Provider string        `json:"provider"`
	Beside   []string      `json:"beside,omitempty"` // services that were weighed beside it
	Limits   int           `json:"limits"`           // the version judged by
	// OffBy is when people must be off the work: the start of the first step
	// that is stop or unknown after one that is not. Zero when there is none.
	OffBy time.Time `json:"off_by"`
}

// fewestMembers is how many futures a forecast needs before their agreement
// says anything.
const fewestMembers = 5

// Judge gives the verdict on a window. Every step of the first member (the
// control, or the only run) that touches the window is judged whole; where the
// forecast has more members, the share of them that does not pass can only make
// the verdict worse. A step that the forecast does not cover, a value it does
// not give, a forecast too old, a place or limits that cannot be used: all
// unknown, and unknown is never go.
//
// Indoor work has no weather limit and is go without a forecast.
func Judge(s Series, l Limits, w Work) Judgement {
	j := Judgement{Task: w.Task, From: w.From.UTC(), To: w.To.UTC(), Provider: s.Provider, Limits: l.Version}
	if w.Task == Indoors {
		j.Verdict = Go
		return j
	}
	rs, err := rulesFor(l, w.Place, w.Task, w.Panel)
	if err == nil {
		err = w.check(s)
	}
	if err != nil {
		j.Reasons = []Reason{{Rule: err.Error(), Verdict: Unknown, At: j.From}}
		return j
	}
	for _, r := range slices.Concat(rs.hourly, rs.whole) {
		j.Levels = append(j.Levels, Level{r.Quantity, r.name, r.Caution, r.Stop, r.Unit, r.source})
	}
	j.Verdict = Go
	tally := newTally(w.Loc)
	j.judgeSteps(&rs, s, w, tally)
	j.judgeWhole(&rs, s, w, tally)
	j.Reasons = tally.reasons()
	j.judgeWarnings(w)
	j.OffBy = offBy(j.Steps)
	return j
}

// Sentence tells the verdict and what it rests on most.
func (j Judgement) Sentence() string {
	if j.Task == Indoors {
		return "go: indoor work has no weather limit"
	}
	if len(j.Reasons) == 0 {
		return j.Verdict.String()
	}
	return j.Verdict.String() + ": " + j.Reasons[0].Sentence()
}

// longestWindow is the longest window judged: more than any forecast reaches.
const longestWindow = 62 * 24 * time.Hour

func (w Work) check(s Series) error {
	switch {
	case w.Loc == nil:
		return fmt.Errorf("no time zone was given")
	case !w.To.After(w.From):
		return fmt.Errorf("the window from %s to %s is empty", w.From.Format(time.RFC3339), w.To.Format(time.RFC3339))
	case w.To.Sub(w.From) > longestWindow:
		return fmt.Errorf("the window is longer than %d days", longestWindow/(24*time.Hour))
	case w.Now.IsZero():
		return fmt.Errorf("nobody said what time it is")
	case len(s.Members) == 0 || len(s.Members[0].Hours) == 0:
		return fmt.Errorf("there is no forecast")
	}
	return nil
}

// judgeSteps judges every step of the window.
func (j *Judgement) judgeSteps(rs *rules, s Series, w Work, t *tally) {
	light := daylightAt(w.Place, w.Loc)
	beside := rs.inTime(s.Beside, w.Now)
	for i := range beside {
		j.Beside = append(j.Beside, beside[i].Provider)
	}
	for _, step := range stepsOf(&s.Members[0], w.From, w.To) {
		sv := StepVerdict{From: step.from.UTC(), To: step.to.UTC(), Verdict: Go, Checks: make([]Check, len(rs.hourly))}
		for i := range rs.hourly {
			r := &rs.hourly[i]
			var c Check
			switch r.Quantity {
			case Daylight:
				c.Value = light.margin(later(step.from, w.From), earlier(step.to, w.To))
			case LowSun:
				c.Value = w.Place.sunAhead(step.hour(), later(step.from, w.From), earlier(step.to, w.To))
			default:
				c.Value, c.Estimated = rs.read(r, step)
			}
			c.Verdict = r.level(c.Value)
			c = rs.tightened(c, r, beside, step.from, step.to)
			sv.Checks[i] = c
			sv.Verdict = Worse(sv.Verdict, c.Verdict)
			t.note(r, c, later(step.from, w.From))
		}
		j.Steps = append(j.Steps, sv)
		j.Verdict = Worse(j.Verdict, sv.Verdict)
	}
}

// judgeWhole judges what is asked of the forecast as a whole.
func (j *Judgement) judgeWhole(rs *rules, s Series, w Work, t *tally) {
	for i := range rs.whole {
		r := &rs.whole[i]
		var c Check
		switch r.Quantity {
		case FetchAge:
			c.Value = age(w.Now, s.FetchedAt)
		case RunAge:
			if s.ModelRun.IsZero() {
				continue // the provider does not say; the age of the answer has to do
			}
			c.Value = age(w.Now, s.ModelRun)
		case Agreement:
			if len(s.Members) < fewestMembers {
				continue
			}
			c.Value = rs.disagreement(s, w)
		}
		c.Verdict = r.level(c.Value)
		j.Verdict = Worse(j.Verdict, c.Verdict)
		t.note(r, c, w.From)
	}
}

// judgeWarnings lets official warnings tighten the steps they touch, and says
// so before anything that is no worse.
func (j *Judgement) judgeWarnings(w Work) {
	for i := range w.Warnings {
		warning, r := &w.Warnings[i], Reason{}
		verdict := warning.Verdict()
		for k := range j.Steps {
			s := &j.Steps[k]
			from, to := later(s.From, w.From), earlier(s.To, w.To)
			if verdict == Go || !warning.touches(from, to) {
				continue
			}
			s.Verdict = Worse(s.Verdict, verdict)
			j.Verdict = Worse(j.Verdict, s.Verdict)
			if r.Steps == 0 {
				at := later(from, warning.From)
				r = warning.reason(at.UTC(), at.In(w.Loc).Format("Mon 2 Jan 15:04"))
			}
			r.Steps++
		}
		if r.Steps > 0 && !slices.ContainsFunc(j.Reasons, func(o Reason) bool { return o.Rule == r.Rule && o.At.Equal(r.At) && o.Verdict == r.Verdict }) {
			j.Reasons = append([]Reason{r}, j.Reasons...)
		}
	}
	if verdict, r := w.Feeds.reason(w.Now); verdict != Go {
		j.Verdict = Worse(j.Verdict, verdict)
		j.Reasons = append(j.Reasons, r)
	}
	slices.SortStableFunc(j.Reasons, func(a, b Reason) int { return cmp.Compare(rank(a.Verdict), rank(b.Verdict)) })
}

// age gives how old something is [h]; unknown when nobody said, or when it
// comes from the future, which only a wrong clock explains.
func age(now, at time.Time) Value {
	const clocksApart = 5 * time.Minute
	if at.IsZero() || at.After(now.Add(clocksApart)) {
		return Value{}
	}
	return Is(max(0, now.Sub(at).Hours()))
}

// disagreement gives the percentage of members that do not pass the window: one
// that does not know is not one that passes. When too few know, so is the
// percentage.
func (rs *rules) disagreement(s Series, w Work) Value {
	against, known := 0, 0
	for i := range s.Members {
		switch rs.passes(&s.Members[i], w.From, w.To) {
		case Go:
			known++
		case Stop:
			known++
			against++
		default:
			against++
		}
	}
	if known < fewestMembers {
		return Value{}
	}
	return Is(100 * float64(against) / float64(len(s.Members)))
}

// passes walks one member through a window: Go when no step is at a stop,
// Stop when one is, Unknown when none is but something is not known. Daylight
// is the same for all members and is not asked.
func (rs *rules) passes(m *Member, from, to time.Time) Verdict {
	verdict := Go
	eachStep(m, from, to, func(s step) bool {
		for i := range rs.hourly {
			r := &rs.hourly[i]
			if !r.Stop.Known || r.Quantity == Daylight {
				continue
			}
			v, _ := rs.read(r, s)
			switch r.level(v) {
			case Stop:
				verdict = Stop
				return false
			case Unknown:
				verdict = Unknown
			}
		}
		return true
	})
	return verdict
}

// eachStep calls yield for the steps of a member that touch a window, in
// order, until it gives false. Time that the member does not cover comes as
// steps of at most an hour with index -1.
func eachStep(m *Member, from, to time.Time, yield func(step) bool) {
	hours := m.Hours
	i := sort.Search(len(hours), func(i int) bool { return hours[i].From.Add(hours[i].Span).After(from) })
	for at := from; at.Before(to); i++ {
		covered := to
		if i < len(hours) {
			covered = earlier(to, hours[i].From)
		}
		for at.Before(covered) {
			until := earlier(covered, at.Truncate(time.Hour).Add(time.Hour))
			if !yield(step{m, -1, at, until}) {
				return
			}
			at = until
		}
		if i >= len(hours) || !at.Before(to) {
			return
		}
		end := hours[i].From.Add(hours[i].Span)
		if !yield(step{m, i, hours[i].From, end}) {
			return
		}
		at = end
	}
}

func stepsOf(m *Member, from, to time.Time) []step {
	var steps []step
	eachStep(m, from, to, func(s step) bool {
		steps = append(steps, s)
		return true
	})
	return steps
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// offBy finds the first step that turns to stop or unknown.
func offBy(steps []StepVerdict) time.Time {
	for i := 1; i < len(steps); i++ {
		if bad := steps[i].Verdict; (bad == Stop || bad == Unknown) && (steps[i-1].Verdict == Go || steps[i-1].Verdict == Caution) {
			return steps[i].From
		}
	}
	return time.Time{}
}

// Spell is a run of steps with the same verdict.
type Spell struct {
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Verdict Verdict   `json:"verdict"`
}

// Spells joins neighbouring steps of the same verdict, so that a person sees
// when the weather turns and when it turns back.
func (j Judgement) Spells() []Spell {
	var spells []Spell
	for _, s := range j.Steps {
		if n := len(spells); n > 0 && spells[n-1].Verdict == s.Verdict {
			spells[n-1].To = s.To
			continue
		}
		spells = append(spells, Spell{s.From, s.To, s.Verdict})
	}
	return spells
}

// tally keeps for every rule and verdict the step that says it most strongly.
type tally struct {
	loc   *time.Location
	found []found
}

type found struct {
	rule  *rule
	check Check
	at    time.Time
	steps int
}

func newTally(loc *time.Location) *tally { return &tally{loc: loc} }

func (t *tally) note(r *rule, c Check, at time.Time) {
	if r.Quantity == LowSun && c.Verdict == Go {
		return // there is nothing to tell of a sun that dazzles nobody
	}
	for i := range t.found {
		f := &t.found[i]
		if f.rule != r || f.check.Verdict != c.Verdict {
			continue
		}
		f.steps++
		if r.worse(c.Value, f.check.Value) {
			f.check, f.at = c, at
		}
		return
	}
	t.found = append(t.found, found{r, c, at, 1})
}

// worse reports whether a is further towards stop than b; unknown is not.
func (r *rule) worse(a, b Value) bool {
	if !a.Known || !b.Known {
		return false
	}
	if r.Quantity.LowStops() {
		return a.N < b.N
	}
	return a.N > b.N
}

// reasons gives every rule's say, the worst first. A rule that has something
// against the work does not also tell of its better hours.
func (t *tally) reasons() []Reason {
	against := map[*rule]bool{}
	for _, f := range t.found {
		if f.check.Verdict != Go {
			against[f.rule] = true
		}
	}
	var out []Reason
	for _, f := range t.found {
		if f.check.Verdict != Go || !against[f.rule] {
			out = append(out, f.reason(t.loc))
		}
	}
	slices.SortStableFunc(out, func(a, b Reason) int {
		return cmp.Or(
			cmp.Compare(rank(a.Verdict), rank(b.Verdict)),
			cmp.Compare(a.Quantity.aboutForecast(), b.Quantity.aboutForecast()), // the sky before what is said about it
			cmp.Compare(a.room(), b.room()),
		)
	})
	return out
}

// aboutForecast is 1 for quantities that judge the forecast and not the sky.
func (q Quantity) aboutForecast() int {
	if q == FetchAge || q == RunAge || q == StepLength || q == Agreement {
		return 1
	}
	return 0
}

func rank(v Verdict) int {
	return slices.Index([]Verdict{Stop, Unknown, Caution, Go}, v)
}

// room is the margin as a share of the limit, so that wind and rain can be put
// in one order.
func (r Reason) room() float64 {
	if !r.Margin.Known {
		return 0
	}
	return r.Margin.N / max(1, r.Limit, -r.Limit)
}

func (f found) reason(loc *time.Location) Reason {
	r := Reason{
		Rule: f.rule.name, Subject: f.at.In(loc).Format("Mon 2 Jan 15:04"), Verdict: f.check.Verdict, Quantity: f.rule.Quantity,
		Known: f.check.Value.Known, Value: f.check.Value.N, Unit: f.rule.Unit, Source: f.rule.source, At: f.at.UTC(), Steps: f.steps,
	}
	if f.check.Estimated {
		r.Rule += " (estimated from the mean wind)"
	}
	if f.check.By != "" {
		r.Rule += " (by " + f.check.By + ")"
	}
	if r.Quantity.aboutForecast() == 1 {
		r.Subject = "" // said of the forecast as a whole
	}
	level := f.rule.Stop
	if f.check.Verdict == Caution || (f.check.Verdict == Go && f.rule.Caution.Known) || !level.Known {
		level = f.rule.Caution
	}
	if !level.Known {
		level = f.rule.Stop
	}
	r.Limit = level.N
	if r.Known && f.rule.Stop.Known {
		r.Margin = Is(f.rule.Stop.N - r.Value)
		if f.rule.Quantity.LowStops() {
			r.Margin = Is(r.Value - f.rule.Stop.N)
		}
	}
	return r
}
