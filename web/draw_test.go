package web

import (
	"bytes"
	"fmt"
	"html/template"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
)

func TestBoardRowsFillTheirColumns(t *testing.T) {
	for name, w := range map[string]Week{"week": sampleWeek(), "fortnight": sampleFortnight(), "empty": {}} {
		for _, one := range w.Weeks() {
			cols := 0
			for _, d := range one.Days {
				cols += d.Span()
			}
			for _, l := range one.CrewLines() {
				if n := spans(l.Cells); n != cols {
					t.Errorf("%s: %s takes %d of %d columns", name, l.Crew, n, cols)
				}
			}
			for _, g := range one.ScaffoldLines() {
				for _, l := range g.Lines {
					if n := spans(l.Cells); n != cols {
						t.Errorf("%s: scaffold %s takes %d of %d columns", name, l.Ref, n, cols)
					}
				}
			}
		}
	}
}

func spans(cells []cell) int {
	n := 0
	for _, c := range cells {
		n += c.Span
	}
	return n
}

// line writes a row as letters, one a column: the first letter of the stage, "-"
// for rest, "." for a day off, "U", "=" and "D" for a scaffold.
func line(cells []cell) string {
	var b strings.Builder
	for _, c := range cells {
		letter := "-"
		switch {
		case c.Erect:
			letter = "U"
		case c.Strike:
			letter = "D"
		case c.Stands:
			letter = "="
		case c.Off != "":
			letter = "."
		case c.Visit != nil:
			letter = c.Visit.Stage[:1]
		}
		b.WriteString(strings.Repeat(letter, c.Span))
	}
	return b.String()
}

func TestBoardDrawsWhatThePlanSays(t *testing.T) {
	w := sampleWeek() // Mon 30 Nov to Sun 6 Dec: ten halves and two days off
	crews := w.CrewLines()
	for i, want := range []string{"rrr---rrrr..", "--rrrrr---..", "-ffsssc" + "sss.."} {
		if got := line(crews[i].Cells); got != want {
			t.Errorf("%s: %s, want %s", crews[i].Crew, got, want)
		}
	}
	scaffolds := w.ScaffoldLines()
	for i, want := range []string{"======D---..", "U===========", "------U====="} {
		got := line(scaffolds[0].Lines[i].Cells)
		// A scaffold that is away shows the weekend as off or as nothing.
		if strings.ReplaceAll(got, "-", ".") != strings.ReplaceAll(want, "-", ".") {
			t.Errorf("%s: %s, want %s", scaffolds[0].Lines[i].Ref, got, want)
		}
	}
	// 1047 stands with no strike planned; 1044 comes down on Friday afternoon.
	if got := line(scaffolds[1].Lines[1].Cells); got != "--UU========" {
		t.Errorf("1047: %s", got)
	}
	if got := line(scaffolds[1].Lines[0].Cells); got[:10] != "=========D" {
		t.Errorf("1044: %s", got)
	}
}

func TestBoardHidesNoClash(t *testing.T) {
	w := sampleWeek()
	w.Crews[0].Visits = append(w.Crews[0].Visits, BoardVisit{Ref: "1099", Stage: "roof work", Mark: MarkOutdoor, Halves: []Half{{"2026-12-01", false}}})
	w.Crews[1].Visits = append(w.Crews[1].Visits, BoardVisit{Ref: "1098", Stage: "roof work", Mark: MarkOutdoor, Halves: []Half{{"2026-12-05", true}}})
	said := render(t, w).Find(".clash").Text()
	for _, want := range []string{"1099 roof work also stands in Tue 1 Dec am", "1098 roof work stands on Sat 5 Dec, when nobody works"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not shown: %q", want, said)
		}
	}
}

