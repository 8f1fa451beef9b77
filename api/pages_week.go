package api

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/web"
)

// weekPage answers "what happens this week?".
func (s *server) weekPage(c *gin.Context, caller Caller) error {
	today := civil.DateOf(s.now(), caller.Location)
	from, days, err := boardRange(c, today)
	if err != nil {
		return err
	}
	b, err := s.Board(c.Request.Context(), caller.Firm, from, days)
	if err != nil {
		return err
	}
	page := weekView(b, today, caller)
	page.Sheet = s.sheet(c.Request, caller)
	page.Credits = b.Credits
	if may(caller.Role, MakePlan) {
		page.PlanAgain = "/plan"
	}
	return s.show(c, 200, page)
}

// boardRange reads which days to show: weeks from a Monday on. Who asks for no
// week in particular sees the next one too from Thursday on, when little of this
// one is left.
func boardRange(c *gin.Context, today civil.Date) (from civil.Date, days int, err error) {
	from, days = monday(today), 7
	if c.Query("from") == "" && today-from >= 3 {
		days = 14
	}
	if on := c.Query("from"); on != "" {
		d, err := civil.Parse(on)
		if err != nil {
			return 0, 0, err
		}
		from = monday(d)
	}
	if c.Query("weeks") == "2" {
		days = 14
	}
	return from, days, nil
}

// monday gives the Monday of a date's week.
func monday(d civil.Date) civil.Date { return d - civil.Date((int(d.Weekday())+6)%7) }

func weekView(b Board, today civil.Date, caller Caller) web.Week {
	w := web.Week{
		Days: boardDays(b, today), WeatherOf: b.WeatherOf, Tell: tellScaffolds(b),
		Prev: weekLink("Week before", b.From-civil.Date(b.Days), b.Days), Next: weekLink("Week after", b.From+civil.Date(b.Days), b.Days),
		Views: []web.Link{
			{Words: "One week", Href: weekHref(b.From, 7), Here: b.Days == 7},
			{Words: "Two weeks", Href: weekHref(b.From, 14), Here: b.Days == 14},
		},
	}
	seesMoney := may(caller.Role, SeePlans)
	if b.Plan != nil {
		w.Plan = planHead(*b.Plan, b.Location)
		w.Unplanned = webUnplanned(b.Plan.Unplanned, b.directory, b.Pins)
		if seesMoney {
			w.Cost = webCost(b.Plan.Cost)
		}
	}
	if seesMoney {
		w.Answers = answersWaiting(b)
	}
	if b.Draft != nil && seesMoney {
		w.Draft = web.Link{Words: fmt.Sprintf("plan %d, made %s", b.Draft.Version, stamped(b.Draft.MadeAt, b.Location)), Href: "/plan"}
	}
	for _, c := range b.Crews {
		if c.Active {
			w.Crews = append(w.Crews, crewRow(b, c, today))
		}
	}
	for _, f := range b.ScaffoldFirms {
		if row := scaffoldRow(b, f); len(row.Standing) > 0 || f.Active {
			w.Scaffolds = append(w.Scaffolds, row)
		}
	}
	return w
}

func weekHref(from civil.Date, days int) string {
	href := "/?from=" + from.String()
	if days == 14 {
		href += "&weeks=2"
	}
	return href
}

func weekLink(words string, from civil.Date, days int) web.Link {
	if days == 14 {
		words = strings.Replace(words, "Week", "Two weeks", 1)
	}
	return web.Link{Words: words, Href: weekHref(from, days)}
}

func boardDays(b Board, today civil.Date) []web.BoardDay {
	holidays := map[civil.Date]string{}
	for _, h := range b.Holidays {
		holidays[h.Day] = h.Title
	}
	var days []web.BoardDay
	for d := b.From; d < b.From+civil.Date(b.Days); d++ {
		day := web.BoardDay{Day: webDay(d), Working: schedule.WorkingDay(d, b.Holidays), Today: d == today,
			AM: b.Weather[d.In(civil.Morning)], PM: b.Weather[d.In(civil.Afternoon)]}
		if !day.Working {
			if day.Off = holidays[d]; day.Off == "" {
				day.Off = d.Weekday().String()
			}
		}
		days = append(days, day)
	}
	return days
}

// shows tells whether the board shows a half-day.
func (b Board) shows(h civil.HalfDay) bool {
	return h.Date() >= b.From && h.Date() < b.From+civil.Date(b.Days)
}

func crewRow(b Board, c schedule.Crew, today civil.Date) web.CrewRow {
	first := min(max(today, b.From), b.From+civil.Date(b.Days)-1)
	row := web.CrewRow{Crew: c.Name, Trade: c.Trade.String(), People: crewPeople(c, first), Href: morningHref(c.ID, first)}
	for _, v := range b.Visits {
		if v.Crew == c.ID && slices.ContainsFunc(v.HalfDays, b.shows) {
			row.Visits = append(row.Visits, boardVisit(b, v))
		}
	}
	for d := b.From; d < b.From+civil.Date(b.Days); d++ {
		if why := awayOn(c, d); why != "" && schedule.WorkingDay(d, b.Holidays) {
			row.Away = append(row.Away, web.AwayDay{Day: webDay(d), Why: why})
		}
	}
	return row
}

// awayOn says who of the crew is away on a day, and why; "" = nobody.
func awayOn(c schedule.Crew, d civil.Date) string {
	var away []string
	for _, m := range c.Members {
		if d < m.From || m.Until.Known() && d > m.Until {
			continue
		}
		for _, a := range m.Absences {
			if d >= a.From && d <= a.Until {
				away = append(away, m.Person.Name+": "+a.Reason)
			}
		}
	}
	return strings.Join(away, ", ")
}

