package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"toeboard/api"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// axe gives the text of axe-core, which judges pages by the rules of WCAG 2.2
// that a program can judge.
func axe(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("TOEBOARD_NODE_MODULES")
	if dir == "" {
		dir = filepath.Join("..", "..", ".cache", "js", "node_modules")
	}
	b, err := os.ReadFile(filepath.Join(dir, "axe-core", "axe.min.js"))
	if err != nil {
		say := "NOT CHECKED, axe-core is not here (the check fetches it): " + err.Error()
		if os.Getenv("TOEBOARD_REQUIRE_TOOLS") == "1" {
			t.Fatal(say)
		}
		t.Skip(say)
	}
	return string(b)
}

// Every page as its reader gets it, at phone and desk size: axe-core finds
// nothing against WCAG 2.2 A and AA, nothing runs out of the window sideways,
// the policy refuses nothing, and the first Tab leads to the answer.
func TestPagesAreFitToRead(t *testing.T) {
	judge := axe(t)
	h := openHouse(t, nil)
	m := h.unsigned(t)
	// Nobody works the queue, so the run waits.
	run, _, err := h.service.StartRun(context.Background(), h.scen.firm.ID, api.RunAsk{By: "Imogen Thackray", Seed: 1, Schedules: 10})
	if err != nil {
		t.Fatal(err)
	}
	office := []string{"/", "/?days=14", "/plan", "/plan/runs/" + run.ID.String(), "/jobs", "/jobs/" + m.Job.Ref, "/import", "/private-links", "/bookings", "/people", "/settings/services", "/morning", "/no-such-page"}
	for _, size := range [][2]int{{390, 844}, {1440, 900}} {
		t.Run(fmt.Sprintf("%d px", size[0]), func(t *testing.T) {
			ctx := browser(t, size[0], size[1])
			do(ctx, t, "open the sign-in page", chromedp.EmulateViewport(int64(size[0]), int64(size[1])), chromedp.Navigate(h.url+"/sign-in"))
			look(ctx, t, judge, "sign-in")
			do(ctx, t, "open the scaffold firm's page", chromedp.Navigate(h.url+"/scaffold/"+h.state.Links[0].Token))
			look(ctx, t, judge, "scaffold firm's page")
			h.signIn(ctx, t, "imogen@quillmere.example")
			for _, path := range office {
				do(ctx, t, "open "+path, chromedp.Navigate(h.url+path))
				look(ctx, t, judge, path)
			}
			h.signIn(ctx, t, h.leadOf(t, m))
			do(ctx, t, "open the morning", chromedp.Navigate(h.url+"/morning"))
			look(ctx, t, judge, "morning of a crew")
		})
	}
}

// pageFaults is what a page is found to be like.
type pageFaults struct {
	Violations []string
	Overflow   int
	Heading    string
	FirstTab   string
}

func look(ctx context.Context, t *testing.T, axe, page string) {
	t.Helper()
	var found string
	do(ctx, t, "judge "+page, chromedp.Evaluate(axe, nil), chromedp.Evaluate(`axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}).then(r => JSON.stringify({
		Violations: r.violations.map(v => v.id + ' at ' + v.nodes.map(n => n.target.join(' ')).slice(0, 3).join(', ')),
		Overflow: document.documentElement.scrollWidth - innerWidth,
		Heading: document.querySelector('h1')?.textContent ?? '',
		FirstTab: document.querySelector('a[href], button, input:not([type=hidden])')?.getAttribute('href') ?? '',
	}))`, &found, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	var f pageFaults
	if err := json.Unmarshal([]byte(found), &f); err != nil {
		t.Fatal(err)
	}
	for _, v := range f.Violations {
		t.Errorf("%s: axe-core: %s", page, v)
	}
	if f.Overflow > 0 {
		t.Errorf("%s runs %d px out of the window", page, f.Overflow)
	}
	if !strings.HasSuffix(strings.TrimSpace(f.Heading), "?") {
		t.Errorf("%s asks no question at its top: %q", page, f.Heading)
	}
	if !strings.HasPrefix(f.FirstTab, "#") {
		t.Errorf("%s: the first Tab goes to %q, not past the places to the answer", page, f.FirstTab)
	}
	picture(ctx, t, strings.NewReplacer("/", "_", "'", "", " ", "-", "?", "_").Replace(t.Name()+"-"+page))
}

// The office plans again and publishes through the front door; each scaffold
// booking keeps its identity, and one that moves has a higher sequence.
func TestTheOfficePlansAgainAndPublishes(t *testing.T) {
	h := openHouse(t, nil)
	h.works(t)
	before, err := h.schedule.Bookings(context.Background(), h.scen.firm.ID)
	if err != nil {
		t.Fatal(err)
	}
	// The modules of a job with a booked scaffold come five weeks late.
	late := h.jobToErect(t, before)
	kit := late.Kit[0]
	kit.DueOn, kit.ArrivedOn = h.day+35, civil.NoDate
	if err := h.schedule.SaveKit(context.Background(), h.scen.firm.ID, late.Ref, kit); err != nil {
		t.Fatal(err)
	}
	ctx := browser(t, 1440, 900)
	h.signIn(ctx, t, "imogen@quillmere.example")
	do(ctx, t, "plan again", chromedp.Navigate(h.url+"/plan"), press("Plan again"), chromedp.WaitVisible(`form[action$="/publish"]`))
	want(ctx, t, "after planning again", "publish")
	picture(ctx, t, "plan-draft")
	do(ctx, t, "publish", press("Publish"))
	want(ctx, t, "after publishing", "Plan 2")
	after, err := h.schedule.Bookings(context.Background(), h.scen.firm.ID)
	if err != nil {
		t.Fatal(err)
	}
	byUID := map[string]schedule.Booking{}
	for _, b := range after {
		byUID[b.UID] = b
	}
	moved := 0
	for _, b := range before {
		now, there := byUID[b.UID]
		changed := there && (now.ErectOn != b.ErectOn || now.StrikeOn != b.StrikeOn || now.State != b.State)
		switch {
		case !there:
			t.Errorf("booking %s is gone: a calendar would show it for ever", b.UID)
		case changed && now.Sequence <= b.Sequence:
			t.Errorf("booking %s moved and kept sequence %d", b.UID, b.Sequence)
		case !changed && now.Sequence != b.Sequence:
			t.Errorf("booking %s did not move and went from sequence %d to %d", b.UID, b.Sequence, now.Sequence)
		case changed:
			moved++
		}
	}
	if moved == 0 {
		t.Error("no booking moved: the test shows nothing")
	}
}

// jobToErect is the job of the first scaffold that still has to go up.
func (h *house) jobToErect(t *testing.T, bookings []schedule.Booking) schedule.Job {
	t.Helper()
	for _, b := range bookings {
		for _, j := range h.scen.jobs {
			if b.Job == j.ID && b.State == schedule.BookingWanted {
				return j
			}
		}
	}
	t.Fatal("no scaffold is booked to go up")
	return schedule.Job{}
}

// press presses the button whose words begin so and waits for the next page.
func press(words string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := chromedp.RunResponse(ctx, chromedp.Evaluate(fmt.Sprintf(`(() => {
			const button = [...document.querySelectorAll('main button')].find(b => b.textContent.trim().startsWith(%q));
			if (!button) throw new Error('no button says ' + %q);
			button.click();
		})()`, words, words), nil))
		return err
	})
}
