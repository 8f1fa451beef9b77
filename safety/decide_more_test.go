package safety

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// want fails unless the decision is Clear.
func wantClear(t *testing.T, name string, d Decision) {
	t.Helper()
	if d.Verdict != Clear {
		t.Errorf("%s: not clear: %+v", name, d.Holding())
	}
}

func TestIndoorCrewsNeedNoScaffoldAndNoWeather(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.indoors("first_fix")
	w.Scaffold, w.Weather, w.Lat = ScaffoldRecord{}, weather.Judgement{}, weather.Value{}
	for _, c := range ChecksFor(w.Snapshot) {
		w.Briefing.Checks[c.Key] = Yes
	}
	d := w.decide()
	wantClear(t, "first fix", d)
	var not []string
	for _, c := range d.Conditions {
		if !c.Applies {
			not = append(not, c.Code)
			if !strings.Contains(c.Sentence(), "not needed") || c.Value == "" {
				t.Errorf("%s: %q says that and why it is not needed", c.Code, c.Sentence())
			}
		}
	}
	if want := []string{"B01", "B02", "B03", "B04", "B10", "B12", "B14", "B18", "B20", "B24"}; !slices.Equal(not, want) {
		t.Errorf("not needed indoors: %v, want %v", not, want)
	}
	if !d.Until.Equal(w.EndAt) {
		t.Errorf("indoor work is clear until the window ends, not %s", d.Until)
	}
	// What still holds an indoor crew.
	for _, b := range breakages(t) {
		if !slices.Contains([]string{"B05", "B08", "B11", "B13", "B15"}, b.code) || b.want == Unknown && b.code == "B08" {
			continue
		}
		w := clearMorning(t)
		w.indoors("first_fix")
		b.do(w)
		if d := w.decide(); d.Verdict == Clear || d.state(b.code) != b.want {
			t.Errorf("indoors, %s %s: %s, %s", b.code, b.name, d.Verdict, d.state(b.code))
		}
	}
}

// Roof work is outdoor work whatever the snapshot's flag says.
func TestRoofWorkIsOutdoorsEvenWhenNobodySaidSo(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.Outdoors = false
	w.Weather.Verdict = weather.Stop
	if d := w.decide(); d.Verdict == Clear || d.state("B10") != NotMet {
		t.Errorf("roof work in a storm is %s", d.Verdict)
	}
}

func TestInspectionHoldsToTheMinute(t *testing.T) {
	t.Parallel()
	loc := london(t)
	for _, c := range []struct {
		name      string
		inspected time.Time
		want      State
		say       string
	}{
		{"to the minute the work ends", monday.At(15, 30, loc).AddDate(0, 0, -7), Met, "due now, lapses Mon 30 Nov 15:30"},
		{"a minute short", monday.At(15, 29, loc).AddDate(0, 0, -7), NotMet, "lapses Mon 30 Nov 15:29"},
		{"a day before it lapses", monday.At(8, 10, loc).AddDate(0, 0, -6), Met, "due now"},
		{"not due yet", monday.At(8, 11, loc).AddDate(0, 0, -6), Met, "holds until Tue 1 Dec 08:11"},
	} {
		w := clearMorning(t)
		for i := range w.Scaffold.Reports {
			w.Scaffold.Reports[i].At = c.inspected.UTC()
		}
		got := w.decide().find("B02")
		if got.State != c.want || !strings.Contains(got.Value, c.say) {
			t.Errorf("%s: %s %q, want %s with %q", c.name, got.State, got.Value, c.want, c.say)
		}
	}
}

// A week with a change of clocks still ends at the same time on the wall.
func TestInspectionOverAClockChange(t *testing.T) {
	t.Parallel()
	loc := london(t)
	w := clearMorning(t)
	shift := int(time.Date(2027, 3, 29, 0, 0, 0, 0, time.UTC).Sub(time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC)).Hours() / 24)
	day := monday + 119
	if int(day-monday) != shift {
		t.Fatal("119 days later is Monday 29 March 2027, the day after the clocks go forward")
	}
	for i := range w.Scaffold.Reports {
		w.Scaffold.Reports[i].At = day.At(15, 30, loc).AddDate(0, 0, -7).UTC()
	}
	w.Day, w.now = day, day.At(8, 10, loc).UTC()
	w.StartAt, w.EndAt = day.At(8, 0, loc).UTC(), day.At(15, 30, loc).UTC()
	if c := w.decide().find("B02"); c.State != Met {
		t.Errorf("after 167 hours to the same local time: %s %s", c.State, c.Value)
	}
	w.EndAt = w.EndAt.Add(time.Minute)
	if c := w.decide().find("B02"); c.State != NotMet {
		t.Errorf("a minute longer: %s %s", c.State, c.Value)
	}
}