func boardVisit(b Board, v schedule.Visit) web.BoardVisit {
	j := b.jobs[v.Job]
	stage, _ := j.Stage(v.Stage)
	work := len(v.HalfDays)
	if stage.State == schedule.StatePlanned {
		work -= v.Reserve(stage.HalfDays)
	}
	return web.BoardVisit{
		Kept: webHalves(v.HalfDays[work:]),
		Ref:  j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), Stage: v.Stage.String(), Mark: webMark(v.Stage),
		Halves: webHalves(v.HalfDays), Chance: outdoorChance(v), Why: v.Why, Done: stage.State == schedule.StateDone,
		Pins: visitPins(b, j, &v),
	}
}

func scaffoldRow(b Board, f schedule.ScaffoldFirm) web.ScaffoldRow {
	row := web.ScaffoldRow{Firm: f.Name}
	standing := 0
	end := b.From + civil.Date(b.Days) - 1
	for _, k := range b.Bookings {
		if k.ScaffoldFirm != f.ID || k.State == schedule.BookingCancelled {
			continue
		}
		if k.State.Stands() {
			standing++
		}
		if k.ErectOn <= end && k.StrikeOn >= b.From {
			row.Standing = append(row.Standing, standingView(b, k))
		}
	}
	row.Note = fmt.Sprintf("%s, %s, %d standing", counted(f.GangsPerDay, "gang a day", "gangs a day"), counted(f.Sets, "set", "sets"), standing)
	if f.DaysOff != 0 {
		row.Note += ", not on " + f.DaysOff.Words()
	}
	return row
}

func standingView(b Board, k schedule.Booking) web.Standing {
	j := b.jobs[k.Job]
	s := web.Standing{Ref: j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), State: bookingWords(k)}
	if b.Plan != nil {
		for _, v := range b.Plan.Visits {
			switch {
			case v.Job != k.Job:
			case v.Stage == schedule.ScaffoldErection:
				s.Erect, s.ErectChance = webHalves(v.HalfDays), webChance(v.Chance)
				s.ErectPins = visitPins(b, j, &v)
			case v.Stage == schedule.ScaffoldStrike:
				s.Strike, s.StrikeChance = webHalves(v.HalfDays), webChance(v.Chance)
				s.StrikePins = visitPins(b, j, &v)
			}
		}
	}
	// A scaffold that stands, or one that the plan no longer has, is drawn from
	// the booking's own days.
	if len(s.Erect) == 0 {
		s.Erect = []web.Half{webHalf(k.ErectOn.In(civil.Morning))}
	}
	return s
}

// answersWaiting says which scaffold firms' answers wait for the office; its Href
// is "" when none does.
func answersWaiting(b Board) web.Link {
	refused, offered := 0, 0
	for _, k := range b.Bookings {
		switch k.State {
		case schedule.BookingRefused:
			refused++
		case schedule.BookingCountered:
			offered++
		}
	}
	var says []string
	if refused > 0 {
		says = append(says, counted(refused, "day that a scaffold firm cannot do", "days that scaffold firms cannot do"))
	}
	if offered > 0 {
		says = append(says, counted(offered, "other day offered", "other days offered"))
	}
	if len(says) == 0 {
		return web.Link{}
	}
	return web.Link{Words: strings.Join(says, ", "), Href: "/bookings"}
}

// tellScaffolds lists for each scaffold firm the bookings that are not settled:
// first the days that it cannot do and those it offers, which wait for the
// office, then the bookings that wait for it, by date.
func tellScaffolds(b Board) []web.Tell {
	var tell []web.Tell
	for _, f := range b.ScaffoldFirms {
		var refused, offers, asked []schedule.Booking
		for _, k := range b.Bookings {
			switch {
			case k.ScaffoldFirm != f.ID:
			case k.State == schedule.BookingRefused:
				refused = append(refused, k)
			case k.State == schedule.BookingCountered:
				offers = append(offers, k)
			case k.State == schedule.BookingWanted || k.State == schedule.BookingSent:
				asked = append(asked, k)
			}
		}
		if len(refused)+len(offers)+len(asked) > 0 {
			tell = append(tell, tellScaffold(b, f, refused, offers, asked))
		}
	}
	return tell
}

func tellScaffold(b Board, f schedule.ScaffoldFirm, refused, offers, asked []schedule.Booking) web.Tell {
	t := web.Tell{Whom: f.Name, How: "They see the dates on their page and in their feed."}
	var says []string
	if n := len(refused); n > 0 {
		says = append(says, counted(n, "day that they cannot do", "days that they cannot do"))
	}
	if n := len(offers); n > 0 {
		says = append(says, counted(n, "other day offered waits for your answer", "other days offered wait for your answer"))
	}
	if n := len(asked); n > 0 {
		says = append(says, counted(n, "booking not confirmed yet", "bookings not confirmed yet"))
	}
	t.Says = strings.Join(says, ", ") + "."
	for _, list := range [][]schedule.Booking{refused, offers, asked} {
		slices.SortFunc(list, func(x, y schedule.Booking) int {
			return cmp.Or(cmp.Compare(x.ErectOn, y.ErectOn), strings.Compare(b.jobs[x.Job].Ref, b.jobs[y.Job].Ref))
		})
		for _, k := range list {
			ref := b.jobs[k.Job].Ref
			item := web.TellItem{Ref: ref, Href: jobHref(ref), What: k.Days()}
			switch k.State {
			case schedule.BookingRefused:
				item.What = fmt.Sprintf("they cannot do %s and offer no other day: plan again, or ring them", k.ErectOn.Short())
			case schedule.BookingCountered:
				item.What = fmt.Sprintf("they offer %s instead of %s", k.OfferedOn.Short(), k.ErectOn.Short())
			}
			t.Items = append(t.Items, item)
		}
	}
	return t
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
