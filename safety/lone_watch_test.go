package safety

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// loneDay is a day on which somebody works alone from 08:00 and rings every hour.
func loneDay() (CheckIn, func(h, m int) time.Time) {
	at := func(h, m int) time.Time { return time.Date(2026, 11, 30, h, m, 0, 0, time.UTC) }
	return CheckIn{ID: id(62), Crew: crewID, Job: jobID, Day: monday, Person: leadID, Contact: "Imogen Thackray", Phone: "01632 960101", EveryMin: 60,
		IfMissed: "drives out", By: mateID, At: at(7, 30), From: at(8, 0)}, at
}

// When a call is due, when it is missed and how often that is told, by hand from an
// arrangement of a call each hour (the times are common practice, no source).
func TestWhenACallIsMissed(t *testing.T) {
	t.Parallel()
	k, at := loneDay()
	call := func(h, m int, what string) LoneCall { return LoneCall{What: what, At: at(h, m)} }
	with := func(edit func(*CheckIn)) CheckIn { k := k; edit(&k); return k }
	for name, c := range map[string]struct {
		arranged []CheckIn
		calls    []LoneCall
		now      time.Time
		due      time.Time // zero = nobody waits
		tell     int
	}{
		"nothing arranged":                     {nil, []LoneCall{call(9, 0, CallWell)}, at(12, 0), time.Time{}, 0},
		"before work":                          {[]CheckIn{k}, nil, at(7, 45), at(9, 0), 0},
		"due":                                  {[]CheckIn{k}, nil, at(9, 0), at(9, 0), 0},
		"late, in the grace":                   {[]CheckIn{k}, nil, at(9, 4), at(9, 0), 0},
		"missed":                               {[]CheckIn{k}, nil, at(9, 5), at(9, 0), 1},
		"the next missed too":                  {[]CheckIn{k}, nil, at(10, 5), at(9, 0), 2},
		"all night":                            {[]CheckIn{k}, nil, at(23, 0), at(9, 0), 3},
		"rang":                                 {[]CheckIn{k}, []LoneCall{call(8, 50, CallWell)}, at(9, 30), at(9, 50), 0},
		"rang late":                            {[]CheckIn{k}, []LoneCall{call(9, 40, CallWell)}, at(10, 0), at(10, 40), 0},
		"rang, then silent":                    {[]CheckIn{k}, []LoneCall{call(8, 50, CallWell)}, at(9, 56), at(9, 50), 1},
		"left":                                 {[]CheckIn{k}, []LoneCall{call(8, 50, CallWell), call(9, 30, CallLeft)}, at(15, 0), time.Time{}, 0},
		"came back":                            {[]CheckIn{k}, []LoneCall{call(9, 0, CallLeft), call(10, 0, CallWell)}, at(10, 30), at(11, 0), 0},
		"a call to come does not count":        {[]CheckIn{k}, []LoneCall{call(10, 0, CallWell)}, at(9, 10), at(9, 0), 1},
		"arranged during the work":             {[]CheckIn{with(func(k *CheckIn) { k.At = at(10, 20) })}, nil, at(10, 30), at(11, 20), 0},
		"rarer from now on":                    {[]CheckIn{k, with(func(k *CheckIn) { k.At, k.EveryMin = at(8, 30), 120 })}, nil, at(9, 30), at(10, 0), 0},
		"rarer, when one is missed already":    {[]CheckIn{k, with(func(k *CheckIn) { k.At, k.EveryMin = at(9, 10), 120 })}, nil, at(9, 30), at(9, 0), 1},
		"arranged anew by the person":          {[]CheckIn{k, with(func(k *CheckIn) { k.At, k.By = at(9, 10), leadID })}, nil, at(9, 30), at(10, 10), 0},
		"arranged anew after they left":        {[]CheckIn{k, with(func(k *CheckIn) { k.At = at(13, 0) })}, []LoneCall{call(12, 0, CallLeft)}, at(13, 30), at(14, 0), 0},
		"no interval, as nothing can be saved": {[]CheckIn{with(func(k *CheckIn) { k.EveryMin = 0 })}, nil, at(8, 30), at(8, 1), 3},
	} {
		w := WatchLone(c.arranged, c.calls, c.now)
		if !w.Due.Equal(c.due) || w.Tell(c.now) != c.tell || w.Overdue(c.now) != (!c.due.IsZero() && c.now.After(c.due)) {
			t.Errorf("%s: due %s, told %d; want %s, %d", name, w.Due.Format("15:04"), w.Tell(c.now), c.due.Format("15:04"), c.tell)
		}
	}
}

