package web

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
