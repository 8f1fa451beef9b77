package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/api"
	"toeboard/migrations/dbtest"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// house is the whole product as the demo wires it, on a database of the test's
// own, with a clock that the test moves.
type house struct {
	*demo
	url   string
	owner *pgxpool.Pool // past the policies
	at    atomic.Int64  // nanoseconds since 1970, UTC
	scen  scenario
}

// works has the house's service work its queue until the test ends.
func (h *house) works(t *testing.T) {
	t.Helper()
	stop, err := h.service.Work()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
}

func (h *house) clock() time.Time     { return time.Unix(0, h.at.Load()).UTC() }
func (h *house) setClock(t time.Time) { h.at.Store(t.UnixNano()) }

// openHouse loads the invented firm for 07:15 on Thursday 26 November 2026.
// adjust changes the firm before it is loaded; nil leaves it.
func openHouse(t *testing.T, adjust func(*scenario)) *house {
	t.Helper()
	return openHouseOn(t, civil.MustParse("2026-11-26"), adjust)
}

func openHouseOn(t *testing.T, day civil.Date, adjust func(*scenario)) *house {
	t.Helper()
	ctx := context.Background()
	holidays, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		t.Fatal(err)
	}
	db := dbtest.New(t)
	h := &house{demo: &demo{db: &database{url: db.URL, pool: db.App}, settings: &Settings{}, log: slog.New(slog.NewTextHandler(io.Discard, nil)), schedules: 300}}
	h.owner, h.day = db.Owner, day
	h.scen = newScenario(h.day, holidays, newID)
	if adjust != nil {
		adjust(&h.scen)
	}
	loc, err := h.scen.firm.Location()
	if err != nil {
		t.Fatal(err)
	}
	h.setClock(h.day.At(7, 15, loc))
	h.now = h.clock
	// The address is known only when the server listens, and the service wants
	// it first: the handler is put in afterwards.
	srv := httptest.NewUnstartedServer(nil)
	h.url = "http://" + srv.Listener.Addr().String()
	if h.rooms, err = wire(h.db, h.now, h.url, h.log); err != nil {
		t.Fatal(err)
	}
	stop, err := h.sky()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	if err := h.load(ctx, h.scen, holidays); err != nil {
		t.Fatal(err)
	}
	srv.Config.Handler = h.service.Handler()
	srv.Start()
	t.Cleanup(srv.Close)
	return h
}

// unsigned is the morning of the crew whose job is ready but for its people.
func (h *house) unsigned(t *testing.T) api.Judged {
	t.Helper()
	ready := h.scen.standing[1].ref
	mornings, err := h.service.Mornings(context.Background(), h.scen.firm.ID, h.day)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range mornings {
		if m.Job.Ref == ready && m.Snapshot.Outdoors {
			return m
		}
	}
	t.Fatalf("the plan sends nobody to %s on the first morning: the demo shows no crew that can sign itself clear", ready)
	return api.Judged{}
}

func (h *house) signIn(ctx context.Context, t *testing.T, email string) {
	t.Helper()
	do(ctx, t, "sign in", chromedp.Navigate(h.url+"/sign-in"),
		chromedp.SendKeys(`input[name=email]`, email), chromedp.SendKeys(`input[name=password]`, h.state.Password),
		submit(`input[name=password]`))
	unwanted(ctx, t, "after signing in as "+email, "who is signing in")
}

func (h *house) leadOf(t *testing.T, m api.Judged) string {
	t.Helper()
	for _, p := range m.Snapshot.People {
		if p.Lead {
			return strings.ToLower(strings.Fields(p.Name)[0]) + "@quillmere.example"
		}
	}
	t.Fatalf("crew %s has no lead that morning", m.Crew.Name)
	return ""
}