// The narrow list must not leave out what the wide board shows: both are
// counted from the page as it is sent.
func TestNarrowListShowsWhatTheBoardShows(t *testing.T) {
	doc := render(t, sampleFortnight())
	wide, narrow := map[string]bool{}, map[string]bool{}
	doc.Find(".only-wide tbody.crews a[href^='/jobs/']").Each(func(_ int, s *goquery.Selection) { wide[s.Text()] = true })
	doc.Find(".only-narrow .agenda-day .bar").Each(func(_ int, s *goquery.Selection) { narrow[s.Parent().Find("a").First().Text()] = true })
	if len(wide) < 6 || fmt.Sprint(wide) != fmt.Sprint(narrow) {
		t.Errorf("board %v, list %v", wide, narrow)
	}
	days := doc.Find(".agenda-day").Length()
	if heads := doc.Find(".only-wide .board th.day").Length(); heads != 14 || days != 14 {
		t.Errorf("%d days on the board, %d in the list, want 14", heads, days)
	}
	for _, words := range []string{"goes up", "comes down"} {
		onBoard, inList := strings.Count(doc.Find(".only-wide tbody.scaffolds").Text(), words), strings.Count(doc.Find(".only-narrow").Text(), words)
		if onBoard < 3 || onBoard != inList {
			t.Errorf("%d scaffolds on the board %s, %d in the list", onBoard, words, inList)
		}
	}
}

// What is past says so once and shows no chance, gust or rain; a half-day to
// come whose weather is not known still says that it is not.
func TestPastIsToldFromNotKnown(t *testing.T) {
	w := sampleWeek() // Monday and the morning of Tuesday are past, Friday afternoon is not known
	doc := render(t, w)
	for name, at := range map[string]struct {
		cells        *goquery.Selection
		past, toCome int
	}{
		"board": {doc.Find(".only-wide tr.sky td:not(.off)"), 2, 7},
		"list":  {doc.Find(".only-narrow .halves li"), 2, 7},
	} {
		past, toCome, unknown := 0, 0, 0
		at.cells.Each(func(_ int, c *goquery.Selection) {
			text := strings.Join(strings.Fields(c.Text()), " ")
			switch {
			case text == "past" || text == "am past":
				past++
			case strings.Contains(text, "past"):
				t.Errorf("%s: %q", name, text)
			default:
				toCome++
				if strings.Count(text, "not known") == 3 { // chance, gust and rain
					unknown++
				}
			}
		})
		if past != at.past || toCome != at.toCome || unknown != 1 {
			t.Errorf("%s: %d past, %d to come, %d of them not known", name, past, toCome, unknown)
		}
	}
	cols := 0
	for _, d := range w.Days {
		cols += d.Span()
	}
	wide := 0
	doc.Find(".only-wide tr.sky td").Each(func(_ int, c *goquery.Selection) {
		span := 1
		fmt.Sscan(c.AttrOr("colspan", "1"), &span)
		wide += span
	})
	if wide != cols {
		t.Errorf("the weather takes %d of %d columns", wide, cols)
	}
}

// Everything that must be told stands on the page once, some of it folded.
func TestWhatMustBeToldIsFoldedNotLost(t *testing.T) {
	w := sampleWeek()
	doc := render(t, w).Find("section[aria-labelledby=tell-h]")
	var want, got []string
	for _, tell := range w.Tell {
		for _, i := range tell.Items {
			want = append(want, i.Ref)
		}
	}
	doc.Find("a").Each(func(_ int, a *goquery.Selection) { got = append(got, a.Text()) })
	if strings.Join(want, " ") != strings.Join(got, " ") {
		t.Errorf("told %v, want %v", got, want)
	}
	if open := doc.Find("li").Length() - doc.Find("details li").Length(); open != 4 || doc.Find("details summary").Text() != "the other 4" {
		t.Errorf("%d stand open, %q", open, doc.Find("details summary").Text())
	}
	for n, open := range map[int]int{0: 0, 1: 1, 3: 3, 4: 4, 5: 3} {
		if tell := (Tell{Items: make([]TellItem, n)}); len(tell.Shown()) != open || len(tell.Folded()) != n-open {
			t.Errorf("of %d things %d stand open", n, len(tell.Shown()))
		}
	}
}

