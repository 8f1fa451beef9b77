package main

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// household is a database of one firm on which commands are run.
type household struct {
	t    *testing.T
	db   *dbtest.DB
	home string
}

func (h household) try(args ...string) (out, errs string, err error) {
	cmd := program(h.t, h.home, args...)
	cmd.Env = append(cmd.Env, "DATABASE_URL="+h.db.URL, "TOEBOARD_PUBLIC_URL=http://board.example")
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	err = cmd.Run()
	return stdout.String(), stderr.String(), err
}

func (h household) run(args ...string) string {
	h.t.Helper()
	out, errs, err := h.try(args...)
	if err != nil {
		h.t.Fatalf("toeboard %v: %v\n%s%s", args, err, out, errs)
	}
	return out
}

func newHousehold(t *testing.T) household {
	t.Helper()
	t.Parallel()
	h := household{t, dbtest.New(t), t.TempDir()}
	h.run("firm", "Quillmere Solar", "--person", "Imogen Thackray", "--email", "imogen@quillmere.example", "--lat", "53.17", "--lon=-0.38")
	return h
}

func fixture(t *testing.T, parts ...string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join(append([]string{"..", "..", "testdata"}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// The whole road of a firm, without the demo: the firm, its people, its jobs, a
// published plan, a scaffold firm that sees its dates and a crew lead who signs
// in. Every step is a command or a page that the README names.
func TestARealFirmCanLiveHere(t *testing.T) {
	h := newHousehold(t)
	ctx := context.Background()
	store := schedule.NewStore(h.db.App, newID)
	firms, err := store.Firms(ctx)
	if err != nil || len(firms) != 1 {
		t.Fatal(firms, err)
	}
	firm := firms[0].ID
	example := fixture(t, "team", "example.json")

	if out := h.run("team", example); !strings.Contains(out, "+ crew Alder: Rhodri Pask as its lead from 2026-01-05") || !strings.Contains(out, "Nothing was saved") || strings.Contains(out, "password") {
		t.Errorf("the dry run says\n%s", out)
	}
	if crews, err := store.Crews(ctx, firm); err != nil || len(crews) != 0 {
		t.Fatalf("a dry run saved %v, %v", crews, err)
	}
	told := h.run("team", example, "--apply")
	password := regexp.MustCompile(`signs in as rhodri@quillmere\.example with the password (\S+)`).FindStringSubmatch(told)
	page := regexp.MustCompile(`page  http://board\.example(/scaffold/\S+)\n    feed  http://board\.example(/feeds/\S+)\n`).FindStringSubmatch(told)
	if password == nil || page == nil {
		t.Fatalf("no password or no private page was told:\n%s", told)
	}
	if strings.Contains(told, "signs in as imogen") {
		t.Error("who had a sign-in got another")
	}
	if twice := h.run("team", example, "--apply"); twice != "Nothing to add or change.\n" {
		t.Errorf("the same file again says\n%s", twice)
	}
	h.holdsTheExample(firm)

	h.run("import", fixture(t, "imports", "commas-utf8-bom.csv"), "--apply")
	if out := h.run("plan", "--schedules", "200", "--publish"); !strings.Contains(out, "is published") {
		t.Fatalf("no plan was published:\n%s", out)
	}
	plan, err := store.CurrentPlan(ctx, firm)
	if err != nil {
		t.Fatal(err)
	}
	job, err := store.Job(ctx, firm, "J-1002")
	if err != nil {
		t.Fatal(err)
	}
	planned := map[schedule.StageKind]bool{}
	for _, v := range plan.Visits {
		if v.Job == job.ID {
			planned[v.Stage] = true
		}
	}
	if !planned[schedule.ScaffoldErection] || !planned[schedule.RoofWork] || !planned[schedule.ScaffoldStrike] {
		t.Errorf("of J-1002 only %v is planned; left out: %+v", planned, plan.Unplanned)
	}
	roof := schedule.Visit{}
	for _, v := range plan.Visits {
		if v.Job == job.ID && v.Stage == schedule.RoofWork {
			roof = v
		}
	}
	if out := h.run("why", "J-1002", "roof_work"); !strings.Contains(out, "roof work of J-1002: "+roof.First().Short()) || !strings.Contains(out, "Why then:\n- ") {
		t.Errorf("why says\n%s", out)
	}
	if out, errs, err := h.try("why", "J-1002", "painting"); err == nil || !strings.Contains(errs, "painting") {
		t.Errorf("a stage that is none: %v, %s%s", err, out, errs)
	}
	if out := h.run("what-if", "pin", "--job", "J-1002", "--stage", "roof_work", "--on", plan.FirstDay.String()); !strings.Contains(out, "What stands against it:\n- ") || !strings.Contains(out, "Nothing was saved") {
		t.Errorf("a roof before its scaffold says\n%s", out)
	}
	if out := h.run("what-if", "drop_job", "--job", "J-1002"); !strings.HasPrefix(out, "J-1002 is dropped: the plan costs ") {
		t.Errorf("a dropped job says\n%s", out)
	}

	r, err := wire(&database{pool: h.db.App}, now, "http://board.example", slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(r.service.Handler())
	defer srv.Close()
	if got := body(t, srv, page[1]); !strings.Contains(got, "7 Old Drove, Quillmere") {
		t.Errorf("the scaffold firm's page does not show its job:\n%.2000s", got)
	}
	if got := body(t, srv, page[2]); !strings.Contains(got, "BEGIN:VEVENT") {
		t.Errorf("the feed holds no booking:\n%s", got)
	}
	res, err := http.Post(srv.URL+"/api/v1/session", "application/json", strings.NewReader(`{"email":"rhodri@quillmere.example","password":"`+password[1]+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK {
		t.Errorf("the crew lead signs in with %d", res.StatusCode)
	}
	// The scaffold is up a few days early, its firm says so, and the next plan
	// does not plan it again.
	bookings, err := store.Bookings(ctx, firm)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range bookings {
		if b.Job == job.ID {
			h.post(srv, page[1]+"/bookings/"+b.ID.String()+"/erected", "on", civil.DateOf(now(), time.UTC).String())
		}
	}
	h.run("plan", "--schedules", "200", "--publish")
	if plan, err = store.CurrentPlan(ctx, firm); err != nil {
		t.Fatal(err)
	}
	again := 0
	for _, v := range plan.Visits {
		if v.Job == job.ID && v.Stage == schedule.ScaffoldErection {
			again++
		}
	}
	if again > 0 || len(plan.Visits) == 0 {
		t.Errorf("%d visits, %d of them to erect a scaffold that stands", len(plan.Visits), again)
	}
	// New addresses take the old ones back.
	if out := h.run("team", example, "--apply", "--new-links"); !strings.Contains(out, "page  http://board.example/scaffold/") {
		t.Errorf("no new address is told:\n%s", out)
	}
	if res, err = http.Get(srv.URL + page[1]); err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusNotFound {
		t.Errorf("the old page still opens: %d", res.StatusCode)
	}
}

// post sends a form as a browser on that page does, and wants to be sent on.
func (h household) post(srv *httptest.Server, path string, field, value string) {
	h.t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.PostForm(srv.URL+path, url.Values{field: {value}})
	if err != nil {
		h.t.Fatal(err)
	}
	defer res.Body.Close()
	if text, _ := io.ReadAll(res.Body); res.StatusCode != http.StatusSeeOther {
		h.t.Fatalf("POST %s: %d %s", path, res.StatusCode, text)
	}
}

func body(t *testing.T, srv *httptest.Server, path string) string {
	t.Helper()
	res, err := http.Get(srv.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%d, %v: %s", res.StatusCode, err, b)
	}
	return string(b)
}

// holdsTheExample reads back what the example says, from the stores.
func (h household) holdsTheExample(firm uuid.UUID) {
	h.t.Helper()
	ctx := context.Background()
	store, records := schedule.NewStore(h.db.App, newID), safety.NewStore(h.db.App, newID)
	crews, err := store.Crews(ctx, firm)
	if err != nil || len(crews) != 2 {
		h.t.Fatalf("%d crews, %v", len(crews), err)
	}
	alder, damson := crews[0], crews[1]
	if lead := alder.Members[0]; !lead.Lead || lead.Person.Name != "Rhodri Pask" || !lead.Holds("lead_roof", civil.On(2030, 1, 1)) || alder.HalfDayCost != 150_00 {
		h.t.Errorf("crew Alder is %+v", alder)
	}
	if damson.HalfDayCost != 162_50 || len(damson.Members[1].Absences) != 1 || damson.Members[1].Absences[0].Until != civil.On(2027, 2, 19) {
		h.t.Errorf("crew Damson is %+v", damson)
	}
	tickets, err := records.CompetencesOf(ctx, firm, alder.Members[0].Person.ID)
	if err != nil || len(tickets) != 3 || tickets[2].Until != civil.On(2031, 2, 1) || tickets[0].Evidence == "" {
		h.t.Errorf("the lead's competences are %+v, %v", tickets, err)
	}
	yards, err := store.ScaffoldFirms(ctx, firm)
	if err != nil || len(yards) != 1 || yards[0].VisitPrice != 780_00 || yards[0].WeeklyHire != 45_50 || yards[0].ErectNotice != 5 || yards[0].StrikeNotice != 3 ||
		yards[0].GangsPerDay != 2 || yards[0].Sets != 6 || yards[0].IncludedWeeks != 4 || yards[0].DaysOff != schedule.Friday ||
		yards[0].ReachKm != 45 || yards[0].YardLat != 53.2 || yards[0].YardLon != -0.5 || yards[0].CancelNotice != 3 || yards[0].CancelCharge != 95_00 || yards[0].GustLimit != 12.5 {
		h.t.Errorf("scaffold firms are %+v, %v", yards, err)
	}
	if schedule.WorkingDay(civil.On(2027, 1, 4), must(store.Holidays(ctx, firm))) {
		h.t.Error("the firm's own holiday is a working day")
	}
}

func must[A any](a A, err error) A {
	if err != nil {
		panic(err)
	}
	return a
}

// A change of the file is told before it is made, and only that is changed.
func TestTheTeamChanges(t *testing.T) {
	h := newHousehold(t)
	h.run("team", fixture(t, "team", "example.json"), "--apply")
	text := string(must(os.ReadFile(fixture(t, "team", "example.json"))))
	file := filepath.Join(h.home, "team.json")
	write := func(s string) string {
		if err := os.WriteFile(file, []byte(s), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	// Dele moves from Alder to Damson in March, the yard wants more notice, and
	// Beth has forgotten her password.
	moved := strings.NewReplacer(
		`{"person": "Dele Ashworth", "from": "2026-01-05"}`, `{"person": "Dele Ashworth", "from": "2026-01-05", "until": "2027-02-28"}`,
		`{"person": "Callum Reyes", "from": "2026-01-05"}`, `{"person": "Callum Reyes", "from": "2026-01-05"}, {"person": "Dele Ashworth", "from": "2027-03-01"}`,
		`"erect_notice_working_days": 5`, `"erect_notice_working_days": 7`).Replace(text)
	out := h.run("team", write(moved), "--apply", "--new-password", "Beth Nowak")
	for _, says := range []string{"~ crew Alder: Dele Ashworth until 2027-02-28", "+ crew Damson: Dele Ashworth from 2027-03-01",
		"~ scaffold firm Upright & Brace: notice to erect 5 becomes 7", "~ sign-in of Beth Nowak: a new password", "signs in as beth@quillmere.example with the password"} {
		if !strings.Contains(out, says) {
			t.Errorf("does not say %q:\n%s", says, out)
		}
	}
	if n := strings.Count("\n"+out, "\n~ ") + strings.Count("\n"+out, "\n+ "); n != 4 {
		t.Errorf("%d changes are told:\n%s", n, out)
	}
	if again := h.run("team", file); again != "Nothing to add or change.\n" {
		t.Errorf("the same again says\n%s", again)
	}
	// What does not fit is refused whole, with field, value and what is right.
	for name, c := range map[string]struct{ old, new, says string }{
		"two crews at once":   {`"until": "2027-02-28"`, `"until": "2027-02-27"`, ""}, // fits: a shorter stay
		"a row that overlaps": {`"person": "Dele Ashworth", "from": "2027-03-01"`, `"person": "Dele Ashworth", "from": "2027-02-01"`, "one crew at a time: they are in crew"},
		"a row made longer":   {`"until": "2027-02-28"`, `"until": "2027-03-31"`, "not later than 2027-02-28"},
		"two leads":           {`{"person": "Callum Reyes", "from": "2026-01-05"}`, `{"person": "Imogen Thackray", "lead": true, "from": "2026-06-01"}`, "one lead at a time: Beth Nowak leads it"},
		"nobody known":        {`"person": "Callum Reyes", "from": "2027`, `"person": "Colm Reyes", "from": "2027`, `absence, person is "Colm Reyes": a person who is in a crew`},
		"another's e-mail":    {`"email": "callum@quillmere.example",`, `"email": "dele@quillmere.example",`, "each once in the file"},
	} {
		out, errs, err := h.try("team", write(strings.Replace(moved, c.old, c.new, 1)))
		if c.says == "" {
			if err != nil {
				t.Errorf("%s: %v %s", name, err, errs)
			}
			continue
		}
		if err == nil || !strings.Contains(errs, c.says) || !strings.Contains(errs, "nothing was saved") {
			t.Errorf("%s: %v\n%s%s\nwant an error that says %q", name, err, out, errs, c.says)
		}
	}
}

// Every slip of a file is named at once, with its place, value and what would
// be right; a name that the file does not know is not passed over.
func TestTeamFilesWithSlips(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ text, says string }{
		"unknown field":  {"{\n\"people\": [{\"name\": \"A\", \"rôle\": \"office\"}]}", `"rôle"`},
		"a text":         {"{\"people\": [\n{\"name\": 7}]}", "line 2, people.name"},
		"no JSON":        {"{\n\"people\": [}", "line 2"},
		"too short":      {`{"people": [`, "ends too early"},
		"two documents":  {`{} {}`, "nothing after the one document"},
		"role":           {`{"people": [{"name": "A", "role": "boss"}]}`, `person 1 (A), role is "boss": one of office, crew_lead, crew_member`},
		"e-mail":         {`{"people": [{"name": "A", "role": "office", "email": "a@b"}]}`, `email is "a@b": one address`},
		"day":            {`{"people": [{"name": "A", "role": "office", "competences": [{"kind": "roof", "from": "1/2/2026"}]}]}`, `from is "1/2/2026": a day`},
		"kind":           {`{"people": [{"name": "A", "role": "office", "competences": [{"kind": "juggling", "from": "2026-01-01"}]}]}`, "scaffold_inspection"},
		"until":          {`{"absences": [{"person": "A", "from": "2026-01-02", "until": "2026-01-01", "reason": "leave"}]}`, "not before 2026-01-02"},
		"twice":          {`{"holidays": [{"day": "2026-01-02", "title": "x"}, {"day": "2026-01-02", "title": "y"}]}`, "each once"},
		"a term missing": {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "sets": 2, "erect_notice_working_days": 5, "erect_and_strike_pounds": 1, "included_weeks": 4, "weekly_hire_pounds": 1}]}`, "strike_notice_working_days: this must be given"},
		"no gang":        {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 0}]}`, `gangs_per_day is "0": a whole number from 1 to 50`},
		"day off":        {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "days_off": ["Fri"]}]}`, `days_off is "Fri": at most four of monday`},
		"half an area":   {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "reach_km": 30}]}`, "yard_lat, yard_lon and reach_km together"},
		"no reach":       {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "reach_km": 0, "yard_lat": 53, "yard_lon": 0}]}`, `reach_km is "0": a whole number from 1 to 1000 km`},
		"no wind":        {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "gust_limit_ms": 0}]}`, `gust_limit_ms is "0": 1 to 40 m/s`},
		"free notice":    {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "cancel_pounds": 90}]}`, "1 or more, since cancel_pounds is given"},
		"never works":    {`{"scaffold_firms": [{"name": "Y", "gangs_per_day": 1, "days_off": ["monday", "tuesday", "wednesday", "thursday", "friday"]}]}`, "at most four"},
		"money":          {`{"crews": [{"name": "C", "trade": "roof", "home_lat": 1, "home_lon": 1, "half_day_cost_pounds": 1.005}]}`, `half_day_cost_pounds is "1.005": pounds`},
		"home":           {`{"crews": [{"name": "C", "trade": "roof", "home_lat": 91, "home_lon": 1, "half_day_cost_pounds": 1}]}`, `home_lat is "91": degrees from -90 to 90`},
		"trade":          {`{"crews": [{"name": "C", "trade": "scaffold", "home_lat": 1, "home_lon": 1, "half_day_cost_pounds": 1}]}`, `trade is "scaffold": one of roof, electrical`},
	} {
		if _, err := readTeam(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want an error that says %q", name, err, c.says)
		}
	}
	_, err := readTeam(strings.NewReader(`{"people": [{"role": "boss"}], "absences": [{}]}`))
	if n := strings.Count(err.Error(), "\n") + 1; n < 6 {
		t.Errorf("only %d slips are named: %v", n, err)
	}
}
