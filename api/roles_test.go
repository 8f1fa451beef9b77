package api

import (
	"context"
	"net/http"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// whoMayWhat is what was agreed, a row an action: o = the office, l = a crew
// lead, m = a crew member. It is written apart from the table it checks.
const whoMayWhat = `
see-week        o l m
see-jobs        o l .
see-job         o l m
change-jobs     o . .
tell-progress   o l .
take-jobs-away  o . .
see-plans       o . .
make-plan       o . .
publish-plan    o . .
see-bookings    o l .
answer-booking  o . .
assess          o . .
report-finding  o l .
see-mornings    o . .
see-morning     o l m
hold-briefing   . l .
sign-for-crew   . l .
sign-oneself    . l m
stop-work       o l m
lift-stop       o l .
see-people      o l m
change-people   o . .
keep-records    o l m
see-record      o . .
set-limits      o . .
`

var roleLetters = map[string]schedule.Role{"o": schedule.Office, "l": schedule.CrewLead, "m": schedule.CrewMember}

// agreed reads whoMayWhat.
func agreed(t *testing.T) map[Action]map[schedule.Role]bool {
	t.Helper()
	table := map[Action]map[schedule.Role]bool{}
	for line := range strings.Lines(strings.TrimSpace(whoMayWhat)) {
		cells := strings.Fields(line)
		if len(cells) != 4 {
			t.Fatalf("row %q", line)
		}
		row := map[schedule.Role]bool{}
		for _, c := range cells[1:] {
			if role, ok := roleLetters[c]; ok {
				row[role] = true
			}
		}
		table[Action(cells[0])] = row
	}
	return table
}

func TestRightsAreAsAgreed(t *testing.T) {
	t.Parallel()
	table := agreed(t)
	if len(table) != len(rights) || len(rights) != len(actions) {
		t.Errorf("%d actions are agreed, %d have rights, %d are listed", len(table), len(rights), len(actions))
	}
	for _, a := range actions {
		row, ok := table[a]
		if !ok {
			t.Errorf("nothing was agreed about %s", a)
		}
		for _, role := range roleLetters {
			if got := may(role, a); got != row[role] {
				t.Errorf("%s may %s: %t, agreed %t", role, a, got, row[role])
			}
		}
		if may("", a) || may("owner", a) {
			t.Errorf("somebody without a known role may %s", a)
		}
		if err := (Caller{Role: ""}).need(a); err == nil {
			t.Errorf("the caller nobody knows may %s", a)
		}
	}
}

// Every operation of the document has a right, or is one of the few that need
// none.
func TestEveryOperationNeedsSomething(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromFile("openapi.yaml")
	must(t, err)
	seen := map[string]bool{}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			id := op.OperationID
			seen[id] = true
			if _, ok := rights[operationNeeds[id]]; !ok && !openOperations[id] && !ownOperations[id] {
				t.Errorf("%s %s (%s) needs nothing", method, path, id)
			}
			write := method != http.MethodGet && !openOperations[id] && !ownOperations[id] && !dryOperations[id]
			if carries := op.Parameters.GetByInAndName("header", "Idempotency-Key") != nil || item.Parameters.GetByInAndName("header", "Idempotency-Key") != nil; carries != write {
				t.Errorf("%s %s carries a key: %t", method, path, carries)
			}
			if op.Responses.Default() == nil {
				t.Errorf("%s %s does not say how it refuses", method, path)
			}
		}
	}
	for id := range operationNeeds {
		if !seen[id] {
			t.Errorf("operation %s is not in the document", id)
		}
	}
}

// attempt is one address with something to send, however little: whether it is
// forbidden is decided before what was sent is looked at.
type attempt struct {
	method, path string
	needs        Action
}

// everyRoute lists every route of the service that needs a right.
func everyRoute(t *testing.T, s *scene) []attempt {
	t.Helper()
	fill := strings.NewReplacer("{ref}", "Q-1", ":ref", "Q-1", "{assessment_id}", uuid.NewString(), "{plan_id}", uuid.NewString(), ":plan", uuid.NewString(),
		"{booking_id}", uuid.NewString(), "{date}", "2026-12-01", ":date", "2026-12-01", ":crew", s.alder.ID.String(), "{stop_id}", uuid.NewString(),
		"{site_id}", s.q1.Site.ID.String(), "{pin_id}", uuid.NewString(), "{stage}", "roof_work")
	doc, err := openapi3.NewLoader().LoadFromFile("openapi.yaml")
	must(t, err)
	var all []attempt
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if a, ok := operationNeeds[op.OperationID]; ok {
				all = append(all, attempt{method, apiBase + fill.Replace(path), a})
			}
		}
	}
	srv, err := newServer(s.svc)
	must(t, err)
	for _, p := range srv.pages() {
		all = append(all, attempt{p.method, fill.Replace(p.path), p.needs})
	}
	return all
}