// The sums of the comparison add up by themselves: only what differs has a line
// of its own, and the rest is one line.
func TestTheComparisonOfCostsAddsUp(t *testing.T) {
	p := sampleProposal()
	p.Was.Items = append(p.Was.Items, CostItem{Item: "scaffold hire", Amount: 40_00})
	p.Was.Total += 40_00
	var was, becomes Money
	alike := 0
	for _, i := range p.Items() {
		was, becomes = was+i.Was, becomes+i.Becomes
		if i.Was == i.Becomes {
			alike++
		}
	}
	if was != p.Was.Total || becomes != p.Cost.Total || alike != 1 {
		t.Errorf("the lines add up to %s and %s, the totals are %s and %s; %d lines are alike", was, becomes, p.Was.Total, p.Cost.Total, alike)
	}
}

func TestTheProposalInWords(t *testing.T) {
	groups := func(names ...string) (all []ProposalGroup) {
		for _, n := range names {
			all = append(all, ProposalGroup{Whom: n})
		}
		return all
	}
	plan := PlanHead{Version: 2}
	for want, p := range map[string]Proposal{
		"Nothing is proposed.": {},
		"Nothing would move: every visit stays as it is. By what is known now the same visits cost £0.07 less.":            {Plan: plan, Same: 1, Was: Cost{Total: 7}},
		"Nothing would move: every visit stays as it is.":                                                                  {Plan: plan, Same: 1},
		"1 visit would change, 212 stay as they are. It disturbs Elder. The plan would cost £10.56 less.":                  {Plan: plan, Moved: 1, Same: 212, Groups: groups("Elder"), Was: Cost{Total: 10_56}},
		"2 visits would change, 1 stays as it is. It disturbs A, B and customers. The plan would cost £0.01 more.":         {Plan: plan, Moved: 2, Same: 1, Groups: groups("A", "B", "customers"), Cost: Cost{Total: 1}},
		"3 visits would change, 1 stays as it is. 1 stage loses its place. It disturbs A. The plan would cost the same.":   {Plan: plan, Moved: 3, Same: 1, NewlyOut: 1, Groups: groups("A")},
		"3 visits would change, 1 stays as it is. 2 stages lose their place. It disturbs A. The plan would cost the same.": {Plan: plan, Moved: 3, Same: 1, NewlyOut: 2, Groups: groups("A")},
		"5 visits would change, none stays as it is. It disturbs 4 parties. The plan would cost the same.":                 {Plan: plan, Moved: 5, Groups: groups("A", "B", "C", "customers")},
	} {
		if got := p.Says(); got != want {
			t.Errorf("says %q, want %q", got, want)
		}
	}
	out := func(n int) []Unplanned { return make([]Unplanned, n) }
	for want, p := range map[string]Proposal{
		"": {Unplanned: out(2), NewlyOut: 2},
		"As in the published plan: the proposal takes no stage out.": {Base: 1, Unplanned: out(2)},
		"It has a place in the published plan.":                      {Base: 1, Unplanned: out(1), NewlyOut: 1},
		"All of them have a place in the published plan.":            {Base: 1, Unplanned: out(2), NewlyOut: 2},
		"1 of these 3 has a place in the published plan.":            {Base: 1, Unplanned: out(3), NewlyOut: 1},
	} {
		if got := p.UnplannedSays(); got != want {
			t.Errorf("says %q, want %q", got, want)
		}
	}
}

// On a narrow page everything stands in the order of the template: what a
// proposal costs comes before the long list of finishes.
func TestTheProposalsCostComesBeforeItsFinishes(t *testing.T) {
	page := render(t, Proposal{Plan: PlanHead{Version: 2}})
	if order := page.Find("#cost-h, #finishes-h"); order.Length() != 2 || order.First().AttrOr("id", "") != "cost-h" {
		t.Errorf("of %d headings the first is %q", order.Length(), order.First().Text())
	}
}

// Nine pins that the plan does not keep yet are not nine that hold.
func TestPinsAreCountedByWhatBecameOfThem(t *testing.T) {
	rows := func(states ...string) (p Pins) {
		for _, s := range states {
			p.Rows = append(p.Rows, PinRow{State: s})
		}
		return p
	}
	for want, p := range map[string]Pins{
		"Nothing is fixed: the planner is free within the facts.":        {},
		"2 pins, and no plan is published yet.":                          rows("", ""),
		"1 pin: 1 kept. ":                                                rows("Kept"),
		"3 pins: 0 kept, 3 wait for a new plan. ":                        rows("Waits", "Waits", "Waits"),
		"4 pins: 1 kept, 1 waits for a new plan, 1 clashes, 1 is moot. ": rows("Kept", "Moot", "Clashes", "Waits"),
	} {
		if got := p.Says(); !strings.HasPrefix(got, want) {
			t.Errorf("says %q, want %q", got, want)
		}
	}
}

