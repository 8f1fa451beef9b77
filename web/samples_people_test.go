package web

func samplePeople() People {
	p := People{Sheet: sampleSheet("Asha Verma", "office", -1), AskPassword: true, People: []PersonRow{
		{ID: "p1", Name: "Tom Reed", Role: "crew lead", PINSet: at("2026-11-30", "16:05"), PINAction: "/people/p1/pin", CanAction: "/people/p1/competences",
			Can:      []Competence{{"leading roof work", "until Fri 14 May", "card seen by the office", Met}, {"first aid", "expired Mon 30 Nov", "", NotMet}},
			Inducted: Met, InductedSays: "inducted in all 2 topics", Told: []string{"Mon 2 Feb by Asha Verma, office, 2 of 2 topics, said by PIN Mon 2 Feb 07:40"}},
		{ID: "p2", Name: "Isla Kerr", Role: "crew member", PINAction: "/people/p2/pin", Inducted: NotMet, InductedSays: "inducted in 1 of 2 topics: not clear to start", InductAction: "/people/p2/inductions",
			Told: []string{"Tue 1 Dec by Tom Reed, crew lead, 1 of 2 topics, said by PIN Tue 1 Dec 07:10"}, NotTold: []string{"999 or 112, and who fetches the casualty down"},
			Typed: InductionForm{On: "2026-12-02", GivenBy: "Isla Kerr", Covered: []string{"stop_rule"}}},
	}}
	p.Kinds = []Choice{{"roof", "roof work"}}
	p.Topics = []Topic{{"stop_rule", "Anybody may stop the work", "a regulation [read]"}, {"emergency", "999 or 112, and who fetches the casualty down", "common practice, no source"}}
	p.Today = "2026-12-01"
	p.Faults = []Fault{{"can-p1", "Valid from: the first day on which it holds."}, {"pin-p2", "PIN: 4 to 8 digits."}, {"password-p2", "Password: your own password, as you sign in with it."},
		{"told-on-p2", "On is “2026-12-02”: a day that has come."}, {"told-given_by-p2", "Given by: nobody inducts themselves."}, {"told-covered-p2", "Covered: at least one topic."}, {"told-pin-p2", "PIN: it is not the PIN of Isla Kerr."}}
	return p
}

func sampleJobRecords() JobRecords {
	p := JobRecords{Sheet: sampleSheet("Tom Reed", "crew lead", -1), Ref: "1042", Href: "/jobs/1042", MayStrike: Unknown, StrikeSays: "not yet: nobody has checked that the roof is tight",
		DeadOpen: []string{"polarity"}, Tests: []TestRow{{Name: "insulation resistance at 500 V", Circuit: "C1", Says: "pass: >999 Mohm; asked: at least 1 Mohm", By: "Tom Reed", At: "Tue 1 Dec 14:02", Source: "BS 7671 table 64 [read]", State: Met}},
		Isolations: []OpenPermit{{What: "consumer unit, main switch", Where: "main switch, locked off", Key: "Tom Reed", Holder: "Asha Verma", At: "Tue 1 Dec 13:40", Taken: "Tue 1 Dec 15:00"}},
		WhyNot:     "Tests are recorded by whoever works here.", Cleared: []string{"Row 1, column 4: AB-1009, put there by Tom Reed Tue 1 Dec 10:00, taken off by Asha Verma Tue 1 Dec 11:00"},
		Records: []JobRecordRow{{ID: "r1", What: "near miss", At: "Tue 1 Dec 09:15", By: "Tom Reed", Lines: []JobRecordLine{{"what happened", "A hammer fell onto the lawn."}}, Photo: "/photos/1"}},
		Kinds: []JobRecordForm{{Kind: "near_miss", Words: "near miss", Photo: true, Open: true, Fields: []JobRecordInput{{Name: "what", Ask: "what happened", Must: true},
			{Name: "outcome", Ask: "what came of it", Choices: []Choice{{"first_aid", "first aid"}}}}}},
		Action: "/jobs/1042/records", ModuleAction: "/jobs/1042/modules", Roof: [][]RoofCell{{{2, 1, "AB-1001"}, {2, 2, ""}}, {{1, 1, "AB-1002"}, {1, 2, "AB-1003"}}},
		Module: ModuleForm{"2", "2", "AB-1002"}, Guidance: []string{"At once, by the quickest way."}}
	p.Faults = []Fault{{"near_miss_what", "What: what happened."}, {"serial", "Serial: this serial number already stands on a roof of the firm: read it again."}, {"row", "Row is “x”: a number from 1 to 20."}, {"col", "Col is “y”: a number from 1 to 40."}, {"near_miss_on", "A time that has passed."}}
	return p
}

func sampleDue() DueList {
	return DueList{Sheet: sampleSheet("Asha Verma", "office", -1), Overdue: 1,
		Open: []DueRow{{ID: "0", Code: "grid_connected", Ref: "1042", Href: "/jobs/1042", Words: "Grid operator told of a connection up to 16 A a phase", Who: "office", Says: "overdue by 1 day: the last day was Mon 30 Nov",
			Began: "Mon 2 Nov", Clock: "28 calendar days", Evidence: "the operator's reference", Source: "EREC G98 [read]", Overdue: true, Action: "/due/1042"}},
		Sent: []DueRow{{ID: "1", Ref: "1039", Href: "/jobs/1039", Words: "Installer scheme's certificate", Says: "sent Thu 26 Nov: C-88, to the scheme"}}}
}

func sampleOwnRules() OwnRules {
	p := OwnRules{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/settings/own-rules", People: []Choice{{"p1", "Tom Reed"}},
		Rules: []OwnRuleRow{{Code: "B18", Rule: "Spare slates or tiles", Limit: "10 or more on site", Version: 2, Binding: true, Holder: "Tom Reed", HolderID: "p1", Why: "rain came in twice"}, {Code: "B16", Rule: "Kit on site", Limit: "every item arrived"}}}
	p.Faults = []Fault{{"why-B16", "Why: why the firm decides so, in a few words."}, {"holder-B16", "Holder: somebody competent today."}}
	return p
}
