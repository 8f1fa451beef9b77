package web

import (
	"fmt"
	"maps"
	"time"
)

// Invented data that fills every part of every page. Telephone numbers are from
// the ranges kept for fiction (01632 960xxx, 07700 900xxx).

var london = func() *time.Location {
	l, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return l
}()

func at(day string, clock string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04", day+" "+clock, london)
	if err != nil {
		panic(err)
	}
	return t
}

func halves(words ...string) []Half {
	var out []Half
	for _, w := range words {
		d := "2026-12-" + w[:2]
		if w[0] == '1' && w[1] == '1' && len(w) > 4 {
			d = "2026-11-" + w[2:4]
		}
		switch w[len(w)-1] {
		case 'a':
			out = append(out, Half{Day(d), false})
		case 'p':
			out = append(out, Half{Day(d), true})
		default:
			out = append(out, Half{Day(d), false}, Half{Day(d), true})
		}
	}
	return out
}

func sampleSheet(who, role string, here int) Sheet {
	s := Sheet{
		Firm: "Fernhill Roof Energy", Who: who, Role: role, SignOut: "/sign-out",
		Key:     "0193a7e2-6f1c-7d3e-9a51-3c1d2f7b8a90",
		AsOf:    at("2026-12-01", "07:12"),
		Credits: []string{"Weather data: Open-Meteo, CC BY 4.0, and MET Norway, CC BY 4.0; changed to working height."},
		Nav: []Link{
			{Words: "Week", Href: "/week"}, {Words: "This morning", Href: "/mornings/2026-12-01"},
			{Words: "Jobs", Href: "/jobs"}, {Words: "Import", Href: "/import"},
		},
	}
	if role == "crew lead" {
		s.Nav = []Link{{Words: "My morning", Href: "/morning"}, {Words: "Jobs", Href: "/jobs"}}
	}
	if here >= 0 {
		s.Nav[here].Here = true
	}
	return s
}

func weather(p, gust, rain float64, sky Sky) HalfWeather {
	return HalfWeather{Chance: Chance{Known: true, P: p, Basis: "ensemble"}, Sky: sky, GustMS: N(gust), GustLimitMS: N(8.4), RainMM: N(rain), RainLimitMM: N(0.2)}
}