func strip(t *testing.T, s *Strip) *goquery.Selection {
	t.Helper()
	return render(t, Morning{Strip: s}).Find(".strip")
}

func TestStripDrawsTheLimitWhereItIs(t *testing.T) {
	for _, limit := range []float64{5, 8.4, 12.5, 17, 19.9} {
		s := sampleStrip()
		s.GustLimitMS = N(limit)
		y, err := strconv.ParseFloat(strip(t, s).Find(".d-limitline").AttrOr("y1", ""), 64)
		if err != nil {
			t.Fatal(err)
		}
		// 20 m/s stand on 110 px over a line at 116 px.
		if want := 116 - limit*110/20; y < want-0.1 || y > want+0.1 {
			t.Errorf("limit %g m/s is drawn at %g px, want %g px", limit, y, want)
		}
	}
	s := sampleStrip()
	s.GustLimitMS = Num{}
	if strip(t, s).Find(".d-limitline").Length() != 0 {
		t.Error("a limit that is not known is drawn")
	}
}

func TestStripNeverDrawsUnknownAsCalm(t *testing.T) {
	s := sampleStrip()
	for i := range s.Hours {
		s.Hours[i].GustMS, s.Hours[i].RainMM, s.Hours[i].MeanMS, s.Hours[i].TempC = Num{}, Num{}, Num{}, Num{}
	}
	got := strip(t, s)
	if n := got.Find("rect.d-dashed[y='6']").Length(); n != len(s.Hours) {
		t.Errorf("%d dashed hours of %d", n, len(s.Hours))
	}
	if got.Find("rect.d-under").Length() != 0 {
		t.Error("an unknown gust has a bar")
	}
	// Gust and rain of each hour: two question marks.
	q := 0
	got.Find("svg.hours text").Not("[y='176']").Each(func(_ int, x *goquery.Selection) {
		if x.Text() == "?" {
			q++
		}
		if x.Text() == "0" {
			t.Error("unknown rain reads 0")
		}
	})
	if q != 2*len(s.Hours) {
		t.Errorf("%d question marks, want %d", q, 2*len(s.Hours))
	}
	if says := got.Find(".says").Text(); !strings.Contains(says, "No gust is known") || !strings.Contains(says, "8 hours are not known") {
		t.Errorf("it says %q", says)
	}
}

func TestStripTellsTheWorstHourOfTheWindow(t *testing.T) {
	says := strings.ReplaceAll(sampleStrip().Says(), "\u00a0", " ")
	// By hand from the sample: 15:00 has 10.6 m/s; 14:00 and 15:00 are over 8.4;
	// 16:00 and later are outside the window.
	if says != "Highest gust 10.6 m/s (24 mph) at 15:00, limit 8.4 m/s (19 mph). 2 hours are over the limit. Rain up to 1.2 mm in an hour, limit 0.2 mm." {
		t.Errorf("%q", says)
	}
}

func TestStripAcrossTheClockChange(t *testing.T) {
	// 2026-10-25 in Europe/London has 25 hours: 01:00 stands twice.
	s := &Strip{GustLimitMS: N(8)}
	for h := time.Date(2026, 10, 24, 23, 0, 0, 0, time.UTC); h.Before(time.Date(2026, 10, 26, 0, 0, 0, 0, time.UTC)); h = h.Add(time.Hour) {
		s.Hours = append(s.Hours, StripHour{From: h.In(london), GustMS: N(5)})
	}
	s.From, s.To = time.Date(2026, 10, 25, 8, 0, 0, 0, london), time.Date(2026, 10, 25, 16, 0, 0, 0, london)
	if len(s.Hours) != 25 || s.Hours[0].From.Format("15:04") != "00:00" {
		t.Fatalf("%d hours from %s", len(s.Hours), s.Hours[0].From)
	}
	// 08:00 GMT is nine hours after midnight BST on that day.
	if got := s.WindowX(); got < 35.9 || got > 36.1 {
		t.Errorf("the window begins at %.2f %%, want 36 %%", got)
	}
	if got := s.WindowWidth(); got < 31.9 || got > 32.1 {
		t.Errorf("the window is %.2f %% wide, want 32 %%", got)
	}
}