func TestAfterAnEventANewInspectionClears(t *testing.T) {
	t.Parallel()
	loc := london(t)
	w := clearMorning(t)
	w.Scaffold.Events = []ScaffoldEvent{{Job: jobID, What: "impact", Detail: "lorry touched a standard", At: monday.At(16, 0, loc).AddDate(0, 0, -2).UTC()}}
	bad, good := goodReport(Inspection, monday.At(7, 0, loc).AddDate(0, 0, -1).UTC()), goodReport(Inspection, monday.At(7, 20, loc).UTC())
	bad.Job, good.Job = jobID, jobID
	bad.Fit, bad.Risks, bad.Further = false, "standard out of plumb", "replace the standard"

	if d := w.decide(); d.state("B03") != NotMet || d.Verdict == Clear {
		t.Error("an event without a new inspection holds the crew")
	}
	w.Scaffold.Reports = append(w.Scaffold.Reports, bad)
	if d := w.decide(); d.state("B03") != Met || d.state("B04") != NotMet || d.Verdict == Clear {
		t.Errorf("inspected since, but not fit: B03 %s, B04 %s", d.state("B03"), d.state("B04"))
	}
	w.Scaffold.Reports = append(w.Scaffold.Reports, good)
	wantClear(t, "inspected fit at last", w.decide())
	// The same instant proves nothing: which came first is not known.
	w.Scaffold.Reports[len(w.Scaffold.Reports)-1].At = bad.At
	if d := w.decide(); d.state("B04") != NotMet {
		t.Error("a fit report of the very instant of an unfit one clears nothing")
	}
}

// A scaffold that came down and went up again on a later day, handed over and
// inspected anew, is one like any other.
func TestAScaffoldErectedAnewIsClearAgain(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	up := monday - 9
	w.Scaffold.Strike = StageFact{State: "done", Started: civil.NoDate, Done: up - 1}
	w.Scaffold.Bookings = append(w.Scaffold.Bookings, ScaffoldBooking{State: "struck", ErectOn: up - 20, StrikeOn: up - 1})
	wantClear(t, "erected a day after the strike", w.decide())
	w.Scaffold.Bookings = append(w.Scaffold.Bookings, ScaffoldBooking{State: "wanted", ErectOn: monday + 30, StrikeOn: monday + 40})
	wantClear(t, "with another booking for next month", w.decide())
}

// Bad news is answered by a later inspection, however badly it was written.
func TestAnInspectionAnswersEvenABadlyWrittenReport(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*ScaffoldReport){
		"incomplete":  func(r *ScaffoldReport) { r.ByName = "" },
		"no time":     func(r *ScaffoldReport) { r.At = time.Time{} },
		"of tomorrow": func(r *ScaffoldReport) { r.At = r.At.AddDate(0, 1, 0) },
	} {
		w := clearMorning(t)
		bad := goodReport(Inspection, w.now.Add(-3*time.Hour))
		bad.Job, bad.Fit, bad.RecordedAt = jobID, false, w.now.Add(-2*time.Hour)
		spoil(&bad)
		good := goodReport(Inspection, w.now.Add(-time.Hour))
		good.Job = jobID
		w.Scaffold.Reports = append(w.Scaffold.Reports, bad)
		if d := w.decide(); d.state("B04") != NotMet {
			t.Errorf("%s: B04 %s, want not met", name, d.state("B04"))
		}
		w.Scaffold.Reports = append(w.Scaffold.Reports, good)
		wantClear(t, name+", inspected since", w.decide())
	}
}

