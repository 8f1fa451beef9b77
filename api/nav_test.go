package api

import (
	"strings"
	"testing"

	"toeboard/schedule"
)

// Whoever looks at a page sees under which place it stands, and only places
// that they may open; each page is named once.
func TestNavShowsWhereAPageStands(t *testing.T) {
	t.Parallel()
	for _, role := range []schedule.Role{schedule.Office, schedule.CrewLead, schedule.CrewMember} {
		for _, p := range places {
			if !may(role, p.needs) {
				continue
			}
			top, beside := nav(Caller{Role: role}, p.href)
			above, here := 0, 0
			for _, l := range top {
				if l.Above {
					if above++; l.Words != p.place && (l.Words != p.words || len(beside) > 0) {
						t.Errorf("%s at %s: %q is marked, it stands under %q", role, p.href, l.Words, p.place)
					}
				}
				if l.Here && len(beside) == 0 {
					here++
				}
			}
			for _, l := range beside {
				if l.Here {
					here++
				}
			}
			if above != 1 || here != 1 {
				t.Errorf("%s at %s: %d places are marked and the page is named %d times, want one each", role, p.href, above, here)
			}
		}
		top, _ := nav(Caller{Role: role}, "/why/J-1/roof_work")
		for _, l := range top {
			if role != schedule.Office && (l.Words == "Settings" || l.Href == "/people" && l.Words != "People") {
				t.Errorf("%s: the page of people is called %q", role, l.Words)
			}
			if l.Above || l.Here {
				t.Errorf("%s: a page that stands nowhere is marked under %s", role, l.Words)
			}
			if l.Href == "/plan" && role != schedule.Office {
				t.Errorf("%s is led to the plan", role)
			}
		}
	}
	seen := map[string]bool{}
	for _, p := range places {
		if seen[p.href] || !strings.HasPrefix(p.href, "/") {
			t.Errorf("%s stands there twice", p.href)
		}
		seen[p.href] = true
	}
}