func sampleWeek() Week {
	w := Week{
		Sheet: sampleSheet("Asha Verma", "office", 0),
		Days: []BoardDay{
			{Day: "2026-11-30", Working: true, AM: HalfWeather{Past: true}, PM: HalfWeather{Past: true}},
			{Day: "2026-12-01", Working: true, Today: true, AM: HalfWeather{Past: true}, PM: weather(.36, 8.9, 0.4, SkyStop)},
			{Day: "2026-12-02", Working: true, AM: weather(.12, 13.2, 1.6, SkyStop), PM: weather(.22, 11.8, 0.8, SkyStop)},
			{Day: "2026-12-03", Working: true, AM: weather(.58, 8.45, 0.2, SkyCaution), PM: weather(.78, 6.6, 0, SkyGo)},
			{Day: "2026-12-04", Working: true, AM: weather(.93, 4.2, 0, SkyGo)},
			{Day: "2026-12-05", Off: "Saturday"},
			{Day: "2026-12-06", Off: "Sunday"},
		},
		WeatherOf: "roof work at the most exposed of this week’s 6 sites",
		Crews: []CrewRow{
			{Crew: "Roof A", Trade: "roof", People: "Tom Reed (lead), Isla Kerr, Dan Oyelaran", Href: "/morning/roof-a", Visits: []BoardVisit{
				{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Stage: "roof work", Mark: MarkOutdoor, Halves: halves("01a", "03"), Chance: Chance{Known: true, P: .71}, Why: "Waits for the scaffold, up on Mon 30 Nov.",
					Pins: StagePins{{Words: "roof work starts on Tue 1 Dec", By: "Ruth Adeyemi", At: "Thu 26 Nov 09:10", Why: "the road is closed before", Kept: true}}},
				{Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Stage: "roof work", Mark: MarkOutdoor, Halves: []Half{{"2026-11-30", false}, {"2026-11-30", true}}, Chance: Chance{Known: true, P: .82}, Done: true},
				{Ref: "1051", Href: "/jobs/1051", Place: "17 Quarry Rise", Stage: "roof work", Mark: MarkOutdoor, Halves: append(halves("04"), Half{"2026-12-07", false}), Chance: Chance{Known: true, P: .93}},
			}},
			{Crew: "Roof B", Trade: "roof", People: "Megan Price (lead), Yusuf Aydin", Href: "/morning/roof-b", Away: []AwayDay{{"2026-12-04", "Megan on leave"}}, Visits: []BoardVisit{
				{Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", Stage: "roof work", Mark: MarkOutdoor, Halves: halves("02", "03a"), Chance: Chance{Known: true, P: .18}},
				{Ref: "1044", Href: "/jobs/1044", Place: "Heron House", Stage: "roof work", Mark: MarkOutdoor, Halves: halves("01")},
			}},
			{Crew: "Electrical 1", Trade: "electrical", People: "Ruth Adeyemi, Callum Shaw", Href: "/morning/electrical-1", Visits: []BoardVisit{
				{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Stage: "first fix", Mark: MarkIndoor, Halves: []Half{{"2026-11-30", true}, {"2026-12-01", false}}},
				{Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Stage: "second fix", Mark: MarkIndoor, Halves: halves("01p", "02")},
				{Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Stage: "commissioning", Mark: MarkCommission, Halves: halves("03a")},
				{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Stage: "second fix", Mark: MarkIndoor, Halves: halves("03p", "04")},
			}},
		},
		Scaffolds: []ScaffoldRow{
			{Firm: "Harbour Scaffolding", Note: "1 gang a day; 3 of 4 sets standing", Standing: []Standing{
				{Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Erect: []Half{{"2026-11-24", false}, {"2026-11-24", true}}, Strike: halves("03a"), State: "standing", StrikeChance: Chance{Known: true, P: .62}},
				{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Erect: []Half{{"2026-11-30", false}}, Strike: halves("08a"), State: "standing", ErectChance: Chance{Known: true, P: .86}},
				{Ref: "1051", Href: "/jobs/1051", Place: "17 Quarry Rise", Erect: halves("03a"), Strike: halves("10p"), State: "other day offered", ErectChance: Chance{Known: true, P: .62}},
			}},
			{Firm: "Brackenridge Access", Note: "2 gangs a day; 2 of 6 sets standing", Standing: []Standing{
				{Ref: "1044", Href: "/jobs/1044", Place: "Heron House", Erect: []Half{{"2026-11-27", false}}, Strike: halves("04p"), State: "confirmed", StrikeChance: Chance{Known: true, P: .93}},
				{Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", Erect: halves("01"), State: "confirmed", ErectChance: Chance{Known: true, P: .45}},
			}},
		},
		Plan: PlanHead{Version: 14, MadeBy: "the planner", PublishedBy: "Asha Verma", PublishedAt: "Fri 27 Nov 16:10", Seed: "7", Schedules: 4000},
		Cost: sampleCost(0),
		Unplanned: []Unplanned{
			{Ref: "1056", Href: "/jobs/1056", Place: "Chapel View", Stage: "commissioning", Why: "Waits for the grid connection, applied for on 2 Nov, no date expected."},
			{Ref: "1058", Href: "/jobs/1058", Place: "9 Weavers Row", Stage: "scaffold erection", Why: "Both scaffold firms are full until Mon 14 Dec with 10 working days’ notice."},
		},
		Tell: []Tell{
			{Whom: "Harbour Scaffolding", Says: "1 other day offered waits for your answer, 6 bookings not confirmed yet.", How: "They see the dates on their page and in their feed.", Items: []TellItem{
				{"1051", "/jobs/1051", "they offer Fri 4 Dec instead of Thu 3 Dec"},
				{"1058", "/jobs/1058", "goes up Mon 14 Dec, comes down Mon 21 Dec"},
				{"1060", "/jobs/1060", "goes up Tue 15 Dec, comes down Tue 22 Dec"},
				{"1061", "/jobs/1061", "goes up Wed 6 Jan, comes down Wed 13 Jan"},
				{"1063", "/jobs/1063", "goes up Thu 7 Jan, comes down Thu 14 Jan"},
				{"1064", "/jobs/1064", "goes up Fri 8 Jan, comes down Fri 15 Jan"},
				{"1068", "/jobs/1068", "goes up Mon 11 Jan, comes down Mon 18 Jan"},
			}},
			{Whom: "Brackenridge Access", Says: "1 booking not confirmed yet.", How: "They see the dates on their page and in their feed.", Items: []TellItem{{"1047", "/jobs/1047", "goes up Tue 1 Dec, comes down Wed 9 Dec"}}},
		},
		Prev:  Link{Words: "Week before", Href: "/week?from=2026-11-23"},
		Next:  Link{Words: "Week after", Href: "/week?from=2026-12-07"},
		Views: []Link{{Words: "One week", Href: "/week", Here: true}, {Words: "Two weeks", Href: "/week?weeks=2"}},
		Draft: Link{Words: "plan 15, made today 06:40", Href: "/plans/15"}, PlanAgain: "/plans",
	}
	return w
}

func sampleFortnight() Week {
	w := sampleWeek()
	w.Views[0].Here, w.Views[1].Here = false, true
	for d := 7; d <= 13; d++ {
		b := BoardDay{Day: Day(fmt.Sprintf("2026-12-%02d", d)), Working: d < 12, AM: weather(.55, 7.7, 0.1, SkyGo), PM: weather(.48, 8.1, 0.2, SkyGo)}
		if d >= 10 {
			b.AM, b.PM = HalfWeather{}, HalfWeather{}
		}
		if d >= 12 {
			b.Off = map[int]string{12: "Saturday", 13: "Sunday"}[d]
		}
		w.Days = append(w.Days, b)
	}
	w.Crews[0].Visits = append(w.Crews[0].Visits, BoardVisit{Ref: "1053", Href: "/jobs/1053", Place: "The Granary", Stage: "roof work", Mark: MarkOutdoor, Halves: halves("08", "09", "10a")})
	w.Crews[2].Visits = append(w.Crews[2].Visits, BoardVisit{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Stage: "commissioning", Mark: MarkCommission, Halves: halves("07a")})
	return w
}

func sampleCost(more Money) Cost {
	return Cost{Total: 8_214_50 + more, Items: []CostItem{
		{Item: "scaffold visits", Amount: 4_650_00, Lines: []CostLine{
			{1_550_00, "1042: Harbour Scaffolding, erection and strike, 6 weeks of hire in the price."},
			{1_550_00, "1051: Harbour Scaffolding, erection and strike, 6 weeks of hire in the price."},
			{1_550_00, "1044: Brackenridge Access, erection and strike, 4 weeks of hire in the price."},
		}},
		{Item: "weather risk", Amount: 1_126_40 + more, Lines: []CostLine{
			{540_10 + more/2, "1047: 3 roof half-days with an 18 % chance lose 2.5 half-days on average, £220.00 each."},
			{586_30 + more/2, "1042: 3 roof half-days with a 71 % chance lose 0.9 half-days on average; 1044 has no known chance and is priced at one half."},
		}},
		{Item: "idle crew", Amount: 1_012_50, Lines: []CostLine{{1_012_50, "Roof B stands idle for 3 half-days, £675.00 each, of which 50 % counts."}}},
		{Item: "lateness", Amount: 780_00, Lines: []CostLine{{780_00, "1051: commissioned Tue 15 Dec, promised Fri 27 Nov: 12 working days, £65.00 each."}}},
		{Item: "travel", Amount: 645_60, Lines: []CostLine{{645_60, "717 road km in 11 trips, £0.90 each."}}},
	}}
}

func sampleProposal() Proposal {
	p := Proposal{
		Sheet: sampleSheet("Asha Verma", "office", -1),
		Plan:  PlanHead{Version: 15, MadeBy: "the planner", Seed: "7", Schedules: 4000}, Base: 14, Moved: 4, Same: 21,
		Groups: []ProposalGroup{
			{Whom: "Roof B", Moves: []Move{
				{Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", What: "roof work", Now: "Wed 2 Dec am to Thu 3 Dec am", Proposed: "Thu 3 Dec pm to Fri 4 Dec pm", Reason: "Chance that the weather lets it run rises from 18 % to 74 %.", Charge: 25_00, Shift: "1 working day later", Soon: true},
			}},
			{Whom: "Brackenridge Access", Moves: []Move{
				{Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", What: "scaffold strike", Now: "Tue 8 Dec am", Proposed: "Wed 9 Dec pm", Reason: "The roof is finished a day later; 5 working days’ notice is kept.", Shift: "1 working day later"},
				{Ref: "1058", Href: "/jobs/1058", Place: "9 Weavers Row", What: "scaffold erection", Now: "", Proposed: "Mon 14 Dec am", Reason: "A set comes free on Fri 11 Dec."},
			}},
			{Whom: "customers", Moves: []Move{
				{Ref: "1047", Href: "/jobs/1047", Place: "Ms Whitlock, 01632 960 118", What: "appointment", Now: "Wed 2 Dec", Proposed: "Thu 3 Dec", Reason: "Told of Wednesday on Fri 27 Nov.", Charge: 90_00, Soon: true},
				{Ref: "1060", Href: "/jobs/1060", Place: "Mr Bird, 01632 960 131", What: "first fix", Now: "Fri 4 Dec am", Proposed: "", Reason: "The loft is not free before Mon 14 Dec."},
			}},
		},
		Was: sampleCost(0), Cost: sampleCost(-812_30),
		Unplanned: []Unplanned{{Ref: "1056", Href: "/jobs/1056", Place: "Chapel View", Stage: "commissioning", Why: "Waits for the grid connection, no date expected."}},
		Holidays:  "Holidays are known up to Tuesday 26 December 2028.",
		Publish:   "/plans/15/publish", PlanAgain: "/plans", Budgets: []Choice{{"2000", "as usual"}, {"20000", "ten times as long"}},
		UnderWay: Link{Words: "Asha is making a plan since 07:12: look at it", Href: "/plans/runs/3"}, Drop: "/plans/15/drop", Back: Link{Words: "Back to the week", Href: "/week"},
	}
	p.Aims = []Choice{{"least_cost", "the firm’s rates"}, {"keeps_promises", "keeping promises"}}
	p.Finishes = sampleFinishes()
	return p
}

func sampleFinishes() Finishes {
	return Finishes{Futures: 62, AsOf: at("2026-11-30", "16:10"), Promises: 3, Kept: 2.1, CannotSay: 1, CostKnown: true, Mean: 41_230_00, P10: 40_100_00, P90: 43_500_00, Until: "2027-04-01",
		Choice:   "2 plans were compared; this one (lateness counted twice) keeps 2.1 of 3 promises at £41,230.00, the mean of the futures; that is £310.00 more than the cheapest, which keeps 1.6.",
		Compared: []ComparedPlan{{How: "lateness counted twice", Kept: 2.1, Promises: 3, CostKnown: true, Mean: 41_230_00}, {How: "by the firm’s rates", Kept: 1.6, Promises: 3, CostKnown: true, Mean: 40_920_00}},
		Jobs: []FinishLine{
			{Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Told: true, P10: "2026-12-07", P50: "2026-12-08", P90: "2026-12-11", Promised: "2026-12-11", Chance: Chance{Known: true, P: 0.91}, LostHalfDays: 1.4},
			{Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", Told: true, P10: "2026-12-14", P50: "2026-12-17", Promised: "2026-12-15", Chance: Chance{Known: true, P: 0.27}, LostHalfDays: 3.2, Hire: 62_40},
			{Ref: "1051", Href: "/jobs/1051", Place: "17 Quarry Rise", Why: "Nobody can say: it hangs on weather that no forecast and no climate knows.", Promised: "2026-12-18"},
			{Ref: "1056", Href: "/jobs/1056", Place: "Chapel View", Why: "Its commissioning has no place in the plan."},
		}}
}

func sampleStrip() *Strip {
	s := &Strip{
		ID: "roof", Place: "Roof of 1042, 7.2 m above ground, suburban", Task: "carrying modules",
		GustLimitMS: N(8.4), RainLimitMM: N(0.2), From: at("2026-12-01", "08:00"), To: at("2026-12-01", "16:00"),
		Turn:     "Be off the roof by 14:00.",
		Source:   "push of the gust on a 1.13 m × 1.76 m module against 100 N for each of two people; the firm’s own rule",
		Provider: "Open-Meteo", FetchedAt: at("2026-12-01", "06:50"), ModelRun: at("2026-12-01", "00:00"),
		Asks: []string{"Which way the roof face looks is not known, so low sun in the crew's eyes is not told."}, AskHref: "/jobs/1042/assessment#ask-h",
	}
	gusts := []float64{5.1, 5.4, 5.9, 6.2, 6.8, 7.4, 7.9, 8.2, 8.9, 10.6, 12.3, 13.1, -1}
	rain := []float64{0, 0, 0, 0, 0, 0, .1, .1, .4, 1.2, .8, .2, -1}
	for i := range gusts {
		h := StripHour{From: at("2026-12-01", "06:00").Add(time.Duration(i) * time.Hour), Sky: SkyGo, TempC: N(4.5 + float64(i)/3), Dark: i < 2 || i > 10}
		if gusts[i] >= 0 {
			h.GustMS, h.MeanMS, h.RainMM = N(gusts[i]), N(gusts[i]*.62), N(rain[i])
		}
		switch {
		case gusts[i] < 0:
			h.Sky, h.Why = SkyUnknown, "the forecast ends"
		case gusts[i] > 8.4:
			h.Sky, h.Why = SkyStop, "gust over the limit"
		case gusts[i] > 7.6:
			h.Sky, h.Why = SkyCaution, "gust within 1 m/s of the limit"
		}
		s.Hours = append(s.Hours, h)
	}
	return s
}

func samplePlume() *Plume {
	p := &Plume{Place: "7.2 m above ground, suburban", LimitMS: N(8.4), Members: 40}
	for i := range 40 {
		low := 3 + 0.15*float64(i)
		s := PlumeStep{From: at("2026-12-01", "06:00").Add(time.Duration(3*i) * time.Hour), Low: N(low), Middle: N(low * 1.3), High: N(low * 1.8), Over: N(min(1, float64(i)/40))}
		if i > 36 {
			s = PlumeStep{From: s.From}
		}
		p.Steps = append(p.Steps, s)
	}
	return p
}

func sampleAssessment() *Assessment {
	return &Assessment{
		ID: "0193a7e2-aaaa-7d3e-9a51-3c1d2f7b8a90", Version: 3, MadeBy: "Asha Verma", MadeAt: at("2026-11-30", "15:20"),
		Approved: true, ApprovedBy: "Tom Reed", ApprovedAt: at("2026-11-30", "16:02"), Hash: "5dc9da79a70659a9",
		Scale: "Likelihood 1 to 5 times severity 1 to 5. A severity of 5 stays 5: the controls must be seen on site, the score alone clears nobody.",
		Hazards: []Hazard{
			{Code: "H01", Hazard: "Fall from roof edge or scaffold", WhyHere: "roof work at 7.2 m", Who: "crew", Before: Risk{4, 5}, After: Risk{1, 5}, Band: "tolerable",
				Controls: []Control{{"prevent", "scaffold to the full eaves and both gables: rail at 950 mm or more, gap 470 mm or less, toe board"}, {"prevent", "handover seen and inspection not older than 7 days"}, {"", "nobody works above the rails"}}, Source: "common practice, no source"},
			{Code: "H03", Hazard: "Slip down the slope", WhyHere: "pitch 38°; moss on the north side", Who: "crew", Before: Risk{4, 5}, After: Risk{1, 5}, Band: "tolerable",
				Controls: []Control{{"prevent", "roof ladder with ridge hook"}, {"prevent", "moss swept before anyone kneels"}, {"avoid", "stop at rain or frost"}}, Source: "common practice, no source"},
			{Code: "H12", Hazard: "Module caught by the wind", WhyHere: "12 modules of 2.0 m², 28 kg each; terrain III", Who: "crew, people below", Before: Risk{3, 5}, After: Risk{2, 4}, Band: "tolerable",
				Controls: []Control{{"avoid", "no module leaves the stack above a gust of 8.4 m/s"}, {"prevent", "two people to a module, upwind edge down"}}, Source: "the firm’s own rule"},
			{Code: "H21", Hazard: "Asbestos in the soffit", WhyHere: "built 1974, not surveyed", Who: "crew, household", Before: Risk{3, 5}, After: Risk{1, 5}, Band: "tolerable",
				Controls: []Control{{"avoid", "no drilling into the soffit before the survey is read"}}, Source: "second-hand: check against the original"},
			{Code: "H30", Hazard: "Live conductors in the loft", WhyHere: "old wiring seen by the surveyor", Who: "electrician", Before: Risk{3, 5}, After: Risk{1, 4}, Band: "tolerable",
				Controls: []Control{{"avoid", "isolate, lock and prove dead before the route is touched"}}, Source: "common practice, no source"},
		},
		Questions: []string{"Are there bats in the roof? Nobody has looked.", "Is the conservatory below glazed with fragile sheets? Not stated."},
		Rescue:    []string{"Two people on site are trained to get somebody off the roof: Tom Reed, Isla Kerr.", "Rescue kit is in the van, behind the driver.", "Nearest access for an ambulance: Mill Lane, gate on the left."},
	}
}

func sampleJob() JobPage {
	return JobPage{
		Sheet: sampleSheet("Asha Verma", "office", 2), Ref: "1042", State: "open", Customer: "Mr and Mrs Hale", Phone: "01632 960 115", Email: "hale@example.org",
		Address: "4 Mill Lane, Fernhill", Postcode: "ZZ4 2HB", Terrain: "suburban (EN 1991-1-4, III)", HeightM: 7.2,
		Modules: 12, ModuleWatts: 430, ModuleKg: 28, ModuleM2: 2.0, Promised: "2026-12-11", Ready: "2026-11-25", Note: "Dog. Ring before opening the side gate.",
		Stages: []StageLine{
			{Stage: "scaffold erection", Mark: MarkErect, Progress: Done, DoneOn: "2026-11-30", HalfDays: 1, Halves: []Half{{"2026-11-30", false}}, Who: "Harbour Scaffolding", Chance: Chance{Known: true, P: .86}},
			{Stage: "roof work", Mark: MarkOutdoor, Progress: Started, HalfDays: 3, Halves: halves("01a", "03"), Who: "Roof A", Chance: Chance{Known: true, P: .71}, Why: "Split by the wind on Wednesday: 12 % for a whole half-day."},
			{Stage: "first fix", Mark: MarkIndoor, Progress: Started, HalfDays: 2, Halves: []Half{{"2026-11-30", true}, {"2026-12-01", false}}, Who: "Electrical 1"},
			{Stage: "second fix", Mark: MarkIndoor, Progress: Planned, HalfDays: 3, Halves: halves("03p", "04"), Who: "Electrical 1", Why: "Ruth Adeyemi is at 1039 until Thu 3 Dec am."},
			{Stage: "commissioning", Mark: MarkCommission, Progress: Planned, HalfDays: 1, Halves: halves("07a"), Who: "Electrical 1", Why: "Waits for roof work and second fix."},
			{Stage: "scaffold strike", Mark: MarkStrike, Progress: Planned, HalfDays: 1, Halves: halves("08a"), Who: "Harbour Scaffolding", Chance: Chance{Known: true, P: .55}, Why: "3 working days’ notice after the roof is finished."},
		},
		Finishes: Finishes{Futures: 62, AsOf: at("2026-11-30", "16:10"), Until: "2027-04-01", Jobs: []FinishLine{
			{Told: true, P10: "2026-12-07", P50: "2026-12-08", P90: "2026-12-11", Promised: "2026-12-11", Chance: Chance{Known: true, P: 0.91}, LostHalfDays: 1.4}}},
		Consents: []ConsentLine{
			{Consent: "grid connection", State: "granted", Holds: Met, Stage: "commissioning", When: "on Thu 12 Nov"},
			{Consent: "building control", State: "applied for", Holds: NotMet, Stage: "commissioning", When: "expected Mon 7 Dec"},
			{Consent: "highway licence", State: "nobody has said", Holds: Unknown, Stage: "scaffold erection"},
		},
		Kit:     []KitLine{{"module 430 W", 12, "2026-11-27", "2026-11-26"}, {"inverter 5 kW", 1, "2026-12-03", ""}, {"slate hooks", 40, "", ""}},
		Booking: &BookingNow{Firm: "Harbour Scaffolding", Phone: "01632 960 140", State: "other day offered", Erect: "2026-11-30", Strike: "2026-12-08", Offered: "2026-12-09", Sequence: 2, HireUntil: "2027-01-10", Hire: "then £62.00 a week", AcceptAction: "/bookings/b1/accept"},
		BookingHistory: []BookingStep{
			{2, 1, "confirmed", "2026-11-30", "2026-12-08", "Confirmed on the private page.", "Harbour Scaffolding", at("2026-11-20", "09:31")},
			{1, 0, "asked for", "2026-11-30", "2026-12-08", "Plan 12 was published.", "Asha Verma", at("2026-11-19", "16:10")},
		},
		Assessment: sampleAssessment(), IssueAction: "/jobs/1042/assessments", ApproveAction: "/jobs/1042/assessments/approve",
		Reports: []ScaffoldReport{
			{Kind: "inspection", ForWhom: "Fernhill Roof Energy, 1 Yard Road, Fernhill", Location: "4 Mill Lane, south side and both gables", Description: "Independent tied scaffold, two lifts", At: at("2026-11-30", "12:10"), Risks: "none found", ActionTaken: "none needed", Further: "none", ByName: "Joss Barlow", ByPosition: "scaffold inspector", Fit: true, LoadClass: 3, RecordedBy: "Tom Reed", RecordedAt: at("2026-11-30", "12:40")},
			{Kind: "handover", ForWhom: "Fernhill Roof Energy, 1 Yard Road, Fernhill", Location: "4 Mill Lane, south side and both gables", Description: "Independent tied scaffold, two lifts", At: at("2026-11-30", "11:50"), Risks: "one board short on the east gable", ActionTaken: "gap closed with a barrier", Further: "board to be brought on Tue 1 Dec", ByName: "Lee Marsh", ByPosition: "chargehand", RecordedBy: "Tom Reed", RecordedAt: at("2026-11-30", "12:00")},
		},
		Events:       []ScaffoldEvent{{"wind", "gusts of 19 m/s in the night, read at the yard", "Asha Verma", at("2026-11-29", "23:00")}},
		ReportAction: "/jobs/1042/scaffold-reports", EventAction: "/jobs/1042/scaffold-events",
		Report:         ReportForm{Kind: "inspection", ForWhom: "Fernhill Roof Energy, 1 Yard Road, Fernhill", Location: "4 Mill Lane, Fernhill", Description: "Independent tied scaffold, two lifts", On: "2026-12-01", At: "07:20", ByName: "Tom Reed", ByPosition: "crew lead"},
		Event:          EventForm{On: "2026-12-01", At: "07:20"},
		Strip:          sampleStrip(),
		Plume:          samplePlume(),
		ProgressAction: "/jobs/1042/progress", ConsentAction: "/jobs/1042/consents", KitAction: "/jobs/1042/kit",
		StageChoices:   []Choice{{"roof_work", "roof work"}, {"first_fix", "first fix"}},
		ConsentChoices: []Choice{{"grid_connection", "grid connection"}, {"building_control", "building control"}},
		WaitingChoices: []Choice{{"roof_work", "roof work"}, {"commissioning", "commissioning"}},
		Progress:       ProgressForm{On: "2026-12-01"}, KitChange: KitForm{On: "2026-12-01"},
		Facts: []FactLine{{"covering", "natural slate"}, {"pitch", "38°"}, {"built", "1974"}, {"rooflight", ""}, {"overhead line nearby", "none within 15 m"}},
	}
}

func sampleJobs() Jobs {
	return Jobs{
		Sheet: sampleSheet("Asha Verma", "office", 2), Shown: "Open jobs first, by reference", ImportHref: "/import", ExportHref: "/jobs.csv",
		Rows: []JobRow{
			{Ref: "1039", Href: "/jobs/1039", Customer: "Ms Okoro", Place: "Old Forge, Fernhill", State: "open", Next: "Second fix, Tue 1 Dec pm", Promised: "2026-12-04", Finish: "2026-12-03"},
			{Ref: "1042", Href: "/jobs/1042", Customer: "Mr and Mrs Hale", Place: "4 Mill Lane, Fernhill", State: "open", Next: "Roof work, Tue 1 Dec am", Promised: "2026-12-11", Finish: "2026-12-07"},
			{Ref: "1051", Href: "/jobs/1051", Customer: "Mr Lindqvist", Place: "17 Quarry Rise, Stoneley", State: "open", Next: "Scaffold erection, Thu 3 Dec am", Promised: "2026-11-27", Finish: "2026-12-15", LateDays: 12},
			{Ref: "1056", Href: "/jobs/1056", Customer: "Chapel View Residents", Place: "Chapel View, Stoneley", State: "open", Holds: "grid connection, applied for on 2 Nov, no date expected"},
			{Ref: "1031", Href: "/jobs/1031", Customer: "Mrs Achterberg", Place: "8 Priory Close, Fernhill", State: "done", Promised: "2026-11-13"},
		},
	}
}

func sampleImport() Import {
	return Import{
		Sheet: sampleSheet("Asha Verma", "office", 3), Action: "/import", ConfirmTo: "/import/confirm", ExportHref: "/jobs.csv",
		FileName: "jobs-december.csv", Held: "0193a7e2-bbbb", Same: 17,
		New:     []NewJob{{2, "1061", "Mr Tanaka", "3 Weavers Row, Fernhill"}, {5, "1062", "Ms Bianchi", "The Tannery, Stoneley"}},
		Changed: []ChangedJob{{3, "1042", []FieldDiff{{"modules", "10", "12"}, {"promised_on", "2026-12-09", "2026-12-11"}}}, {4, "1056", []FieldDiff{{"note", "", "Key at the vestry"}}}},
		Columns: sampleColumns(),
	}
}

func sampleColumns() []Column {
	return []Column{{"ref", "the firm’s own reference, once in the file", "1042", true}, {"address", "of the roof", "4 Mill Lane, Fernhill", true}, {"lat", "degrees north, WGS 84", "51.51", true}, {"promised_on", "the day the customer was told", "2026-12-11", false}, {"modules", "how many, 1 to 200", "12", true}}
}

func sampleBadImport() Import {
	p := sampleImport()
	p.Bad = []BadRow{
		{3, "promised_on", "31/11/2026", "a date that exists, as 2026-12-31 or 31/12/2026"},
		{4, "modules", "twelve", "a whole number from 1 to 200"},
		{9, "", "", "12 columns as in line 1; this line has 9"},
		{12, "lat", "", "degrees north between −90 and 90"},
	}
	return p
}

func sampleMorning() Morning {
	return Morning{
		Sheet: sampleSheet("Tom Reed", "crew lead", 0), Crew: "Roof A", Day: "2026-12-01", Ref: "1042", Href: "/jobs/1042",
		Address: "4 Mill Lane, Fernhill", Postcode: "ZZ4 2HB", Contact: "Mr and Mrs Hale. Dog: ring before opening the side gate.", Phone: "01632 960 115",
		Start: at("2026-12-01", "08:00"), End: at("2026-12-01", "12:00"),
		Tasks:   []string{"Roof work, first of 3 half-days: brackets and rails for 12 modules, south side.", "Chance that the weather lets it run: likely (70 %)."},
		Verdict: NotClear, DecidedAt: at("2026-12-01", "07:12"),
		Conditions: []Condition{
			{Code: "B02", Rule: "Scaffold inspected within 7 days", Subject: "4 Mill Lane", State: NotMet, Value: "8 days 19 h old", Limit: "at most 7 days", Source: "Work at Height Regulations 2005, reg 12(4) (second-hand)", Remedy: "A competent person inspects and writes it down before anyone goes up. Harbour Scaffolding: 01632 960 140."},
			{Code: "B10", Rule: "Everybody on site has signed version 3", Subject: "Isla Kerr", State: NotMet, Value: "2 of 3 signed", Limit: "all", Source: "common practice, no source", Remedy: "Isla Kerr signs below."},
			{Code: "B08", Rule: "Wind read on site", Subject: "the whole window", State: Unknown, Limit: "at most 8.4 m/s", Source: "the firm’s own rule", Remedy: "The lead reads the wind at the eaves and enters it under Checks."},
			{Code: "B01", Rule: "Scaffold handed over for this address", Subject: "4 Mill Lane", State: Met, Value: "handed over Mon 23 Nov 11:50", Source: "Work at Height Regulations 2005, reg 12(2) (second-hand)"},
			{Code: "B05", Rule: "Risk assessment approved and fits the facts", Subject: "version 3", State: Met, Value: "approved Mon 30 Nov 16:02"},
			{Code: "B07", Rule: "A lead competent for roof work is present", Subject: "Tom Reed", State: Met, Value: "valid until 14 May 2027", Limit: "valid on Tue 1 Dec"},
			{Code: "W02", Rule: "Gust while carrying modules", Subject: "Tue 1 Dec 12:00", State: Met, Value: "7.9 m/s", Limit: "8.4 m/s", Source: "the firm’s own rule"},
			{Code: "K01", Rule: "Spare slates on site", State: Unknown, Remedy: "Ask the stores.", Advice: true},
		},
		Strip:      sampleStrip(),
		Scaffold:   ScaffoldNow{Expected: true, State: NotMet, Say: "Not before somebody competent has inspected it again.", HandedOver: at("2026-11-23", "11:50"), Inspected: at("2026-11-22", "12:10"), InspectDue: at("2026-11-29", "12:10"), LoadClass: 3, LoadKNM2: 2, Firm: "Harbour Scaffolding", Phone: "01632 960 140"},
		Assessment: sampleAssessment(),
		Emergency: []EmergencyLine{{"Ring", "999 or 112", ""}, {"Address", "4 Mill Lane, Fernhill", ""}, {"Position", "53.17002 degrees north, 0.38001 degrees west", ""},
			{"Nearest access", "Mill Lane, gate on the left", ""}, {"Isolation points", "unknown: find and name them before work starts", ""},
			{"Emergency department", "Fernhill General, emergency department", ""}, {"Crew lead", "Tom Reed", "01632 960 012"}, {"Office", "unknown: no telephone is recorded", ""}},
		Checks: []Check{
			{"right_pack", "Right address, right job pack, version 3 of the assessment?", "version", Yes},
			{"scaffold_record", "Scaffold there, tag and record in date, handover seen?", "date and time", No},
			{"rails_walked", "Rails, toe boards, boards, ties and base plates walked?", "photo", NotLookedAt},
			{"ladder", "Ladder tied, gate shut, 1 m above the landing?", "", NotLookedAt},
			{"roof_dry", "Roof dry, no moss or frost, fragile parts marked?", "photo", NotLookedAt},
		},
		ChecksAction: "/morning/roof-a/1042/checks", ChecksBy: "Tom Reed", ChecksAt: at("2026-12-01", "07:09"),
		Signers: []Signer{
			{Person: "p1", Name: "Tom Reed", Lead: true, Signed: true, SignedName: "Tom Reed", At: at("2026-12-01", "07:10")},
			{Person: "p2", Name: "Dan Oyelaran", Signed: true, Drawn: true, SignedName: "Dan Oyelaran", At: at("2026-12-01", "07:11")},
			{Person: "p3", Name: "Isla Kerr", Lapsed: "Signed version 2 yesterday; version 3 adds asbestos in the soffit.", CanSign: true, Before: "Last signed here: version 2, for Mon 30 Nov.", Changed: []string{"Hazard H20 is new: Asbestos in the soffit"}, Statement: "I have read version 3 of the risk assessment for 1042, 4 Mill Lane, and today’s forecast. I know the controls and the rescue plan, I am fit to work, and I will stop when something is not as described."},
		},
		SignAction: "/morning/roof-a/1042/sign", Shown: `{"crew":"Isla Kerr"}`,
		Stops: []Stop{
			{ID: "s2", Reason: "East gable board missing.", By: "Isla Kerr", At: at("2026-12-01", "07:05"), CanLift: true},
			{ID: "s1", Reason: "Loose ridge tile over the gate.", By: "Dan Oyelaran", At: at("2026-11-30", "09:05"), LiftedBy: "Tom Reed", LiftedAt: at("2026-11-30", "09:40"), LiftWhy: "Tile taken down, edge checked."},
		},
		StopAction: "/morning/roof-a/1042/stop", LiftAction: "/morning/roof-a/1042/lift", SkyAction: "/morning/roof-a/1042/sky",
		Thunder: ThunderClock{Again: at("2026-12-01", "07:40"), Say: "Thunder heard at 07:10 by Tom Reed. Another one starts the half-hour again."},
		Others:  []Link{{Words: "Roof B at 1044, Heron House", Href: "/morning/roof-b/1044"}, {Words: "Electrical 1 at 1042, 4 Mill Lane", Href: "/morning/electrical-1/1042"}},
	}
}

func sampleClearMorning() Morning {
	m := sampleMorning()
	m.Verdict = Clear
	m.Stops = nil
	for i := range m.Conditions {
		m.Conditions[i].State = Met
		m.Conditions[i].Remedy = ""
	}
	for i := range m.Signers {
		m.Signers[i].Signed, m.Signers[i].SignedName, m.Signers[i].At, m.Signers[i].Lapsed = true, m.Signers[i].Name, at("2026-12-01", "07:10"), ""
		m.Signers[i].CanSign = false
	}
	for i := range m.Checks {
		m.Checks[i].Answer = Yes
	}
	m.Scaffold.State, m.Scaffold.Say, m.Scaffold.Inspected, m.Scaffold.InspectDue = Met, "Fit for use until Mon 7 Dec 12:10.", at("2026-11-30", "12:10"), at("2026-12-07", "12:10")
	m.GustRead = "5.2"
	return m
}

func sampleMornings() Mornings {
	return Mornings{
		Sheet: sampleSheet("Asha Verma", "office", 1), Day: "2026-12-01",
		Prev: Link{Words: "Mon 30 Nov", Href: "/mornings/2026-11-30"}, Next: Link{Words: "Wed 2 Dec", Href: "/mornings/2026-12-02"},
		Lone: []LoneCall{{ID: "k1", Says: "No call of Isla Kerr since 09:00, it was due by 10:00, 12 min ago", Overdue: true, Waits: true, Contact: "Asha Verma", Phone: "01632 960199", IfMissed: "drives out",
			Ref: "1042", Href: "/morning/electrical-1/1042", Place: "4 Mill Lane", Ring: "01632 960102", Action: "/morning/electrical-1/call"},
			{ID: "k2", Says: "Tom Reed let know at 11:00 that they left", Contact: "Asha Verma", Phone: "01632 960199", IfMissed: "drives out", Ref: "1044", Href: "/morning/b", Place: "Heron House", Action: "/morning/b/call"}},
		Crews: []MorningRow{
			{Crew: "Roof A", Href: "/morning/roof-a/1042", Ref: "1042", JobHref: "/jobs/1042", Place: "4 Mill Lane", Task: "roof work", Start: at("2026-12-01", "08:00"), Met: 15, Signed: 2, People: 3, Stopped: true,
				NotMet:  []string{"Scaffold inspected within 7 days: not met (8 days 19 h old, limit 7 days).", "Isla Kerr has not signed version 3."},
				Unknown: []string{"Wind read on site: unknown (limit 8.4 m/s)."}},
			{Crew: "Roof B", Href: "/morning/roof-b/1044", Ref: "1044", JobHref: "/jobs/1044", Place: "Heron House", Task: "roof work", Start: at("2026-12-01", "08:00"), Met: 16, Signed: 2, People: 2,
				Unknown: []string{"Forecast: unknown (last answer 31 h old, limit 12 h)."}},
			{Crew: "Electrical 1", Href: "/morning/electrical-1/1042", Ref: "1042", JobHref: "/jobs/1042", Place: "4 Mill Lane", Task: "first fix", Start: at("2026-12-01", "08:00"), Verdict: Clear, Met: 11, Signed: 2, People: 2},
			{Crew: "Electrical 2", Off: "Training day, nothing planned."},
		},
	}
}

func sampleScaffold() ScaffoldPage {
	s := sampleSheet("", "", -1)
	s.Nav, s.SignOut = nil, ""
	return ScaffoldPage{
		Sheet: s, ScaffoldFirm: "Harbour Scaffolding", Installer: "Fernhill Roof Energy", Contact: "Asha Verma", Phone: "01632 960 100",
		FeedAddress: "https://board.example/feeds/s/8QmW3vJx0b7hT2yK.ics", CSVHref: "/s/8QmW3vJx0b7hT2yK/bookings.csv",
		Bookings: []Wanted{
			{ID: "b3", Ref: "1051", Address: "17 Quarry Rise, Stoneley", Postcode: "ZZ6 1TA", Erect: "2026-12-03", Strike: "2026-12-10", State: WantedAnswer, HeightM: 6.4, Lifts: "two lifts, eaves and one gable", LoadClass: 3, LoadKNM2: 2, Access: "Single track; 7.5 t at most. Turn at the farm.", Contact: "Mr Lindqvist", Phone: "01632 960 122", Changed: "Moved from Wed 2 Dec because of gusts of 13 m/s.", ChangedAt: at("2026-12-01", "06:52"), ConfirmAction: "/s/x/b3/confirm", OfferAction: "/s/x/b3/offer"},
			{ID: "b1", Ref: "1039", Address: "Old Forge, Fernhill", Postcode: "ZZ4 2AA", Erect: "2026-11-24", Strike: "2026-12-03", State: WantedStanding, StateWords: "handed over Tue 24 Nov", HeightM: 5.1, LoadClass: 2, LoadKNM2: 1.5, Contact: "Ms Okoro", Phone: "01632 960 119", StruckAction: "/s/x/b1/struck", CertificateAction: "/s/x/b1/certificate", Certificates: []string{"handover.pdf"}, MarkOn: "2026-12-01"},
			{ID: "b2", Ref: "1042", Address: "4 Mill Lane, Fernhill", Postcode: "ZZ4 2HB", Erect: "2026-11-30", Strike: "2026-12-08", State: WantedOffered, HeightM: 7.2, LoadClass: 3, LoadKNM2: 2, Offered: "2026-12-09"},
			{ID: "b5", Ref: "1058", Address: "9 Weavers Row, Fernhill", Postcode: "ZZ4 2JJ", Erect: "2026-12-17", Strike: "2027-01-05", State: WantedConfirmed, StateWords: "by you on Mon 30 Nov", OfferAction: "/s/x/b5/offer", ErectedAction: "/s/x/b5/erected", MarkOn: "2026-12-01"},
			{ID: "b4", Ref: "1049", Address: "Lime House, Stoneley", Postcode: "ZZ6 1QD", Erect: "2026-12-07", Strike: "2026-12-14", State: WantedCancelled, Changed: "The customer withdrew.", ChangedAt: at("2026-11-28", "10:00")},
		},
	}
}

// samples names every page with full data, and pages in other states.
func samples() map[string]Page {
	all := samplesSafety()
	maps.Copy(all, samplesOf())
	maps.Copy(all, samplesRecord())
	return all
}

func samplesOf() map[string]Page {
	out := sampleSheet("", "", -1)
	out.Nav, out.SignOut, out.Firm, out.Credits = nil, "", "", nil
	out.AsOf = time.Time{}
	bad := out
	bad.Faults = []Fault{{"email", "Write the e-mail address you were given, as name@firm.example."}, {"", "E-mail address and password do not belong together."}}
	report := sampleJob()
	report.Faults = []Fault{{"on", "The date is 2026-12-09: write the day it was looked at, not later than today."}, {"risks", "Matters that could cause a risk: write “none found” when there are none."}, {"event_on", "Write the day it happened."},
		{"stage", "Choose the stage."}, {"progress", "Say whether it was started or is done."}, {"stage_on", "The day is 2026-12-09: a day that has come."},
		{"consent", "Choose the consent."}, {"consent_state", "Say how it stands."}, {"consent_on", "Write the day it was granted."}, {"consent_stage", "Choose the stage that waits for it."},
		{"item", "Write what it is."}, {"quantity", "The number is “ten”: write it in digits."}, {"kit_state", "Say where it is."}, {"kit_on", "Write the day."}}
	report.Progress, report.Consent, report.KitChange = ProgressForm{Stage: "roof_work", Progress: "done", On: "2026-12-09"}, ConsentForm{Consent: "grid_connection", State: "granted"}, KitForm{Quantity: "ten"}
	offer := sampleScaffold()
	offer.Faults = []Fault{{"on-b3", "Sat 5 Dec is not a working day: offer a day from Monday to Friday."}, {"down-b1", "The day is empty: the day it came down."}, {"up-b5", "The day is 2026-12-09: not after today."}}
	offer.Bookings[0].OfferOn = "2026-12-05"
	signing := sampleMorning()
	signing.Faults = []Fault{{"pin-p3", "PIN: it is not the PIN of Isla Kerr: type it again, or ask the office for a new one."}, {"gust_ms", "The gust is “9,x”: write a number in m/s, as 5.2."}, {"check_ladder", "Ladder: answer yes, no or not looked at yet."}, {"reason", "Say what is wrong."}, {"why-s2", "Say why it is safe to go on."},
		{"checkin-contact", "Contact: somebody else than who works alone."}, {"checkin-phone", "Phone: a telephone number of 6 to 15 digits."}, {"checkin-every_min", "Every: 15 to 120 minutes."}, {"checkin-if_missed", "If missed: what they do."}, {"checkin-email", "E-mail: an e-mail address, or nothing."}}
	signing.Lone = LoneCall{Says: "The next call of Isla Kerr is due by 10:00", Waits: true, Contact: "Asha Verma", Phone: "01632 960199", IfMissed: "drives out", Own: true, Action: "/morning/roof-a/1042/call"}
	signing.CheckIn = CheckIn{Who: "Isla Kerr", Contact: "Isla Kerr", Phone: "office", Every: "4", Action: "/morning/roof-a/1042/check-in"}
	signing.GustRead = "9,x"
	stale := sampleProposal()
	stale.Publish, stale.Stale = "", "Plan 14 is no longer the published one: 16 was published at 07:01. Plan again."
	missing := out
	missing.Notice = "You are signed out."
	firstImport := Import{Sheet: sampleSheet("Asha Verma", "office", 3), Action: "/import", ExportHref: "/jobs.csv", Columns: sampleColumns()}
	firstImport.Faults = []Fault{{"file", "Choose a file first."}}
	notice := sampleWeek()
	notice.Notice = "Plan 14 is published. 2 bookings moved."
	return map[string]Page{
		"signin": SignIn{Sheet: missing, Action: "/sign-in", Next: "/week"}, "signin-fault": SignIn{Sheet: bad, Action: "/sign-in", Email: "asha"},
		"week": sampleWeek(), "week-two": sampleFortnight(), "week-notice": notice,
		"proposal": sampleProposal(), "proposal-stale": stale,
		"explained": sampleExplained(), "explained-out": sampleLeftOut(), "whatif": sampleWhatIf(), "whatif-fault": badWhatIf(), "offers": sampleOffers(), "offers-fault": badOffers(),
		"run": sampleRun(), "run-stopped": sampleStoppedRun(),
		"jobs": sampleJobs(), "job": sampleJob(), "job-fault": report,
		"links": LinksPage{Sheet: sampleSheet("Asha Verma", "office", -1), From: "2026-11-26", To: "2028-11-25", Given: &GivenLink{Firm: "Upright & Brace", Page: "https://board.example/scaffold/abc", Feed: "https://board.example/feeds/def.ics", Until: "2027-11-26"},
			Firms: []LinkFirm{{ID: "f1", Name: "Upright & Brace", Open: true, Mails: "3 links sent in mails open, the last until Sat 26 Dec.", EndMails: "/private-links/firms/f1/end?which=mails", EndAll: "/private-links/firms/f1/end?which=all", Give: "/private-links/firms/f1", Until: "2027-11-26",
				Rows: []LinkRow{{ID: "l1", What: "Page", Opens: true, State: "opens until Fri 26 Nov", Made: "Thu 26 Nov by Asha Verma", Used: "never", Until: "2027-11-26", Keep: "/private-links/l1/until", End: "/private-links/l1/end"}, {ID: "l2", What: "Calendar feed", State: "ended Thu 26 Nov 08:10", Made: "Mon 2 Nov", Used: "Wed 25 Nov 23:10"}}}}},
		"calendar": Calendar{Sheet: sampleSheet("Rhodri Pask", "crew lead", -1), Crews: []Link{{Words: "Alder", Href: "/calendar/alder"}}, Address: "https://board.example/feeds/crew/abc.ics"},
		"rates": Rates{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/settings/rates", Version: 3, SetBy: "Asha Verma", SetAt: "Wed 2 Dec 2026, 09:30",
			Inputs: []RateInput{{"late_per_day_pence", "Late per day", "each working day after a promised date", "£", "60.00"}},
			Before: []RatesBefore{{3, "Asha Verma", "Wed 2 Dec 2026, 09:30", []string{"late per day: £50.00 becomes £60.00"}}}},
		"scaffoldfirms": ScaffoldFirms{Sheet: sampleSheet("Asha Verma", "office", -1), Firms: []ScaffoldTerms{{ID: "f1", Name: "Upright & Brace", Says: []string{"2 gangs a day, 9 sets.", "Works from Monday to Friday."},
			Action: "/settings/scaffold-firms/f1", Seen: "ab12", Active: true, Inputs: []TermInput{{"sets", "Sets", "how many scaffolds can stand at the same time", "scaffolds", "9", false}, {"phone", "Phone", "whom to ring", "", "01632 960101", true}},
			DaysOff: []DayPick{{"friday", "Fridays", true}}}}},
		"limits": Limits{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/settings/limits", Version: 2, SetBy: "Asha Verma", SetAt: "Wed 2 Dec 2026, 09:30", Why: "two near misses",
			Loose:     []string{"gust while carrying modules: stop 12 m/s is looser than the start value 10.28 m/s"},
			TaskKinds: []Choice{{"panel_carrying", "carrying modules"}}, Quantities: []Choice{{"wind_gust", "gust, m/s"}}, Marks: []Choice{{"firm", "the firm's own rule"}},
			Asked:  LimitForm{Task: "panel_carrying", Quantity: "wind_gust", Caution: "8", Stop: "12", Source: "our own rule", Mark: "firm"},
			Tasks:  []LimitTask{{"panel_carrying", "while carrying modules", []LimitRow{{"gust", "8 m/s", "12 m/s", "our own rule; firm's own rule.", "stop 12 m/s is looser than the start value 10.28 m/s", true, "/settings/limits?task=panel_carrying&quantity=wind_gust#change"}}}},
			Before: []LimitsBefore{{2, "Asha Verma", "Wed 2 Dec 2026, 09:30", "two near misses", []string{"gust while carrying modules: stop 10.28 m/s becomes 12 m/s"}, []string{"gust while carrying modules: stop 12 m/s is looser than the start value 10.28 m/s"}}}},
		"services": WeatherServices{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/settings/services", Version: 2, SetBy: "Asha Verma", SetAt: "Wed 2 Dec 2026, 09:30", Why: "gusts here",
			Says:     "All are asked each hour. Every roof is judged by Open-Meteo, and MET Norway can only make it worse, never better.",
			Services: []ServiceRow{{"Open-Meteo", "An ensemble.", "asked first", true, "Wed 2 Dec 2026, 09:07, kept for 12 sites", ""}, {"site hourly", "One run.", "not asked", false, "never", "TOEBOARD_HOURLY_FORECAST names no such service."}},
			Choices:  []Choice{{"open-meteo", "Open-Meteo"}, {"met-norway", "MET Norway"}}, Ways: []Choice{{"first", "The first that answers"}, {"worst", "The worse of those that answer"}},
			Asked:  ServicesForm{Order: []string{"open-meteo", "met-norway"}, Together: "worst"},
			Before: []LimitsBefore{{2, "Asha Verma", "Wed 2 Dec 2026, 09:30", "gusts here", []string{"what counts: the first that answers becomes the worse of those that answer"}, nil}}},
		"bookings": BookingsPage{Sheet: sampleSheet("Asha Verma", "office", -1), CSVHref: "/bookings.csv",
			Offers: []OfferRow{{ID: "b2", Ref: "1042", Href: "/jobs/1042", Firm: "Harbour Scaffolding", Says: "They offer Wed 9 Dec instead of Mon 30 Nov.", Cost: "1042 with its scaffold on Wed 9 Dec: the plan costs £120.00 more.",
				Take: "/bookings/b2/take?seen=1&on=2026-12-09", TakeWords: "Take Wed 9 Dec", Decline: "/bookings/b2/decline?seen=1&on=2026-12-09"}},
			Strikes: []StrikeRow{{ID: "b1", Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Why: "The roof work is done since Tue 1 Dec; from Tue 22 Dec on each week costs £45.00. Brackenridge Access wants 3 working days notice to strike; it is booked to come down on Thu 3 Dec.",
				OffHire: "/bookings/b1/off-hire", On: "2026-12-03", Earliest: "2026-12-01"}},
			Rows: []BookingRow{
				{ID: "b1", Ref: "1039", Href: "/jobs/1039", Place: "Old Forge", Firm: "Brackenridge Access", State: "Standing", Erect: "2026-11-24", Strike: "2026-12-03", Stands: true, Weeks: "2 weeks begun, 4 in the price",
					Next: "2026-12-22", PerWeek: 4500, Inspected: "/bookings/b1/inspected", Files: []FileLink{{"Certificate handover.pdf", "/bookings/b1/files/f1"}}},
				{ID: "b3", Ref: "1031", Href: "/jobs/1031", Place: "9 Quay", Firm: "Harbour Scaffolding", State: "Standing, wanted down Fri 4 Dec", Erect: "2026-10-30", Strike: "2026-12-04", Stands: true, Weeks: "5 weeks begun, 4 in the price",
					SoFar: 3000, Next: "2026-12-04", PerWeek: 3000, Soon: true, Keep: "/bookings/b3/keep"},
				{ID: "b2", Ref: "1042", Href: "/jobs/1042", Place: "4 Mill Lane", Firm: "Harbour Scaffolding", State: "Other day offered: Wed 9 Dec", Erect: "2026-11-30", Strike: "2026-12-08"},
			}},
		"messages": MessagesPage{Sheet: sampleSheet("Asha Verma", "office", -1), MailServer: true, QuietFrom: "20:00", QuietTo: "06:00", QuietAction: "/messages/quiet",
			Rows: []MessageRow{
				{ID: "m1", To: "Harbour Scaffolding", Address: "yard@harbour.example", Subject: "Changed: Scaffold 1042, 4 Mill Lane: up Mon 30 Nov, down Tue 8 Dec", What: "a booking changed", State: "could not be sent",
					Detail: "550 no such mailbox", Written: "Tue 24 Nov 16:10", By: "Asha Verma", Needs: true, Again: "/messages/m1/again", Href: "/jobs/1042", HrefWords: "Job 1042"},
				{ID: "m2", To: "Brackenridge Access", Address: "office@brackenridge.example", Subject: "Scaffold 1039, Old Forge: up Tue 24 Nov, down Thu 3 Dec", What: "a scaffold is wanted", State: "sent Tue 24 Nov 16:10",
					Written: "Tue 24 Nov 16:10", By: "Asha Verma", Again: "/messages/m2/again", Href: "/jobs/1039", HrefWords: "Job 1039"},
			},
			Received: []ReceivedRow{{From: "office@brackenridge.example", At: "Wed 25 Nov 08:02", Says: "Confirmed by the scaffold firm: erect Tue 24 Nov, strike Thu 3 Dec.", Taken: true}}},
		"weatherrecord": sampleWeatherRecord(),
		"pins": Pins{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/pins", CostsHref: "/pins?costs=1", Jobs: []Choice{{Key: "1042", Words: "1042"}},
			Kinds: []Choice{{Key: "on", Words: "the stage starts on a day"}}, Stages: []Choice{{Key: "roof_work", Words: "roof work"}}, Asked: PinForm{Job: "1042", On: "2026-12-09"},
			Rows: []PinRow{{ID: "7", Ref: "1042", Href: "/jobs/1042", What: "roof work starts on Wed 9 Dec", Why: "the road is closed before", By: "Asha Verma", At: "Wed 2 Dec 2026, 09:30",
				State: "Kept", Says: "Roof work is planned from Wed 9 Dec am with Alder.", Cost: "It costs £90.00.", Remove: "/pins/7/remove"}}},
		"people": samplePeople(), "jobrecords": sampleJobRecords(), "due": sampleDue(), "ownrules": sampleOwnRules(), "import": sampleImport(), "import-bad": sampleBadImport(), "import-first": firstImport,
		"morning": sampleMorning(), "morning-clear": sampleClearMorning(), "morning-fault": signing, "mornings": sampleMornings(),
		"scaffold": sampleScaffold(), "scaffold-fault": offer,
		"problem":  Problem{Sheet: sampleSheet("Asha Verma", "office", -1), Status: 409, Say: "Plan 14 was superseded by plan 16 at 07:01.", Do: "Look at plan 16 and plan again.", Number: "0193a7e2-cccc", Back: Link{Words: "The week as it is now", Href: "/week"}},
		"notfound": Problem{Sheet: out, Status: 404},
	}
}

// empties names every page with nothing in it, as a new firm sees it.
func empties() map[string]Page {
	all := emptiesSafety()
	maps.Copy(all, emptiesOf())
	maps.Copy(all, map[string]Page{"record": RecordPage{}, "record-entry": RecordEntry{}, "record-paper": RecordPaper{}})
	return all
}

func emptiesOf() map[string]Page {
	return map[string]Page{
		"signin": SignIn{}, "problem": Problem{}, "week": Week{}, "proposal": Proposal{}, "run": Run{}, "explained": Explained{}, "whatif": WhatIf{}, "offers": Offers{}, "jobs": Jobs{}, "job": JobPage{},
		"import": Import{}, "calendar": Calendar{}, "links": LinksPage{}, "people": People{}, "jobrecords": JobRecords{}, "due": DueList{}, "ownrules": OwnRules{}, "people-blank": People{AskPassword: true, People: []PersonRow{{ID: "p", Name: "P", PINAction: "/p"}}}, "rates": Rates{}, "scaffoldfirms": ScaffoldFirms{}, "limits": Limits{}, "services": WeatherServices{}, "weatherrecord": WeatherRecord{}, "pins": Pins{}, "messages": MessagesPage{}, "bookings": BookingsPage{}, "morning": Morning{}, "mornings": Mornings{}, "scaffold": ScaffoldPage{},
		"week-days":      Week{Days: []BoardDay{{Day: "2026-12-01", Working: true}, {Day: "2026-12-05"}}},
		"job-blank":      JobPage{Strip: &Strip{}, Plume: &Plume{}, Assessment: &Assessment{}, Booking: &BookingNow{}, ReportAction: "/r", EventAction: "/e", IssueAction: "/i", ApproveAction: "/a", ProgressAction: "/p", ConsentAction: "/c", KitAction: "/k"},
		"morning-blank":  Morning{Strip: &Strip{}, Assessment: &Assessment{Hazards: []Hazard{{}}}, ChecksAction: "/c", Checks: []Check{{Key: "x"}}, Signers: []Signer{{Person: "p"}}, Stops: []Stop{{ID: "s"}}, SignAction: "/s", Conditions: []Condition{{}}},
		"scaffold-blank": ScaffoldPage{Bookings: []Wanted{{}}},
	}
}