// Only the first handover of a scaffold may be written after the inspection of
// its day.
func TestTheFirstHandoverMayFollowTheInspection(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	for i := range w.Scaffold.Reports {
		r := &w.Scaffold.Reports[i]
		if r.At = monday.At(10, 0, w.Location).AddDate(0, 0, -5).UTC(); r.Kind == Handover {
			r.At = r.At.Add(5 * time.Hour)
		}
	}
	wantClear(t, "inspected at 10:00, handed over at 15:00", w.decide())
	older := goodReport(Handover, w.Scaffold.Reports[0].At.AddDate(0, 0, -30))
	older.Job = jobID
	w.Scaffold.Reports = append(w.Scaffold.Reports, older)
	wantClear(t, "the first since it was erected anew", w.decide())
	w.Scaffold.Reports[2].At = w.Scaffold.Reports[0].At.AddDate(0, 0, -2)
	if d := w.decide(); d.state("B02") != NotMet {
		t.Error("the second handover of a scaffold asks for an inspection after it")
	}
}

func TestAHandoverDoesNotClearADefect(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	for i := range w.Scaffold.Reports {
		if r := &w.Scaffold.Reports[i]; r.Kind == Inspection {
			r.Fit = false
		}
	}
	again := goodReport(Handover, w.now.Add(-time.Hour))
	again.Job = jobID
	w.Scaffold.Reports = append(w.Scaffold.Reports, again)
	if d := w.decide(); d.state("B04") != NotMet {
		t.Error("a handover certificate is not an inspection")
	}
}

func TestACautionThatWasSpokenAboutIsShownAndClear(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.cautious(gust(7.4, 7), cold(1.5, 2))
	asked := func() (words []string) {
		for _, c := range ChecksFor(w.Snapshot) {
			if c.When == "caution" {
				words = append(words, c.Question)
			}
		}
		return words
	}
	if got := asked(); len(got) != 2 || !strings.Contains(got[0], "7.4 m/s against a limit of 7 m/s") || !strings.Contains(got[1], "1.5 °C") {
		t.Fatalf("the lead is asked about each caution with its number: %q", got)
	}
	if d := w.decide(); d.Verdict == Clear {
		t.Error("a caution nobody spoke about is clear")
	}
	w.agree(Yes)
	d := w.decide()
	wantClear(t, "cautions agreed", d)
	for _, say := range []string{"caution, agreed at the briefing: gust while carrying modules at Mon 30 Nov 11:00: 7.4 m/s against a limit of 7 m/s", "1.5 °C against a limit of 2 °C"} {
		if c := d.find("B10"); !strings.Contains(c.Value, say) {
			t.Errorf("the caution is not shown: %q", c.Value)
		}
	}
	// No worse than agreed stays agreed, and the page goes on showing the answer.
	w.cautious(gust(7.1, 7))
	wantClear(t, "a calmer forecast", w.decide())
	if c := ChecksFor(w.Snapshot); w.Briefing.Checks[c[len(c)-1].Key] != Yes || !strings.Contains(c[len(c)-1].Question, "7.1 m/s") {
		t.Errorf("the page forgets the answer to %q, or what is so now: %q", c[len(c)-1].Key, c[len(c)-1].Question)
	}
	// What is shown is what is agreed: three digits.
	w.cautious(gust(7.4004, 7))
	wantClear(t, "a difference nobody could read", w.decide())
	// The same quantity and level of two tasks is one question, about the worse.
	w.cautious(gust(7.1, 7), gust(7.6, 7))
	if got := asked(); len(got) != 1 || !strings.Contains(got[0], "7.6 m/s") {
		t.Errorf("two tasks with one level: %q", got)
	}
}

// A forecast grows older while the lead reads: once agreed, its age is agreed up
// to the level that stops.
func TestAnAgreedAgeOfTheForecastLasts(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	age := func(h float64) weather.Reason {
		return weather.Reason{Rule: "age of the forecast", Verdict: weather.Caution, Quantity: weather.FetchAge, Known: true, Value: h, Limit: 6, Unit: "h"}
	}
	w.cautious(age(6.2))
	if d := w.decide(); d.Verdict == Clear {
		t.Error("clear although nobody spoke about it")
	}
	w.agree(Yes)
	w.cautious(age(6.5))
	wantClear(t, "a quarter of an hour later", w.decide())
}

