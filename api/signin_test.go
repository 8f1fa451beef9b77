package api

import (
	"context"
	"fmt"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

func TestSignInAndOut(t *testing.T) {
	b := newBench(t)
	person, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.agent("imogen")
	a.json("GET", "/me", nil, nil).refused(notSignedIn)
	in := a.json("POST", "/session", nil, map[string]any{"email": "  " + strings.ToUpper(email), "password": testPassword}).want(200)
	cookie := in.Header.Get("Set-Cookie")
	for _, want := range []string{"toeboard=", "HttpOnly", "SameSite=Lax", "Path=/", "Max-Age="} {
		if !strings.Contains(cookie, want) {
			t.Errorf("the cookie %q lacks %s", cookie, want)
		}
	}
	var me Me
	a.json("GET", "/me", nil, nil).want(200).into(&me)
	if me.PersonID != person || me.FirmID != b.firm || me.Role != RoleOffice || me.TimeZone != "Europe/London" {
		t.Errorf("me is %+v", me)
	}
	kept := a.client.Jar.Cookies(mustURL(t, b.http.URL))[0].Value
	a.json("DELETE", "/session", nil, nil).want(204)
	a.json("GET", "/me", nil, nil).refused(notSignedIn)
	// The token is worth nothing afterwards, also to whoever kept it.
	thief := b.agent("thief")
	thief.raw("GET", apiBase+"/me", map[string]string{"Cookie": "toeboard=" + kept}, nil).refused(notSignedIn)
}

// Behind https the cookie never travels in the open.
func TestTheCookieIsSecureBehindHTTPS(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	b.svc.secure = true
	srv, err := newServer(b.svc)
	must(t, err)
	h, err := srv.handler()
	must(t, err)
	w := httptest.NewRecorder()
	r := httptest.NewRequest("POST", apiBase+"/session", strings.NewReader(`{"email": "`+email+`", "password": "`+testPassword+`"}`))
	r.Header.Set("Content-Type", "application/json")
	h.ServeHTTP(w, r)
	if c := w.Header().Get("Set-Cookie"); w.Code != 200 || !strings.Contains(c, "; Secure") {
		t.Errorf("%d with the cookie %q", w.Code, c)
	}
	if w.Header().Get("Strict-Transport-Security") == "" {
		t.Error("no Strict-Transport-Security")
	}
}

func mustURL(t *testing.T, s string) *url.URL {
	t.Helper()
	u, err := url.Parse(s)
	must(t, err)
	return u
}

func TestTokenIsNewAtSignInAndOnlyItsHashIsKept(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.signedIn(email)
	first := a.client.Jar.Cookies(mustURL(t, b.http.URL))[0].Value
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword}).want(200)
	second := a.client.Jar.Cookies(mustURL(t, b.http.URL))[0].Value
	if first == second {
		t.Error("the token stayed the same through a sign-in")
	}
	b.agent("old").raw("GET", apiBase+"/me", map[string]string{"Cookie": "toeboard=" + first}, nil).refused(notSignedIn)
	var rows, withToken int
	must(t, b.db.Owner.QueryRow(context.Background(), `
		SELECT count(*), count(*) FILTER (WHERE position(convert_to($1, 'UTF8') IN data) > 0 OR token_hash = convert_to($1, 'UTF8')) FROM session`, second).Scan(&rows, &withToken))
	if rows != 1 || withToken != 0 {
		t.Errorf("%d sessions are kept, %d of them with the token itself; want 1 and 0", rows, withToken)
	}
}

