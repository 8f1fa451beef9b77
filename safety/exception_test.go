package safety

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather/civil"
)

// bindAll makes every condition a rule of the firm's own in the snapshot, those
// of the law too, with the lead as its holder and an exception by them. The
// service never lets that happen; the decision must not care.
func (w *world) bindAll() {
	for _, c := range conditions {
		w.OwnRules = append(w.OwnRules, OwnRule{Code: c.code, Version: 1, Binding: true, Holder: w.People[0]})
		w.Exceptions = append(w.Exceptions, Exception{Crew: crewID, Job: jobID, Day: monday, Code: c.code, Reason: "it is safe", By: leadID, At: w.now})
	}
}

// Nobody overrides a condition of the law (start_blockers.csv, class hard): with
// an exception recorded for every code at once, each of the law that is not met
// or not known still holds the crew.
func TestNoExceptionFromTheLaw(t *testing.T) {
	t.Parallel()
	for i, c := range conditions {
		for _, state := range []State{Unknown, NotMet, Met} {
			all := Decide(clearMorning(t).Snapshot, clearMorning(t).now).Conditions
			all[i].State, all[i].Own, all[i].Except = state, true, "exception by somebody"
			if all[i].Advice = false; (verdictOf(all) == Clear) != (state == Met || c.advice) {
				t.Errorf("%s %s with an exception: %s", c.code, state, verdictOf(all))
			}
		}
	}
	w := clearMorning(t)
	w.bindAll()
	w.Scaffold.Events = []ScaffoldEvent{{Job: jobID, What: "impact", Detail: "a lorry", At: w.now.Add(-time.Hour)}}
	if d := w.decide(); d.Verdict != NotClear || d.find("B03").Except != "" || d.find("B03").Own {
		t.Errorf("an exception from the law: %+v", d.find("B03"))
	}
}

func TestAnExceptionFromAFirmsOwnRule(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*world)
		want   Verdict
		says   string // in the sentence of B18
	}{
		{"the firm only advises", func(w *world) { w.OwnRules = nil }, Clear, "not met"},
		{"the firm binds", func(w *world) { w.Exceptions = nil }, NotClear, "not met"},
		{"a reasoned exception by the named person", func(*world) {}, Clear, "exception by Rhodri Pask at 08:05: the rails come at nine"},
		{"not named any more", func(w *world) {
			w.OwnRules = append(w.OwnRules, OwnRule{Code: "B18", Version: 2, Binding: true, Holder: w.People[1]})
		}, NotClear, "not met"},
		{"nobody is named", func(w *world) { w.OwnRules[0].Holder = Person{}; w.Exceptions[0].By = w.OwnRules[0].Holder.ID }, NotClear, "not met"},
		{"the firm binds no longer", func(w *world) { w.OwnRules = append(w.OwnRules, OwnRule{Code: "B18", Version: 2}) }, Clear, "not met"},
		{"the named person's competence ran out", func(w *world) {
			w.OwnRules[0].Holder.Competences = []Competence{{Kind: LeadRoof, From: monday - 9, Until: monday - 1}}
		}, NotClear, "not met"},
		{"without a reason", func(w *world) { w.Exceptions[0].Reason = " " }, NotClear, "not met"},
		{"of yesterday", func(w *world) { w.Exceptions[0].Day = monday - 1 }, NotClear, "not met"},
		{"of another crew", func(w *world) { w.Exceptions[0].Crew = id(9) }, NotClear, "not met"},
		{"of another job", func(w *world) { w.Exceptions[0].Job = id(9) }, NotClear, "not met"},
		{"from another rule", func(w *world) { w.Exceptions[0].Code = "B16" }, NotClear, "not met"},
		{"not recorded yet", func(w *world) { w.Exceptions[0].At = w.now.Add(time.Second) }, NotClear, "not met"},
	} {
		w := clearMorning(t)
		w.Facts["spare_tiles"] = number(3)
		w.OwnRules = []OwnRule{{Code: "B18", Version: 1, Binding: true, Holder: w.People[0], Why: "rain comes in otherwise"}}
		w.Exceptions = []Exception{{Crew: crewID, Job: jobID, Day: monday, Code: "B18", Reason: "the rails come at nine", By: leadID, At: monday.At(8, 5, london(t)).UTC()}}
		body := Assess(w.Facts, defaultLibrary())
		w.reissue(func(a *Assessment) { *a = body })
		w.Assessment.FactsHash, w.Assessment.FactsNow = w.Facts.Hash(), w.Facts.Hash()
		c.change(w)
		d := w.decide()
		if d.Verdict != c.want || !strings.Contains(d.find("B18").Sentence(), c.says) {
			t.Errorf("%s: %s, %s; %v", c.name, d.Verdict, d.find("B18").Sentence(), d.Holding())
		}
	}
}

// However many rules and exceptions there are, an exception is told only beside
// a condition that advises, and no condition of the law is ever cleared by one.
func TestExceptionsNeverTouchTheLaw(t *testing.T) {
	t.Parallel()
	plain := clearMorning(t)
	rapid.Check(t, func(rt *rapid.T) {
		w := *plain
		w.Snapshot = plain.Snapshot
		w.OwnRules, w.Exceptions = nil, nil
		w.bindAll()
		w.Briefing, w.Assessment = nil, nil
		w.Day = monday + civil.Date(rapid.IntRange(0, 1).Draw(rt, "day"))
		d := Decide(w.Snapshot, w.now)
		for i, c := range d.Conditions {
			if (c.Except != "" || c.Own) && !conditions[i].advice {
				rt.Fatalf("%s is of the law: %+v", c.Code, c)
			}
		}
		if d.Verdict == Clear {
			rt.Fatal("clear without briefing and assessment")
		}
	})
}