func TestCautionKeysReadBack(t *testing.T) {
	t.Parallel()
	for key, want := range map[string]bool{
		"weather_caution:wind_gust:8.99:8": true, "weather_caution:temperature:-0.5:2": true, "weather_caution:fetch_age::6": true,
		"weather_caution": false, "weather_caution:wind_gust:8.99": false, "weather_caution:unknown:1:2": false, "weather_caution:wind_gust:NaN:8": false,
		"weather_caution:wind_gust:8.990:8": false, "weather_caution:wind_gust:x:8": false, "weather_caution:wind_gust:8:": false, "caution:wind_gust:8:8": false,
	} {
		if c, ok := cautionOf(key); ok != want || ok && c.key() != key {
			t.Errorf("%q: read %v as %+v, want %v", key, ok, c, want)
		}
	}
}

// A reading at the limit stands until a lower one is read; one of yesterday says
// nothing of today.
func TestAReadingStandsUntilALowerOne(t *testing.T) {
	t.Parallel()
	loc := london(t)
	w := clearMorning(t)
	w.Readings = []Reading{{14, monday.At(7, 30, loc).UTC()}}
	w.Briefing.GustMS = weather.Is(6.2)
	wantClear(t, "14 m/s at 07:30, 6.2 m/s at the briefing of 07:50", w.decide())
	w.Briefing.GustMS = weather.Value{}
	w.Readings = append([]Reading{{6.2, monday.At(8, 0, loc).UTC()}}, w.Readings...)
	wantClear(t, "14 m/s at 07:30, 6.2 m/s at 08:00", w.decide())
	w.Readings = []Reading{{14, monday.At(7, 30, loc).AddDate(0, 0, -1).UTC()}}
	wantClear(t, "14 m/s yesterday", w.decide())
}

func TestAfterALiftedStopEverybodySignsAgain(t *testing.T) {
	t.Parallel()
	loc := london(t)
	w := clearMorning(t)
	w.Stops = []StopWork{{Job: jobID, Reason: "loose board", By: "Dele Ashworth", ByID: mateID, At: monday.At(8, 3, loc).UTC(),
		LiftedBy: "Imogen Thackray", LiftedByID: id(13), LiftedAt: monday.At(8, 6, loc).UTC(), LiftWhy: "board replaced"}}
	if d := w.decide(); d.state("B11") != Met || d.state("B08") != NotMet {
		t.Errorf("lifted but not signed again: B11 %s, B08 %s", d.state("B11"), d.state("B08"))
	}
	for i := range w.SignOffs { // at the very instant of the lift: nobody can say which came first
		w.SignOffs[i].ReceivedAt = monday.At(8, 6, loc).UTC()
	}
	if d := w.decide(); d.state("B08") != NotMet {
		t.Errorf("signed at the instant of the lift: B08 %s, want not met", d.state("B08"))
	}
	for _, s := range slices.Clone(w.SignOffs) {
		s.ReceivedAt = monday.At(8, 8, loc).UTC()
		w.SignOffs = append(w.SignOffs, s)
	}
	wantClear(t, "signed again", w.decide())
}

func TestCompetenceHoldsOnItsFirstAndLastDay(t *testing.T) {
	t.Parallel()
	p := Person{Competences: []Competence{{Kind: Roof, From: monday, Until: monday + 2}, {Kind: FirstAid, From: monday, Until: civil.NoDate}}}
	for day, want := range map[int]bool{-1: false, 0: true, 2: true, 3: false} {
		if got := p.Holds(Roof, monday+civil.Date(day)); got != want {
			t.Errorf("day %d: %v, want %v", day, got, want)
		}
	}
	if !p.Holds(FirstAid, monday+4000) || p.Holds(FirstAid, monday-1) || p.Holds(FirstAid, civil.NoDate) {
		t.Error("what does not expire holds from its first day for ever, and on no unknown day")
	}
}

