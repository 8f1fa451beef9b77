package api

import (
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// Each bad request is answered with one entry for each fault: where, what was
// given, what would be right. The words are ours, not a library's.
func TestBadRequestsAreNamedFieldByField(t *testing.T) {
	b := newBench(t)
	a := b.as(schedule.Office)
	lead := b.as(schedule.CrewLead)
	type entries map[string][]string // by pointer, what its detail says
	key := func() map[string]string {
		return map[string]string{"Content-Type": "application/json", "Idempotency-Key": uuid.NewString()}
	}
	for _, c := range []struct {
		who                *agent
		method, path, body string
		want               entries
	}{
		{a, "POST", "/plans", `{"seed": -1}`, entries{"/seed": {`"-1"`, "whole number from 0 to 9007199254740991"}}},
		{a, "POST", "/plans", `{"seed": -1, "schedules": 0}`, entries{"/seed": {`"-1"`}, "/schedules": {`"0"`, "from 1 to 1000000"}}},
		{a, "POST", "/plans", `{"seed": "x", "budget": 3}`, entries{"/seed": {`"x"`, "whole number"}, "/budget": {"no field here", "schedules, seed"}}},
		{a, "POST", "/plans", `{"seed": 1.5}`, entries{"/seed": {`"1.5"`, "whole number"}}},
		{a, "POST", "/plans", `{"seed": 1.0}`, entries{"/seed": {"1.0", "without a point"}}},
		{a, "POST", "/plans", `{"seed": 1e3}`, entries{"/seed": {"1e3", "without a point or an exponent"}}},
		{a, "POST", "/plans", `{"seed": null}`, entries{"/seed": {"null", "whole number"}}},
		{a, "POST", "/plans", `{"a/b~c": 1}`, entries{"/a~1b~0c": {"no field here"}}},
		{a, "POST", "/plans", `[]`, entries{"body": {"a JSON list", "a JSON object with the fields aim, schedules, seed, why, workers"}}},
		{a, "POST", "/plans", `{"seed": 1`, entries{"body": {"ends too early", "after 10 bytes"}}},
		{a, "POST", "/plans", `{"seed": oops}`, entries{"body": {`"o"`, "from byte 10 on"}}},
		{a, "POST", "/plans", ``, entries{"body": {"must be given", "JSON object"}}},
		{a, "GET", "/plans/nonsense", "", entries{"plan_id": {`"nonsense"`, "identifier such as"}}},
		{a, "GET", "/jobs?limit=0", "", entries{"limit": {`"0"`, "whole number from 1 to 500"}}},
		{a, "GET", "/jobs?limit=many", "", entries{"limit": {`"many"`, "whole number from 1 to 500"}}},
		{a, "GET", "/jobs?limit=", "", entries{"limit": {"is empty", "whole number from 1 to 500"}}},
		{a, "GET", "/jobs?limit=99999999999999999999", "", entries{"limit": {`"99999999999999999999"`, "to 500"}}},
		{a, "GET", "/jobs?state=asleep&limit=501", "", entries{"state": {`"asleep"`, "open, done, cancelled"}, "limit": {`"501"`}}},
		{a, "GET", "/jobs?after=garbage", "", entries{"after": {`"garbage"`, "Link header"}}},
		{a, "GET", "/mornings/2026-13-01", "", entries{"date": {`"2026-13-01"`, "such as 2026-12-31"}}},
		{a, "GET", "/mornings/2026-02-31", "", entries{"date": {`"2026-02-31"`, "such as 2026-12-31"}}},
		{a, "GET", "/mornings/today", "", entries{"date": {`"today"`}}},
		{a, "POST", "/imports?dry_run=perhaps", "reference\n1\n", entries{"dry_run": {`"perhaps"`, "true or false"}}},
		{a, "POST", "/imports", "reference\n1\n", entries{"dry_run": {"must be given", "true or false"}}},
		{a, "POST", "/decisions", `{"crew_id": "x", "job_ref": "", "day": "2026-02-30"}`,
			entries{"/crew_id": {`"x"`, "identifier"}, "/job_ref": {"is empty", "1 to 100 characters"}, "/day": {`"2026-02-30"`, "2026-12-31"}}},
		{lead, "POST", "/briefings", `{"crew_id": "` + uuid.NewString() + `", "job_ref": "Q-1", "day": "2026-12-01", "assessment_id": "` + uuid.NewString() + `", "checks": {"gate": "maybe"}, "gust_ms": 100}`,
			entries{"/checks/gate": {`"maybe"`, "not_looked_at, no, yes"}, "/gust_ms": {`"100"`, "from 0 to less than 100"}}},
		{lead, "POST", "/sign-offs", `{"body_hash": "12", "device_at": "yesterday", "typed_name": {}, "pin": "four"}`, entries{
			"/crew_id": {"must be given"}, "/job_ref": {"must be given"}, "/day": {"must be given"}, "/person_id": {"must be given"}, "/assessment_id": {"must be given"},
			"/body_hash": {`"12"`, "64 digits"}, "/device_at": {`"yesterday"`, "an instant such as"}, "/typed_name": {"a JSON object", "1 to 200 characters"}, "/pin": {"1 to 8 digits"},
			"/shown": {"must be given"}, "/shown/assessment": {"must be given"}, "/shown/crew": {"must be given"}, "/shown/scaffold": {"must be given"}, "/shown/tasks": {"must be given"}, "/shown/forecast": {"must be given"}}},
		{a, "POST", "/decisions", `{"crew_id": "` + uuid.NewString() + `", "Job_ref": "Q-1", "day": {"on": 1}}`,
			entries{"/job_ref": {"must be given"}, "/Job_ref": {"no field here", "crew_id, day, job_ref"}, "/day": {"a JSON object", "2026-12-31"}}},
		{b.agent("x"), "POST", "/session", `{"email": "a@b.example", "pass": "s3cret"}`, entries{"/password": {"must be given"}, "/pass": {"no field here"}}},
		{b.agent("x"), "POST", "/session", `{"email": "a@b.example", "password": "` + strings.Repeat("s3cret", 200) + `"}`, entries{"/password": {"1 to 1024 characters"}}},
	} {
		h := key()
		if strings.HasPrefix(c.path, "/imports") {
			h["Content-Type"] = "text/csv"
		}
		got := c.who.raw(c.method, apiBase+c.path, h, []byte(c.body))
		p := got.refused(malformed)
		if p.Errors == nil || valueOf(p.Detail) == "" {
			t.Errorf("%s %s: no entries: %s", c.path, c.body, got.Body)
			continue
		}
		seen := map[string]bool{}
		for _, e := range *p.Errors {
			if c.want[e.Pointer] == nil || seen[e.Pointer] {
				t.Errorf("%s %s: an entry too many: %+v", c.path, c.body, e)
			}
			seen[e.Pointer] = true
			for _, words := range c.want[e.Pointer] {
				if !strings.Contains(e.Detail, words) {
					t.Errorf("%s %s: %s does not say %s: %s", c.path, c.body, e.Pointer, words, e.Detail)
				}
			}
		}
		for pointer := range c.want {
			if !seen[pointer] {
				t.Errorf("%s %s: %s is not named: %s", c.path, c.body, pointer, got.Body)
			}
		}
		for _, word := range []string{"jsonschema", "openapi3", "schema.json", "strconv", "unexpected EOF", "unmarshal", "Go struct", "s3cret"} {
			if strings.Contains(string(got.Body), word) {
				t.Errorf("%s %s: the answer holds %q: %s", c.path, c.body, word, got.Body)
			}
		}
	}
}

// Whatever a request may hold is described in words: a pattern that nobody put
// into words would be answered with "text".
func TestEveryPatternOfARequestIsInWords(t *testing.T) {
	t.Parallel()
	k, err := readContract()
	must(t, err)
	described := map[string]bool{"uuid": true, "date": true, "date-time": true}
	patterns := 0
	var walk func(where string, s *openapi3.Schema)
	walk = func(where string, s *openapi3.Schema) {
		if s.Pattern != "" {
			patterns++
			if !described[s.Format] && patternWords[s.Pattern] == "" {
				t.Errorf("%s asks for %s, and no words say so", where, s.Pattern)
			}
		}
		for name, p := range s.Properties {
			walk(where+"/"+name, p.Value)
		}
		if s.Items != nil {
			walk(where+"/items", s.Items.Value)
		}
	}
	for path, item := range k.doc.Paths.Map() {
		for method, o := range item.Operations() {
			for _, p := range append(item.Parameters, o.Parameters...) {
				walk(method+" "+path+" "+p.Value.Name, p.Value.Schema.Value)
			}
			if o.RequestBody != nil {
				for _, m := range o.RequestBody.Value.Content {
					walk(method+" "+path, m.Schema.Value)
				}
			}
		}
	}
	if patterns < 10 {
		t.Errorf("only %d patterns were found", patterns)
	}
}
