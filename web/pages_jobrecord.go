package web

// JobRecords is what is recorded of a job beside its mornings.
//
// Forms. Record: kind, on (hh:mm of today or empty), one field a particular,
// file (a photo), key. Module: row, col, serial, key.
type JobRecords struct {
	Sheet
	Ref, Href    string
	MayStrike    State
	StrikeSays   string
	Tests        []TestRow
	DeadOpen     []string // dead tests that come before any live one
	Isolations   []OpenPermit
	Records      []JobRecordRow
	Kinds        []JobRecordForm
	Action       string // POST; "" = may not
	ModuleAction string // POST; "" = may not
	WhyNot       string // why some records are not asked for; "" = all are
	Roof         [][]RoofCell
	Cleared      []string // what left the drawing, in sentences
	Module       ModuleForm
	Guidance     []string // about reportable incidents
}

// TestRow is what one electrical test came to.
type TestRow struct {
	Name, Circuit, Says, By, At, Source string
	State                               State
}

// OpenPermit is a permit to isolate that nobody has ended.
type OpenPermit struct {
	What, Where, Key, Holder, At string
	Taken                        string // when the holder took it over; "" = the holder isolated
}

// JobRecordRow is one record.
type JobRecordRow struct {
	ID, What, At, By string
	Lines            []JobRecordLine
	Photo            string // address; "" = none
}

// JobRecordLine is one particular with what it says.
type JobRecordLine struct{ Ask, Say string }

// JobRecordForm asks for one kind of record.
type JobRecordForm struct {
	Kind, Words string
	Fields      []JobRecordInput
	Photo       bool
	Open        bool // it was sent and refused
}

// JobRecordInput is one particular.
type JobRecordInput struct {
	Name, Ask, Value string
	Must             bool
	Choices          []Choice // nil = typed
}

// RoofCell is one place on the roof.
type RoofCell struct {
	Row, Col int
	Serial   string // "" = none
}

// ModuleForm is what was typed about a module.
type ModuleForm struct{ Row, Col, Serial string }

// Question is what the page answers.
func (JobRecords) Question() string { return "What was tested, isolated, checked and seen here?" }
func (JobRecords) template() string { return "jobrecords" }

// DueList is what the office owes after jobs.
//
// Form: duty, incident, sent_to, reference, key; Fault.Field is as the input's name.
type DueList struct {
	Sheet
	Open, Sent []DueRow
	Overdue    int
}

// DueRow is one duty of one job.
type DueRow struct {
	ID, Code, Ref, Href, Words, Who, Says, Began, Clock, Evidence, Source string
	Overdue                                                               bool
	Action                                                                string // POST: duty, incident, sent_to, reference, key; "" = may not
	Incident                                                              string // ID of the incident that started it; "" = none did
	SentTo, Reference                                                     string // as they were typed
	Open                                                                  bool   // its form is shown open
}

// Question is what the page answers.
func (DueList) Question() string { return "What must be sent, to whom, by when?" }
func (DueList) template() string { return "due" }

// OwnRules is what a firm makes of the conditions that only advise.
//
// Form: code, version, binding (yes or no), holder (ID or empty), why, key. The
// Fault.Field is holder-<code> or why-<code>.
type OwnRules struct {
	Sheet
	Rules  []OwnRuleRow
	Action string // POST; "" = may not
	People []Choice
}

// OwnRuleRow is one such condition.
type OwnRuleRow struct {
	Code, Rule, Limit string
	Version           int
	Binding           bool
	Holder, HolderID  string
	Why               string
}

// Question is what the page answers.
func (OwnRules) Question() string { return "What do we ask of ourselves beyond the law?" }
func (OwnRules) template() string { return "ownrules" }