func TestJobsLineStandsFromErectToStrike(t *testing.T) {
	p := sampleJob()
	lanes := p.Lanes()
	var erect, strike lane
	for _, l := range lanes {
		for _, piece := range l.Pieces {
			if piece.X < 0 || piece.Width < 0 || piece.X+piece.Width > 100.001 {
				t.Errorf("%s is drawn from %g %% over %g %%", l.Stage, piece.X, piece.Width)
			}
		}
		switch l.Mark {
		case MarkErect:
			erect = l
		case MarkStrike:
			strike = l
		}
	}
	stand := erect.Pieces[len(erect.Pieces)-1]
	if !stand.Bar.Stands() || stand.X != erect.Pieces[0].X+erect.Pieces[0].Width {
		t.Errorf("the scaffold does not stand from its erection: %+v", stand)
	}
	if end := stand.X + stand.Width; end < strike.Pieces[0].X-0.001 || end > strike.Pieces[0].X+0.001 {
		t.Errorf("the scaffold stands until %g %%, its strike begins at %g %%", end, strike.Pieces[0].X)
	}
	// 1042 from Mon 30 Nov to Tue 8 Dec is nine days; Thu 3 Dec begins after three.
	roof := lanes[1].Pieces
	if want := 100 * 3.0 / 9; len(roof) != 2 || roof[1].X < want-0.01 || roof[1].X > want+0.01 {
		t.Errorf("roof work goes on at %+v, want %g %%", roof, want)
	}
}

func TestJobsLineBeginsWithAWholeDay(t *testing.T) {
	p := JobPage{Stages: []StageLine{{Stage: "first fix", Mark: MarkIndoor, Halves: []Half{{"2026-12-01", true}, {"2026-12-09", false}}}}}
	// Nine days from Tuesday's start: the afternoon begins half a day in.
	pieces := p.Lanes()[0].Pieces
	if want := 100 * 0.5 / 9; len(pieces) != 2 || pieces[0].X < want-0.01 || pieces[0].X > want+0.01 {
		t.Errorf("%+v, want the first at %g %%", pieces, want)
	}
	if ticks := p.Ticks(); len(ticks) == 0 || ticks[0].X != 0 || ticks[0].Words != "1 Dec" {
		t.Errorf("%+v", ticks)
	}
}

