package safety

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// id makes a fixed identity for tests.
func id(n byte) uuid.UUID { return uuid.UUID{15: n} }

var (
	crewID, jobID, leadID, mateID = id(1), id(2), id(11), id(12)
	versionID                     = id(31)
	monday                        = civil.On(2026, 11, 30)
)

func london(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// defaultLibrary is read once for all tests, which do not change it.
var defaultLibrary = sync.OnceValue(DefaultLibrary)

// world is a snapshot and the instant to decide for.
type world struct {
	Snapshot
	now   time.Time
	stale bool // signatures stay what they were given for
}

// decide signs for what is so first, unless the world is stale: whether a
// signature lapses is tried in lapse_test.go, and must not hide what another
// condition finds.
func (w *world) decide() Decision {
	if !w.stale {
		w.SignOffs = slices.Clone(w.SignOffs)
		for i := range w.SignOffs {
			w.SignOffs[i].GivenFor = BasisOf(w.Snapshot)
		}
	}
	return Decide(w.Snapshot, w.now)
}

// clearMorning is a morning on which nothing is wrong: roof work and
// commissioning on Monday 30 November 2026 in London, where civil twilight runs
// from 07:04 to 16:32 local.
func clearMorning(t testing.TB) *world {
	t.Helper()
	loc := london(t)
	far := monday + 400
	can := func(kinds ...string) []Competence {
		var all []Competence
		for _, k := range kinds {
			all = append(all, Competence{Kind: k, From: monday - 300, Until: far})
		}
		return all
	}
	w := &world{now: monday.At(8, 10, loc).UTC()}
	w.Snapshot = Snapshot{
		Crew: crewID, CrewName: "Alder", Job: jobID, JobRef: "Q-1041", JobState: "open", Address: "7 Heron Row, Quillmere", Day: monday,
		Location: loc, TimeZone: "Europe/London", Lat: weather.Is(51.5), Lon: weather.Is(-0.12),
		StartAt: monday.At(8, 0, loc).UTC(), EndAt: monday.At(15, 30, loc).UTC(),
		Stages: []string{"roof_work", "commissioning"}, Outdoors: true,
		People: []Person{
			{ID: leadID, Name: "Rhodri Pask", Lead: true, Competences: can(LeadRoof, Roof, Electrical)},
			{ID: mateID, Name: "Dele Ashworth", Competences: can(Roof, FirstAid, RoofRescue)},
		},
		Weather: weather.Judgement{Task: weather.PanelCarrying, From: monday.At(8, 0, loc).UTC(), To: monday.At(15, 30, loc).UTC(),
			Levels:  []weather.Level{{Quantity: weather.WindGust, Caution: weather.Is(7), Stop: weather.Is(8.4), Unit: "m/s"}},
			Verdict: weather.Go, Reasons: []weather.Reason{{Rule: "gust while carrying modules", Subject: "Mon 30 Nov 11:00",
				Verdict: weather.Go, Quantity: weather.WindGust, Known: true, Value: 5.5, Limit: 8.4, Unit: "m/s", Source: "firm's own rule"}}},
		Consents: []ConsentFact{{Kind: "grid_connection", Stage: "commissioning", Granted: true}},
		Kit:      []KitFact{{Item: "430 W modules", Arrived: true}},
		Facts: Facts{"roof_work": yes(), "scaffold": yes(), "commissioning": yes(), "first_fix": no(), "second_fix": no(), "pitch_deg": number(35), "module_kg": number(21.5),
			"inverter": word("micro"), "ohl_support": word("none"), "service_overhead": no(), "year_built": number(2004),
			"phase_plan": yes(), "customer_access": yes(), "spare_tiles": number(20)},
	}
	handover, inspection := goodReport(Handover, monday.At(15, 0, loc).AddDate(0, 0, -5).UTC()), goodReport(Inspection, monday.At(7, 40, loc).AddDate(0, 0, -4).UTC())
	handover.Job, inspection.Job = jobID, jobID
	w.Scaffold = ScaffoldRecord{Expected: true, Reports: []ScaffoldReport{inspection, handover},
		Erection: StageFact{State: "done", Started: civil.NoDate, Done: monday - 9}, Strike: StageFact{State: "planned", Started: civil.NoDate, Done: civil.NoDate},
		Bookings: []ScaffoldBooking{{State: "erected", ErectOn: monday - 9, StrikeOn: monday + 4}}}
	body := Assess(w.Facts, defaultLibrary())
	w.Assessment = &AssessmentInForce{ID: versionID, Version: 3, Body: body, BodyHash: body.Hash(), FactsHash: w.Facts.Hash(), FactsNow: w.Facts.Hash(),
		Approved: true, ApprovedBy: "Imogen Thackray", MadeAt: monday.At(9, 0, loc).AddDate(0, 0, -6).UTC()}
	for i, p := range w.People {
		w.People[i].Inductions = []Induction{inductedBefore(p, topicKeys()...)}
	}
	w.Briefing = &Briefing{ID: id(41), Crew: crewID, Job: jobID, Day: monday, Assessment: versionID, Checks: map[string]Answer{}, By: leadID, At: monday.At(7, 50, loc).UTC()}
	for _, c := range ChecksFor(w.Snapshot) {
		w.Briefing.Checks[c.Key] = Yes
	}
	for i, p := range w.People {
		w.SignOffs = append(w.SignOffs, SignOff{ID: id(byte(51 + i)), Crew: crewID, Job: jobID, Day: monday, Person: p.ID, Assessment: versionID,
			BodyHash: body.Hash(), Statement: Statement(w.Snapshot, p), TypedName: p.Name, Proof: ByPIN, GivenFor: BasisOf(w.Snapshot), ReceivedAt: monday.At(8, i, loc).UTC()})
	}
	return w
}

// inductedBefore is an induction of a person, four weeks before the morning.
func inductedBefore(p Person, covered ...string) Induction {
	i := Induction{ID: id(61), Person: p.ID, On: monday - 28, GivenBy: "Imogen Thackray, office", Covered: covered, Proof: ByPIN}
	i.Statement = InductionStatement(p.Name, i)
	return i
}

// alone makes it a morning of second fix by the lead alone, who may and whom
// somebody expects to ring.
func (w *world) alone() {
	w.indoors("second_fix")
	w.People = slices.Clone(w.People[:1])
	p := &w.People[0]
	for _, k := range []string{FirstAid, LoneWork} {
		p.Competences = append(slices.Clone(p.Competences), Competence{Kind: k, From: monday - 300, Until: monday + 400})
	}
	w.Facts = maps.Clone(w.Facts)
	w.Facts["loft_work"], w.Facts["unit_kg"], w.Facts["hot_work"] = no(), number(25), no()
	w.Assessment.FactsHash, w.Assessment.FactsNow = w.Facts.Hash(), w.Facts.Hash()
	w.CheckIns = []CheckIn{{ID: id(62), Crew: crewID, Job: jobID, Day: monday, Person: p.ID, Contact: "Imogen Thackray", Phone: "01632 960101",
		EveryMin: 60, IfMissed: "rings the customer, then drives out", By: p.ID, At: monday.At(7, 45, w.Location).UTC()}}
	for _, c := range ChecksFor(w.Snapshot) {
		w.Briefing.Checks[c.Key] = Yes
	}
}

// reissue makes the morning one of another assessment body, still approved,
// briefed and signed.
func (w *world) reissue(change func(*Assessment)) {
	change(&w.Assessment.Body)
	w.Assessment.BodyHash = w.Assessment.Body.Hash()
	for i := range w.SignOffs {
		w.SignOffs[i].BodyHash = w.Assessment.BodyHash
	}
}

// indoors makes it a morning of indoor stages only.
func (w *world) indoors(stages ...string) {
	w.Stages, w.Outdoors = stages, false
}

func (d Decision) state(code string) State {
	for _, c := range d.Conditions {
		if c.Code == code {
			return c.State
		}
	}
	return Unknown
}

func (d Decision) find(code string) Condition {
	for _, c := range d.Conditions {
		if c.Code == code {
			return c
		}
	}
	return Condition{}
}

func TestDecideClear(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	d := w.decide()
	if d.Verdict != Clear {
		t.Fatalf("a morning with nothing wrong is %s: %v", d.Verdict, d.Holding())
	}
	for _, c := range d.Conditions {
		if c.State != Met || c.Remedy != "" || c.Value == "" || c.Source == "" || c.Limit == "" {
			t.Errorf("%+v: every condition is met, with a value, a limit and a source", c)
		}
	}
	if !d.Until.Equal(w.EndAt) || !d.At.Equal(w.now) {
		t.Errorf("at %s until %s, want %s until %s", d.At, d.Until, w.now, w.EndAt)
	}
}

// The codes of the reference table start_blockers.csv, hard and soft as there,
// and our own six, hard.
func TestDecideListsEveryBlockerOfTheReferenceTable(t *testing.T) {
	t.Parallel()
	rows := table(t, "start_blockers.csv")
	d := Decide(Snapshot{}, time.Time{})
	if len(rows) != 18 || len(d.Conditions) != 24 {
		t.Fatalf("%d rows, %d conditions, want 18 and 24", len(rows), len(d.Conditions))
	}
	for i, c := range d.Conditions {
		if i < len(rows) {
			if c.Code != rows[i]["code"] || c.Advice != (rows[i]["class"] == "soft") {
				t.Errorf("%s advice %v, want %s %s", c.Code, c.Advice, rows[i]["code"], rows[i]["class"])
			}
		} else if c.Code != fmt.Sprintf("B%d", i+1) || c.Advice {
			t.Errorf("%s advice %v: our own conditions hold the crew", c.Code, c.Advice)
		}
	}
}

func TestZeroValuesAreNotClear(t *testing.T) {
	t.Parallel()
	var d Decision
	var c Condition
	if d.Verdict != NotClear || c.State != Unknown || !c.Holds() {
		t.Error("the zero decision is not clear, the zero condition is unknown and holds")
	}
	if got := Decide(Snapshot{}, time.Now()); got.Verdict != NotClear {
		t.Errorf("of an empty snapshot: %s", got.Verdict)
	}
	if verdictOf(nil) != NotClear {
		t.Error("no conditions at all are clear")
	}
}

// cautious makes the forecast one that is cautious about some things.
func (w *world) cautious(about ...weather.Reason) {
	w.Weather.Verdict, w.Weather.Reasons = weather.Caution, about
}

func gust(worst, level float64) weather.Reason {
	return weather.Reason{Rule: "gust while carrying modules", Subject: "Mon 30 Nov 11:00", Verdict: weather.Caution,
		Quantity: weather.WindGust, Known: true, Value: worst, Limit: level, Unit: "m/s", Source: "firm's own rule"}
}

func cold(worst, level float64) weather.Reason {
	return weather.Reason{Rule: "air temperature", Subject: "Mon 30 Nov 08:00", Verdict: weather.Caution,
		Quantity: weather.Temperature, Known: true, Value: worst, Limit: level, Unit: "°C", Source: "firm's own rule"}
}

// agree answers what the forecast is cautious about as the page asks it.
func (w *world) agree(a Answer) {
	for _, c := range ChecksFor(w.Snapshot) {
		if c.When == "caution" {
			w.Briefing.Checks[c.Key] = a
		}
	}
}

// breakage is one thing gone wrong on a clear morning, and what its condition
// must then say. alone tells that no other hard condition may suffer.
type breakage struct {
	code  string
	name  string
	want  State
	alone bool
	do    func(*world)
	say   string // words that the condition's value must have
}

func breakages(t testing.TB) []breakage {
	loc := london(t)
	report := func(w *world, kind string) *ScaffoldReport {
		for i := range w.Scaffold.Reports {
			if w.Scaffold.Reports[i].Kind == kind {
				return &w.Scaffold.Reports[i]
			}
		}
		panic("no " + kind)
	}
	drop := func(w *world, kind string) {
		w.Scaffold.Reports = slices.DeleteFunc(w.Scaffold.Reports, func(r ScaffoldReport) bool { return r.Kind == kind })
	}
	without := func(p *Person, kind string) {
		p.Competences = slices.DeleteFunc(p.Competences, func(c Competence) bool { return c.Kind == kind })
	}
	expire := func(p *Person, kind string) {
		for i := range p.Competences {
			if p.Competences[i].Kind == kind {
				p.Competences[i].Until = monday - 1
			}
		}
	}
	fact := func(w *world, key string, f Fact) {
		w.Facts = maps.Clone(w.Facts)
		w.Facts[key] = f
		w.Assessment.FactsHash, w.Assessment.FactsNow = w.Facts.Hash(), w.Facts.Hash()
	}
	forget := func(w *world, key string) {
		w.Facts = maps.Clone(w.Facts)
		delete(w.Facts, key)
		w.Assessment.FactsHash, w.Assessment.FactsNow = w.Facts.Hash(), w.Facts.Hash()
	}
	event := func(w *world, at time.Time) {
		w.Scaffold.Events = append(w.Scaffold.Events, ScaffoldEvent{ID: id(71), Job: jobID, What: "wind", Detail: "gust 24 m/s at the yard", At: at.UTC(), By: "Imogen Thackray"})
	}
	stop := func(w *world, lift func(*StopWork)) {
		s := StopWork{ID: id(81), Job: jobID, Reason: "loose board", By: "Dele Ashworth", ByID: mateID, At: monday.At(7, 30, loc).UTC()}
		lift(&s)
		w.Stops = append(w.Stops, s)
	}
	lifted := func(at time.Time) func(*StopWork) {
		return func(s *StopWork) {
			s.LiftedBy, s.LiftedByID, s.LiftedAt, s.LiftWhy = "Imogen Thackray", id(13), at.UTC(), "board fixed"
		}
	}
	return []breakage{
		{"B01", "no handover", NotMet, true, func(w *world) { drop(w, Handover) }, "no handover recorded"},
		{"B01", "handover not fit, inspected fit since", NotMet, true, func(w *world) { report(w, Handover).Fit = false }, "not fit"},
		{"B01", "handover of another job", NotMet, true, func(w *world) { report(w, Handover).Job = id(9) }, "another job"},
		{"B01", "handover without who made it", NotMet, true, func(w *world) { report(w, Handover).ByName = "" }, "lacks by_name"},
		{"B01", "handover of tomorrow", NotMet, true, func(w *world) { report(w, Handover).At = w.now.Add(time.Hour) }, "future"},
		{"B01", "handover without load class", Unknown, true, func(w *world) { report(w, Handover).LoadClass = 0 }, "load class"},
		{"B01", "roof work and no scaffold at all", NotMet, false, func(w *world) { w.Scaffold = ScaffoldRecord{} }, "no scaffold is planned"},
		{"B01", "struck", NotMet, true, func(w *world) {
			w.Scaffold.Strike = StageFact{State: "done", Started: civil.NoDate, Done: monday - 1}
			w.Scaffold.Bookings[0].State, w.Scaffold.Bookings[0].StrikeOn = "struck", monday-1
		}, "struck on Sun 29 Nov"},
		{"B01", "struck and erected on one day: which came last is not known", NotMet, true, func(w *world) {
			w.Scaffold.Strike = StageFact{State: "done", Started: civil.NoDate, Done: monday - 9}
		}, "struck on Sat 21 Nov"},
		{"B01", "struck by its booking only", NotMet, true, func(w *world) { w.Scaffold.Bookings[0].State, w.Scaffold.Bookings[0].StrikeOn = "struck", monday }, "struck on Mon 30 Nov"},
		{"B01", "its strike has begun", NotMet, true, func(w *world) {
			w.Scaffold.Strike = StageFact{State: "started", Started: monday, Done: civil.NoDate}
		}, "its strike started on Mon 30 Nov"},
		{"B01", "not erected yet, reports or not", NotMet, true, func(w *world) {
			w.Scaffold.Erection, w.Scaffold.Bookings = StageFact{State: "planned", Started: civil.NoDate, Done: civil.NoDate}, nil
		}, "its erection is planned, not done"},
		{"B01", "its erection has begun", NotMet, true, func(w *world) {
			w.Scaffold.Erection = StageFact{State: "started", Started: monday - 1, Done: civil.NoDate}
		}, "its erection is started, not done"},
		{"B01", "erected only tomorrow", NotMet, false, func(w *world) { w.Scaffold.Erection.Done = monday + 1 }, "not erected by Mon 30 Nov"},
		{"B01", "booked and not erected, whatever the stage says", NotMet, true, func(w *world) { w.Scaffold.Bookings[0].State = "confirmed" }, "booked for Sat 21 Nov (confirmed), not erected yet"},
		{"B01", "handed over before it was erected anew", NotMet, false, func(w *world) {
			w.Scaffold.Erection.Done = monday - 2
		}, "older than the erection on Sat 28 Nov"},
		{"B02", "inspected before it was erected anew", NotMet, false, func(w *world) {
			w.Scaffold.Bookings = append(w.Scaffold.Bookings, ScaffoldBooking{State: "erected", ErectOn: monday - 2, StrikeOn: monday + 9})
		}, "older than the erection on Sat 28 Nov"},
		{"B01", "outdoor work, use of a scaffold not known", Unknown, false, func(w *world) {
			w.Stages, w.Scaffold = []string{"commissioning"}, ScaffoldRecord{}
			forget(w, "scaffold")
		}, "not known"},

		{"B02", "no inspection", NotMet, true, func(w *world) { drop(w, Inspection) }, "no inspection recorded"},
		{"B02", "inspected eight days ago", NotMet, false, func(w *world) {
			report(w, Inspection).At = report(w, Inspection).At.AddDate(0, 0, -4)
			report(w, Handover).At = report(w, Handover).At.AddDate(0, 0, -4)
		}, "lapsed Sun 29 Nov 07:40"},
		{"B02", "lapses in the middle of the work", NotMet, false, func(w *world) {
			report(w, Inspection).At = monday.At(12, 0, loc).AddDate(0, 0, -7).UTC()
			report(w, Handover).At = monday.At(12, 0, loc).AddDate(0, 0, -7).UTC()
		}, "lapses Mon 30 Nov 12:00, before the work ends at 15:30"},
		{"B02", "a handover is no inspection", NotMet, true, func(w *world) { drop(w, Inspection) }, "no inspection"},
		{"B02", "inspected before it was handed over", NotMet, true, func(w *world) { report(w, Handover).At = monday.At(7, 0, loc).AddDate(0, 0, -2).UTC() }, "older than the handover"},
		{"B02", "inspected on the day of a second handover, before it", NotMet, true, func(w *world) {
			r := *report(w, Handover)
			r.At = report(w, Inspection).At.Add(3 * time.Hour)
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "last inspection Thu 26 Nov 07:40 is older than the handover Thu 26 Nov 10:40"},
		{"B02", "inspection dated in the future", NotMet, true, func(w *world) { report(w, Inspection).At = w.now.Add(time.Minute) }, "future"},

		{"B02", "outdoor work, use of a scaffold not known", Unknown, false, func(w *world) {
			w.Stages, w.Scaffold = []string{"commissioning"}, ScaffoldRecord{}
			forget(w, "scaffold")
		}, "not known"},

		{"B03", "wind since the inspection", NotMet, true, func(w *world) { event(w, monday.At(22, 0, loc).AddDate(0, 0, -1)) }, "wind Sun 29 Nov 22:00"},
		{"B03", "event at the minute of the inspection", NotMet, true, func(w *world) { event(w, report(w, Inspection).At) }, "older"},
		{"B03", "event and never inspected", NotMet, false, func(w *world) {
			drop(w, Inspection)
			event(w, w.now.AddDate(0, 0, -1))
		}, "not inspected since"},
		{"B03", "outdoor work, use of a scaffold not known", Unknown, false, func(w *world) {
			w.Stages, w.Scaffold = []string{"commissioning"}, ScaffoldRecord{}
			forget(w, "scaffold")
		}, "not known"},

		{"B04", "inspection not fit", NotMet, true, func(w *world) { report(w, Inspection).Fit = false }, "not fit"},
		{"B04", "further action required", NotMet, true, func(w *world) { report(w, Inspection).Further = "tie on the gable to be refitted" }, "tie on the gable"},
		{"B04", "not fit, and who found it is not said", NotMet, false, func(w *world) {
			report(w, Inspection).Fit, report(w, Inspection).ByName = false, ""
		}, "not fit"},
		{"B04", "a further report, not fit and incomplete", NotMet, true, func(w *world) {
			r := *report(w, Inspection)
			r.At, r.Fit, r.Risks, r.Location = r.At.AddDate(0, 0, 1), false, "base plate sunk", ""
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "base plate sunk"},
		{"B04", "not fit, by a clock that runs ahead", NotMet, true, func(w *world) {
			r := *report(w, Inspection)
			r.At, r.RecordedAt, r.Fit, r.Risks = w.now.Add(time.Hour), w.now.Add(-time.Hour), false, "base plate sunk"
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "base plate sunk"},
		{"B04", "not fit, without any time", NotMet, true, func(w *world) {
			r := *report(w, Inspection)
			r.At, r.RecordedAt, r.Fit = time.Time{}, time.Time{}, false
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "not fit"},
		{"B04", "incomplete, and asks for further action", NotMet, true, func(w *world) {
			r := *report(w, Inspection)
			r.At, r.ByPosition, r.Further = r.At.AddDate(0, 0, 1), "", "refit the tie"
			w.Scaffold.Reports = append(w.Scaffold.Reports, r)
		}, "refit the tie"},
		{"B04", "not fit, and then said to be erected a day later", NotMet, false, func(w *world) {
			report(w, Inspection).Fit, w.Scaffold.Erection.Done = false, monday-3
		}, "not fit"},
		{"B04", "nobody reported", Unknown, false, func(w *world) { w.Scaffold.Reports = nil }, "nobody has reported"},

		{"B05", "no assessment", NotMet, false, func(w *world) { w.Assessment = nil }, "no assessment"},
		{"B05", "not approved", NotMet, true, func(w *world) { w.Assessment.Approved = false }, "not approved"},
		{"B05", "approved by nobody", NotMet, true, func(w *world) { w.Assessment.ApprovedBy = "" }, "not approved"},
		{"B05", "a site fact changed", NotMet, true, func(w *world) {
			w.Facts = maps.Clone(w.Facts)
			w.Facts["battery"] = yes()
			w.Assessment.FactsNow = w.Facts.Hash()
		}, "battery"},
		{"B05", "the facts as stored changed", NotMet, true, func(w *world) { w.Assessment.FactsNow = Hash{1} }, "changed"},
		{"B05", "the text was altered", NotMet, true, func(w *world) {
			w.Assessment.Body.Cautions = append(slices.Clone(w.Assessment.Body.Cautions), "all is well")
		}, "altered"},
		{"B05", "its facts are not known", Unknown, true, func(w *world) { w.Assessment.FactsHash = Hash{} }, "cannot be told"},
		{"B05", "made in the future", Unknown, true, func(w *world) { w.Assessment.MadeAt = w.now.Add(time.Hour) }, "not known"},
		{"B05", "older than a year", NotMet, true, func(w *world) { w.Assessment.MadeAt = w.now.AddDate(0, 0, -366) }, "365 days"},

		{"B06", "a residual score in the band that stops", NotMet, true, func(w *world) {
			w.reissue(func(a *Assessment) {
				a.Entries = slices.Clone(a.Entries)
				a.Entries[0].After = Score{3, 5}
			})
		}, "3 x 5 is extreme"},
		{"B06", "a score that no band covers", Unknown, false, func(w *world) {
			w.reissue(func(a *Assessment) {
				a.Entries = slices.Clone(a.Entries)
				a.Entries[0].After = Score{0, 5}
			})
		}, "no band"},
		{"B06", "an assessment without hazards", Unknown, true, func(w *world) { w.reissue(func(a *Assessment) { a.Entries = nil }) }, "no assessment says"},
		{"B06", "a control of a severity 5 risk not in place", NotMet, false, func(w *world) { w.Briefing.Checks["platform_walked"] = No }, "controls not in place: Fall"},
		{"B06", "a control of a severity 5 risk not looked at", Unknown, false, func(w *world) { delete(w.Briefing.Checks, "roof_dry") }, "not looked at yet: answer the checks"},
		{"B06", "the worst risks not looked at", Unknown, false, func(w *world) { delete(w.Briefing.Checks, "worst_risks") }, "not looked at yet: answer the check of the worst risks"},

		{"B07", "the lead may not lead", NotMet, true, func(w *world) { without(&w.People[0], LeadRoof) }, "Rhodri Pask has no leading roof work"},
		{"B07", "the lead's competence ended yesterday", NotMet, true, func(w *world) { expire(&w.People[0], LeadRoof) }, "expired Sun 29 Nov"},
		{"B07", "a competence that starts tomorrow", NotMet, true, func(w *world) {
			w.People[0].Competences[0].From = monday + 1
		}, "starts Tue 1 Dec"},
		{"B07", "a roofer without roof work", NotMet, true, func(w *world) { without(&w.People[1], Roof) }, "Dele Ashworth has no roof work"},
		{"B07", "no electrician", NotMet, true, func(w *world) { without(&w.People[0], Electrical) }, "nobody present is competent for electrical work"},
		{"B07", "no lead present", NotMet, false, func(w *world) { w.People[0].Lead = false }, "0 leads"},
		{"B07", "two leads", NotMet, false, func(w *world) { w.People[1].Lead = true }, "2 leads"},
		{"B07", "nobody known to be there", Unknown, false, func(w *world) { w.People = nil }, "not known"},

		{"B08", "one has not signed", NotMet, true, func(w *world) { w.SignOffs = w.SignOffs[:1] }, "Dele Ashworth): not met. 1 of 2 signed"},
		{"B08", "signed an older text", NotMet, true, func(w *world) { w.SignOffs[1].BodyHash = Hash{7} }, "signed an older text (070000000000) at 08:01, version 3 is in force"},
		{"B08", "signed an older version", NotMet, true, func(w *world) { w.SignOffs[1].Assessment = id(30) }, "older text"},
		{"B08", "signed yesterday", NotMet, true, func(w *world) {
			w.SignOffs[0].Day, w.SignOffs[0].ReceivedAt = monday-1, w.SignOffs[0].ReceivedAt.AddDate(0, 0, -1)
		}, "Rhodri Pask): not met. 1 of 2 signed"},
		{"B08", "received yesterday for today", NotMet, true, func(w *world) { w.SignOffs[0].ReceivedAt = w.SignOffs[0].ReceivedAt.AddDate(0, 0, -1) }, "not today"},
		{"B08", "received after now", NotMet, true, func(w *world) { w.SignOffs[0].ReceivedAt = w.now.Add(time.Second) }, "not today before now"},
		{"B08", "signed for another job", NotMet, true, func(w *world) { w.SignOffs[0].Job = id(9) }, "Rhodri Pask): not met. 1 of 2 signed"},
		{"B08", "signed in another crew", NotMet, true, func(w *world) { w.SignOffs[0].Crew = id(9) }, "Rhodri Pask): not met. 1 of 2 signed"},
		{"B08", "signed nothing", NotMet, true, func(w *world) { w.SignOffs[0].Statement = " " }, "no statement"},
		{"B08", "signed before the stop was lifted", NotMet, true, func(w *world) { stop(w, lifted(monday.At(8, 5, loc))) }, "before the stop was lifted at 08:05"},
		{"B08", "nobody known to be there", Unknown, false, func(w *world) { w.People = nil }, "not known"},

		{"B09", "no first aider", NotMet, true, func(w *world) { without(&w.People[1], FirstAid) }, "nobody present holds first aid"},
		{"B09", "nobody trained in roof rescue", NotMet, true, func(w *world) { without(&w.People[1], RoofRescue) }, "nobody present holds roof rescue"},
		{"B09", "first aid expired", NotMet, true, func(w *world) { expire(&w.People[1], FirstAid) }, "nobody present holds first aid"},
		{"B09", "alone on a roof", NotMet, false, func(w *world) { w.People = w.People[:1] }, "one person alone"},
		{"B09", "nobody known to be there", Unknown, false, func(w *world) { w.People = nil }, "not known"},

		{"B10", "forecast says stop", NotMet, true, func(w *world) {
			w.Weather.Verdict = weather.Stop
			w.Weather.Reasons = []weather.Reason{{Rule: "gust while carrying modules", Subject: "Mon 30 Nov 11:00", Verdict: weather.Stop, Quantity: weather.WindGust, Known: true, Value: 9.2, Limit: 8.4, Unit: "m/s", Source: "firm's own rule"}}
		}, "9.2 m/s against a limit of 8.4 m/s"},
		{"B10", "no forecast", Unknown, true, func(w *world) { w.Weather = weather.Judgement{} }, "no forecast"},
		{"B10", "forecast of the morning only", Unknown, true, func(w *world) { w.Weather.To = monday.At(12, 0, loc).UTC() }, "not until 15:30"},
		{"B10", "forecast of yesterday's window", Unknown, true, func(w *world) {
			w.Weather.From, w.Weather.To = w.Weather.From.AddDate(0, 0, -1), w.Weather.To.AddDate(0, 0, -1)
		}, "not until 15:30"},
		{"B10", "forecast judged for indoor work", Unknown, true, func(w *world) { w.Weather.Task = weather.Indoors }, "not judged for outdoor work"},
		{"B10", "forecast judged for a ladder only", Unknown, true, func(w *world) { w.Weather.Task = weather.LadderAccess }, "not for roof work"},
		{"B10", "a verdict nobody knows", Unknown, true, func(w *world) { w.Weather.Verdict = weather.Verdict(9) }, ""},
		{"B10", "caution not spoken about", Unknown, false, func(w *world) { w.cautious(gust(7.4, 7)) }, "caution, not spoken about"},
		{"B10", "caution not agreed", NotMet, false, func(w *world) {
			w.cautious(gust(7.4, 7))
			w.agree(No)
		}, "not agreed at the briefing: gust while carrying modules at Mon 30 Nov 11:00: 7.4 m/s"},
		{"B10", "a yes to whatever may come", Unknown, false, func(w *world) {
			w.cautious(gust(7.4, 7))
			w.Briefing.Checks["weather_caution"] = Yes
		}, "not spoken about"},
		{"B10", "worse than what was agreed to", Unknown, false, func(w *world) {
			w.cautious(gust(7.4, 7))
			w.agree(Yes)
			w.cautious(gust(8.1, 7))
		}, "not spoken about at the briefing: gust while carrying modules at Mon 30 Nov 11:00: 8.1 m/s"},
		{"B10", "another thing than what was agreed to", Unknown, false, func(w *world) {
			w.cautious(gust(7.4, 7))
			w.agree(Yes)
			w.cautious(gust(7.4, 7), cold(1.5, 2))
		}, "not spoken about at the briefing: air temperature"},
		{"B10", "colder than what was agreed to", Unknown, false, func(w *world) {
			w.cautious(cold(1.5, 2))
			w.agree(Yes)
			w.cautious(cold(0.4, 2))
		}, "0.4"},
		{"B10", "another level than what was agreed to", Unknown, false, func(w *world) {
			w.cautious(gust(7.4, 7))
			w.agree(Yes)
			w.cautious(gust(7.4, 6))
		}, "limit of 6 m/s"},
		{"B10", "the forecast no longer says how bad", Unknown, false, func(w *world) {
			w.cautious(cold(1.5, 2))
			w.agree(Yes)
			w.cautious(weather.Reason{Rule: "air temperature", Verdict: weather.Caution, Quantity: weather.Temperature, Limit: 2, Unit: "°C"})
		}, "is not known"},
		{"B10", "a caution that names nothing", Unknown, true, func(w *world) { w.Weather.Verdict = weather.Caution }, "does not say of what"},
		{"B10", "the lead read more than the limit", NotMet, true, func(w *world) { w.Briefing.GustMS = weather.Is(9) }, "gust of 9.0 m/s read on site at 07:50, limit 8.4 m/s"},
		{"B10", "the lead read the limit itself", NotMet, true, func(w *world) { w.Briefing.GustMS = weather.Is(8.4) }, "limit 8.4"},
		{"B10", "read at the limit, and the next briefing says nothing of it", NotMet, true, func(w *world) {
			w.Readings = []Reading{{3, monday.At(7, 10, loc).UTC()}, {14, monday.At(7, 30, loc).UTC()}}
		}, "gust of 14.0 m/s read on site at 07:30, limit 8.4 m/s"},
		{"B10", "two readings of one instant", NotMet, true, func(w *world) {
			w.Readings = []Reading{{14, monday.At(7, 30, loc).UTC()}, {3, monday.At(7, 30, loc).UTC()}}
		}, "gust of 14.0 m/s"},
		{"B10", "a reading and no limit to hold it against", Unknown, true, func(w *world) {
			w.Weather.Levels, w.Briefing.GustMS = nil, weather.Is(3)
		}, "no gust limit"},
		{"B10", "a calm reading never overrules the forecast", NotMet, true, func(w *world) {
			w.Weather.Verdict, w.Briefing.GustMS = weather.Stop, weather.Is(1)
		}, ""},

		{"B11", "a stop is open", NotMet, true, func(w *world) { stop(w, func(*StopWork) {}) }, "Dele Ashworth stopped the work Mon 30 Nov 07:30: loose board"},
		{"B11", "lifted by whoever stopped", NotMet, true, func(w *world) {
			stop(w, func(s *StopWork) { lifted(monday.At(7, 40, loc))(s); s.LiftedByID = mateID })
		}, "loose board"},
		{"B11", "lifted before it was made", NotMet, true, func(w *world) { stop(w, lifted(monday.At(7, 20, loc))) }, "loose board"},

		{"B12", "a line on wood poles at 9 m", NotMet, true, func(w *world) {
			fact(w, "ohl_support", word("wood_pole"))
			fact(w, "ohl_distance_m", number(9))
			fact(w, "ohl_clearance_agreed", no())
			w.reissue(func(*Assessment) {})
		}, "distance of the overhead line 9 m"},
		{"B12", "a line on towers at 15 m, owner not asked", Unknown, true, func(w *world) {
			fact(w, "ohl_support", word("tower"))
			fact(w, "ohl_distance_m", number(15))
		}, "clearance agreed"},
		{"B12", "overhead supply, owner not asked", Unknown, true, func(w *world) { fact(w, "service_overhead", yes()) }, "clearance agreed"},
		{"B12", "nobody looked for lines", Unknown, true, func(w *world) { forget(w, "ohl_support") }, "not known: overhead line carried by"},

		{"B13", "asbestos present", NotMet, true, func(w *world) {
			fact(w, "year_built", number(1999))
			fact(w, "soffit_board", yes())
			fact(w, "asbestos_result", word("present"))
		}, "asbestos survey: present"},
		{"B13", "suspect and not sampled", Unknown, true, func(w *world) {
			fact(w, "year_built", number(1999))
			fact(w, "covering", word("cement_slate"))
		}, "asbestos survey"},
		{"B13", "age of the house not known", Unknown, true, func(w *world) { forget(w, "year_built") }, "year built"},

		{"B14", "grid approval not granted", NotMet, true, func(w *world) { w.Consents[0].Granted = false }, "grid connection not granted"},
		{"B14", "no approval, above 16 A a phase", NotMet, true, func(w *world) { w.Consents = nil; fact(w, "ac_amps_per_phase", number(16.96)) }, "16.96 A a phase, above 16 A"},
		{"B14", "no approval, amps not known", Unknown, true, func(w *world) { w.Consents = nil }, "not known"},
		{"B14", "the landlord has not agreed to the roof", NotMet, true, func(w *world) {
			w.Consents = append(w.Consents, ConsentFact{Kind: "landlord", Stage: "roof_work"})
		}, "landlord not granted"},

		{"B15", "no phase plan", NotMet, true, func(w *world) { fact(w, "phase_plan", no()) }, "construction phase plan written: no"},
		{"B15", "phase plan not known", Unknown, true, func(w *world) { forget(w, "phase_plan") }, "not known"},

		{"B16", "modules not arrived", NotMet, true, func(w *world) { w.Kit[0].Arrived = false }, "430 W modules"},
		{"B16", "no kit list", Unknown, true, func(w *world) { w.Kit = nil }, "no kit list"},
		{"B17", "customer has not agreed", NotMet, true, func(w *world) { fact(w, "customer_access", no()) }, "no"},
		{"B17", "customer not asked", Unknown, true, func(w *world) { forget(w, "customer_access") }, "not known"},
		{"B18", "nine spares", NotMet, true, func(w *world) { fact(w, "spare_tiles", number(9)) }, "9 tiles"},
		{"B18", "spares not counted", Unknown, true, func(w *world) { forget(w, "spare_tiles") }, "not known"},

		{"B19", "no briefing", NotMet, false, func(w *world) { w.Briefing = nil }, "no briefing"},
		{"B19", "a check is no", NotMet, true, func(w *world) { w.Briefing.Checks["kit_counted"] = No }, "Kit counted"},
		{"B19", "a check was not looked at", Unknown, true, func(w *world) { delete(w.Briefing.Checks, "stop_rule") }, "checks not looked at: Stop-work rule"},
		{"B19", "an answer nobody knows", Unknown, true, func(w *world) { w.Briefing.Checks["stop_rule"] = Answer(7) }, "not looked at"},
		{"B19", "briefed on another version", NotMet, false, func(w *world) { w.Briefing.Assessment = id(30) }, "another version than 3"},
		{"B19", "briefed yesterday", NotMet, false, func(w *world) { w.Briefing.At = w.Briefing.At.AddDate(0, 0, -1) }, "is of Sun 29 Nov"},
		{"B19", "briefing of another crew", NotMet, false, func(w *world) { w.Briefing.Crew = id(9) }, "another crew or job"},
		{"B19", "briefing of another job", NotMet, false, func(w *world) { w.Briefing.Job = id(9) }, "another crew or job"},
		{"B19", "briefing after now", NotMet, false, func(w *world) { w.Briefing.At = w.now.Add(time.Minute) }, "after now"},
		{"B19", "briefing not by the lead", NotMet, false, func(w *world) { w.Briefing.By = mateID }, "not held by today's crew lead"},

		{"B20", "start before civil dawn", NotMet, true, func(w *world) {
			w.StartAt, w.now = monday.At(6, 30, loc).UTC(), monday.At(6, 45, loc).UTC()
			w.Weather.From = w.StartAt
			w.Briefing.At = monday.At(6, 20, loc).UTC()
			for i := range w.SignOffs {
				w.SignOffs[i].ReceivedAt = monday.At(6, 21, loc).UTC()
			}
		}, "start 06:45, civil dawn 07:0"},
		{"B20", "start after civil dusk", NotMet, true, func(w *world) {
			w.StartAt, w.EndAt, w.now = monday.At(16, 45, loc).UTC(), monday.At(18, 0, loc).UTC(), monday.At(16, 50, loc).UTC()
			w.Weather.To = w.EndAt
		}, "civil dusk 16:3"},
		{"B20", "polar night", NotMet, true, func(w *world) { w.Lat, w.Lon = weather.Is(82), weather.Is(20) }, "no civil twilight"},
		{"B20", "where the site is is not known", Unknown, true, func(w *world) { w.Lat = weather.Value{} }, "not known"},
		{"B20", "a place that is none", Unknown, true, func(w *world) { w.Lat = weather.Is(200) }, "not known"},

		{"B21", "the job was cancelled", NotMet, true, func(w *world) { w.JobState = "cancelled" }, "job Q-1041 is cancelled"},
		{"B21", "the job is done", NotMet, true, func(w *world) { w.JobState = "done" }, "job Q-1041 is done"},
		{"B21", "the job's state is not known", Unknown, true, func(w *world) { w.JobState = "" }, "still open is not known"},
		{"B21", "asked the evening before", Unknown, false, func(w *world) { w.now = w.now.AddDate(0, 0, -1) }, "decide again on the day"},
		{"B21", "asked after the window", Unknown, false, func(w *world) { w.now = w.EndAt }, "ended at 15:30"},
		{"B21", "no time zone", Unknown, false, func(w *world) { w.Location = nil }, "time zone is missing"},
		{"B21", "another time zone than recorded", Unknown, false, func(w *world) { w.TimeZone = "Europe/Berlin" }, "Europe/Berlin"},
		{"B21", "no day", Unknown, false, func(w *world) { w.Day = civil.NoDate }, "day is missing"},
		{"B21", "window of another day", Unknown, false, func(w *world) { w.Day = monday + 1 }, "is not on Tue 1 Dec"},
		{"B21", "window upside down", Unknown, false, func(w *world) { w.StartAt, w.EndAt = w.EndAt, w.StartAt }, "no start before its end"},
		{"B21", "window into the next day", Unknown, false, func(w *world) { w.EndAt = w.EndAt.AddDate(0, 0, 1) }, "is not on Mon 30 Nov"},
		{"B21", "window without end", Unknown, false, func(w *world) { w.EndAt = time.Time{} }, "no start before its end"},
		{"B21", "no stage", Unknown, false, func(w *world) { w.Stages = nil }, "no stage"},
		{"B21", "a stage that is no crew's", Unknown, false, func(w *world) { w.Stages = []string{"scaffold_strike"} }, "scaffold_strike"},
		{"B21", "no crew", Unknown, false, func(w *world) { w.Crew = uuid.Nil }, "crew or job"},
		{"B22", "somebody else's permit is open", NotMet, true, func(w *world) { w.Isolations = []Permit{permitOf(id(14), "Callum Reyes")} },
			"Callum Reyes): not met. Inverter C1, DC and AC, isolated by Callum Reyes Mon 30 Nov 07:05, not of this crew today"},
		{"B22", "one's own permit, taken over by somebody else", NotMet, true, func(w *world) {
			p := permitOf(id(14), "Callum Reyes")
			p.Taken = monday.At(7, 30, loc).UTC()
			w.Isolations = []Permit{p}
		}, "taken over by Callum Reyes Mon 30 Nov 07:30"},
		{"B22", "one's own permit beside somebody else's", NotMet, true, func(w *world) {
			w.Isolations = []Permit{permitOf(leadID, "Rhodri Pask"), permitOf(id(14), "Callum Reyes")}
		}, "Callum Reyes"},
		{"B22", "a permit of nobody knows whom", Unknown, true, func(w *world) { w.Isolations = []Permit{permitOf(uuid.Nil, "")} }, "whose permit it is is not known"},
		{"B23", "somebody new of whom no induction is on record", NotMet, true, func(w *world) { w.People[1].Inductions = nil }, "no induction of Dele Ashworth on record"},
		{"B23", "a topic not covered yet", NotMet, true, func(w *world) {
			w.People[1].Inductions[0].Covered = slices.DeleteFunc(topicKeys(), func(k string) bool { return k == "electricity" })
		}, "Dele Ashworth: 9 of 10 topics covered, not yet electricity"},
		{"B23", "inducted only tomorrow", NotMet, true, func(w *world) { w.People[1].Inductions[0].On = monday + 1 }, "no induction of Dele Ashworth"},
		{"B23", "not said by PIN", NotMet, true, func(w *world) { w.People[1].Inductions[0].Proof = "typed" }, "no induction of Dele Ashworth"},
		{"B23", "somebody else's induction", NotMet, true, func(w *world) { w.People[1].Inductions[0].Person = leadID }, "no induction of Dele Ashworth"},
		{"B23", "given by nobody", NotMet, true, func(w *world) { w.People[1].Inductions[0].GivenBy = " " }, "no induction of Dele Ashworth"},
		{"B23", "nobody known to be there", Unknown, false, func(w *world) { w.People = nil }, "not known"},
		{"B24", "alone, and nobody expects a call", NotMet, true, func(w *world) { w.alone(); w.CheckIns = nil }, "nobody expects a call"},
		{"B24", "alone, the arrangement is of another job", NotMet, true, func(w *world) { w.alone(); w.CheckIns[0].Job = id(9) }, "nobody expects a call"},
		{"B24", "alone, the arrangement is somebody else's", NotMet, true, func(w *world) { w.alone(); w.CheckIns[0].Person = mateID }, "nobody expects a call"},
		{"B24", "alone, arranged after now", NotMet, true, func(w *world) { w.alone(); w.CheckIns[0].At = w.now.Add(time.Minute) }, "nobody expects a call"},
		{"B24", "alone, and the newest arrangement has no number", NotMet, true, func(w *world) {
			w.alone()
			k := w.CheckIns[0]
			k.Phone, k.At = "the office", k.At.Add(time.Minute)
			w.CheckIns = append(w.CheckIns, k)
		}, "phone"},
		{"B24", "alone without leave to be", NotMet, true, func(w *world) { w.alone(); without(&w.People[0], LoneWork) }, "Rhodri Pask has no lone working"},
		{"B24", "leave to be alone ended yesterday", NotMet, true, func(w *world) { w.alone(); expire(&w.People[0], LoneWork) }, "lone working expired Sun 29 Nov"},
		{"B24", "nobody known to be there", Unknown, false, func(w *world) { w.People = nil }, "not known"},
		{"B21", "the same person twice", Unknown, false, func(w *world) { w.People = append(w.People, w.People[0]) }, "Rhodri Pask"},
	}
}

// permitOf is an open permit to isolate of this morning.
func permitOf(holder uuid.UUID, name string) Permit {
	return Permit{ID: id(91), What: "inverter C1, DC and AC", Where: "array isolator", Key: name, Holder: name, HeldBy: holder, At: time.Date(2026, 11, 30, 7, 5, 0, 0, time.UTC)}
}

// The decision table: every condition through met (the clear morning), not met
// and unknown; each breakage is seen, named with its number, holds the crew
// unless it is advice, and tells who can resolve it.
func TestDecisionTable(t *testing.T) {
	t.Parallel()
	seen := map[string]map[State]bool{}
	alone := map[string]bool{}
	for _, b := range breakages(t) {
		w := clearMorning(t)
		b.do(w)
		d := w.decide()
		c := d.find(b.code)
		if c.State != b.want || !strings.Contains(c.Value, b.say) && !strings.Contains(c.Sentence(), b.say) {
			t.Errorf("%s %s: got %s %q, want %s with %q", b.code, b.name, c.State, c.Value, b.want, b.say)
		}
		if c.Remedy == "" {
			t.Errorf("%s %s: nobody is told to resolve it", b.code, b.name)
		}
		if (d.Verdict == Clear) != c.Advice {
			t.Errorf("%s %s: the verdict is %s", b.code, b.name, d.Verdict)
		}
		if b.alone {
			for _, other := range d.Holding() {
				if other.Code != b.code {
					t.Errorf("%s %s: %s %s too: %s", b.code, b.name, other.Code, other.State, other.Value)
				}
			}
		}
		if seen[b.code] == nil {
			seen[b.code] = map[State]bool{}
		}
		seen[b.code][b.want] = true
		alone[b.code] = alone[b.code] || b.alone
	}
	// A record either is there or is not: what nobody wrote down is not met, so
	// this one has no unknown.
	never := map[string]State{"B11": Unknown}
	for _, c := range conditions {
		for _, s := range []State{NotMet, Unknown} {
			if excused, ok := never[c.code]; !seen[c.code][s] && !(ok && excused == s) {
				t.Errorf("%s is never walked through %s", c.code, s)
			}
		}
	}
}

// Were any one hard condition not judged, some morning would wrongly be clear:
// for each there is a breakage that it alone catches.
func TestEveryConditionCatchesSomethingAlone(t *testing.T) {
	t.Parallel()
	caught := map[string]string{}
	for _, b := range breakages(t) {
		w := clearMorning(t)
		b.do(w)
		if h := w.decide().Holding(); len(h) == 1 {
			caught[h[0].Code] = b.name
		}
	}
	for _, c := range conditions {
		if !c.advice && caught[c.code] == "" {
			t.Errorf("%s %q catches nothing that the others do not: without it no test would miss it", c.code, c.rule)
		}
	}
}

// Every way of having each hard condition met or not: of 2^21 only one is
// clear. Unknown stands for not met by turns.
func TestVerdictOverAllCombinations(t *testing.T) {
	t.Parallel()
	var all []Condition
	var hard []int
	for i, c := range conditions {
		all = append(all, Condition{Code: c.code, Advice: c.advice})
		if !c.advice {
			hard = append(hard, i)
		}
	}
	if len(hard) != 21 {
		t.Fatalf("%d hard conditions, want 21", len(hard))
	}
	clear := 0
	for bits := range 1 << len(hard) {
		for j, i := range hard {
			all[i].State = Met
			if bits>>j&1 == 1 {
				all[i].State = State((bits + j) % 2) // unknown or not met
			}
		}
		if verdictOf(all) == Clear {
			clear++
			if bits != 0 {
				t.Fatalf("clear with %b broken", bits)
			}
		}
	}
	if clear != 1 {
		t.Errorf("%d combinations are clear, want 1", clear)
	}
	for i := range all {
		all[i].State = Met
	}
	for _, drop := range hard {
		if verdictOf(slices.Delete(slices.Clone(all), drop, drop+1)) == Clear {
			t.Errorf("clear without %s", all[drop].Code)
		}
	}
	all[0] = all[1]
	if verdictOf(all) == Clear {
		t.Error("clear with one condition twice in place of another")
	}
}

// Any two breakages together are never clear: two wrongs do not make a right.
func TestBreakagesTogetherAreNeverClear(t *testing.T) {
	t.Parallel()
	// Of each hard condition the first four breakages: all pairs of all would
	// take a minute and say no more.
	count := map[string]int{}
	all := slices.DeleteFunc(breakages(t), func(b breakage) bool {
		count[b.code]++
		return b.code == "B16" || b.code == "B17" || b.code == "B18" || count[b.code] > 4
	})
	apply := func(w *world, bs ...breakage) (done bool) {
		defer func() { done = recover() == nil }() // a breakage may need what another took away
		for _, b := range bs {
			b.do(w)
		}
		return true
	}
	pairs := 0
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.code == b.code {
				continue
			}
			w := clearMorning(t)
			if !apply(w, a, b) {
				continue
			}
			pairs++
			if d := w.decide(); d.Verdict == Clear {
				t.Fatalf("clear although %s %s and %s %s", a.code, a.name, b.code, b.name)
			}
		}
	}
	if pairs < 1000 {
		t.Errorf("only %d pairs tried", pairs)
	}
}

// Many breakages at once, in any order: never clear while a hard one is among
// them, and where the decision says clear a second reading agrees.
func TestManyBreakagesAreNeverClear(t *testing.T) {
	t.Parallel()
	all := breakages(t)
	rapid.Check(t, func(rt *rapid.T) {
		w := clearMorning(t)
		hard := false
		for _, i := range rapid.SliceOfN(rapid.IntRange(0, len(all)-1), 0, 6).Draw(rt, "which") {
			func() {
				defer func() { _ = recover() }() // it needed what another took away
				all[i].do(w)
			}()
			code := all[i].code
			hard = hard || (code != "B16" && code != "B17" && code != "B18")
		}
		d := w.decide()
		if hard && d.Verdict == Clear {
			rt.Fatalf("clear although something hard is broken")
		}
		if d.Verdict == Clear && !soundBySecondReading(w) {
			rt.Fatalf("clear, and a second reading of the snapshot disagrees")
		}
		if !hard && d.Verdict != Clear {
			rt.Fatalf("advice alone holds the crew: %v", d.Holding())
		}
		if len(d.Conditions) != len(conditions) {
			rt.Fatalf("%d conditions listed", len(d.Conditions))
		}
	})
}

// soundBySecondReading asks of the raw snapshot, in other words than the
// decision does, what must hold for roof work and commissioning.
func soundBySecondReading(w *world) bool {
	roofers, leads, sparks, aid, rescue := 0, 0, 0, 0, 0
	signed := map[uuid.UUID]bool{}
	for _, s := range w.SignOffs {
		if w.Assessment != nil && s.Assessment == w.Assessment.ID && s.BodyHash == w.Assessment.Body.Hash() && s.Day == w.Day &&
			s.Crew == w.Crew && s.Job == w.Job && !s.ReceivedAt.After(w.now) && w.now.Sub(s.ReceivedAt) < 24*time.Hour {
			signed[s.Person] = true
		}
	}
	for _, p := range w.People {
		holds := map[string]bool{}
		for _, c := range p.Competences {
			if c.From <= w.Day && c.Until >= w.Day {
				holds[c.Kind] = true
			}
		}
		if !signed[p.ID] || !holds[Roof] && !holds[LeadRoof] {
			return false
		}
		roofers++
		if p.Lead && holds[LeadRoof] {
			leads++
		}
		for kind, n := range map[string]*int{Electrical: &sparks, FirstAid: &aid, RoofRescue: &rescue} {
			if holds[kind] {
				*n++
			}
		}
	}
	for _, p := range w.People {
		told := map[string]bool{}
		for _, i := range p.Inductions {
			if i.Person == p.ID && i.Proof == "pin" && i.On <= w.Day && strings.TrimSpace(i.GivenBy) != "" {
				for _, k := range i.Covered {
					told[k] = true
				}
			}
		}
		if len(told) != 10 {
			return false
		}
	}
	if len(w.People) == 1 { // the breakages know one lone morning, and it is allowed
		return false
	}
	if roofers < 2 || leads != 1 || sparks*aid*rescue == 0 {
		return false
	}
	if up := w.Scaffold.Erection; up.State != "done" || w.Scaffold.Strike.State != "planned" ||
		slices.ContainsFunc(w.Scaffold.Bookings, func(b ScaffoldBooking) bool { return b.State != "erected" }) {
		return false
	}
	var inspectedAt, handedAt time.Time
	for _, r := range w.Scaffold.Reports {
		if !r.Fit || r.Further != "none" || r.Job != w.Job || r.At.After(w.now) {
			return false
		}
		if r.Kind == Inspection {
			inspectedAt = r.At
		} else {
			handedAt = r.At
		}
	}
	if handedAt.IsZero() || w.EndAt.Sub(inspectedAt) > 7*24*time.Hour {
		return false
	}
	for _, e := range w.Scaffold.Events {
		if !e.At.Before(inspectedAt) {
			return false
		}
	}
	for _, s := range w.Stops {
		if s.LiftedBy == "" || s.LiftedByID == s.ByID {
			return false
		}
	}
	for _, c := range w.Briefing.Checks {
		if c != Yes {
			return false
		}
	}
	return w.Assessment.Approved && w.Facts.Hash() == w.Assessment.FactsHash && w.Facts["phase_plan"].Yes &&
		w.Weather.Verdict == weather.Go && (len(w.Consents) > 0 && w.Consents[0].Granted || w.Facts["ac_amps_per_phase"].Kind == Number) &&
		w.Location != nil && w.TimeZone == w.Location.String() && civil.DateOf(w.now, w.Location) == w.Day && w.now.Before(w.EndAt)
}