func TestWhoMayWorkAlone(t *testing.T) {
	t.Parallel()
	missing := Fact{}
	for _, c := range []struct {
		stage, fact string // the one fact that differs
		is          Fact
		want        State
		say         string
	}{
		{"second_fix", "", missing, Met, ""},
		{"first_fix", "", missing, Met, ""},
		{"second_fix", "loft_work", yes(), NotMet, "loft work"},
		{"second_fix", "loft_work", missing, Unknown, "loft work is not known"},
		{"first_fix", "loft_work", missing, Unknown, "loft work is not known"},
		{"second_fix", "unit_kg", number(25.1), NotMet, "heavier than 25 kg"},
		{"second_fix", "unit_kg", missing, Unknown, "heaviest unit"},
		{"second_fix", "hot_work", yes(), NotMet, "hot work"},
		{"first_fix", "hot_work", missing, Unknown, "hot work"},
		{"commissioning", "", missing, NotMet, "live testing"},
		{"roof_work", "", missing, NotMet, "outdoor work at height"},
	} {
		w := clearMorning(t)
		w.alone()
		w.indoors(c.stage)
		if w.Facts[c.fact] = c.is; c.is == missing {
			delete(w.Facts, c.fact)
		}
		d := w.decide()
		got := d.find("B09")
		if got.State != c.want || !strings.Contains(got.Value, c.say) {
			t.Errorf("%s alone, %s %v: %s %q, want %s with %q", c.stage, c.fact, c.is, got.State, got.Value, c.want, c.say)
		}
		// Where nobody may be alone no call makes up for it.
		if k := d.find("B24"); k.Applies == (c.want == NotMet) {
			t.Errorf("%s alone, %s %v: %q", c.stage, c.fact, c.is, k.Sentence())
		}
	}
}

// A lone electrician who may be alone and is expected to ring is clear, and the
// morning says who rings whom; HSE INDG73 asks for just that, without times [from
// memory, check against the original].
func TestALoneElectricianWhoIsExpectedToRingIsClear(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.alone()
	d := w.decide()
	wantClear(t, "second fix alone", d)
	if got, want := d.find("B24").Value, "Rhodri Pask rings Imogen Thackray on 01632 960101 every 60 min, first by 09:00; if not: rings the customer, then drives out"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if p, ok := AloneToday(w.Snapshot, w.now); !ok || p.ID != leadID {
		t.Errorf("who is alone: %+v, %v", p, ok)
	}
	w.People = append(w.People, Person{ID: mateID, Name: "Dele Ashworth"})
	if _, ok := AloneToday(w.Snapshot, w.now); ok {
		t.Error("two are alone")
	}
}

// An induction in parts counts when the parts together cover all, whoever wrote
// them down in which order.
func TestAnInductionMayComeInParts(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	p := &w.People[1]
	keys := topicKeys()
	p.Inductions = []Induction{inductedBefore(*p, keys[4:]...), inductedBefore(*p, keys[:5]...)}
	wantClear(t, "in two parts", w.decide())
	p.Inductions[1].Covered = keys[:3]
	if c := w.decide().find("B23"); c.State != NotMet || !strings.HasSuffix(c.Value, "not yet "+strings.ReplaceAll(keys[3], "_", " ")) {
		t.Errorf("one topic open: %s", c.Sentence())
	}
	for _, topic := range Topics() {
		if topic.Key == "" || topic.Say == "" || topic.Source == "" {
			t.Errorf("%+v: a topic has its words and its source", topic)
		}
	}
}