func TestJobSaysWhereItStands(t *testing.T) {
	stage := func(name string, p Progress, halves ...Half) StageLine {
		return StageLine{Stage: name, Progress: p, Halves: halves}
	}
	for _, c := range []struct {
		stages []StageLine
		want   string
	}{
		{nil, "No stages are written down yet."},
		{[]StageLine{stage("roof work", Done), stage("first fix", Done)}, "Every stage is done."},
		{[]StageLine{stage("roof work", Started), stage("first fix", Planned, Half{"2026-12-03", true})}, "No stages are done. Under way: roof work. Next: first fix, Thu 3 Dec pm."},
		{[]StageLine{stage("scaffold erection", Done), stage("second fix", Planned, Half{"2026-12-09", false}, Half{"2026-12-09", true}), stage("roof work", Planned, Half{"2026-12-03", false}, Half{"2026-12-04", false}), stage("first fix", NotPlanned)}, "1 stage is done. Next: roof work, Thu 3 Dec am to Fri 4 Dec am."},
		{[]StageLine{stage("commissioning", NotPlanned)}, "No stages are done. Commissioning has no place in the plan."},
	} {
		if got := (JobPage{Stages: c.stages}).Says(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// weekday is Sakamoto's method (comp.lang.c, 1993; from memory), 0 = Sunday: the
// calendar is checked against something else than the package that made it.
func weekday(y, m, d int) int {
	t := [...]int{0, 3, 2, 5, 0, 3, 5, 1, 4, 6, 2, 4}
	if m < 3 {
		y--
	}
	return (y + y/4 - y/100 + y/400 + t[m-1] + d) % 7
}

func TestMonthsPutDaysUnderTheirWeekday(t *testing.T) {
	p := sampleScaffold()
	p.AsOf = time.Date(2026, 11, 20, 7, 15, 0, 0, time.UTC) // what it shows then
	p.Bookings = append(p.Bookings, Wanted{ID: "z", Ref: "z", Erect: "2027-02-15", Strike: "2027-02-26", State: WantedConfirmed})
	months := p.Months()
	if len(months) != 4 || months[0].Name != "November 2026" || months[3].Name != "February 2027" {
		t.Fatalf("%d months from %s", len(months), months[0].Name)
	}
	up, down := 0, 0
	for i, m := range months {
		first := time.Date(2026, time.November+time.Month(i), 1, 0, 0, 0, 0, time.UTC)
		days := 0
		for _, w := range m.Weeks {
			if len(w) != 7 {
				t.Fatalf("%s has a week of %d days", m.Name, len(w))
			}
			for col, d := range w {
				if d.Number == 0 {
					continue
				}
				days++
				if want := (weekday(first.Year(), int(first.Month()), d.Number) + 6) % 7; col != want {
					t.Errorf("%d %s stands in column %d, want %d", d.Number, m.Name, col, want)
				}
				for _, e := range d.Events {
					if e.Up {
						up++
					} else {
						down++
					}
				}
			}
		}
		if want := []int{30, 31, 31, 28}[i]; days != want {
			t.Errorf("%s has %d days, want %d", m.Name, days, want)
		}
	}
	if up != 5 || down != 5 {
		t.Errorf("%d up, %d down, want 5 and 5 (the cancelled one left out)", up, down)
	}
}

// What waits for an answer stands first, then what is to come, what stands, and
// what is over.
func TestScaffoldListPutsFirstWhatWaits(t *testing.T) {
	var order []string
	for _, b := range sampleScaffold().Sorted() {
		order = append(order, b.Ref)
	}
	if got := strings.Join(order, " "); got != "1051 1042 1058 1039 1049" {
		t.Errorf("%s", got)
	}
}

func TestRenderSendsAllOrNothing(t *testing.T) {
	broken := template.Must(template.New("layout.html").Parse("half a page {{index .Nav 99}}"))
	r := &Renderer{sets: map[string]*template.Template{"signin": broken}}
	var b bytes.Buffer
	if err := r.Render(&b, SignIn{}); err == nil || b.Len() != 0 {
		t.Errorf("error %v, and %d bytes were sent", err, b.Len())
	}
	if err := r.Render(&b, Week{}); err == nil || !strings.Contains(err.Error(), "week") {
		t.Errorf("a page without templates: %v", err)
	}
}

func TestNumbersOfThePageCarryUnits(t *testing.T) {
	// A number with a decimal point that is not money, a time or part of a name is
	// followed by its unit within a few characters, or its column names the unit.
	units := regexp.MustCompile(`^(\s| )?(of|over|m/s|mm|m²|m\b|kg|kWp|kN/m²|t\b|°C|%|h\b|W\b|half-days|\))`)
	for name, p := range map[string]Page{"job": sampleJob(), "week": sampleWeek(), "scaffold": sampleScaffold()} {
		doc := render(t, p)
		doc.Find("svg, .hazards, td.n, .raw, .source, .cost, option").Remove()
		text := strings.ReplaceAll(doc.Find("main").Text(), "\u00a0", " ")
		for _, at := range regexp.MustCompile(`[^£\d.,]\d+\.\d+`).FindAllStringIndex(text, -1) {
			if rest := text[at[1]:min(len(text), at[1]+12)]; !units.MatchString(rest) {
				t.Errorf("%s: %q has no unit", name, text[at[0]:min(len(text), at[1]+12)])
			}
		}
	}
}
