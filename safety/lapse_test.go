package safety

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// What makes a signature lapse, as the firm agreed it (common practice, no
// source): the assessment, the crew, the scaffold, the task, the class of the
// forecast. Each row changes one thing after everybody has signed.
func TestASignatureLapsesWithWhatItWasGivenFor(t *testing.T) {
	t.Parallel()
	loc := london(t)
	for _, c := range []struct {
		name   string
		change func(*world)
		says   string // "" = it still holds
	}{
		{"nothing", func(*world) {}, ""},
		{"somebody joins", func(w *world) {
			w.People = append(w.People, Person{ID: id(13), Name: "Beth Nowak", Competences: w.People[1].Competences})
		}, "the crew was Dele Ashworth, Rhodri Pask (lead), is now Beth Nowak, Dele Ashworth, Rhodri Pask (lead): sign again"},
		{"somebody leaves", func(w *world) { w.People = w.People[:1] }, "the crew was Dele Ashworth, Rhodri Pask (lead), is now Rhodri Pask (lead)"},
		{"another leads", func(w *world) {
			w.People[0].Lead, w.People[1].Lead = false, true
		}, "is now Dele Ashworth (lead), Rhodri Pask"},
		{"another task", func(w *world) { w.Stages = []string{"roof_work"} }, "the task was commissioning, roof work, is now roof work"},
		{"the same tasks in another order", func(w *world) { w.Stages = []string{"commissioning", "roof_work"} }, ""},
		{"the forecast turns to caution", func(w *world) { w.Weather.Verdict = weather.Caution }, "the forecast was go, is now caution"},
		{"the forecast is lost", func(w *world) { w.Weather = weather.Judgement{} }, "the forecast was go, is now unknown"},
		{"another gust of the same class", func(w *world) {
			w.Weather.Reasons = []weather.Reason{{Quantity: weather.WindGust, Known: true, Value: 6.1}}
		}, ""},
		{"the wind shook the scaffold", func(w *world) {
			w.Scaffold.Events = append(w.Scaffold.Events, ScaffoldEvent{Job: jobID, What: "wind", Detail: "19 m/s", At: monday.At(8, 5, loc)})
		}, "the scaffold was fit for use, handed over Wed 25 Nov 15:00, is now fit for use, handed over Wed 25 Nov 15:00, after the wind of Mon 30 Nov 08:05"},
		{"an event at another job", func(w *world) {
			w.Scaffold.Events = append(w.Scaffold.Events, ScaffoldEvent{Job: id(9), What: "wind", Detail: "19 m/s", At: monday.At(8, 5, loc)})
		}, ""},
		{"an inspection finds it unfit", func(w *world) {
			r := goodReport(Inspection, monday.At(8, 6, loc).UTC())
			r.Job, r.Fit, r.Risks = jobID, false, "a tie is loose"
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "is now not fit for use"},
		{"another inspection finds it fit", func(w *world) {
			r := goodReport(Inspection, monday.At(8, 6, loc).UTC())
			r.Job = jobID
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, ""},
		{"it is handed over anew", func(w *world) {
			r := goodReport(Handover, monday.At(8, 6, loc).UTC())
			r.Job = jobID
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "is now fit for use, handed over Mon 30 Nov 08:06"},
		{"its strike began", func(w *world) { w.Scaffold.Strike = StageFact{State: "started", Started: monday} }, "is now not ready: its strike started on"},
		{"another version", func(w *world) {
			w.reissue(func(a *Assessment) { a.Cautions = append(slices.Clone(a.Cautions), "mind the dog") })
			w.Assessment.Version++
		}, "the assessment was version 3"},
		{"nobody knows what it was given for", func(w *world) { w.SignOffs[0].GivenFor = Basis{} }, "the assessment was not known, is now version 3"},
		{"it was typed", func(w *world) { w.SignOffs[0].Proof = "" }, "without a PIN: sign again"},
	} {
		w := clearMorning(t)
		w.stale = true
		c.change(w)
		got := Unsigned(w.Snapshot, w.People[0], w.now)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("%s: %q, want %q", c.name, got, c.says)
		}
		if signed := w.decide().state("B08") == Met; signed != (c.says == "") {
			t.Errorf("%s: everybody signed: %t", c.name, signed)
		}
	}
}

// Of any two bases, a signature holds if and only if every part is known and the
// same, and what is said names each part that changed, once, with both its texts.
func TestLapsedNamesEachChange(t *testing.T) {
	t.Parallel()
	text := rapid.SampledFrom([]string{"", "a", "b"})
	basis := rapid.Custom(func(t *rapid.T) Basis {
		return Basis{text.Draw(t, "assessment"), text.Draw(t, "crew"), text.Draw(t, "scaffold"), text.Draw(t, "tasks"), text.Draw(t, "forecast")}
	})
	rapid.Check(t, func(t *rapid.T) {
		was, is := basis.Draw(t, "was"), basis.Draw(t, "is")
		got := map[string]Change{}
		for _, c := range Lapsed(was, is) {
			if _, twice := got[c.What]; twice {
				t.Fatalf("%s is named twice", c.What)
			}
			got[c.What] = c
		}
		for what, pair := range map[string][2]string{"assessment": {was.Assessment, is.Assessment}, "crew": {was.Crew, is.Crew},
			"scaffold": {was.Scaffold, is.Scaffold}, "task": {was.Tasks, is.Tasks}, "forecast": {was.Forecast, is.Forecast}} {
			c, changed := got[what]
			if holds := pair[0] == pair[1] && pair[0] != ""; holds == changed || changed && (c.Was != pair[0] || c.Is != pair[1]) {
				t.Fatalf("%s: %q to %q gives %+v", what, pair[0], pair[1], c)
			}
		}
	})
}

// A drawing is strokes and nothing else: what a page shows it in is an SVG path
// (SVG 1.1, section 8.3), and no other letter of a path's grammar gets in.
func TestADrawingIsStrokes(t *testing.T) {
	t.Parallel()
	for path, good := range map[string]bool{
		"": true, "M1 2": true, "M0 0L999 999L5 6M7 8L9 10": true, "M1 2M3 4": true,
		"L1 2": false, "M1": false, "M1 ": false, "M 1 2": false, "M1 2L": false, "M1 2 ": false, "M1000 2": false, "M-1 2": false, "M1.5 2": false,
		"M1 2Z": false, "M1 2C1 2 3 4 5 6": false, "m1 2": false, "M1 2\n": false, `M1 2"/><script>`: false,
		strings.Repeat("M1 2", 2000): true, strings.Repeat("M1 2", 2001): false,
	} {
		if err := CheckDrawing(path); (err == nil) != good {
			t.Errorf("%.20q: %v, want it taken: %t", path, err, good)
		}
	}
}
