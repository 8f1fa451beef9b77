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
