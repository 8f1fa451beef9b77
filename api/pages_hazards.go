package api

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/fault"
	"toeboard/web"
)

// hazardsPage shows the hazard library and what the firm set beside it.
func (s *server) hazardsPage(c *gin.Context, caller Caller) error {
	return s.showHazards(c, caller, web.HazardForm{}, nil)
}

func (s *server) showHazards(c *gin.Context, caller Caller, typed web.HazardForm, wrong error) error {
	history, err := s.safety.FirmHazardsHistory(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	var own safety.FirmHazards
	if len(history) > 0 {
		own = history[0].FirmHazards
	}
	lib, err := safety.DefaultLibrary().With(own)
	if err != nil {
		return err
	}
	page := web.Hazards{Sheet: s.sheet(c.Request, caller), Version: own.Version, Library: lib.Words(), EventGust: fmt.Sprintf("%g m/s", own.EventGust()),
		UsualGust: fmt.Sprintf("%g", safety.UsualEventGust), Stages: mapped(schedule.StageKinds, stageChoice), Typed: typed, Rows: libraryRows(lib, own),
		Matrix: riskMatrix(lib.Matrix, own.Matrix != nil), Form: matrixForm(c, lib.Matrix)}
	if may(caller.Role, Assess) {
		page.Action = "/settings/hazards"
	}
	for i, v := range history {
		before := safety.FirmHazards{}
		if i+1 < len(history) {
			before = history[i+1].FirmHazards
		}
		says := append([]string{"Why: " + v.Why + "."}, mapped(v.FirmHazards.Changes(before), func(c string) string { return capital(c) + "." })...)
		page.Before = append(page.Before, web.RatesBefore{Version: v.Version, By: v.SetBy, At: momentWords(v.SetAt, caller), Says: says})
	}
	for _, d := range safety.FactList() {
		if d.Kind != safety.Text {
			page.Facts = append(page.Facts, web.Pair{Label: d.Key, Say: strings.TrimSpace(d.Name + " " + strings.Join(d.Words, ", ") + " " + d.Unit)})
		}
	}
	if wrong == nil {
		return s.show(c, http.StatusOK, page)
	}
	renamed := matrixFields()
	renamed["rule"] = "when"
	if page.Faults = pageFaults(wrong, renamed); page.Faults == nil {
		return wrong
	}
	for i, f := range page.Faults {
		if typed.Change == "matrix" && slices.Contains(slices.Collect(maps.Values(renamed)), f.Field) {
			continue
		}
		if !slices.Contains([]string{"id", "when", "event_gust_ms"}, f.Field) || f.Field != "event_gust_ms" && typed.Change != "own" {
			page.Faults[i].Field = ""
		}
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

func libraryRows(lib safety.Library, own safety.FirmHazards) []web.LibraryRow {
	row := func(h safety.Hazard) web.LibraryRow {
		band, _ := lib.Matrix.Band(h.After)
		return web.LibraryRow{Hazard: web.Hazard{Code: h.ID, Hazard: h.Name, Who: strings.Join(h.Who, ", "), Band: band.Word, Source: h.Source, Before: web.Risk(h.Before), After: web.Risk(h.After),
			Controls: mapped(h.Controls, func(k safety.Control) web.Control { return web.Control{Kind: k.Step, Say: k.Do} })},
			When: capital(h.When.Words()), Rule: h.When.String(), Stages: strings.ReplaceAll(strings.Join(h.Stages, ", "), "_", " "), Evidence: strings.Join(h.Evidence, "; ")}
	}
	var rows []web.LibraryRow
	for _, h := range lib.Hazards {
		r := row(h)
		for _, o := range own.Overrides {
			if o.Hazard == h.ID {
				r.Note, r.Own = "Your firm sees it otherwise: "+o.Why, true
			}
		}
		if slices.ContainsFunc(own.Own, func(k safety.Hazard) bool { return k.ID == h.ID }) {
			r.Note, r.Own = "Your firm's own.", true
		}
		rows = append(rows, r)
	}
	for _, h := range safety.DefaultLibrary().Hazards {
		for _, o := range own.Overrides {
			if o.Hazard == h.ID && o.Off {
				r := row(h)
				r.Note, r.Own = "Put aside, it is on no job of your firm: "+o.Why, true
				rows = append(rows, r)
			}
		}
	}
	slices.SortStableFunc(rows, func(a, b web.LibraryRow) int { return strings.Compare(a.Code, b.Code) })
	return rows
}

// hazardsForm sets one thing of the firm's hazards as the next version.
func (s *server) hazardsForm(c *gin.Context, caller Caller) error {
	p := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	typed := web.HazardForm{Change: p("change"), ID: p("id"), Name: p("name"), When: p("when"), Who: p("who"), Source: p("source"), Why: p("why"), Stages: c.PostFormArray("stages"),
		BeforeL: p("before_l"), BeforeS: p("before_s"), AfterL: p("after_l"), Avoid: c.PostForm("avoid"), Prevent: c.PostForm("prevent"), Mitigate: c.PostForm("mitigate"),
		Evidence: p("evidence"), Hazard: p("hazard"), Also: p("also"), Gust: p("event_gust_ms"), Off: p("off") == "yes"}
	own, err := s.safety.FirmHazards(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	version, err := strconv.Atoi(p("version"))
	if err != nil {
		return s.showHazards(c, caller, typed, fault.Bad("version", p("version"), "the version that the page showed"))
	}
	switch typed.Change {
	case "matrix":
		own.Matrix = matrixTyped(matrixForm(c, safety.Matrix{}))
	case "matrix_start":
		own.Matrix = nil
	default:
		err = changeHazards(&own, typed, controlsTyped(c))
	}
	if err != nil {
		return s.showHazards(c, caller, typed, err)
	}
	if _, err := s.SetFirmHazards(c.Request.Context(), caller, own, version, typed.Why); err != nil {
		return s.showHazards(c, caller, typed, err)
	}
	return s.done(c, "/settings/hazards", "hazards")
}

// changeHazards puts what was typed into the firm's hazards.
func changeHazards(f *safety.FirmHazards, t web.HazardForm, controls []safety.Control) error {
	without := func(id string) {
		f.Own = slices.DeleteFunc(slices.Clone(f.Own), func(h safety.Hazard) bool { return h.ID == id })
		f.Overrides = slices.DeleteFunc(slices.Clone(f.Overrides), func(o safety.Override) bool { return o.Hazard == id })
	}
	switch t.Change {
	case "own":
		when, err := safety.ParseRule(t.When)
		if err != nil {
			return err
		}
		h := safety.Hazard{ID: t.ID, Name: t.Name, When: when, Stages: t.Stages, Who: splitList(t.Who), Controls: controls, Source: t.Source,
			Before: safety.Score{Likelihood: digit(t.BeforeL), Severity: digit(t.BeforeS)}, After: safety.Score{Likelihood: digit(t.AfterL), Severity: digit(t.BeforeS)}}
		if t.Evidence != "" {
			h.Evidence = []string{t.Evidence}
		}
		if h.After.Severity == 5 {
			h.ConfirmedBy = []string{"worst_risks"}
		}
		without(t.ID)
		f.Own = append(f.Own, h)
		slices.SortFunc(f.Own, func(a, b safety.Hazard) int { return strings.Compare(a.ID, b.ID) })
	case "override":
		o := safety.Override{Hazard: t.Hazard, Why: t.Why, Also: t.Also, Off: t.Off, Controls: controls}
		if err := scoresTyped(&o, t); err != nil {
			return err
		}
		without(t.Hazard)
		f.Overrides = append(f.Overrides, o)
		slices.SortFunc(f.Overrides, func(a, b safety.Override) int { return strings.Compare(a.Hazard, b.Hazard) })
	case "gust":
		f.EventGustMS = 0
		if t.Gust != "" {
			n, err := strconv.ParseFloat(t.Gust, 64)
			if err != nil {
				return fault.Bad("event_gust_ms", t.Gust, "a gust from 5 to 40 m/s, or nothing for the usual one")
			}
			f.EventGustMS = n
		}
	case "remove":
		without(t.Hazard)
	default:
		return fault.Bad("change", t.Change, "own, override, gust, matrix, matrix_start or remove")
	}
	return nil
}

// scoresTyped reads the scores of an override: what is left empty stays as in
// the library, and the severity with controls is that without.
func scoresTyped(o *safety.Override, t web.HazardForm) error {
	if t.BeforeL == "" && t.BeforeS == "" && t.AfterL == "" {
		return nil
	}
	for _, h := range safety.DefaultLibrary().Hazards {
		if h.ID != t.Hazard {
			continue
		}
		before, after := h.Before, h.After
		if t.BeforeL != "" {
			before.Likelihood = digit(t.BeforeL)
		}
		if t.BeforeS != "" {
			before.Severity, after.Severity = digit(t.BeforeS), digit(t.BeforeS)
		}
		if t.AfterL != "" {
			after.Likelihood = digit(t.AfterL)
		}
		o.Before, o.After, o.LowersSeverity = &before, &after, h.LowersSeverity
		return nil
	}
	return fault.Bad("override", t.Hazard, "the code of a hazard of the library")
}
