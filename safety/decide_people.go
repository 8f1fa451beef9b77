package safety

import (
	"fmt"
	"slices"
	"strings"
)

// competenceWords names each competence in a sentence.
var competenceWords = map[string]string{
	LeadRoof: "leading roof work", Roof: "roof work", Electrical: "electrical work",
	ScaffoldInspection: "scaffold inspection", FirstAid: "first aid", RoofRescue: "roof rescue", LoneWork: "lone working",
}

// CompetenceKinds lists the competences there are; CompetenceWords names one.
func CompetenceKinds() []string { return slices.Clone(competenceKinds) }

// CompetenceWords names a competence in a sentence.
func CompetenceWords(kind string) string { return competenceWords[kind] }

// lacks says why a person does not hold any of some competences on the day; ""
// when they hold one.
func (m *morning) lacks(p Person, kinds ...string) string {
	for _, kind := range kinds {
		if p.Holds(kind, m.Day) {
			return ""
		}
	}
	said := fmt.Sprintf("%s has no %s", p.Name, competenceWords[kinds[0]])
	for _, c := range p.Competences {
		if !slices.Contains(kinds, c.Kind) {
			continue
		}
		if c.Until.Known() && c.Until < m.Day {
			said = fmt.Sprintf("%s: %s expired %s", p.Name, competenceWords[c.Kind], c.Until.Short())
		} else if c.From > m.Day {
			said = fmt.Sprintf("%s: %s starts %s", p.Name, competenceWords[c.Kind], c.From.Short())
		}
	}
	return said
}

// who lists the people who hold a competence on the day.
func (m *morning) who(kind string) []string {
	var all []string
	for _, p := range m.People {
		if p.Holds(kind, m.Day) {
			all = append(all, p.Name)
		}
	}
	return all
}

// competent is B07: a lead is present; on the roof the lead may lead and
// everybody may work there; electrical stages have an electrician. A trainee on
// the roof needs a rule of their own and is not competent until there is one.
func competent(m *morning) finding {
	if len(m.People) == 0 {
		return unknown("who is on the crew is not known")
	}
	var faults, about []string
	fail := func(p Person, why string) {
		if why != "" {
			faults, about = append(faults, why), append(about, p.Name)
		}
	}
	leads := 0
	for _, p := range m.People {
		if p.Lead {
			leads++
			if m.roof {
				fail(p, m.lacks(p, LeadRoof))
			}
		} else if m.roof {
			fail(p, m.lacks(p, Roof, LeadRoof))
		}
	}
	if leads != 1 {
		faults = append(faults, fmt.Sprintf("%d leads present, one is needed", leads))
	}
	if m.does(indoorStages...) && len(m.who(Electrical)) == 0 {
		faults = append(faults, "nobody present is competent for electrical work")
		for _, p := range m.People {
			if why := m.lacks(p, Electrical); strings.Contains(why, "expired") {
				fail(p, why)
			}
		}
	}
	if len(faults) > 0 {
		return notMet("%s", strings.Join(faults, "; ")).about(slices.Compact(about)...)
	}
	return met("%d of %d competent on %s", len(m.People), len(m.People), m.Day.Short())
}

// secondPerson is B09. What nobody does alone is not done alone
// (lone_working.csv); somebody can give first aid; outdoors somebody can bring a
// casualty down.
func secondPerson(m *morning) finding {
	if len(m.People) == 0 {
		return unknown("who is on the crew is not known")
	}
	var lacks []string
	needed, why := m.secondNeeded()
	switch {
	case len(m.People) > 1:
	case needed == True:
		lacks = append(lacks, "one person alone: "+why+" needs a second")
	case needed == Unsure:
		return unknown("one person alone, and %s", why)
	}
	kinds := []string{FirstAid}
	if m.outdoors {
		kinds = append(kinds, RoofRescue)
	}
	var has []string
	for _, kind := range kinds {
		if who := m.who(kind); len(who) > 0 {
			has = append(has, competenceWords[kind]+": "+strings.Join(who, ", "))
		} else {
			lacks = append(lacks, "nobody present holds "+competenceWords[kind])
		}
	}
	if len(lacks) > 0 {
		return notMet("%s", strings.Join(lacks, "; "))
	}
	return met("%d on site; %s", len(m.People), strings.Join(has, "; "))
}
