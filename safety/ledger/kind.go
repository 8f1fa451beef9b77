package ledger

import "strings"

// Kind is one kind of record that is kept in the log: a table of the database.
type Kind struct {
	Table string
	Words string   // what a person calls one such record
	Key   []string // the columns that, with the firm, identify a row
	Job   string   // SQL that gives the job of a row t; "" = it is about no one job
	Day   string   // the column with the working day; "" = none
}

// Kinds lists every kind. A new one needs its row here and, in its migration,
// the trigger that refuses a row of it without an entry.
var Kinds = []Kind{
	{Table: "risk_assessment", Words: "risk assessment", Key: []string{"assessment_id"}, Job: "t.job_id"},
	{Table: "assessment_approval", Words: "approval of a risk assessment", Key: []string{"assessment_id", "person_id"},
		Job: "(SELECT a.job_id FROM risk_assessment a WHERE (a.firm_id, a.assessment_id) = (t.firm_id, t.assessment_id))"},
	{Table: "scaffold_report", Words: "scaffold report", Key: []string{"report_id"}, Job: "t.job_id"},
	{Table: "scaffold_event", Words: "scaffold event", Key: []string{"event_id"}, Job: "t.job_id"},
	{Table: "scaffold_handover", Words: "handover certificate", Key: []string{"report_id"}, Job: reportJob},
	{Table: "scaffold_remedy", Words: "remedy of a scaffold's finding", Key: []string{"remedy_id"}, Job: reportJob},
	{Table: "scaffold_report_delivery", Words: "delivery of a scaffold report", Key: []string{"report_id"}, Job: reportJob},
	{Table: "site_hazard", Words: "hazard seen on site", Key: []string{"site_hazard_id"}, Job: "t.job_id"},
	{Table: "site_hazard_removal", Words: "end of a hazard seen on site", Key: []string{"site_hazard_id"},
		Job: "(SELECT h.job_id FROM site_hazard h WHERE (h.firm_id, h.site_hazard_id) = (t.firm_id, t.site_hazard_id))"},
	{Table: "survey_answer", Words: "answers about a site", Key: []string{"answer_id"}, Job: "t.job_id"},
	{Table: "firm_hazards", Words: "version of the firm's hazards", Key: []string{"version"}},
	{Table: "briefing", Words: "briefing", Key: []string{"briefing_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "sign_off", Words: "signature", Key: []string{"sign_off_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "stop_work", Words: "stop of the work", Key: []string{"stop_id"}, Job: "t.job_id"},
	{Table: "stop_work_lift", Words: "lift of a stop", Key: []string{"stop_id"},
		Job: "(SELECT s.job_id FROM stop_work s WHERE (s.firm_id, s.stop_id) = (t.firm_id, t.stop_id))"},
	{Table: "decision", Words: "decision", Key: []string{"decision_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "own_rule", Words: "rule of the firm's own", Key: []string{"code", "version"}},
	{Table: "rule_exception", Words: "exception from a rule of the firm's own", Key: []string{"exception_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "job_record", Words: "record of a job", Key: []string{"record_id"}, Job: "t.job_id"},
	{Table: "sky_report", Words: "report of the sky", Key: []string{"report_id"}, Job: "t.job_id"},
	{Table: "module_clearance", Words: "module taken off a roof's drawing", Key: []string{"clearance_id"}, Job: "t.job_id"},
	{Table: "head_recipient", Words: "recipient of the signed heads", Key: []string{"version"}},
	{Table: "fitness", Words: "declaration of fitness", Key: []string{"declaration_id"}, Day: "on_day"},
	{Table: "induction", Words: "induction", Key: []string{"induction_id"}},
	{Table: "check_in", Words: "arrangement for somebody who works alone", Key: []string{"check_in_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "lone_call", Words: "call of somebody who works alone", Key: []string{"call_id"}, Job: "t.job_id", Day: "on_day"},
	{Table: "competence", Words: "competence", Key: []string{"person_id", "kind", "valid_from"}},
}

// reportJob gives the job of a row that belongs to a scaffold report.
const reportJob = "(SELECT r.job_id FROM scaffold_report r WHERE (r.firm_id, r.report_id) = (t.firm_id, t.report_id))"

// KindOf finds a kind by its table.
func KindOf(table string) (Kind, bool) {
	for _, k := range Kinds {
		if k.Table == table {
			return k, true
		}
	}
	return Kind{}, false
}

// Words says what a person calls a record of a kind; of one that this program
// does not know, its table's name.
func Words(table string) string {
	if k, ok := KindOf(table); ok {
		return k.Words
	}
	return strings.ReplaceAll(table, "_", " ")
}
