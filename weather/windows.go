package weather

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Windows gives the workable stretches of a judgement's window, the longest
// first and of two alike the earlier: steps in a row of which none is at a stop
// or not known, cut to the window. Cautions are workable, and Spells tells them
// apart.
func (j Judgement) Windows() []Spell {
	var all []Spell
	for _, s := range j.Steps {
		from, to := later(s.From, j.From), earlier(s.To, j.To)
		if !s.Verdict.workable() || !to.After(from) {
			continue
		}
		if n := len(all); n > 0 && all[n-1].To.Equal(from) {
			all[n-1].To, all[n-1].Verdict = to, Worse(all[n-1].Verdict, s.Verdict)
			continue
		}
		all = append(all, Spell{from, to, s.Verdict})
	}
	slices.SortStableFunc(all, func(a, b Spell) int {
		return cmp.Or(cmp.Compare(b.To.Sub(b.From), a.To.Sub(a.From)), a.From.Compare(b.From))
	})
	return all
}

func (v Verdict) workable() bool { return v == Go || v == Caution }

// Turn is when the weather turns against the work and when it turns back.
type Turn struct {
	OffBy   time.Time // UTC; be off the work by then; zero = it does not turn
	Verdict Verdict   // what it turns to: Stop or Unknown
	Because string    // the rule that decides, in words; "" = not known
	BackAt  time.Time // UTC; workable again from then on; zero = not within the window
}

// Turn gives the first turn against the work after a workable step, and the way
// back from it.
func (j Judgement) Turn() (t Turn) {
	if j.OffBy.IsZero() {
		return t
	}
	t.OffBy = j.OffBy
	for _, s := range j.Steps {
		switch {
		case s.From.Before(j.OffBy):
		case s.Verdict.workable():
			t.BackAt = s.From
			return t
		case s.From.Equal(j.OffBy):
			t.Verdict, t.Because = s.Verdict, j.because(s)
		}
	}
	return t
}

// because names what decides a step.
func (j Judgement) because(s StepVerdict) string {
	for i, c := range s.Checks {
		if c.Verdict == s.Verdict && i < len(j.Levels) {
			return j.Levels[i].against(c)
		}
	}
	for _, r := range j.Reasons {
		if r.Verdict == s.Verdict && !r.At.Before(s.From) && r.At.Before(s.To) {
			return r.Rule
		}
	}
	return ""
}

// Hours says in words when the work can be done: the longest stretch, when to be
// off it and why, and when it turns back. Times are of a zone. "" for work that
// has no weather limit.
func (j Judgement) Hours(loc *time.Location) string {
	if j.Task == Indoors || len(j.Steps) == 0 {
		return ""
	}
	clock := func(t time.Time) string {
		if t.In(loc).YearDay() != j.From.In(loc).YearDay() {
			return t.In(loc).Format("Mon 2 Jan 15:04")
		}
		return t.In(loc).Format("15:04")
	}
	windows := j.Windows()
	if len(windows) == 0 {
		return "No hour of it is workable."
	}
	longest, say := windows[0], ""
	if !longest.From.Equal(j.From) || !longest.To.Equal(j.To) {
		say = fmt.Sprintf("Longest workable stretch %s to %s, %s.", clock(longest.From), clock(longest.To), lasts(longest.To.Sub(longest.From)))
	}
	t := j.Turn()
	if t.OffBy.IsZero() {
		return say
	}
	if say != "" {
		say += " "
	}
	say += "Be off by " + clock(t.OffBy)
	if t.Because != "" {
		say += ": " + t.Because
	}
	say += "."
	if !t.BackAt.IsZero() {
		return say + " Workable again from " + clock(t.BackAt) + " by this forecast."
	}
	return say + " It does not turn back by " + clock(j.To) + "."
}

func lasts(d time.Duration) string {
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 0:
		return fmt.Sprintf("%d minutes", m)
	case m == 0 && h == 1:
		return "1 hour"
	case m == 0:
		return fmt.Sprintf("%d hours", h)
	default:
		return fmt.Sprintf("%d h %d min", h, m)
	}
}

// Both gives a judgement with the steps of another task's over the same window
// held against it as well: each step is as bad as the worse of both, and when to
// be off follows from that. Verdict, reasons and levels stay those of j.
func (j Judgement) Both(other Judgement) Judgement {
	j.Steps = slices.Clone(j.Steps)
	for i := range j.Steps {
		s := &j.Steps[i]
		k := slices.IndexFunc(other.Steps, func(o StepVerdict) bool { return o.From.Equal(s.From) && o.To.Equal(s.To) })
		if k < 0 {
			s.Verdict = Worse(s.Verdict, Unknown)
			continue
		}
		s.Verdict = Worse(s.Verdict, other.Steps[k].Verdict)
	}
	j.OffBy = offBy(j.Steps)
	return j
}

// WithPast gives a series whose members begin with hours of an earlier forecast
// of the same place: those of its first member (the control) before the series'
// own first hour, as far back as they reach it without a gap. Services fill
// hours that have passed by analysis, so these are the best that is known of
// them. The same past stands before every member. What the earlier one does not
// know stays unknown, and one that leaves a gap is not used.
func (s Series) WithPast(earlierOne Series) Series {
	if len(earlierOne.Members) == 0 {
		return s
	}
	out := s
	out.Members = make([]Member, len(s.Members))
	used := false
	for i, m := range s.Members {
		out.Members[i] = m
		if len(m.Hours) == 0 {
			continue
		}
		past := before(earlierOne.Members[0].Hours, m.Hours[0].From)
		if len(past) > 0 {
			used = true
			out.Members[i].Hours = slices.Concat(past, m.Hours)
		}
	}
	if !used {
		return s
	}
	out.Notes = append(slices.Clone(s.Notes), fmt.Sprintf("hours before %s are of the forecast fetched %s", s.Members[0].Hours[0].From.Format("2006-01-02 15:04 MST"), earlierOne.FetchedAt.UTC().Format("2006-01-02 15:04 MST")))
	return out
}

// before gives the unbroken hours that end where an instant begins.
func before(hours []Hour, at time.Time) []Hour {
	end := len(hours)
	for end > 0 && hours[end-1].From.Add(hours[end-1].Span).After(at) {
		end--
	}
	if end == 0 || !hours[end-1].From.Add(hours[end-1].Span).Equal(at) {
		return nil
	}
	start := end - 1
	for start > 0 && hours[start-1].From.Add(hours[start-1].Span).Equal(hours[start].From) {
		start--
	}
	return hours[start:end]
}