func TestSessionsEndByThemselves(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.signedIn(email)
	a.json("GET", "/me", nil, nil).want(200)
	var left time.Duration
	must(t, b.db.Owner.QueryRow(context.Background(), `SELECT expires_at - now() FROM session`).Scan(&left))
	if left < idleTime-time.Minute || left > idleTime {
		t.Errorf("the session ends in %s when idle, want %s", left, idleTime)
	}
	var data []byte
	must(t, b.db.Owner.QueryRow(context.Background(), `SELECT data FROM session`).Scan(&data))
	ends, _, err := scs.GobCodec{}.Decode(data)
	must(t, err)
	if whole := time.Until(ends); whole < wholeTime-time.Minute || whole > wholeTime {
		t.Errorf("however much it is used the session ends in %s, want %s", whole, wholeTime)
	}
	_, err = b.db.Owner.Exec(context.Background(), `UPDATE session SET expires_at = now() - interval '1 second'`)
	must(t, err)
	a.json("GET", "/me", nil, nil).refused(notSignedIn)
	must(t, b.svc.Sweep(context.Background(), b.firm))
	var rows int
	must(t, b.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM session`).Scan(&rows))
	if rows != 0 {
		t.Errorf("%d expired sessions are left after the sweep", rows)
	}
}

func TestWhoeverLeftOrChangedRoleCountsAtOnce(t *testing.T) {
	b := newBench(t)
	person, email := b.addPerson(b.firm, "Tom Okafor", schedule.CrewLead)
	a := b.signedIn(email)
	var me Me
	a.json("GET", "/me", nil, nil).want(200).into(&me)
	if me.Role != RoleCrewLead {
		t.Fatalf("role %s", me.Role)
	}
	_, err := b.db.Owner.Exec(context.Background(), `UPDATE person SET role = 'crew_member' WHERE person_id = $1`, person)
	must(t, err)
	a.json("GET", "/me", nil, nil).want(200).into(&me)
	if me.Role != RoleCrewMember {
		t.Errorf("the old role %s still counts", me.Role)
	}
	_, err = b.db.Owner.Exec(context.Background(), `UPDATE person SET active = false WHERE person_id = $1`, person)
	must(t, err)
	a.json("GET", "/me", nil, nil).refused(notSignedIn)
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword}).refused(notSignedIn)
}

func TestANewPasswordEndsOldSessions(t *testing.T) {
	b := newBench(t)
	person, email := b.addPerson(b.firm, "Tom Okafor", schedule.CrewLead)
	a := b.signedIn(email)
	must(t, b.svc.SetPassword(context.Background(), b.firm, person, email, "another long password"))
	a.json("GET", "/me", nil, nil).refused(notSignedIn)
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword}).refused(notSignedIn)
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": "another long password"}).want(200)
}

// Wrong e-mail and wrong password must be the same answer, or one could find
// out who works here.
func TestWrongEmailAndWrongPasswordAreTheSame(t *testing.T) {
	b := newBench(t)
	person, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	must(t, b.svc.SetPassword(context.Background(), b.firm, person, email, testPassword)) // at its real cost
	a := b.agent("stranger")
	wrong := a.json("POST", "/session", nil, map[string]any{"email": email, "password": "not this one"}).refused(notSignedIn)
	nobody := a.json("POST", "/session", nil, map[string]any{"email": "nobody@firm.example", "password": "not this one"}).refused(notSignedIn)
	if *wrong.Detail != *nobody.Detail || wrong.Title != nobody.Title {
		t.Errorf("told apart: %q and %q", *wrong.Detail, *nobody.Detail)
	}
	// And the work is the same: an unknown e-mail is hashed as a known one is.
	timeOf := func(email string) time.Duration {
		start := time.Now()
		_, _ = b.svc.gate.check(context.Background(), email, "x", uuid.Nil, uuid.NewString())
		return time.Since(start)
	}
	var known, unknown time.Duration
	for range 3 {
		known += timeOf(email)
		unknown += timeOf("nobody@firm.example")
	}
	if unknown < known/3 {
		t.Errorf("an unknown e-mail takes %s, a known one %s", unknown, known)
	}
}

// Five wrong passwords cost half a minute, and each further one twice as long
// as the one before, at the place they come from.
func TestGuessingIsSlowedDown(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.agent("guesser")
	try := func(password string) answer {
		return a.json("POST", "/session", nil, map[string]any{"email": email, "password": password})
	}
	for i := range 5 {
		try(fmt.Sprint("guess ", i)).refused(notSignedIn)
	}
	now := benchStart
	for _, wait := range []time.Duration{30 * time.Second, time.Minute, 2 * time.Minute, 4 * time.Minute, 8 * time.Minute, 15 * time.Minute, 15 * time.Minute} {
		now = now.Add(wait - time.Second)
		b.setClock(now)
		early := try(testPassword)
		p := early.refused(tooMany)
		if early.Header.Get("Retry-After") == "" || !strings.Contains(*p.Detail, "wait 1 second, then try again") || strings.Contains(*p.Detail, "office") {
			t.Errorf("after %s: Retry-After %q, %s", wait, early.Header.Get("Retry-After"), *p.Detail)
		}
		now = now.Add(time.Second)
		b.setClock(now)
		try("one more").refused(notSignedIn)
	}
	b.setClock(now.Add(15 * time.Minute))
	try(testPassword).want(200)
	try("a slip").refused(notSignedIn)
	try(testPassword).want(200) // what was before is forgotten
}

// Whoever knows an e-mail and guesses, from one place or from a hundred, does
// not keep out the person whose e-mail it is; a hundred places make it slow.
func TestGuessersDoNotKeepTheRightPersonOut(t *testing.T) {
	b := newBench(t)
	person, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	_, other := b.addPerson(b.firm, "Tom Okafor", schedule.CrewLead)
	g, ctx := b.svc.gate, context.Background()
	var paused []time.Duration
	g.pause = func(_ context.Context, d time.Duration) error {
		paused = append(paused, d)
		return nil
	}
	for range 10 {
		_, _ = g.check(ctx, email, "a guess", uuid.Nil, "192.0.2.1")
	}
	if _, err := g.check(ctx, email, testPassword, uuid.Nil, "192.0.2.1"); refusalOf(err).kind != tooMany {
		t.Errorf("the guesser's place goes on: %v", err)
	}
	if l, err := g.check(ctx, email, testPassword, uuid.Nil, "198.51.100.7"); err != nil || l.Person != person {
		t.Errorf("one guesser keeps the right person out elsewhere: %v", err)
	}
	if len(paused) > 0 {
		t.Errorf("five guesses already slow others: %v", paused)
	}
	for i := range 100 {
		_, _ = g.check(ctx, email, "a guess", uuid.Nil, fmt.Sprint("203.0.113.", i))
	}
	if len(paused) < 80 {
		t.Errorf("of 100 guesses from as many places %d were slowed", len(paused))
	}
	paused = nil
	if _, err := g.check(ctx, email, testPassword, uuid.Nil, "198.51.100.7"); err != nil || len(paused) != 1 || paused[0] > 5*time.Second {
		t.Errorf("a hundred guessers: %v, slowed by %v", err, paused)
	}
	// One place that tries many e-mails is stopped as a whole; other places are not.
	for i := range 60 {
		_, _ = g.check(ctx, fmt.Sprint(i, "@firm.example"), "a guess", uuid.Nil, "192.0.2.9")
	}
	if _, err := g.check(ctx, other, testPassword, uuid.Nil, "192.0.2.9"); refusalOf(err).kind != tooMany {
		t.Errorf("a place that tries every e-mail goes on: %v", err)
	}
	if _, err := g.check(ctx, other, testPassword, uuid.Nil, "198.51.100.7"); err != nil {
		t.Errorf("elsewhere: %v", err)
	}
}

// A pause ends with the request that it holds up.
func TestAPauseEndsWithItsRequest(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := sleep(ctx, time.Hour); err == nil {
		t.Error("slept for an hour")
	}
	if err := sleep(context.Background(), time.Millisecond); err != nil {
		t.Error(err)
	}
}

func TestDelaysGrowAndAreForgotten(t *testing.T) {
	t.Parallel()
	now := benchStart
	d := newDelays(2, time.Second, 3*time.Second, time.Minute, 4)
	step := func(after, want time.Duration) {
		t.Helper()
		now = now.Add(after)
		if got := d.count("a", now); got != want {
			t.Errorf("at %s the wait is %s, want %s", now.Sub(benchStart), got, want)
		}
	}
	step(0, 0)
	step(0, 0)
	step(0, time.Second)
	step(time.Second, 0) // the third failure: two seconds
	step(500*time.Millisecond, 1500*time.Millisecond)
	step(1500*time.Millisecond, 0) // the fourth: three, and no more
	step(0, 3*time.Second)
	step(3*time.Second, 0)
	step(0, 3*time.Second)
	d.takeBack("a")
	step(0, 0)
	step(time.Minute, 0) // forgotten: two are free again
	step(0, 0)
	step(0, time.Second)
	d.forget("a")
	step(0, 0)
	for i := range 1000 {
		d.count(fmt.Sprint("flood ", i), now.Add(time.Second))
	}
	if len(d.keys) > 4 {
		t.Errorf("%d keys are held, want at most 4", len(d.keys))
	}
}

func TestWaitsInWords(t *testing.T) {
	t.Parallel()
	for d, want := range map[time.Duration]string{time.Millisecond: "1 second", 30 * time.Second: "30 seconds", 119 * time.Second: "119 seconds",
		2 * time.Minute: "2 minutes", 121 * time.Second: "3 minutes"} {
		if got := waitInWords(d); got != want {
			t.Errorf("%s: %q, want %q", d, got, want)
		}
	}
}

func TestTriesCountAndForget(t *testing.T) {
	t.Parallel()
	now := benchStart
	g := newTries(3, time.Minute, 4)
	for i := range 3 {
		if w := g.count("a", now); w != 0 {
			t.Fatalf("try %d must wait %s", i+1, w)
		}
	}
	if w := g.count("a", now.Add(20*time.Second)); w != 40*time.Second {
		t.Errorf("the fourth try waits %s, want 40s", w)
	}
	if w := g.count("a", now.Add(time.Minute)); w != 0 {
		t.Errorf("a new window waits %s", w)
	}
	// However many keys come, no more than max are held, and the newest count.
	for i := range 1000 {
		g.count(fmt.Sprint("flood ", i), now.Add(2*time.Second))
	}
	if len(g.keys) > 4 {
		t.Errorf("%d keys are held, want at most 4", len(g.keys))
	}
	g.forget("flood 999")
	if w := g.count("flood 999", now.Add(3*time.Second)); w != 0 {
		t.Errorf("a forgotten key waits %s", w)
	}
}

func TestOneEmailInTwoFirmsMustSayWhich(t *testing.T) {
	b := newBench(t)
	other := b.addFirm("Second Solar")
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	theirs, _ := b.addPerson(other, "Imogen Thackray", schedule.Office)
	a := b.agent("imogen")
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword}).refused(conflict)
	var me Me
	a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword, "firm_id": other}).want(200).into(&me)
	if me.FirmID != other || me.PersonID != theirs {
		t.Errorf("signed in to %+v", me)
	}
}

func TestPasswordsAndEmailsAreChecked(t *testing.T) {
	b := newBench(t)
	person, _ := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	for _, bad := range []struct{ email, password string }{
		{"no address", testPassword}, {"", testPassword}, {"a@b.example", "short"}, {"a@b.example", strings.Repeat("x", 257)},
	} {
		if err := b.svc.SetPassword(context.Background(), b.firm, person, bad.email, bad.password); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q with a password of %d: %v", bad.email, len(bad.password), err)
		}
	}
}

func TestAPlantedHashCannotTakeTheMemory(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	_, err := b.db.Owner.Exec(context.Background(), `UPDATE login SET password_hash = '$argon2id$v=19$m=4194304,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$RdescudvJCsgt3ub+b+dWRWJTmaaJObG'`)
	must(t, err)
	b.agent("x").json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword}).refused(internal)
}

func TestSignInPage(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.agent("browser")
	page := a.get("/sign-in?next=/jobs").want(200)
	if !strings.Contains(string(page.Body), `value="/jobs"`) {
		t.Error("the form forgets where to go")
	}
	wrong := a.form("/sign-in", url.Values{"email": {email}, "password": {"no"}, "next": {"/jobs"}}).want(401)
	if !strings.Contains(string(wrong.Body), email) || !strings.Contains(string(wrong.Body), "not right") {
		t.Error("the page does not say what is wrong, or forgets the e-mail")
	}
	in := a.form("/sign-in", url.Values{"email": {email}, "password": {testPassword}, "next": {"/jobs"}}).want(303)
	if to := in.Header.Get("Location"); to != "/jobs" {
		t.Errorf("sent to %q", to)
	}
	if to := a.form("/sign-out", nil).want(303).Header.Get("Location"); to != "/sign-in" {
		t.Errorf("sent to %q", to)
	}
	for _, evil := range []string{"https://evil.example/", "//evil.example/", `/\evil.example`, "javascript:alert(1)", "/a\nb", "evil"} {
		got := a.form("/sign-in", url.Values{"email": {email}, "password": {testPassword}, "next": {evil}}).want(303)
		if to := got.Header.Get("Location"); to != "/" {
			t.Errorf("next=%q sends to %q", evil, to)
		}
	}
}

// A crew's day begins with the morning, the office's with the week.
func TestWhereTheDayBegins(t *testing.T) {
	b := newBench(t)
	for role, want := range map[schedule.Role]string{schedule.Office: "/", schedule.CrewLead: "/morning", schedule.CrewMember: "/morning"} {
		_, email := b.addPerson(b.firm, "Pat "+string(role), role)
		for next, to := range map[string]string{"": want, "/": want, "/jobs/Q-1": "/jobs/Q-1"} {
			got := b.agent("phone").form("/sign-in", url.Values{"email": {email}, "password": {testPassword}, "next": {next}}).want(303)
			if got.Header.Get("Location") != to {
				t.Errorf("%s with next=%q is sent to %q, want %q", role, next, got.Header.Get("Location"), to)
			}
		}
	}
}

// The log must help to find a request and must not hold what opens doors.
func TestLogHoldsNoSecrets(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.signedIn(email)
	token := a.client.Jar.Cookies(mustURL(t, b.http.URL))[0].Value
	a.raw("GET", apiBase+"/me?secret=in-the-query", nil, nil).want(200)
	log := b.log.String()
	if !strings.Contains(log, "route=/api/v1/me") || !strings.Contains(log, "status=200") {
		t.Errorf("the log does not tell the request:\n%s", log)
	}
	for _, secret := range []string{token, testPassword, "in-the-query", email} {
		if strings.Contains(log, secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
}
