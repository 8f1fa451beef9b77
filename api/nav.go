package api

import (
	"strings"

	"toeboard/web"
)

// places are where a person may go. Pages with the same place stand under it,
// the first of them in its name: a new page needs a row here and, as a rule, no
// new place.
var places = []struct {
	place, words, href string
	needs              Action
}{
	{"Week", "Week", "/", SeeWeek},
	{"Morning", "Morning", "/morning", SeeMorning},
	{"Morning", "Calendar", "/calendar", SeeMorning},
	{"Jobs", "Jobs", "/jobs", SeeJobs},
	{"Jobs", "Due", "/due", ChangeJobs},
	{"Jobs", "Import", "/import", ChangeJobs},
	{"Plan", "Proposal", "/plan", SeePlans},
	{"Plan", "What if", "/what-if", SeePlans},
	{"Plan", "Offers", "/offers", SeePlans},
	{"Plan", "Pins", "/pins", SeePlans},
	{"Scaffold", "Bookings", "/bookings", SeeBookings},
	{"Scaffold", "Messages", "/messages", SeeBookings},
	{"Scaffold", "Terms", "/settings/scaffold-firms", SeePlans},
	{"Scaffold", "Private links", "/private-links", AnswerBooking},
	{"Settings", "Rates", "/settings/rates", SeePlans},
	{"Settings", "Limits", "/settings/limits", SeePlans},
	{"Settings", "Weather services", "/settings/services", SeePlans},
	{"Settings", "Forecasts", "/weather/record", SeePlans},
	{"Settings", "Hazards", "/settings/hazards", SeePlans},
	{"Settings", "Own rules", "/settings/own-rules", ChangePeople},
	{"Settings", "People", "/people", SeePeople},
	{"Settings", "Record", "/record", SeeRecord},
}

// nav gives the places where somebody may go, and the pages beside the one that
// is shown.
func nav(c Caller, here string) (top, beside []web.Link) {
	under := map[string][]web.Link{}
	current := ""
	for _, p := range places {
		if !may(c.Role, p.needs) {
			continue
		}
		link := web.Link{Words: p.words, Href: p.href, Here: here == p.href || p.href != "/" && strings.HasPrefix(here, p.href+"/")}
		if link.Here {
			current = p.place
		}
		if len(under[p.place]) == 0 {
			top = append(top, web.Link{Words: p.place, Href: p.href})
		}
		under[p.place] = append(under[p.place], link)
	}
	for i := range top {
		place := top[i].Words
		if place == current {
			top[i].Here, top[i].Above = len(under[current]) == 1 || under[current][0].Here, true
		}
		if len(under[place]) == 1 {
			top[i].Words = under[place][0].Words // a place of one page is called as the page is
		}
	}
	if len(under[current]) > 1 {
		beside = under[current]
	}
	return top, beside
}
