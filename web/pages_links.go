package web

import "fmt"

// LinksPage tells the office what opens the pages and feeds of scaffold firms
// without an account. Giving and keeping an address send until (a date) and key;
// a fault of it is named until-<ID of the firm or of the link>. Ending sends key.
type LinksPage struct {
	Sheet
	Firms    []LinkFirm
	Given    *GivenLink // told once; nil = none was made just now
	From, To Day        // first and last day to which an address may be given
}

// GivenLink is a pair of addresses that was just made.
type GivenLink struct {
	Firm, Page, Feed string
	Until            Day
}

// LinkFirm is one scaffold firm with what opens its page and feed.
type LinkFirm struct {
	ID, Name string
	Rows     []LinkRow // page and feed, the newest first
	Mails    string    // of the links in mails, in words; "" = none opens
	EndMails string    // POST; "" = none opens
	EndAll   string    // POST; "" = nothing opens
	Open     bool      // something opens
	Give     string    // POST
	Until    Day       // as shown in its input
}

// LinkRow is one address, which itself is not known any more.
type LinkRow struct {
	ID    string
	What  string // "Page"
	Opens bool
	State string // "opens until Sat 27 Nov"
	Made  string // "Fri 27 Nov by Asha Verma"
	Used  string // when it was last opened; "never"
	Until Day    // as shown in its input
	Keep  string // POST; "" = it was ended for good
	End   string // POST; "" = it was ended already
}

// Question is what the page answers.
func (LinksPage) Question() string { return "Who can open our bookings without an account?" }
func (LinksPage) template() string { return "links" }

// Says is the answer in one line.
func (p LinksPage) Says() string {
	open := 0
	for _, f := range p.Firms {
		if f.Open {
			open++
		}
	}
	switch {
	case len(p.Firms) == 0:
		return "Nobody: there is no scaffold firm yet."
	case open == 0:
		return "Nobody: no address of a scaffold firm opens anything."
	default:
		return upperFirst(count(open, "scaffold firm", "scaffold firms")) + fmt.Sprintf(" of %d can.", len(p.Firms))
	}
}