// Whatever was arranged and whoever called: somebody who is waited for and says
// nothing for the longest time that can be arranged, and the grace, is told of; and
// a call makes the watch wait anew, at most that long.
func TestNoSilenceIsOverlooked(t *testing.T) {
	t.Parallel()
	k, at := loneDay()
	rapid.Check(t, func(t *rapid.T) {
		minute := rapid.IntRange(0, 600)
		var arranged []CheckIn
		for range rapid.IntRange(1, 4).Draw(t, "arrangements") {
			one := k
			one.At, one.EveryMin = at(7, 0).Add(time.Duration(minute.Draw(t, "at"))*time.Minute), rapid.IntRange(OftenestCheckIn, RarestCheckIn).Draw(t, "every")
			if rapid.Bool().Draw(t, "own") {
				one.By = one.Person
			}
			arranged = append(arranged, one)
		}
		var calls []LoneCall
		for range rapid.IntRange(0, 6).Draw(t, "calls") {
			calls = append(calls, LoneCall{What: rapid.SampledFrom([]string{CallWell, CallLeft}).Draw(t, "what"), At: at(7, 0).Add(time.Duration(minute.Draw(t, "at"))*time.Minute + time.Second)})
		}
		now := at(7, 0).Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "now")) * time.Minute)
		w := WatchLone(arranged, calls, now)
		var last time.Time // of anything at all, or the start of the work
		for _, a := range arranged {
			if !a.At.After(now) {
				last = latest(last, a.from())
			}
		}
		if last.IsZero() {
			if !w.Due.IsZero() {
				t.Fatal("somebody is waited for before anything was arranged")
			}
			return
		}
		left := false
		all := slices.Clone(calls)
		slices.SortStableFunc(all, func(a, b LoneCall) int { return a.At.Compare(b.At) })
		for _, c := range all {
			if !c.At.After(now) {
				last = latest(last, c.At)
				left = left || c.What == CallLeft
			}
		}
		if !left && w.Due.IsZero() {
			t.Fatal("nobody left, and nobody is waited for")
		}
		if !w.Due.IsZero() && now.Sub(last) > RarestCheckIn*time.Minute+CallGrace && w.Tell(now) == 0 {
			t.Fatalf("silent since %s, now %s, due %s, and nobody is told", last, now, w.Due)
		}
		again := WatchLone(arranged, append(calls, LoneCall{What: CallWell, At: now}), now)
		if again.Overdue(now) || again.Due.IsZero() || again.Due.Sub(now) > RarestCheckIn*time.Minute {
			t.Fatalf("after a call at %s the next is due %s", now, again.Due)
		}
		for _, some := range []int{0, 1, 2, 3} {
			if w.Tell(now) == some && !strings.Contains(w.Sentence("Rhodri Pask", now, time.UTC), "Rhodri Pask") {
				t.Fatal("the sentence names nobody")
			}
		}
	})
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// A crew of one whose call is missing is not clear, whatever else is all right.
func TestAMissedCallHolds(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.alone()
	if got := w.decide(); got.state("B24") != Met {
		t.Fatalf("before: %s", got.find("B24").Sentence())
	}
	w.now = w.now.Add(65 * time.Minute)
	c := w.decide().find("B24")
	if c.State != NotMet || !strings.Contains(c.Value, "no call of") || !strings.Contains(c.Value, "Imogen Thackray is on 01632 960101") {
		t.Errorf("an hour later: %s", c.Sentence())
	}
	p := w.People[0]
	w.LoneCalls = []LoneCall{{ID: id(63), Crew: crewID, Job: jobID, Day: monday, Person: p.ID, What: CallWell, By: p.ID, At: w.now}}
	if c := w.decide().find("B24"); c.State != Met || !strings.Contains(c.Value, "next by") {
		t.Errorf("after a call: %s", c.Sentence())
	}
	w.LoneCalls[0].Job = id(9)
	if c := w.decide().find("B24"); c.State != NotMet {
		t.Errorf("a call from another job: %s", c.Sentence())
	}
}