// What is wrong with an induction or an arrangement is said all at once, field,
// value and what would be right.
func TestInductionsAndCheckInsAreChecked(t *testing.T) {
	t.Parallel()
	good := inductedBefore(Person{ID: mateID, Name: "Dele Ashworth"}, "stop_rule")
	if faults := good.Check("Dele Ashworth", monday); faults != nil {
		t.Errorf("a good induction: %v", faults)
	}
	for name, spoil := range map[string]func(*Induction){
		"of no day": func(i *Induction) { i.On = civil.NoDate }, "of tomorrow": func(i *Induction) { i.On = monday + 1 }, "by nobody": func(i *Induction) { i.GivenBy = " " },
		"by oneself": func(i *Induction) { i.GivenBy = "dele  ashworth, roofer" }, "about nothing": func(i *Induction) { i.Covered = nil },
		"about a topic that is none": func(i *Induction) { i.Covered = []string{"stop_rule", "tea"} },
	} {
		i := good
		spoil(&i)
		if faults := i.Check("Dele Ashworth", monday); len(faults) != 1 || fault.KindOf(faults[0]) != fault.Invalid {
			t.Errorf("%s: %v", name, faults)
		}
	}
	if faults := (CheckIn{}).Check("Rhodri Pask"); len(faults) != 4 {
		t.Errorf("an empty arrangement: %v", faults)
	}
	for phone, ok := range map[string]bool{"01632 960101": true, "+44 (0)1632 960-101": true, "999": false, "": false, "ring me": false, "44+1632960101": false, "1234567890123456": false} {
		if isPhone(phone) != ok {
			t.Errorf("%q is a number: %v", phone, !ok)
		}
	}
	for every, ok := range map[int]bool{14: false, 15: true, 120: true, 121: false, 0: false} {
		k := CheckIn{Contact: "Imogen Thackray", Phone: "01632 960101", EveryMin: every, IfMissed: "drives out"}
		if got := len(k.Check("Rhodri Pask")) == 0; got != ok {
			t.Errorf("every %d min: %v", every, got)
		}
	}
	k := CheckIn{Contact: "Rhodri Pask", Phone: "01632 960101", EveryMin: 60, IfMissed: "drives out"}
	if faults := k.Check("Rhodri Pask"); len(faults) != 1 {
		t.Errorf("rings oneself: %v", faults)
	}
}

func TestClearUntilDusk(t *testing.T) {
	t.Parallel()
	loc := london(t)
	w := clearMorning(t)
	w.EndAt = monday.At(17, 0, loc).UTC()
	w.Weather.To = w.EndAt
	d := w.decide()
	wantClear(t, "a window that ends in the dark", d)
	// Civil dusk in London on that day: 16:32 (sunset 15:55; sunrise tables).
	if got := d.Until.In(loc).Format("15:04"); got < "16:30" || got > "16:34" {
		t.Errorf("clear until %s, want civil dusk about 16:32", got)
	}
	if c := d.find("B20"); !strings.Contains(c.Value, "off the roof before then") {
		t.Errorf("the lead is not told: %q", c.Value)
	}
}

// 16 A a phase is 3.68 kW at 230 V: up to it connect and notify (EREC G98).
func TestGridApprovalOrNotification(t *testing.T) {
	t.Parallel()
	for amps, want := range map[float64]State{15.65: Met, 16: Met, 16.01: NotMet, 26.09: NotMet} {
		w := clearMorning(t)
		w.Consents = nil
		w.Facts["ac_amps_per_phase"] = number(amps)
		if got := w.decide().find("B14"); got.State != want {
			t.Errorf("%g A: %s %q, want %s", amps, got.State, got.Value, want)
		}
	}
}

func TestSentencesReadWell(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	w.SignOffs = w.SignOffs[:1]
	w.Scaffold.Erection.Done -= 5
	w.Scaffold.Bookings[0].ErectOn -= 5
	for i := range w.Scaffold.Reports {
		w.Scaffold.Reports[i].At = w.Scaffold.Reports[i].At.AddDate(0, 0, -5)
	}
	d := w.decide()
	for code, want := range map[string]string{
		"B01": "Scaffold handed over: met. Handed over Fri 20 Nov 15:00 by Ines Varga, load class 3 (2 kN/m2); asked: a scaffold that stands, with a handover certificate for this address and layout.",
		"B02": "Scaffold inspected within 7 days: not met. Last inspection Sat 21 Nov 07:40, lapsed Sat 28 Nov 07:40; asked: an inspection in the previous 7 days (same local time 7 calendar days later).",
		"B08": "Everybody signed today's version (Dele Ashworth): not met. 1 of 2 signed; asked: each person's signature today, to the version in force.",
	} {
		if got := d.find(code).Sentence(); got != want {
			t.Errorf("%s reads\n%s\nwant\n%s", code, got, want)
		}
	}
}

