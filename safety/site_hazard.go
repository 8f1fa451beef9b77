package safety

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/fault"
)

// SiteHazard is what somebody saw at one job that no rule over facts can know:
// a hazard of this site alone, or one more control for a hazard of the library.
type SiteHazard struct {
	ID       uuid.UUID
	Job      uuid.UUID
	No       int      // 1, 2, ... of the job, in the order in which they were recorded
	About    string   // id of the hazard that it adds controls to; "" = a hazard of its own
	Name     string   // "" when it is about another
	Who      []string // who may be harmed
	Stages   []string // of the chain in which it bites
	Before   Score    // zero when it is about another
	After    Score    // zero when it is about another
	Controls []Control
	Evidence string
	Why      string    // what was seen, where
	Photo    uuid.UUID // uuid.Nil = none
	PhotoSum Hash      // SHA-256 of the photo's bytes; zero = none
	By       string
	At       time.Time // UTC
}

// Code is how an assessment names it: "S1".
func (h SiteHazard) Code() string { return fmt.Sprintf("S%d", h.No) }

// What says in a few words what it is.
func (h SiteHazard) What() string {
	if h.About != "" {
		return "more controls for " + h.About
	}
	return h.Name
}

// Check refuses what could not stand in an assessment, with every fault at once.
func (h SiteHazard) Check() error {
	var all []error
	bad := func(field, value, want string) { all = append(all, fault.Bad(field, value, want)) }
	if !said(h.Why) {
		bad("seen", h.Why, "what was seen and where, in a sentence")
	}
	if len(h.Controls) == 0 {
		bad("controls", "", "at least one control: what is avoided, prevented or mitigated, and how")
	}
	for _, c := range h.Controls {
		if !slices.Contains(hierarchy, c.Step) || !said(c.Do) || len(c.Do) > 500 {
			bad("controls", c.Do, "avoid, prevent or mitigate, each in at most 500 characters")
		}
	}
	for field, text := range map[string]string{"site_name": h.Name, "seen": h.Why, "evidence": h.Evidence} {
		if len(text) > 500 {
			bad(field, text[:20]+"…", "at most 500 characters")
		}
	}
	if h.About != "" {
		return errors.Join(all...)
	}
	if !said(h.Name) {
		bad("site_name", "", "what can hurt somebody, such as \"loose chimney pot above the platform\"")
	}
	if len(h.Who) == 0 {
		bad("who", "", "who may be harmed: crew, occupier, public, ...")
	}
	if len(h.Stages) == 0 || slices.ContainsFunc(h.Stages, func(s string) bool { return !slices.Contains(chainStages, s) }) {
		bad("stages", strings.Join(h.Stages, ", "), "the stages in which it bites, of "+strings.Join(chainStages, ", "))
	}
	if !said(h.Evidence) {
		bad("evidence", "", "what shows that the controls are in place, such as a photo")
	}
	if !onMatrix(h.Before) || !onMatrix(h.After) {
		bad("before", fmt.Sprintf("%d x %d to %d x %d", h.Before.Likelihood, h.Before.Severity, h.After.Likelihood, h.After.Severity), "likelihood and severity, 1 to 5 each, without and with the controls")
	} else if h.After.Severity < h.Before.Severity || h.After.Likelihood > h.Before.Likelihood {
		bad("after", fmt.Sprintf("%d x %d", h.After.Likelihood, h.After.Severity), "a likelihood no higher than without controls, and the same severity: controls make harm rarer, not smaller")
	}
	return errors.Join(all...)
}

// siteFact is the fact by which hazards seen on site belong to what an
// assessment was made from: one more makes the version in force stale.
const siteFact = "site_hazards"

// withSite adds to facts what was seen on site; nothing when nothing was.
func (f Facts) withSite(site []SiteHazard) {
	delete(f, siteFact)
	if len(site) == 0 {
		return
	}
	said := make([]string, len(site))
	for i, h := range site {
		said[i] = h.Code() + " " + h.What() + " [" + hashOf(h.kept()).Short() + "]"
	}
	f[siteFact] = Fact{Kind: Text, S: strings.Join(said, "; ")}
}

// kept is what of a site hazard an assessment rests on.
func (h SiteHazard) kept() any {
	return struct {
		About, Name, Evidence, Why string
		Who, Stages                []string
		Before, After              Score
		Controls                   []Control
		Photo                      Hash
	}{h.About, h.Name, h.Evidence, h.Why, h.Who, h.Stages, h.Before, h.After, h.Controls, h.PhotoSum}
}

// AssessSite is Assess with what was seen on site.
func AssessSite(f Facts, lib Library, site []SiteHazard) Assessment {
	site = slices.Clone(site)
	slices.SortFunc(site, func(a, b SiteHazard) int { return a.No - b.No })
	with := Facts{}
	for k, v := range f {
		with[k] = v
	}
	with.withSite(site)
	a := Assess(with, lib)
	for _, h := range site {
		if i := slices.IndexFunc(a.Entries, func(e Entry) bool { return e.Hazard == h.About }); h.About != "" && i >= 0 {
			a.Entries[i].addSite(h)
			continue
		}
		a.Entries = append(a.Entries, h.entry(lib))
	}
	return a
}

// addSite puts a site's controls to a hazard of the library.
func (e *Entry) addSite(h SiteHazard) {
	e.Controls = withControls(e.Controls, h.Controls)
	e.Because = append(slices.Clip(e.Because), h.because())
	if said(h.Evidence) {
		e.Evidence = append(slices.Clip(e.Evidence), h.Evidence)
	}
	if h.PhotoSum.Known() {
		e.Photos = append(slices.Clip(e.Photos), Photo{ID: h.Photo, SHA256: h.PhotoSum})
	}
}

func (h SiteHazard) because() string { return "seen on site by " + h.By + ": " + h.Why }

// entry is a site hazard as an entry of its own. One about a hazard that the
// facts have ruled out since is kept as one too: somebody saw it.
func (h SiteHazard) entry(lib Library) Entry {
	e := Entry{Hazard: h.Code(), Name: h.Name, Presence: Present, Because: []string{h.because()}, Missing: []string{}, Stages: orEmpty(h.Stages), Who: orEmpty(h.Who),
		Before: h.Before, After: h.After, Controls: withControls(nil, h.Controls), Evidence: []string{}, ConfirmedBy: []string{},
		Source: "seen on site; scores by whoever recorded it"}
	if i := slices.IndexFunc(lib.Hazards, func(k Hazard) bool { return k.ID == h.About }); h.About != "" && i >= 0 {
		k := lib.Hazards[i]
		e.Name, e.Stages, e.Who, e.Before, e.After, e.ConfirmedBy = k.Name, k.Stages, k.Who, k.Before, k.After, orEmpty(k.ConfirmedBy)
		e.Because = append(e.Because, "the facts no longer put "+h.About+" here")
		e.Controls = withControls(k.Controls, h.Controls)
	}
	if said(h.Evidence) {
		e.Evidence = []string{h.Evidence}
	}
	if h.PhotoSum.Known() {
		e.Photos = []Photo{{ID: h.Photo, SHA256: h.PhotoSum}}
	}
	if e.After.Severity >= worstSeverity && len(e.ConfirmedBy) == 0 {
		e.ConfirmedBy = []string{"worst_risks"}
	}
	before, _ := lib.Matrix.Band(e.Before)
	after, _ := lib.Matrix.Band(e.After)
	e.BandBefore, e.BandAfter = before.Word, after.Word
	return e
}
