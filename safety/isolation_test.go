package safety

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/weather"
)

// A permit is open until it is ended, and is whose took it over last; what was
// recorded in which order they are read decides nothing.
func TestOpenIsolations(t *testing.T) {
	t.Parallel()
	at := func(minute int) time.Time { return time.Date(2026, 11, 30, 7, minute, 0, 0, time.UTC) }
	record := func(n byte, kind string, by byte, minute int, body Fields) Record {
		return Record{ID: id(n), Job: jobID, Kind: kind, By: id(by), ByName: string('A' + rune(by)), At: at(minute), RecordedAt: at(minute), Body: body}
	}
	permit := func(n byte, what string, minute int) Record {
		return record(n, Isolation, 1, minute, Fields{"what": what, "where": "board", "holds_key": "A"})
	}
	of := func(n byte) Fields { return Fields{"permit": id(n).String(), "holds_key": "the new holder"} }
	all := []Record{
		permit(1, "string 1", 3), permit(2, "string 2", 1), permit(3, "string 3", 2),
		record(4, IsolationEnd, 2, 4, of(3)),
		record(5, IsolationTaken, 2, 5, of(2)), record(6, IsolationTaken, 3, 6, of(2)),
		record(7, NearMiss, 2, 7, Fields{"what": "a spark"}),
	}
	rapid.Check(t, func(t *rapid.T) {
		got := OpenIsolations(rapid.Permutation(all).Draw(t, "order"))
		if len(got) != 2 || got[0].What != "string 2" || got[1].What != "string 1" {
			t.Fatalf("open are %+v, want string 2 and string 1", got)
		}
		if p := got[0]; p.HeldBy != id(3) || p.Key != "the new holder" || !p.Taken.Equal(at(6)) || !p.At.Equal(at(1)) {
			t.Fatalf("taken over last by %s at %s: %+v", id(3), at(6), p)
		}
		if p := got[1]; p.HeldBy != id(1) || !p.Taken.IsZero() {
			t.Fatalf("never taken over: %+v", p)
		}
	})
}

// A permit held in the crew holds nobody; one of somebody else's holds electrical
// work and is told to those who do none.
func TestAPermitHoldsElectricalWork(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.Isolations = []Permit{permitOf(mateID, "Dele Ashworth")}
	if d := w.decide(); d.Verdict != Clear || !strings.Contains(d.find("B22").Value, "held in this crew: inverter C1") {
		t.Errorf("one's own: %s, %s", d.Verdict, d.find("B22").Sentence())
	}
	w.Isolations = []Permit{permitOf(id(14), "Callum Reyes")}
	for _, stage := range indoorStages {
		w.indoors(stage)
		if d := w.decide(); d.state("B22") != NotMet {
			t.Errorf("%s: %s", stage, d.find("B22").Sentence())
		}
	}
	w.Stages, w.Outdoors = []string{"roof_work"}, true
	if c := w.decide().find("B22"); c.State != Met || c.Applies || !strings.Contains(c.Value, "open: inverter C1") {
		t.Errorf("on the roof it is told and holds nobody: %+v", c)
	}
}

// Where the whole day is not clear, a stage that would be clear by itself is
// named: indoors yes, roof no, and the other way round. What concerns everybody
// clears nothing.
func TestClearForSomeTasks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		do   func(*world)
		want string
	}{
		{"too windy for the roof", func(w *world) {
			w.Weather.Verdict = weather.Stop
		}, "commissioning"},
		{"no scaffold to stand on", func(w *world) { w.Scaffold.Reports = nil }, "commissioning"},
		{"nobody for roof rescue", func(w *world) {
			w.People[1].Competences = slices.DeleteFunc(w.People[1].Competences, func(c Competence) bool { return c.Kind == RoofRescue })
		}, "commissioning"},
		{"no electrician", func(w *world) {
			w.People[0].Competences = slices.DeleteFunc(w.People[0].Competences, func(c Competence) bool { return c.Kind == Electrical })
		}, "roof_work"},
		{"the grid operator has not agreed", func(w *world) { w.Consents[0].Granted = false }, "roof_work"},
		{"somebody else's permit is open", func(w *world) { w.Isolations = []Permit{permitOf(id(14), "Callum Reyes")} }, "roof_work"},
		{"both", func(w *world) {
			w.Scaffold.Reports = nil
			w.Consents[0].Granted = false
		}, ""},
		{"work is stopped", func(w *world) {
			w.Stops = []StopWork{{ID: id(81), Job: jobID, Reason: "loose board", By: "Dele Ashworth", ByID: mateID, At: w.now.Add(-time.Hour)}}
		}, ""},
		{"one has not signed", func(w *world) { w.SignOffs = w.SignOffs[:1] }, ""},
		{"no briefing", func(w *world) { w.Briefing = nil }, ""},
		{"the job was cancelled", func(w *world) { w.JobState = "cancelled" }, ""},
		{"the snapshot is broken", func(w *world) { w.Crew = uuid.Nil }, ""},
		{"clear", func(*world) {}, ""},
	} {
		w := clearMorning(t)
		c.do(w)
		d := w.decide()
		var got []string
		for _, s := range d.ClearFor {
			got = append(got, s.Stage)
			if s.Until.IsZero() || s.Until.After(w.EndAt) {
				t.Errorf("%s: %s is clear until %s", c.name, s.Stage, s.Until)
			}
		}
		if strings.Join(got, " ") != c.want || (d.Verdict == Clear) != (c.name == "clear") {
			t.Errorf("%s: %s, clear for %v, want %q", c.name, d.Verdict, got, c.want)
		}
	}
}

// Whatever is wrong: a stage that is named clear is one for which, judged as the
// only work of the day and signed for, the whole decision says clear; and no
// stage is named beside a clear day.
func TestAStageIsClearOnlyAsAWholeDayWouldBe(t *testing.T) {
	t.Parallel()
	named := 0
	for _, b := range breakages(t) {
		w := clearMorning(t)
		b.do(w)
		d := w.decide()
		if d.Verdict == Clear && len(d.ClearFor) > 0 {
			t.Errorf("%s: clear, and for some tasks too", b.name)
		}
		for _, s := range d.ClearFor {
			named++
			w.Stages, w.Outdoors = []string{s.Stage}, s.Stage == "roof_work"
			for _, c := range ChecksFor(w.Snapshot) { // the questions that a day of this stage alone would ask
				if _, asked := w.Briefing.Checks[c.Key]; isRiskCheck(c.Key) && !asked {
					w.Briefing.Checks[c.Key] = Yes
				}
			}
			if got := w.decide(); got.Verdict != Clear {
				t.Errorf("%s: %s is said to be clear, and alone it is not: %v", b.name, s.Stage, got.Holding())
			}
		}
	}
	if named < 20 {
		t.Errorf("only %d stages were named", named)
	}
}
