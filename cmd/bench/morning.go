package main

import (
	"encoding/binary"
	"fmt"
	"runtime"
	"sync"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

type morningVerb struct {
	Crews   int  `help:"Crews whose morning is decided." default:"5000"`
	Rounds  int  `help:"How often all of them are decided; the quickest round counts, since others run on the same machine." default:"5"`
	Workers int  `help:"Goroutines." default:"2"`
	JSON    bool `name:"json" help:"One object on one line."`
}

// morningResult is what one run measured.
type morningResult struct {
	Crews         int     `json:"crews"`
	Clear         int     `json:"clear"`
	NotClear      int     `json:"not_clear"`
	Conditions    int     `json:"conditions"` // judged for each
	Rounds        int     `json:"rounds"`
	Workers       int     `json:"workers"`
	Seconds       float64 `json:"seconds"`         // wall clock of the quickest round; the invention of mornings left out
	Slowest       float64 `json:"slowest_seconds"` // of the slowest
	NsPerDecision float64 `json:"ns_per_decision"` // of the quickest round: its time by workers and crews
	Allocs        float64 `json:"allocs_per_decision"`
}

// Run decides the morning of many invented crews by the pure decision. Two
// thirds of them are all right; the others each lack something.
func (v morningVerb) Run(o out) error {
	for field, c := range map[string]struct{ value, most int }{"--crews": {v.Crews, 1_000_000}, "--rounds": {v.Rounds, 1000}, "--workers": {v.Workers, 64}} {
		if c.value < 1 || c.value > c.most {
			return fault.Bad(field, fmt.Sprint(c.value), fmt.Sprintf("1 to %d", c.most))
		}
	}
	mornings, err := inventMornings(v.Crews)
	if err != nil {
		return err
	}
	r := morningResult{Crews: v.Crews, Rounds: v.Rounds, Workers: v.Workers}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for round := range v.Rounds {
		began := time.Now()
		r.Clear, r.Conditions = decideAll(mornings, v.Workers)
		took := time.Since(began).Seconds()
		if round == 0 || took < r.Seconds {
			r.Seconds = took
		}
		r.Slowest = max(r.Slowest, took)
	}
	runtime.ReadMemStats(&after)
	r.NotClear = v.Crews - r.Clear
	r.NsPerDecision = r.Seconds * 1e9 * float64(v.Workers) / float64(v.Crews)
	r.Allocs = float64(after.Mallocs-before.Mallocs) / float64(v.Crews*v.Rounds)
	if v.Crews >= 3 && (r.Clear == 0 || r.NotClear == 0) {
		return fmt.Errorf("%d clear and %d not clear: the invented mornings are not what they should be", r.Clear, r.NotClear)
	}
	if v.JSON {
		return o.line(r)
	}
	return o.table([]string{"crews", "clear", "not clear", "conditions", "decided in", "slowest round", "ns/decision", "allocs/decision"}, [][]string{{
		fmt.Sprint(r.Crews), fmt.Sprint(r.Clear), fmt.Sprint(r.NotClear), fmt.Sprint(r.Conditions), fmt.Sprintf("%.3f s", r.Seconds), fmt.Sprintf("%.3f s", r.Slowest),
		fmt.Sprintf("%.0f", r.NsPerDecision), fmt.Sprintf("%.0f", r.Allocs)}})
}

// decideAll decides every morning once, and tells how many are clear and how
// many conditions were judged for each.
func decideAll(mornings []safety.Snapshot, workers int) (clear, conditions int) {
	now := mornings[0].StartAt.Add(10 * time.Minute)
	var wait sync.WaitGroup
	found := make([]struct{ clear, conditions int }, workers)
	for w := range workers {
		wait.Go(func() {
			for i := w; i < len(mornings); i += workers {
				d := safety.Decide(mornings[i], now)
				found[w].conditions = len(d.Conditions)
				if d.Verdict == safety.Clear {
					found[w].clear++
				}
			}
		})
	}
	wait.Wait()
	for _, f := range found {
		clear, conditions = clear+f.clear, max(conditions, f.conditions)
	}
	return clear, conditions
}

// inventMornings makes a morning for each of n crews: other roofs, other people,
// other weather.
func inventMornings(n int) ([]safety.Snapshot, error) {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		return nil, err
	}
	const roofs = 12 // an assessment takes longer to make than to judge
	var facts [roofs]safety.Facts
	var bodies [roofs]safety.Assessment
	library := safety.DefaultLibrary()
	for i := range bodies {
		if facts[i], err = inventFacts(i); err != nil {
			return nil, err
		}
		bodies[i] = safety.Assess(facts[i], library)
	}
	all := make([]safety.Snapshot, n)
	for i := range all {
		all[i] = inventMorning(i, facts[i%roofs], bodies[i%roofs], loc)
		if i%3 == 2 {
			lack(&all[i], i/3)
		}
	}
	return all, nil
}

