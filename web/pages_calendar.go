package web

// Calendar gives crews the secret addresses of their calendars. Each form is a
// POST of the crew's Href.
type Calendar struct {
	Sheet
	Crews   []Link
	Address string // a new one, told once; "" = none was asked for
}

// Question is what the page answers.
func (Calendar) Question() string { return "When does my crew work?" }
func (Calendar) template() string { return "calendar" }
