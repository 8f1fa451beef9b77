package api

import (
	"encoding/base64"
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"
)

func TestAssessmentsInJSON(t *testing.T) {
	s := newScene(t)
	lead, office := s.by(s.lead), s.by(s.office)
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"moss": "a bit"}}).refused(invalid)
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"modules": 9}}).refused(invalid)
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{}}).refused(malformed)
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"moss": true, "pitch_deg": nil}}).want(201)
	seen := map[string]any{"name": "Loose chimney pot", "seen": "leans over the platform", "who": []string{"crew"}, "stages": []string{"roof_work"},
		"before": map[string]any{"likelihood": 3, "severity": 5}, "after_likelihood": 1, "controls": []map[string]any{{"step": "prevent", "do": "Strapped by the mason"}}, "evidence": "photo"}
	with := func(name string, v any) map[string]any {
		out := map[string]any{}
		for k, was := range seen {
			out[k] = was
		}
		out[name] = v
		return out
	}
	lead.json("POST", "/jobs/Q-1/site-hazards", nil, with("photo", base64.StdEncoding.EncodeToString([]byte("no photo")))).refused(invalid)
	lead.json("POST", "/jobs/Q-1/site-hazards", nil, with("about", "H99")).refused(invalid)
	lead.json("POST", "/jobs/Q-1/site-hazards", nil, with("controls", []any{})).refused(malformed)
	key := map[string]string{"Idempotency-Key": "seen"}
	var first, again Recorded
	lead.json("POST", "/jobs/Q-1/site-hazards", key, with("photo", base64.StdEncoding.EncodeToString(pixel))).want(201).into(&first)
	lead.json("POST", "/jobs/Q-1/site-hazards", key, with("photo", base64.StdEncoding.EncodeToString(pixel))).want(201).into(&again)
	if first.ID != again.ID {
		t.Errorf("recorded twice: %s and %s", first.ID, again.ID)
	}
	var list AssessmentVersions
	lead.json("GET", "/jobs/Q-1/assessment-versions", nil, nil).want(200).into(&list)
	if len(list.Versions) != 1 || len(list.SiteHazards) != 1 || list.SiteHazards[0].PhotoSha256 == nil || len(list.Questions) == 0 || !strings.Contains(strings.Join(list.Pending, "\n"), "Hazard S1 is new") {
		t.Errorf("%+v", list)
	}
	var issued Assessment
	lead.json("POST", "/jobs/Q-1/assessments", nil, map[string]any{}).want(201).into(&issued)
	lead.json("POST", fmt.Sprintf("/jobs/Q-1/assessments/%s/approvals", issued.ID), nil, nil).refused(forbidden)
	office.json("POST", fmt.Sprintf("/jobs/Q-1/assessments/%s/approvals", issued.ID), nil, nil).want(201)
	var whole WholeAssessment
	lead.json("GET", fmt.Sprintf("/jobs/Q-1/assessments/%s", issued.ID), nil, nil).want(200).into(&whole)
	if whole.Version != 2 || !whole.Approved || whole.Body["entries"] == nil || whole.BodyHash != issued.BodyHash {
		t.Errorf("%+v", whole)
	}
	lead.json("GET", "/jobs/Q-1/assessments/"+uuid.NewString(), nil, nil).refused(notFound)
	var changes AssessmentChanges
	lead.json("GET", "/jobs/Q-1/assessment-changes?from=1&to=2", nil, nil).want(200).into(&changes)
	if len(changes.Changes) == 0 || changes.To == nil {
		t.Errorf("%+v", changes)
	}
	lead.json("GET", "/jobs/Q-1/assessment-changes?from=7", nil, nil).refused(notFound)
	removal := fmt.Sprintf("/jobs/Q-1/site-hazards/%s/removals", first.ID)
	lead.json("POST", removal, nil, map[string]any{"why": "taken down"}).want(201)
	lead.json("POST", removal, nil, map[string]any{"why": "taken down"}).want(201) // away already
	s.by(s.mate).json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"moss": true}}).refused(forbidden)
}

func TestSumsScaffoldAndHazardsInJSON(t *testing.T) {
	s := newScene(t)
	lead, office := s.by(s.lead), s.by(s.office)
	var sums JobSums
	lead.json("GET", "/jobs/Q-1/sums?with=men%3D0&with=women%3D2", nil, nil).want(200).into(&sums)
	if len(sums.Sums) != 11 || sums.Caution == "" || sums.Sums[1].Result != "17.33 kg" || sums.Sums[1].State != "not_met" {
		t.Errorf("%+v", sums)
	}
	lead.json("GET", "/jobs/Q-1/sums?with=men%3Dnine", nil, nil).refused(invalid)
	lead.json("GET", "/jobs/Q-1/sums?with=ghosts%3D1", nil, nil).refused(invalid)
	var st ScaffoldState
	lead.json("GET", "/jobs/Q-1/scaffold", nil, nil).want(200).into(&st)
	if st.MayBeUsed != "met" || st.EventGustMs != 17.2 || len(st.Reports) != 2 || st.Until == nil || len(st.Duties) < 4 {
		t.Errorf("%+v", st)
	}
	report := st.Reports[0].ID
	lead.json("POST", "/jobs/Q-1/scaffold/remedies", nil, map[string]any{"report_id": report, "done": "boards", "by": "Gwen Strand", "at": "2026-11-30T09:00:00Z"}).want(201)
	lead.json("POST", "/jobs/Q-1/scaffold/remedies", nil, map[string]any{"report_id": report, "done": "boards", "by": "Gwen Strand", "at": "2027-11-30T09:00:00Z"}).refused(invalid)
	lead.json("POST", "/jobs/Q-1/scaffold/remedies", nil, map[string]any{"report_id": uuid.NewString(), "done": "boards", "by": "Gwen Strand", "at": "2026-11-30T09:00:00Z"}).refused(notFound)
	given := map[string]any{"report_id": report, "to": "Quillmere Solar", "at": "2026-11-28T09:00:00Z"}
	lead.json("POST", "/jobs/Q-1/scaffold/deliveries", nil, given).want(201)
	lead.json("POST", "/jobs/Q-1/scaffold/deliveries", nil, given).want(201) // the same again is one
	given["to"] = "somebody else"
	lead.json("POST", "/jobs/Q-1/scaffold/deliveries", nil, given).refused(conflict)
	var in FirmHazardsInForce
	lead.json("GET", "/hazards", nil, nil).want(200).into(&in)
	if in.Version != 0 || len(in.InForce) != 58 || in.EventGustMs != 17.2 {
		t.Errorf("version %d, %d in force, gust %g", in.Version, len(in.InForce), in.EventGustMs)
	}
	wish := map[string]any{"version": 0, "why": "windy valley", "hazards": map[string]any{"event_gust_ms": 15, "overrides": []any{map[string]any{"hazard": "H25", "why": "we never strip", "off": true}}}}
	office.json("PUT", "/hazards", nil, wish).want(200).into(&in)
	if in.Version != 1 || len(in.InForce) != 57 || in.EventGustMs != 15 {
		t.Errorf("version %d, %d in force, gust %g", in.Version, len(in.InForce), in.EventGustMs)
	}
	office.json("PUT", "/hazards", nil, wish).refused(conflict)
	wish["version"], wish["hazards"] = 1, map[string]any{"colour": 1}
	office.json("PUT", "/hazards", nil, wish).refused(invalid)
	lead.json("PUT", "/hazards", nil, wish).refused(forbidden)
}
