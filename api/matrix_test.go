package api

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"

	"toeboard/safety"
)

// The office sets what scores mean on the page, with the reason. What is issued
// already does not change by it, and neither does the decision that rests on it;
// the next version that is issued has it.
func TestTheFirmSetsItsMatrix(t *testing.T) {
	s := newScene(t)
	office, lead := s.by(s.office), s.by(s.lead)
	const path = "/settings/hazards"
	before, err := s.safety.CurrentAssessment(t.Context(), s.firm, s.q1.ID)
	must(t, err)
	b06 := s.condition(s.alder.ID, "B06")

	page := office.get(path).want(200).says("almost certain").says("15 to 25 extreme").says("Stops the work:").says("common practice, no source").page()
	form := formAround(page.Find("input[name=change][value=matrix]"))
	form.Set("likelihood_3_word", "now and then")
	form.Set("band_4_to", "24")
	form.Set("why", "the insurer's scheme")
	refused := office.form(path, form).want(422).page()
	if refused.Find("#f-band_4_to").AttrOr("aria-invalid", "") != "true" || refused.Find("#f-likelihood_3_word").AttrOr("value", "") != "now and then" {
		t.Errorf("what was wrong is not told where it was typed: %s", refused.Find(".faults").Text())
	}
	form.Set("key", "matrix-2")
	form.Set("band_3_to", "16")
	form.Set("band_4_to", "25")
	lead.form(path, form).want(403)
	office.form(path, form).want(303)
	office.get(path).says("now and then").says("Looser than at the start: a residual score of 15 to 16").says("Why: the insurer's scheme.").says("the firm's own")

	after, err := s.safety.CurrentAssessment(t.Context(), s.firm, s.q1.ID)
	must(t, err)
	if after.ID != before.ID || after.BodyHash != before.BodyHash || after.Body.Hash() != before.BodyHash {
		t.Error("a matrix changed a version that was issued before it")
	}
	if is := s.condition(s.alder.ID, "B06"); is.Sentence() != b06.Sentence() {
		t.Errorf("the decision was %s, is %s", b06.Sentence(), is.Sentence())
	}
	if c := s.condition(s.alder.ID, "B05"); c.State != safety.Met {
		t.Errorf("the version in force is not in force any more: %s", c.Sentence())
	}
	office.get("/jobs/Q-1/assessment").says("1 to 4: low").says("now and then") // of what is in force; and of what would change
	office.form("/jobs/Q-1/assessments", map[string][]string{"key": {"issue-2"}}).want(303)
	next, err := s.safety.CurrentAssessment(t.Context(), s.firm, s.q1.ID)
	must(t, err)
	if next.Version != before.Version+1 || next.Body.Matrix.Likelihood[2].Word != "now and then" || before.Body.Matrix.Likelihood[2].Word != "possible" {
		t.Errorf("version %d has %+v", next.Version, next.Body.Matrix.Likelihood)
	}

	// By the contract: read, set, refused, taken back.
	var in FirmHazardsInForce
	office.json("GET", "/hazards", nil, nil).want(200).into(&in)
	if in.Matrix.Likelihood[2].Word != "now and then" || len(in.Looser) != 1 || in.Hazards["matrix"] == nil {
		t.Errorf("%+v, looser %q", in.Matrix, in.Looser)
	}
	wish := map[string]any{"version": in.Version, "why": "a word", "hazards": in.Hazards}
	text, err := json.Marshal(in.Hazards)
	must(t, err)
	var spoilt map[string]any
	must(t, json.Unmarshal([]byte(strings.Replace(string(text), `"stops":true`, `"stops":false`, 1)), &spoilt))
	wish["hazards"] = spoilt
	office.json("PUT", "/hazards", nil, wish).refused(invalid)
	wish["hazards"] = in.Hazards
	office.json("PUT", "/hazards", nil, wish).want(200).into(&in)
	back := formAround(office.get(path).page().Find("input[name=change][value=matrix_start]"))
	back.Set("why", "once tried")
	office.form(path, back).want(303)
	office.json("GET", "/hazards", nil, nil).want(200).into(&in)
	if in.Matrix.Likelihood[2].Word != "possible" || len(in.Looser) != 0 {
		t.Errorf("taken back it is %+v", in.Matrix)
	}
}

// formAround gives what a browser would send of the form that an input stands in.
func formAround(in *goquery.Selection) url.Values {
	fields := url.Values{}
	in.Closest("form").Find("input").Each(func(_ int, in *goquery.Selection) {
		if _, ticked := in.Attr("checked"); in.AttrOr("type", "") != "checkbox" || ticked {
			fields.Set(in.AttrOr("name", ""), in.AttrOr("value", ""))
		}
	})
	return fields
}
