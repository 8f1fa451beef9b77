package web

import "slices"

// samplesSafety fills the pages of assessments, sums, scaffolds and the hazard
// library with invented data.
func samplesSafety() map[string]Page {
	a := sampleJob().Assessment
	assessment := AssessmentPage{Sheet: sampleSheet("Tom Reed", "office", -1), Ref: "1042", Href: "/jobs/1042", Address: "4 Mill Lane, Fernhill", Assessment: a,
		Evidence:  []HazardEvidence{{Code: "S1", Say: "photo of the strap", Photos: []PhotoLink{{Href: "/photos/p1", Sum: "0a1b2c3d4e5f"}}}},
		Method:    []MethodStage{{Stage: "roof work", Steps: []string{"Load the platform spread out.", "Two people to each module."}}},
		Emergency: []Pair{{"Ring", "999 or 112"}, {"Position", "53.17000 degrees north, 0.38000 degrees west"}, {"Nearest access", "unknown: walk it before work starts"}},
		Aside:     []Pair{{"H25 Rain gets in", "the firm put it aside: we never strip"}}, Cautions: []string{"Scores compare risks; they do not make a risk acceptable."},
		Library: "rooftop solar, version 2; the firm's own, version 1", Likelihood: []ScaleStep{{1, "very unlikely", "not heard of"}}, Severity: []ScaleStep{{5, "fatal", "death"}},
		Bands: []Pair{{"1 to 4: low", "go on"}}, Pending: []string{"Fact moss on the roof was no, is now yes."}, ChangesHref: "/jobs/1042/assessment/changes", SumsHref: "/jobs/1042/sums",
		Versions: []VersionRow{{Version: 2, By: "Tom Reed", At: at("2026-11-30", "16:00"), Hash: "0a1b2c3d4e5f", Changes: "/jobs/1042/assessment/changes?from=1&to=2"}, {Version: 1, By: "Tom Reed", At: at("2026-11-20", "16:00"), Approved: "Ann Lee", Hash: "5f4e3d2c1b0a"}},
		Open: []FactInput{{Key: "moss", Ask: "Does moss grow on the roof?", Kind: "yes_no", For: "waits for it: H03"}, {Key: "pitch_deg", Ask: "What is the pitch?", Unit: "degrees", Kind: "number"},
			{Key: "covering", Ask: "What covers the roof?", Kind: "word", Choices: []Choice{{"slate", "slate"}}}},
		Known:         []FactInput{{Key: "hospital", Ask: "Which emergency department?", Kind: "text", Value: "Fernhill General"}, {Key: "pets", Ask: "Are there dogs?", Kind: "yes_no", Value: "yes"}},
		AnswersAction: "/jobs/1042/assessment/answers", Answered: []Pair{{"Mon 30 Nov 15:00, Lee Marsh", "moss on the roof: yes"}},
		Seen:      []SeenRow{{Code: "S1", What: "Loose chimney pot", Why: "leans over the platform", By: "Lee Marsh", At: at("2026-11-30", "15:10"), Photo: PhotoLink{Href: "/photos/p1", Sum: "0a1b2c3d4e5f"}, RemoveAction: "/jobs/1042/assessment/seen/s1/remove"}},
		SeeAction: "/jobs/1042/assessment/seen", Abouts: []Choice{{"H01", "H01 Fall from the roof edge"}}, Stages: []Choice{{"roof_work", "roof work"}},
		See: SeenForm{Name: "Wasps", Stages: []string{"roof_work"}, BeforeL: "3"}, IssueAction: "/jobs/1042/assessment", ApproveAction: "/jobs/1042/assessment/approve"}
	bad := assessment
	bad.Faults = []Fault{{"site_name", "Write what can hurt somebody."}, {"controls", "Write at least one control."}, {"before", "Choose likelihood and severity."}, {"stages", "Choose the stages."},
		{"file", "The file is text: a JPEG, PNG or WebP photo."}, {"fact_pitch_deg", "The pitch is 200: a number from 0 to 90 degrees."}, {"fact_pets", "yes or no."}}
	sums := Sums{Sheet: sampleSheet("Tom Reed", "office", -1), Ref: "1042", Href: "/jobs/1042", Action: "/jobs/1042/sums", Caution: "A screening sum.",
		Rows: []SumRow{{Key: "team", Title: "A team lifts one module", Result: "26.67 kg", Limit: "the filter", Says: "Inside.", State: Met, Word: "inside", Source: "HSE L23",
			Inputs: []SumInput{{Key: "men", Name: "men who lift", Unit: "people", Value: "2"}, {Key: "lift_zone", Name: "height of the hands", Value: "elbow to shoulder", Choices: []Choice{{"elbow to shoulder", "elbow to shoulder"}}}}},
			{Key: "fall", Title: "Room below", Limit: "the free height", Says: "Not yet.", Word: "not yet", Source: "makers"}}}
	badSums := sums
	badSums.Rows = append([]SumRow(nil), sums.Rows...)
	badSums.Rows[0].Open, badSums.Rows[0].Used = true, []Pair{{"men who lift", "2 people"}}
	badSums.Faults = []Fault{{"men", "The number is nine: a number from 0 to 3 people."}}
	report := ScaffoldReport{Kind: "handover", ForWhom: "Fernhill Roof Energy", At: at("2026-11-30", "11:50"), Risks: "none found", Further: "two boards", ByName: "Lee Marsh", ByPosition: "chargehand",
		Fit: true, DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties", ReceivedBy: "Tom Reed"}
	file := ScaffoldFile{Sheet: sampleSheet("Tom Reed", "office", -1), Ref: "1042", Href: "/jobs/1042", Tag: NotMet, TagWords: "do not use", TagWhy: "Last inspection lapsed.", EventGust: "17.2 m/s",
		Duties: []DutyRow{{Rule: "Inspection within the previous 7 days", Says: "the last lapsed Mon 30 Nov 07:40", Source: "reg 12(4)", State: NotMet, Word: "late or open"}},
		Events: []ScaffoldEvent{{What: "wind", Detail: "gust of 19 m/s", By: "noticed by the service", At: at("2026-11-30", "03:00")}}, ReportHref: "/jobs/1042#write-report",
		Reports: []ReportRow{{ID: "r1", Report: report, Remedies: []Pair{{"Done Mon 30 Nov 13:00", "boards changed (Lee Marsh)"}}, Finding: "further action needed: two boards", RemedyAction: "/r1/remedies", DeliveryAction: "/r1/delivery", Today: "2026-12-01", Now: "07:15"}}}
	hazards := Hazards{Sheet: sampleSheet("Tom Reed", "office", -1), Action: "/settings/hazards", Version: 1, Library: "rooftop solar, version 2", EventGust: "17.2 m/s", UsualGust: "17.2",
		Rows: []LibraryRow{{Hazard: Hazard{Code: "H01", Hazard: "Fall from the roof edge", Who: "crew", Before: Risk{4, 5}, After: Risk{1, 5}, Band: "moderate", Source: "common practice, no source", Controls: []Control{{"avoid", "Prepare on the ground"}}},
			When: "Roof work", Rule: "roof_work", Stages: "roof work", Evidence: "handover certificate", Note: "Your firm sees it otherwise: near miss", Own: true}},
		Before: []RatesBefore{{Version: 1, By: "Tom Reed", At: "Mon 30 Nov 2026, 16:00", Says: []string{"Why: near miss."}}}, Stages: []Choice{{"roof_work", "roof work"}},
		Facts: []Pair{{"moss", "moss on the roof"}}, Typed: HazardForm{Change: "own", Stages: []string{"roof_work"}}}
	hazards.Matrix = RiskMatrix{Likelihood: []RiskStep{{"1", "very unlikely", "not heard of", "common practice, no source"}}, Severity: []RiskStep{{"5", "fatal", "death", "the firm's own"}},
		Bands: []RiskBand{{"1", "1", "16", "low", "go on", "the firm's own", false}, {"2", "17", "25", "extreme", "do not start", "the firm's own", true}}, Own: true,
		Looser: []string{"a residual score of 15 to 16 lets the work go on; at the start it stops"}}
	hazards.Form = hazards.Matrix
	hazards.Form.Bands = append(slices.Clone(hazards.Matrix.Bands), RiskBand{No: "3"})
	badHazards := hazards
	badHazards.Faults = []Fault{{"id", "F and two digits."}, {"when", "“ghosts” is not a fact."}}
	badMatrix := hazards
	badMatrix.Typed.Change = "matrix"
	badMatrix.Faults = []Fault{{"band_2_to", "The highest band ends at 25."}, {"severity_5_word", "A word that no other step has."}}
	return map[string]Page{"assessment": assessment, "assessment-refused": bad, "assessment-changes": AssessmentChanges{Sheet: sampleSheet("Tom Reed", "office", -1), Ref: "1042", Href: "/jobs/1042/assessment",
		Action: "/jobs/1042/assessment/changes", From: "1", To: "2", Froms: []Choice{{"1", "version 1"}}, Tos: []Choice{{"2", "version 2"}}, Rows: []string{"Fact moss was no, is now yes."}, Words: "from version 1 to version 2"},
		"sums": sums, "sums-refused": badSums, "scaffold-file": file, "hazards": hazards, "hazards-refused": badHazards, "hazards-matrix-refused": badMatrix}
}

func emptiesSafety() map[string]Page {
	return map[string]Page{"assessment": AssessmentPage{}, "assessment-blank": AssessmentPage{Assessment: &Assessment{}, AnswersAction: "/a", SeeAction: "/s", IssueAction: "/i", ApproveAction: "/p", Open: []FactInput{{Key: "x", Ask: "What is x?"}}},
		"assessment-changes": AssessmentChanges{}, "sums": Sums{}, "scaffold-file": ScaffoldFile{}, "hazards": Hazards{}}
}
