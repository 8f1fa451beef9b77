package web

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jba/templatecheck"
)

// parsed is shared by all tests, as the service shares one between requests.
var parsed = sync.OnceValues(New)

func renderer(t *testing.T) *Renderer {
	t.Helper()
	r, err := parsed()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestTemplatesFitTheirPages(t *testing.T) {
	r, err := New() // not the shared one: the checker cannot read templates that were used
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range []Page{SignIn{}, Problem{}, RecordPage{}, RecordEntry{}, RecordPaper{}, Import{}, Week{}, Proposal{}, Run{}, Jobs{}, JobPage{}, Morning{}, Mornings{}, ScaffoldPage{}, Explained{}, WhatIf{}, Offers{}, Rates{}, ScaffoldFirms{}, Limits{}, WeatherServices{}, WeatherRecord{}, AssessmentPage{}, AssessmentChanges{}, Sums{}, ScaffoldFile{}, Hazards{}, Pins{}, MessagesPage{}, BookingsPage{}, People{}, JobRecords{}, DueList{}, OwnRules{}, Calendar{}, LinksPage{}} {
		seen[p.template()] = true
		set := r.sets[p.template()]
		if set == nil {
			t.Fatalf("no templates for %T", p)
		}
		if err := templatecheck.CheckHTML(set, p); err != nil {
			t.Errorf("%T: %v", p, err)
		}
	}
	for name := range r.sets {
		if !seen[name] {
			t.Errorf("templates/pages/%s.html belongs to no page", name)
		}
	}
}

// TestSamples writes every sample page with its style sheet and scripts, for
// looking at: WEB_SAMPLES_DIR=/tmp/samples go test ./web -run TestSamples
func TestSamples(t *testing.T) {
	dir := os.Getenv("WEB_SAMPLES_DIR")
	if dir == "" {
		dir = t.TempDir()
	}
	if err := os.CopyFS(filepath.Join(dir, "static"), Static()); err != nil && !os.IsExist(err) {
		t.Log(err)
	}
	r := renderer(t)
	for kind, pages := range map[string]map[string]Page{"": samples(), "empty-": empties()} {
		for name, page := range pages {
			var b bytes.Buffer
			if err := r.Render(&b, page); err != nil {
				t.Error(err)
				continue
			}
			body := bytes.ReplaceAll(b.Bytes(), []byte(`"/static/`), []byte(`"static/`))
			if err := os.WriteFile(filepath.Join(dir, kind+name+".html"), body, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// A long list opens what waits first and what is near, and folds the rest under
// its dates and state; a fault in a form opens its booking, and a short list
// folds nothing.
func TestTheScaffoldFirmsLongListIsFolded(t *testing.T) {
	t.Parallel()
	p := ScaffoldPage{Sheet: Sheet{AsOf: time.Date(2026, 12, 1, 7, 15, 0, 0, time.UTC)}}
	add := func(ref string, state WantedState, erect, strike Day) {
		p.Bookings = append(p.Bookings, Wanted{ID: ref, Ref: ref, State: state, Erect: erect, Strike: strike, OfferAction: "/o", StruckAction: "/d"})
	}
	add("ask1", WantedAnswer, "2027-01-04", "2027-01-11")
	add("ask2", WantedAnswer, "2027-01-05", "2027-01-12")
	add("ask3", WantedAnswer, "2027-01-06", "2027-01-13")
	add("ask4", WantedAnswer, "2027-01-07", "2027-01-14")
	add("near", WantedConfirmed, "2026-12-08", "2026-12-18")
	add("far", WantedConfirmed, "2026-12-09", "2026-12-18")
	add("stands", WantedStanding, "2026-11-02", "2026-12-20")
	add("comesdown", WantedStanding, "2026-11-02", "2026-12-08")
	add("wanted", WantedDown, "2026-11-02", "2026-12-20")
	add("struck", WantedStruck, "2026-11-02", "2026-11-30")
	folded := func() (refs string) {
		for _, b := range p.Sorted() {
			if b.Folded {
				refs += " " + b.Ref
			}
		}
		return refs
	}
	if got := folded(); got != " ask4 far stands struck" {
		t.Errorf("folded are%s", got)
	}
	d := render(t, p)
	if summary := d.Find("#b-ask4 details.later > summary").Text(); !strings.Contains(summary, "Thu 7 Jan") || !strings.Contains(summary, "Waits for your answer") || d.Find("#b-ask1 details.later").Length() != 0 ||
		d.Find("#b-ask4 details.later form[action='/o']").Length() != 1 {
		t.Errorf("the fourth that waits reads %q", summary)
	}
	p.Faults = []Fault{{Field: "on-far", Say: "Sat is no working day."}}
	if got := folded(); got != " ask4 stands struck" {
		t.Errorf("with a fault in one, folded are%s", got)
	}
	p.Bookings = p.Bookings[6:]
	if got := folded(); got != "" {
		t.Errorf("of a short list%s are folded", got)
	}
}

// Of many people the particulars of those of whom nothing is missing are folded
// under what they may do; who lacks a PIN, an induction or a valid competence,
// and whose form was sent back, is shown whole.
func TestPeopleOfWhomNothingIsMissingAreFolded(t *testing.T) {
	t.Parallel()
	set := time.Date(2026, 11, 30, 16, 5, 0, 0, time.UTC)
	well := func(id string) PersonRow {
		return PersonRow{ID: id, Name: id, PINSet: set, PINAction: "/" + id, Inducted: Met, InductedSays: "inducted", Can: []Competence{{"roof work", "until Fri 14 May", "card", Met}}}
	}
	p := People{People: []PersonRow{well("a"), well("b"), well("c"), well("d"), well("e"), well("f")}}
	p.People[1].PINSet = time.Time{}
	p.People[2].Inducted = Unknown
	p.People[3].Can = append(p.People[3].Can, Competence{"first aid", "expired", "", NotMet})
	p.Faults = []Fault{{Field: "pin-e", Say: "4 to 8 digits."}}
	d := render(t, p)
	for id, folded := range map[string]bool{"a": true, "b": false, "c": false, "d": false, "e": false, "f": true} {
		if got := d.Find("#person-"+id+" > details > summary").First().Text() == "Roof work: in date. Inducted."; got != folded {
			t.Errorf("%s is folded: %v", id, got)
		}
	}
	p.People, p.Faults = p.People[:1], nil
	if render(t, p).Find("#person-a > details > summary").First().Text() == "Roof work: in date. Inducted." {
		t.Error("the only one is folded")
	}
}

// A scaffold that has stood for long does not push the months to come off the
// page, and what waits for an answer says so by a mark and by words.
func TestTheMonthsBeginWithThisOne(t *testing.T) {
	t.Parallel()
	p := ScaffoldPage{Sheet: Sheet{AsOf: time.Date(2026, 12, 1, 7, 15, 0, 0, time.UTC)}, Bookings: []Wanted{
		{ID: "a", Ref: "Q-1", State: WantedStanding, Erect: "2026-06-02", Strike: "2026-12-04"},
		{ID: "b", Ref: "Q-2", State: WantedAnswer, Erect: "2027-01-11", Strike: "2027-01-15"},
	}}
	var names []string
	for _, m := range p.Months() {
		names = append(names, m.Name)
	}
	if want := []string{"December 2026", "January 2027"}; !slices.Equal(names, want) {
		t.Errorf("the months are %q, want %q", names, want)
	}
	d := render(t, p)
	if d.Find(".months caption").First().Text() != "December 2026" || d.Find("a[href='#months-h']").Length() != 1 || !strings.Contains(d.Find(".months a[href='#b-b']").First().Text(), "waits for your answer") ||
		strings.Contains(d.Find(".months a[href='#b-a']").Text(), "answer") {
		t.Errorf("the months read %q", d.Find(".months").Text())
	}
	p.Bookings = p.Bookings[:1]
	p.AsOf = time.Date(2027, 2, 1, 7, 15, 0, 0, time.UTC)
	if got := p.Months(); got != nil {
		t.Errorf("months that lie behind: %+v", got)
	}
	if render(t, p).Find("#months-h, a[href='#months-h']").Length() != 0 {
		t.Error("the page leads to months that it does not show")
	}
}
