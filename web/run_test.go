package web

import (
	"strings"
	"testing"
)

func sampleRun() Run {
	best, bound := Money(184_220_00), Money(171_400_00)
	r := Run{Sheet: sampleSheet("Asha Verma", "office", 3), State: RunGoesOn, By: "Imogen Thackray", Since: at("2026-12-01", "07:12"),
		Generated: 12_400, Schedules: 20_000, Workers: 2, Best: &best, Bound: &bound, Unseen: "10 minutes", Stop: "/plans/runs/3/stop",
		Back: Link{Words: "The week as it is published", Href: "/"}}
	r.AsOf = at("2026-12-01", "07:14")
	return r
}

func sampleStoppedRun() Run {
	r := sampleRun()
	r.State, r.Stop, r.Until = RunStopped, "", at("2026-12-01", "07:22")
	r.Reason = "Nobody had looked at it for 10 minutes. The best plan until then is kept as a draft."
	r.Proposal = Link{Words: "Look at the proposal", Href: "/plan"}
	return r
}

func TestARunInWords(t *testing.T) {
	r := sampleRun()
	text := strings.Join(strings.Fields(render(t, r).Find("main").Text()), " ")
	for _, want := range []string{
		"Imogen Thackray has been making a plan since 07:12. 12,400 of 20,000 schedules are tried.",
		"Searching, 62% of the budget",
		"No plan costs less than £171,400.00, so at most £12,820.00 (7.0%) could still be saved.", // 12,820 / 184,220 by hand
		"costs £184,220.00", "12,400 of 20,000, by 2 searches side by side", "2 min 0 s",
		"When nobody has looked for 10 minutes it ends with the best plan it has.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q; it says %s", want, text)
		}
	}
	r.Best, r.Bound, r.State, r.Generated = nil, nil, RunWaits, 0
	text = strings.Join(strings.Fields(render(t, r).Find("main").Text()), " ")
	for _, want := range []string{"waits for a worker and begins by itself", "none yet", "nothing is proven", "0 of 20,000"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q; it says %s", want, text)
		}
	}
}

// The page comes again by itself while the run goes on, with script or without,
// and stays when it has ended.
func TestOnlyALiveRunComesAgain(t *testing.T) {
	for r, want := range map[RunState]int{RunWaits: 1, RunGoesOn: 1, RunDone: 0, RunFailed: 0, RunStopped: 0, "": 0} {
		page := sampleRun()
		page.State = r
		doc := render(t, page)
		if n := doc.Find(`head script[src^="/static/run.js"]`).Length(); n != want {
			t.Errorf("%q: %d scripts ask again, want %d", r, n, want)
		}
		if n := strings.Count(doc.Find("head noscript").Text(), `http-equiv="refresh"`) + doc.Find(`head noscript meta[http-equiv="refresh"]`).Length(); n != want {
			t.Errorf("%q: comes again without script %d times, want %d", r, n, want)
		}
		if n := doc.Find("#run[data-live]").Length(); n != want {
			t.Errorf("%q: marked live %d times, want %d", r, n, want)
		}
	}
}

// More schedules than were asked for, as searches side by side may give, are
// never more than all.
func TestTheBarIsNeverMoreThanFull(t *testing.T) {
	for generated, want := range map[int]int{-1: 0, 0: 0, 1: 0, 199: 0, 200: 1, 19_999: 99, 20_000: 100, 20_031: 100} {
		if got := (Run{Generated: generated, Schedules: 20_000}).Percent(); got != want {
			t.Errorf("%d of 20,000 schedules are %d%%, want %d%%", generated, got, want)
		}
	}
}
