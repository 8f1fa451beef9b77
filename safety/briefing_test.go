package safety

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Three to five questions at the point of work, from the risks that weigh most
// after their controls (the number is common practice, no source).
func TestTopRisksAreTheWorstOfToday(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		score := rapid.Custom(func(t *rapid.T) Score {
			return Score{Likelihood: rapid.IntRange(1, 5).Draw(t, "l"), Severity: rapid.IntRange(1, 5).Draw(t, "s")}
		})
		stages := []string{"roof_work", "first_fix", "commissioning"}
		var a Assessment
		for i := range rapid.IntRange(0, 12).Draw(t, "n") {
			a.Entries = append(a.Entries, Entry{Hazard: fmt.Sprintf("H%02d", i), Stages: []string{rapid.SampledFrom(stages).Draw(t, "stage")},
				Before: score.Draw(t, "before"), After: score.Draw(t, "after")})
		}
		today := rapid.SliceOfNDistinct(rapid.SampledFrom(stages), 1, 3, rapid.ID[string]).Draw(t, "today")
		got := TopRisks(a, today)
		product := func(e Entry) int { return e.After.Likelihood * e.After.Severity }
		of, least := 0, 26
		for _, e := range got {
			if !slices.Contains(today, e.Stages[0]) {
				t.Fatalf("%s is of %s, today is %v", e.Hazard, e.Stages, today)
			}
			if product(e) > least {
				t.Fatalf("%s weighs more than the one before it", e.Hazard)
			}
			least = product(e)
		}
		for _, e := range a.Entries {
			if !slices.Contains(today, e.Stages[0]) {
				continue
			}
			of++
			if asked := slices.ContainsFunc(got, func(g Entry) bool { return g.Hazard == e.Hazard }); !asked && product(e) > least {
				t.Fatalf("%s (%d) is left out though %d is asked", e.Hazard, product(e), least)
			}
		}
		if len(got) < min(3, of) || len(got) > 5 {
			t.Fatalf("%d questions of %d risks", len(got), of)
		}
		slices.Reverse(a.Entries)
		again := TopRisks(a, today)
		if !slices.EqualFunc(got, again, func(x, y Entry) bool { return x.Hazard == y.Hazard }) {
			t.Fatal("the order of the entries changes the questions")
		}
	})
}

// The questions are this job's: each names a hazard of its assessment and what
// prevents it; one answered no, or not looked at, holds the crew.
func TestRiskQuestionsHoldTheCrew(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	var asked []Check
	for _, c := range ChecksFor(w.Snapshot) {
		if isRiskCheck(c.Key) {
			asked = append(asked, c)
		}
	}
	if len(asked) < 3 || len(asked) > 5 {
		t.Fatalf("%d questions", len(asked))
	}
	fall := func(c Check) bool {
		return strings.HasPrefix(c.Question, "Fall from the roof edge or the scaffold: scaffold with edge protection along eaves and gables") && strings.HasSuffix(c.Question, "Seen here and now?")
	}
	if !slices.ContainsFunc(asked, fall) {
		t.Errorf("nothing is asked about the edge of the roof: %+v", asked)
	}
	for _, c := range asked {
		for answer, want := range map[Answer]State{Yes: Met, No: NotMet, NotLookedAt: Unknown} {
			w := clearMorning(t)
			w.Briefing.Checks[c.Key] = answer
			if got := w.decide(); got.state("B19") != want || (got.Verdict == Clear) != (answer == Yes) {
				t.Errorf("%s answered %s: %s, %s", c.Key, answer, got.find("B19").Sentence(), got.Verdict)
			}
		}
	}
	for key, good := range map[string]bool{"risk_H01": true, "risk_firm-2": true, "risk_": false, "risk_a b": false, "risk_<i>": false, "H01": false, "risk_" + strings.Repeat("x", 41): false} {
		if isRiskCheck(key) != good {
			t.Errorf("%q is a question's key: %t", key, !good)
		}
	}
}