// The day as it is lived: the lead opens the morning page, answers the checks,
// everybody signs and the page says clear; then the seven days since the last
// inspection are over, and it says not clear and why.
func TestACrewSignsItselfClearAndTheInspectionLapses(t *testing.T) {
	h := openHouse(t, func(sc *scenario) {
		// Inspected at 16:10 a week before: it holds until the day's work ends
		// at 15:45 and lapses at 16:10.
		s := &sc.standing[1]
		s.erected, s.inspected = sc.day-8, sc.day-7
		for i := range sc.jobs {
			if sc.jobs[i].Ref == s.ref {
				setStage(&sc.jobs[i], schedule.ScaffoldErection, schedule.StateDone, s.erected)
			}
		}
	})
	// Seven days of composed sky may hold a gust that asks for another inspection;
	// this test is about the lapse, so the firm of this test inspects after a storm.
	_, err := h.safety.SetFirmHazards(context.Background(), h.scen.firm.ID, safety.FirmHazards{EventGustMS: 32.7}, 0, "a test of the lapse alone", "a test", now())
	if err != nil {
		t.Fatal(err)
	}
	m := h.unsigned(t)
	ctx := browser(t, 390, 844)
	h.signIn(ctx, t, h.leadOf(t, m))
	page := h.url + "/morning"
	do(ctx, t, "open the morning", chromedp.Navigate(page))
	want(ctx, t, "before anybody signed", "Not clear", "Everybody signed")

	// A wrong PIN costs neither the drawing nor an answer that was not sent yet.
	first := fmt.Sprintf(`#f-pin-%s`, m.Snapshot.People[0].ID)
	do(ctx, t, "sign with a wrong PIN", chromedp.Evaluate(`document.querySelectorAll('details').forEach(d => d.open = true);
		document.querySelector('input[name=check_stop_rule][value=no]').click();
		document.querySelector('`+first+`').form.elements.drawing.value = 'M10 90L40 20L70 90'`, nil),
		chromedp.SendKeys(first, "0001"), submit(first))
	var kept string
	do(ctx, t, "look for what was drawn and answered", chromedp.Evaluate(`(() => {
		const form = document.querySelector('`+first+`').form, pad = form.querySelector('canvas');
		const ink = pad.getContext('2d').getImageData(0, 0, pad.width, pad.height).data.some(n => n > 0);
		return [form.elements.drawing.value, ink, form.elements.pin.value, document.querySelector('input[name=check_stop_rule]:checked').value].join(';');
	})()`, &kept))
	if kept != "M10 90L40 20L70 90;true;;no" {
		t.Errorf("after a wrong PIN there are drawing, ink, PIN and answer %q", kept)
	}

	do(ctx, t, "answer every check", chromedp.Evaluate(`document.querySelectorAll('input[type=radio][value=yes]').forEach(r => r.checked = true)`, nil),
		chromedp.SetValue(`input[name=gust_ms]`, "4.2"), submit(`input[name=gust_ms]`))
	want(ctx, t, "after the checks", "Not clear")
	for _, p := range m.Snapshot.People {
		field := fmt.Sprintf(`#f-pin-%s`, p.ID)
		do(ctx, t, p.Name+" signs", chromedp.Evaluate(`document.querySelectorAll('details').forEach(d => d.open = true)`, nil),
			chromedp.SendKeys(field, h.state.pinOf(p.Name)), submit(field))
	}
	do(ctx, t, "open the morning again", chromedp.Navigate(page))
	want(ctx, t, "after everybody signed", "Clear to start")
	picture(ctx, t, "morning-clear")

	loc, err := h.scen.firm.Location()
	if err != nil {
		t.Fatal(err)
	}
	h.setClock(h.day.At(16, 11, loc))
	do(ctx, t, "look again at 16:11", chromedp.Navigate(page))
	want(ctx, t, "after the inspection lapsed", "Not clear", "Scaffold inspected within 7 days", "lapsed Thu 26 Nov 16:10")
	unwanted(ctx, t, "after the inspection lapsed", "Clear to start")
	picture(ctx, t, "morning-lapsed")
}

// submit sends the form that a field is in as its button would, and waits for
// the page that comes back.
func submit(field string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := chromedp.RunResponse(ctx, chromedp.Evaluate(fmt.Sprintf(`(() => {
			const form = document.querySelector(%q).form;
			form.requestSubmit(form.querySelector('button:not([type=button])'));
		})()`, field), nil))
		return err
	})
}

// want fails unless the page says each of words, whatever its case and spaces.
func want(ctx context.Context, t *testing.T, when string, words ...string) {
	t.Helper()
	text := pageText(ctx, t)
	for _, w := range words {
		if !strings.Contains(text, strings.ToLower(w)) {
			t.Fatalf("%s the page does not say %q; it says:\n%s", when, w, text)
		}
	}
}

func unwanted(ctx context.Context, t *testing.T, when string, words ...string) {
	t.Helper()
	text := pageText(ctx, t)
	for _, w := range words {
		if strings.Contains(text, strings.ToLower(w)) {
			t.Fatalf("%s the page says %q", when, w)
		}
	}
}

func pageText(ctx context.Context, t *testing.T) string {
	t.Helper()
	var text string
	do(ctx, t, "read the page", chromedp.Evaluate(`document.querySelector('main').textContent`, &text))
	return strings.ToLower(strings.Join(strings.Fields(text), " "))
}

// picture keeps a picture of the page where TOEBOARD_PICTURES names a folder,
// for whoever wants to look.
func picture(ctx context.Context, t *testing.T, name string) {
	t.Helper()
	dir := os.Getenv("TOEBOARD_PICTURES")
	if dir == "" {
		return
	}
	var png []byte
	do(ctx, t, "take a picture", chromedp.FullScreenshot(&png, 90))
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600); err != nil {
		t.Fatal(err)
	}
}