func TestStatementSaysWhatIsSigned(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	got := Statement(w.Snapshot, w.People[1])
	for _, want := range []string{"Dele Ashworth", "Q-1041", "7 Heron Row, Quillmere", "crew Alder", "Monday 30 November 2026", "version 3", "stop the work at any time"} {
		if !strings.Contains(got, want) {
			t.Errorf("the statement does not say %q:\n%s", want, got)
		}
	}
	if strings.Contains(got, w.Assessment.BodyHash.String()) {
		t.Error("a hash stands in what people read to sign")
	}
	if other := Statement(w.Snapshot, w.People[0]); other == got {
		t.Error("two people sign the same statement")
	}
	w.Assessment = nil
	if Statement(w.Snapshot, w.People[0]) != "" {
		t.Error("there is a statement although there is nothing to sign")
	}
}

func TestUnsignedTellsThePageWhy(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	if got := Unsigned(w.Snapshot, w.People[0], w.now); got != "" {
		t.Errorf("signed, and still %q", got)
	}
	w.SignOffs[0].BodyHash = Hash{1}
	if got := Unsigned(w.Snapshot, w.People[0], w.now); !strings.Contains(got, "version 3 is in force: sign again") {
		t.Errorf("got %q", got)
	}
}

// The snapshot is stored beside the decision: read back it decides the same.
func TestSnapshotDecidesTheSameAfterStorage(t *testing.T) {
	t.Parallel()
	for _, b := range breakages(t) {
		w := clearMorning(t)
		b.do(w)
		before := w.decide()
		text, err := json.Marshal(w.Snapshot)
		if err != nil {
			t.Fatalf("%s: %v", b.name, err)
		}
		var read Snapshot
		if err := json.Unmarshal(text, &read); err != nil {
			t.Fatalf("%s: %v", b.name, err)
		}
		read.Location = w.Location
		after := Decide(read, w.now)
		if len(before.Conditions) != len(after.Conditions) || before.Verdict != after.Verdict {
			t.Fatalf("%s: %s before storage, %s after", b.name, before.Verdict, after.Verdict)
		}
		for i := range before.Conditions {
			if before.Conditions[i] != after.Conditions[i] {
				t.Errorf("%s %s: %+v before storage, %+v after", b.code, b.name, before.Conditions[i], after.Conditions[i])
			}
		}
		if read.Hash() != w.Snapshot.Hash() {
			t.Errorf("%s: the snapshot read back has another hash", b.name)
		}
	}
}

func TestWordsReadBack(t *testing.T) {
	t.Parallel()
	type words struct {
		S State
		V Verdict
		A Answer
		H Hash
	}
	for _, w := range []words{{}, {Met, Clear, Yes, Hash{1, 2}}, {NotMet, NotClear, No, Hash{}}} {
		text, err := json.Marshal(w)
		if err != nil {
			t.Fatal(err)
		}
		var got words
		if err := json.Unmarshal(text, &got); err != nil || got != w {
			t.Errorf("%s read back as %+v, %v", text, got, err)
		}
	}
	for _, bad := range []string{`{"S":"fine"}`, `{"V":"ok"}`, `{"A":"maybe"}`, `{"H":"abc"}`} {
		got := words{Met, Clear, Yes, Hash{9}}
		if err := json.Unmarshal([]byte(bad), &got); err == nil {
			t.Errorf("%s is accepted", bad)
		}
	}
	var s State = Met
	if err := s.UnmarshalText([]byte("fine")); err == nil || s != Unknown {
		t.Error("an unknown word leaves a state unknown")
	}
}

// The conditions on overhead lines and asbestos are asked wherever the hazards
// are on the job: one table of triggers must not drift from the other.
func TestConditionsAskWhereTheHazardIs(t *testing.T) {
	t.Parallel()
	for code, hazard := range map[string]string{"B12": "H19", "B13": "H20"} {
		for _, h := range defaultLibrary().Hazards {
			if h.ID == hazard && !strings.HasPrefix(siteRules[code].String(), "not ("+h.When.String()+") or ") {
				t.Errorf("%s is %q, the hazard %s is on the job when %q", code, siteRules[code], hazard, h.When)
			}
		}
	}
}

func BenchmarkDecide(b *testing.B) {
	w := clearMorning(b)
	for b.Loop() {
		if w.decide().Verdict != Clear {
			b.Fatal("not clear")
		}
	}
}
