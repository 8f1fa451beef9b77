package web

import (
	"strings"
	"testing"
)

// Unknown never becomes clear: whatever states three conditions have, and
// whatever verdict the page is given, the page says clear only when the verdict
// is clear and every condition that holds the crew is met.
func TestPageNeverSaysClearOverAReason(t *testing.T) {
	states := []State{Unknown, NotMet, Met}
	r := renderer(t)
	for _, verdict := range []Verdict{NotClear, Clear} {
		for _, a := range states {
			for _, b := range states {
				for _, c := range states {
					for _, advice := range []bool{false, true} {
						for _, stop := range []string{"none", "open", "lifted"} {
							m := Morning{Verdict: verdict, Conditions: []Condition{{Rule: "one", State: a}, {Rule: "two", State: b}, {Rule: "three", State: c, Advice: advice}}}
							if stop != "none" {
								m.Stops = []Stop{{ID: "s", Reason: "loose board"}}
							}
							if stop == "lifted" {
								m.Stops[0].LiftedBy = "Tom Reed"
							}
							want := verdict == Clear && a == Met && b == Met && (advice || c == Met) && stop != "open"
							var page strings.Builder
							if err := r.Render(&page, m); err != nil {
								t.Fatal(err)
							}
							says := strings.Contains(page.String(), "Clear to start") || strings.Contains(page.String(), `class="verdict clear"`) || strings.Contains(page.String(), `href="#s-gate-open"`)
							if says != want {
								t.Fatalf("verdict %v, states %v %v %v, advice %v, stop %s: page says clear: %v", verdict, a, b, c, advice, stop, says)
							}
						}
					}
				}
			}
		}
	}
}

func TestVerdictWithoutConditionsIsNotClear(t *testing.T) {
	if (Morning{Verdict: Clear}).IsClear() || (MorningRow{Verdict: Clear}).IsClear() {
		t.Error("clear with nothing looked at")
	}
	for _, r := range []MorningRow{
		{Verdict: Clear, Met: 3, Unknown: []string{"wind"}}, {Verdict: Clear, Met: 3, NotMet: []string{"scaffold"}}, {Verdict: Clear, Met: 3, Stopped: true}, {Met: 3},
	} {
		if r.IsClear() {
			t.Errorf("%+v reads as clear", r)
		}
	}
	if !(MorningRow{Verdict: Clear, Met: 3}).IsClear() {
		t.Error("a clear row does not read as clear")
	}
}

func TestReasonsStandInOrder(t *testing.T) {
	text := render(t, sampleMorning()).Find("main").Text()
	last := -1
	for _, part := range []string{"Not clear", "Work is stopped.", "Not met: 2", "Scaffold inspected within 7 days", "Unknown: 1", "Wind read on site", "Met: 4", "Scaffold handed over", "What can hurt you here?", "What does the lead see?", "Who has read it and signs?", "Is something wrong?"} {
		at := strings.Index(text, part)
		if at <= last {
			t.Errorf("%q stands at %d, before what comes ahead of it (%d)", part, at, last)
		}
		last = at
	}
}

func TestEveryReasonSaysNumberLimitAndWhoResolvesIt(t *testing.T) {
	doc := render(t, sampleMorning())
	first := doc.Find(".conditions.not-met li").First().Text()
	for _, want := range []string{"not met", "8 days 19 h old", "at most 7 days", "A competent person inspects", "B02", "Work at Height Regulations 2005"} {
		if !strings.Contains(first, want) {
			t.Errorf("%q is missing in %q", want, first)
		}
	}
}

// What would hurt worst without controls comes first, then what is likeliest;
// equal ones keep the library's order.
func TestTopHazards(t *testing.T) {
	var codes []string
	for _, h := range sampleAssessment().Top(3) {
		codes = append(codes, h.Code)
	}
	// By hand from the sample: all have severity 5 without controls; H01 and H03
	// score 20, the rest 15, and of those H12 leaves most (8).
	if got := strings.Join(codes, " "); got != "H01 H03 H12" {
		t.Errorf("%s", got)
	}
	if n := len(sampleAssessment().Top(99)); n != 5 {
		t.Errorf("%d hazards of 5", n)
	}
}

func TestChecksBeginAsNotLookedAt(t *testing.T) {
	doc := render(t, Morning{ChecksAction: "/c", Checks: []Check{{Key: "ladder", Question: "Ladder tied?"}}})
	if v := doc.Find("input[name=check_ladder][checked]").AttrOr("value", ""); v != "not_looked_at" {
		t.Errorf("an unanswered check is shown as %q", v)
	}
}

func TestWhoSignedMaySignOnlyWhatIsShown(t *testing.T) {
	doc := render(t, sampleMorning())
	form := doc.Find("form[action$='/sign']")
	if form.Length() != 1 {
		t.Fatalf("%d forms for signing, want 1: two have signed", form.Length())
	}
	if form.Find("blockquote").Text() != sampleMorning().Signers[2].Statement {
		t.Error("the statement is not shown in the form that signs it")
	}
	if form.Find("input[name=hash]").AttrOr("value", "") != sampleAssessment().Hash || form.Find("input[name=person]").AttrOr("value", "") != "p3" {
		t.Error("the signature does not name the text and the person")
	}
	if form.Find("input[name=name]").AttrOr("value", "") != "" {
		t.Error("a name that is filled in is not typed by its owner")
	}
}