// Each cell of the table through HTTP: who may not is refused with 403 at every
// address, and who may is not.
func TestRightsThroughHTTP(t *testing.T) {
	s := newScene(t)
	table := agreed(t)
	people := map[schedule.Role]*agent{schedule.Office: s.by(s.office), schedule.CrewLead: s.by(s.lead), schedule.CrewMember: s.by(s.mate)}
	routes := everyRoute(t, s)
	if len(routes) < 40 {
		t.Fatalf("only %d routes", len(routes))
	}
	nobody := s.agent("nobody")
	for _, r := range routes {
		headers := map[string]string{"Idempotency-Key": uuid.NewString(), "Content-Type": "application/json"}
		if isPage(r.path) {
			headers["Content-Type"] = "application/x-www-form-urlencoded"
		}
		got := nobody.raw(r.method, r.path, headers, nil)
		if toSignIn := got.Status == 303 && strings.HasPrefix(got.Header.Get("Location"), "/sign-in?next="); got.Status != 401 && !toSignIn {
			t.Errorf("%s %s: nobody gets %d", r.method, r.path, got.Status)
		}
		for role, a := range people {
			got := a.raw(r.method, r.path, headers, nil)
			if may := table[r.needs][role]; may == (got.Status == 403) {
				t.Errorf("%s %s needs %s: %s gets %d", r.method, r.path, r.needs, role, got.Status)
			}
			if got.Status >= 500 {
				t.Errorf("%s %s as %s fails: %d %s", r.method, r.path, role, got.Status, got.Body)
			}
		}
	}
}

// A second firm sees nothing of the first, at any address, by any identifier.
func TestASecondFirmSeesNothing(t *testing.T) {
	s := newScene(t)
	other := s.addFirm("Second Solar")
	_, email := s.addPerson(other, "Nosy Parker", schedule.Office)
	nosy := s.signedIn(email)
	booking := s.booking(s.q2)
	ids := map[string]string{"plan": s.plan.ID.String(), "booking": booking.ID.String(), "site": s.q1.Site.ID.String(), "crew": s.alder.ID.String()}
	assessment, err := s.safety.CurrentAssessment(context.Background(), s.firm, s.q1.ID)
	must(t, err)
	for _, path := range []string{"/jobs/Q-1", "/plans/" + ids["plan"], "/plans/current", "/plans/draft", "/bookings/" + ids["booking"], "/sites/" + ids["site"] + "/forecast"} {
		nosy.json("GET", path, nil, nil).refused(notFound)
	}
	for _, path := range []string{"/jobs", "/plans", "/bookings", "/mornings/2026-12-01", "/exports/jobs"} {
		got := nosy.json("GET", path, nil, nil).want(200)
		for _, secret := range []string{"Q-1", "Heron Row", "Hallam", "Alder", "Upright", s.firm.String()} {
			if strings.Contains(string(got.Body), secret) {
				t.Errorf("%s shows %q to a second firm", path, secret)
			}
		}
	}
	for _, w := range []struct {
		method, path string
		body         map[string]any
	}{
		{"POST", "/jobs/Q-1/assessments", nil},
		{"POST", "/jobs/Q-1/assessments/" + assessment.ID.String() + "/approvals", nil},
		{"POST", "/bookings/" + ids["booking"] + "/answers", map[string]any{"answer": "confirm", "sequence": booking.Sequence}},
		{"POST", "/decisions", map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01"}},
		{"POST", "/stop-works", map[string]any{"job_ref": "Q-1", "reason": "malice"}},
	} {
		nosy.json(w.method, w.path, nil, w.body).refused(notFound)
	}
	nosy.json("PUT", "/plans/current", map[string]string{"If-None-Match": "*"}, map[string]any{"plan_id": s.plan.ID}).refused(notFound)
	for _, page := range []string{"/", "/plan", "/jobs", "/morning", "/morning/" + ids["crew"] + "/2026-12-01", "/jobs/Q-1"} {
		got := nosy.get(page)
		for _, secret := range []string{"Heron Row", "Hallam", "Alder", "Upright"} {
			if strings.Contains(string(got.Body), secret) {
				t.Errorf("page %s shows %q to a second firm", page, secret)
			}
		}
	}
	// The same key of another firm's person is another key.
	key := map[string]string{"Idempotency-Key": "shared"}
	stop := map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}
	s.by(s.lead).json("POST", "/stop-works", key, stop).want(201)
	nosy.json("POST", "/stop-works", key, stop).refused(notFound)
}
