package web

// MessagesPage tells the office what was told to whom. Sending again sends key;
// quiet hours send quiet_from and quiet_to (times of the day) and key.
type MessagesPage struct {
	Sheet
	MailServer  bool   // a mail server is set up
	SendsTo     string // where mail goes instead of to a mail server; "" = it goes out
	Rows        []MessageRow
	AllHref     string // the page with the older ones too; "" = they are here
	QuietFrom   string // "20:00"; the same as QuietTo = no quiet hours
	QuietTo     string
	QuietAction string // POST; "" = may not
	Received    []ReceivedRow
}

// MessageRow is one message.
type MessageRow struct {
	ID        string
	To        string // name
	Address   string // "" = none is known
	Subject   string
	What      string // what it is about, in words
	State     string // in words
	Detail    string // what the mail server said
	Written   string // "Tue 1 Dec 07:15"
	By        string // who caused it
	Needs     bool   // somebody has to do something about it
	Again     string // POST: send again; "" = may not or makes no sense
	Href      string // what it is about; "" = no page
	HrefWords string
}

// ReceivedRow is one mail that came back.
type ReceivedRow struct {
	From, At, Says string
	Taken          bool
}

// Question is what the page answers.
func (MessagesPage) Question() string { return "What was told to whom?" }
func (MessagesPage) template() string { return "messages" }

// Says is the answer in one line.
func (p MessagesPage) Says() string {
	needs := 0
	for _, r := range p.Rows {
		if r.Needs {
			needs++
		}
	}
	switch {
	case len(p.Rows) == 0:
		return "Nothing was told to anybody yet: messages are written when a plan is published."
	case needs > 0:
		return upperFirst(count(needs, "message", "messages")) + " did not arrive: ring them, or put the address right and send again."
	case !p.MailServer:
		return "Messages wait: no mail server is set up. Set TOEBOARD_SMTP and TOEBOARD_MAIL_FROM, and they leave within minutes."
	default:
		return "Every message left or is about to."
	}
}

// newestShown is how many messages that need nobody are shown at first.
const newestShown = 25

// Needing lists the messages about which somebody has to do something.
func (p MessagesPage) Needing() (all []MessageRow) {
	for _, r := range p.Rows {
		if r.Needs {
			all = append(all, r)
		}
	}
	return all
}

// Newest lists the others, the newest first; all of them where AllHref is "".
func (p MessagesPage) Newest() (all []MessageRow) {
	for _, r := range p.Rows {
		if !r.Needs && (p.AllHref == "" || len(all) < newestShown) {
			all = append(all, r)
		}
	}
	return all
}

// Older counts those that are not shown.
func (p MessagesPage) Older() int { return len(p.Rows) - len(p.Needing()) - len(p.Newest()) }