func inventFacts(i int) (safety.Facts, error) {
	inverter := []string{"micro", "string"}[i%2]
	return safety.FactsOf(map[string]any{"pitch_deg": 22.0 + float64(i*3), "inverter": inverter, "ohl_support": "none", "service_overhead": false,
		"year_built": 2001.0 + float64(i), "phase_plan": true, "customer_access": true, "spare_tiles": 20.0, "nearest_access": "the lane", "isolation_points": "hall cupboard"},
		safety.JobNumbers{Modules: 8 + i, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95, Address: fmt.Sprintf("%d Heron Row, Quillmere", i), Lat: 51.5, Lon: -0.12,
			WorkingHeightM: 5 + float64(i%4), Stages: []string{"scaffold_erection", "roof_work", "commissioning", "scaffold_strike"}})
}

// numbered is an identity of its own for the n-th thing of a kind.
func numbered(kind byte, n int) (id uuid.UUID) {
	id[0] = kind
	binary.BigEndian.PutUint64(id[8:], uint64(n)+1)
	return id
}

var benchDay = civil.On(2026, 11, 30)

func inventMorning(i int, facts safety.Facts, body safety.Assessment, loc *time.Location) safety.Snapshot {
	at := func(hour, minute, days int) time.Time {
		return benchDay.At(hour, minute, loc).AddDate(0, 0, days).UTC()
	}
	s := safety.Snapshot{
		Crew: numbered(1, i), CrewName: fmt.Sprintf("Crew %d", i), Job: numbered(2, i), JobRef: fmt.Sprintf("Q-%d", i), JobState: "open", Address: "Heron Row, Quillmere",
		Day: benchDay, Location: loc, TimeZone: loc.String(), Lat: weather.Is(51.5), Lon: weather.Is(-0.12), StartAt: at(8, 0, 0), EndAt: at(15, 30, 0),
		Stages: []string{"roof_work", "commissioning"}, Outdoors: true, Facts: facts,
		Consents: []safety.ConsentFact{{Kind: "grid_connection", Stage: "commissioning", Granted: true}}, Kit: []safety.KitFact{{Item: "modules", Arrived: true}},
	}
	for p, kinds := range [][]string{{safety.LeadRoof, safety.Roof, safety.Electrical}, {safety.Roof, safety.FirstAid, safety.RoofRescue}, {safety.Roof}} {
		person := safety.Person{ID: numbered(3, 3*i+p), Name: fmt.Sprintf("Person %d", 3*i+p), Lead: p == 0}
		for _, k := range kinds {
			person.Competences = append(person.Competences, safety.Competence{Kind: k, From: benchDay - 300, Until: benchDay + 400})
		}
		told := safety.Induction{ID: numbered(9, 3*i+p), Person: person.ID, On: benchDay - 200, GivenBy: "Imogen Thackray, office", Covered: allTopics(), Proof: safety.ByPIN}
		told.Statement = safety.InductionStatement(person.Name, told)
		person.Inductions = []safety.Induction{told}
		s.People = append(s.People, person)
	}
	gust := 3 + float64(i%40)/10
	s.Weather = weather.Judgement{Task: weather.PanelCarrying, From: s.StartAt, To: s.EndAt, Verdict: weather.Go,
		Levels: []weather.Level{{Quantity: weather.WindGust, Caution: weather.Is(7), Stop: weather.Is(8.4), Unit: "m/s"}},
		Reasons: []weather.Reason{{Rule: "gust while carrying modules", Subject: "Mon 30 Nov 11:00", Verdict: weather.Go, Quantity: weather.WindGust,
			Known: true, Value: gust, Limit: 8.4, Unit: "m/s", Source: "firm's own rule"}}}
	report := func(kind string, when time.Time) safety.ScaffoldReport {
		return safety.ScaffoldReport{ID: numbered(4, 2*i+len(kind)), Job: s.Job, Kind: kind, ForWhom: "Quillmere Solar, 1 Yard Lane", Location: "front", Description: "two lifts",
			At: when, Risks: "none found", ActionTaken: "none", Further: "none", ByName: "Gwen Strand", ByPosition: "scaffold inspector", Fit: true, LoadClass: 3,
			Certificate: safety.Certificate{DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties, every other lift", ReceivedBy: "Imogen Thackray"},
			RecordedBy:  "Gwen Strand", RecordedAt: when.Add(20 * time.Minute)}
	}
	s.Scaffold = safety.ScaffoldRecord{Expected: true, Reports: []safety.ScaffoldReport{report(safety.Inspection, at(7, 40, -4)), report(safety.Handover, at(15, 0, -5))},
		Erection: safety.StageFact{State: "done", Started: civil.NoDate, Done: benchDay - 9},
		Strike:   safety.StageFact{State: "planned", Started: civil.NoDate, Done: civil.NoDate},
		Bookings: []safety.ScaffoldBooking{{State: "erected", ErectOn: benchDay - 9, StrikeOn: benchDay + 4}}}
	s.Assessment = &safety.AssessmentInForce{ID: numbered(5, i), Version: 1 + i%4, Body: body, BodyHash: body.Hash(), FactsHash: facts.Hash(), FactsNow: facts.Hash(),
		Approved: true, ApprovedBy: "Imogen Thackray", MadeAt: at(9, 0, -6)}
	s.Briefing = &safety.Briefing{ID: numbered(6, i), Crew: s.Crew, Job: s.Job, Day: s.Day, Assessment: s.Assessment.ID, Checks: map[string]safety.Answer{},
		By: s.People[0].ID, At: at(7, 50, 0)}
	for _, c := range safety.ChecksFor(s) {
		s.Briefing.Checks[c.Key] = safety.Yes
	}
	for p, who := range s.People {
		s.SignOffs = append(s.SignOffs, safety.SignOff{ID: numbered(7, 3*i+p), Crew: s.Crew, Job: s.Job, Day: s.Day, Person: who.ID, Assessment: s.Assessment.ID,
			BodyHash: s.Assessment.BodyHash, Statement: safety.Statement(s, who), TypedName: who.Name, Proof: safety.ByPIN, GivenFor: safety.BasisOf(s), ReceivedAt: at(8, p, 0)})
	}
	return s
}

// allTopics are the keys of what an induction covers.
func allTopics() (keys []string) {
	for _, t := range safety.Topics() {
		keys = append(keys, t.Key)
	}
	return keys
}

// lack takes something away from a morning.
func lack(s *safety.Snapshot, what int) {
	switch what % 6 {
	case 0:
		s.SignOffs = s.SignOffs[1:]
	case 1:
		s.Scaffold.Reports = s.Scaffold.Reports[1:]
	case 2:
		s.Weather = weather.Judgement{}
	case 3:
		s.Stops = []safety.StopWork{{ID: numbered(8, what), Job: s.Job, Reason: "loose board", By: "Person 1", ByID: s.People[1].ID, At: s.StartAt.Add(-time.Hour)}}
	case 4:
		s.Briefing = nil
	default:
		s.Assessment = nil
	}
}
