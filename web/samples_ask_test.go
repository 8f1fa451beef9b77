package web

func sampleExplained() Explained {
	return Explained{Sheet: sampleSheet("Asha Verma", "office", -1), Ref: "1047", Href: "/jobs/1047", Place: "2 Station Cottages", Stage: "roof work",
		Plan: "proposal 15", When: "Thu 3 Dec pm to Fri 4 Dec pm", By: "Roof B", Chance: Chance{Known: true, P: .74, Basis: "ensemble"},
		Move: "It moves from Wed 2 Dec am to Thu 3 Dec am, Roof B. The move saves £112.40: weather risk £137.40 less and moved appointments £25.00 more.",
		Then: []string{"Tue 1 Dec am to Tue 1 Dec pm is not possible: Brackenridge Access is full until Tue 1 Dec (2 gangs a day).",
			"Wed 2 Dec am would cost £112.40 more: weather risk £112.40 more; 18% chance of fit weather throughout roof work then, 74% as planned."},
		Sooner: []AskLine{{Words: "Wed 2 Dec am would cost £112.40 more: weather risk £112.40 more; 18% chance of fit weather throughout roof work then, 74% as planned.", More: 112_40, Ok: true},
			{Words: "Tue 1 Dec am to Tue 1 Dec pm is not possible: Brackenridge Access is full until Tue 1 Dec (2 gangs a day)."}},
		Others: []AskLine{{Words: "Roof A would cost £31.20 more: travel £31.20 more; Roof A would drive 43 km from its home, the planned one 12 km.", More: 31_20, Ok: true},
			{Words: "Roof C cannot do it: the lead of Roof C is away until Fri 18 Dec."}},
		Stages: []Link{{Words: "Scaffold erection", Href: "/why/1047/scaffold_erection"}, {Words: "Roof work", Href: "/why/1047/roof_work", Here: true}},
		Plans:  []Link{{Words: "as published", Href: "/why/1047/roof_work"}, {Words: "as proposed", Href: "/why/1047/roof_work?plan=draft", Here: true}}, WhatIfHref: "/what-if?job=1047"}
}

func sampleLeftOut() Explained {
	return Explained{Sheet: sampleSheet("Asha Verma", "office", -1), Ref: "1056", Href: "/jobs/1056", Stage: "commissioning", Plan: "published plan 14",
		Lost: "The plan has it on Mon 7 Dec am with Electrical 1, and the facts no longer allow that: plan again.", Clash: []string{"Commissioning is asked for Mon 7 Dec am.", "The consent (grid connection) is expected on Wed 9 Dec."}}
}

func sampleWhatIf() WhatIf {
	w := WhatIf{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/what-if", Jobs: []Choice{{"1047", "1047, 2 Station Cottages"}}, Stages: []Choice{{"roof_work", "roof work"}},
		Crews: []Choice{{"a", "Roof A (roof)"}}, Firms: []Choice{{"h", "Harbour Scaffolding"}}, Asked: WhatIfAsked{Kind: "promise", Job: "1047", On: "2026-12-18"},
		Says: "1047 is promised for Fri 18 Dec (before: Fri 11 Dec): the plan costs £190.00 less, has 9 of 10 promises in time (8 of 10 without it), moves 3 published visits (4 without it) and leaves out 0 stages (0 without it).",
		Was:  8_214_50, With: 8_024_50, Items: []ItemDiff{{"lateness", 780_00, 480_00}, {"travel", 645_60, 755_60}},
		Counts: []CountDiff{{"Promises planned in time", "8 of 10", "9 of 10"}}, Saved: []Link{{Words: "1047", Href: "/jobs/1047"}}, Late: []Link{{Words: "1051", Href: "/jobs/1051"}},
		Moves: []Move{{Ref: "1047", Href: "/jobs/1047", What: "roof work", Now: "Wed 2 Dec am, Roof B", Proposed: "Thu 3 Dec am, Roof B", Place: "Ms Whitlock, Roof B"}},
		How:   "Both sides were searched from the published plan with 250 schedules and seed 1. With another seed the side without the change costs £12.00 more or less: a smaller difference says little.",
		Lost:  []string{"roof work starts on Thu 3 Dec"}}
	return w
}

func badWhatIf() WhatIf {
	w := sampleWhatIf()
	w.Says, w.Asked = "", WhatIfAsked{Kind: "pin", Job: "1047", Stage: "roof_work", On: "2026-12-01"}
	w.Faults = []Fault{{"on", "On is 2026-12-01: a day from 2026-12-02 to 2027-02-23."}, {"job", "Choose the job."}, {"stage", "Choose the stage."}, {"who", "Choose who."}}
	return w
}

func sampleOffers() Offers {
	return Offers{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/offers", Done: true, Place: "in the middle of 3 open jobs' sites in ZZ4", Sky: "Chances are from the forecast for 1042, 4 km away, at this roof's own height and terrain.",
		Asked: OfferAsked{Postcode: "ZZ4 9AA", Terrain: "III", Height: "6", ModuleM2: "1.95", Modules: "10", HalfDays: []StageHalves{{"scaffold_erection", "scaffold erection", "1"}, {"roof_work", "roof work", "3"}}},
		Found: []FoundOffer{{Rank: 1, On: "2026-12-08", Done: "2026-12-15", More: 812_40, Why: "Scaffold visits £800.00 more, travel £41.20 more and idle crew £28.80 less. 81% chance of fit weather throughout roof work.", Chance: Chance{Known: true, P: .81, Basis: "ensemble"},
			Visits: []string{"Scaffold erection: Mon 7 Dec am, Harbour Scaffolding", "Roof work: Tue 8 Dec am to Wed 9 Dec am, Roof A"}, Action: "/offers?hold=2026-12-08"}},
		Held: []HeldOffer{{ID: "0193a7e2", For: "Mr Bird", Contact: "01632 960 131", On: "2026-12-10", Done: "2026-12-17", More: 640_00, State: "held", Until: "Fri 4 Dec 16:30", By: "Asha Verma", Take: "/offers/0193a7e2/take", Release: "/offers/0193a7e2/release"},
			{ID: "0193a7e3", For: "Ms Dow", On: "2026-12-11", State: "taken", By: "Asha Verma", Job: Link{Words: "1071", Href: "/jobs/1071"}}}}
}

func badOffers() Offers {
	o := sampleOffers()
	o.Found, o.No = nil, []string{"Every roof crew is elsewhere until Fri 29 Jan."}
	o.Faults = []Fault{{"postcode", "Postcode is QQ9: the postcode of a site we know."}, {"latitude", "A number."}, {"longitude", "A number."}, {"terrain", "Choose."}, {"modules", "A number."}, {"module_m2", "A number."}, {"stages", "0 to 40."}, {"ready", "A day."}}
	return o
}
