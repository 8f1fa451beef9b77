package api

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/web"
)

// planPage shows the newest draft beside the published plan.
func (s *server) planPage(c *gin.Context, caller Caller) error {
	p, err := s.Proposal(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	if p.Draft == nil {
		return s.noDraft(c, caller)
	}
	page := proposalView(p)
	page.Sheet, page.Budgets, page.Aims = s.sheet(c.Request, caller), budgets, aims
	if page.UnderWay, err = s.underWayLink(c.Request.Context(), caller); err != nil {
		return err
	}
	if err := s.buys(c.Request.Context(), caller, p, &page); err != nil {
		return err
	}
	page.Back = web.Link{Words: "The week as it is published", Href: "/"}
	page.PlanAgain = "/plan"
	page.Drop = "/plan/" + p.Draft.ID.String() + "/drop"
	if page.Stale == "" && may(caller.Role, PublishPlan) {
		page.Publish = "/plan/" + p.Draft.ID.String() + "/publish"
		short, err := s.ShortNotices(c.Request.Context(), caller.Firm, *p.Draft)
		if err != nil {
			return err
		}
		page.Agree = mapped(short, func(n schedule.ShortNotice) web.Choice { return web.Choice{Key: n.Booking.String(), Words: n.Why} })
	}
	return s.show(c, http.StatusOK, page)
}

// noDraft is the plan page before anything was planned.
func (s *server) noDraft(c *gin.Context, caller Caller) error {
	underWay, err := s.underWayLink(c.Request.Context(), caller)
	if err != nil {
		return err
	}
	return s.show(c, http.StatusOK, web.Proposal{
		Sheet: s.sheet(c.Request, caller), PlanAgain: "/plan", Aims: aims, Budgets: budgets, UnderWay: underWay,
		Stale: "There is no draft. Plan again makes one from the facts as they are now.",
		Back:  web.Link{Words: "The week as it is published", Href: "/"},
	})
}

// publishForm publishes a draft in place of the plan that the page compared it
// with.
func (s *server) publishForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("plan"))
	if err != nil {
		return badID("plan", c.Param("plan"))
	}
	base, err := strconv.Atoi(c.PostForm("base"))
	if err != nil {
		return &refusal{kind: malformed, detail: "the form lacks the version that it was compared with: open the page again"}
	}
	var agreed []uuid.UUID
	for _, typed := range c.PostFormArray("agree") {
		if booking, err := uuid.Parse(typed); err == nil {
			agreed = append(agreed, booking)
		}
	}
	if _, _, err := s.Publish(c.Request.Context(), caller.Firm, id, caller.Name, func(now *schedule.Plan) error { return sameVersion(now, base) }, agreed...); err != nil {
		return err
	}
	return s.done(c, "/", "published")
}

// dropForm puts a draft aside.
func (s *server) dropForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("plan"))
	if err != nil {
		return badID("plan", c.Param("plan"))
	}
	if err := s.Drop(c.Request.Context(), caller.Firm, id); err != nil {
		return err
	}
	return s.done(c, "/plan", "dropped")
}

// sameVersion refuses when another plan is published than the one looked at;
// version 0 stands for none.
func sameVersion(now *schedule.Plan, looked int) error {
	version := 0
	if now != nil {
		version = now.Version
	}
	if version == looked {
		return nil
	}
	return &refusal{kind: stale, current: planTag(now),
		detail: fmt.Sprintf("plan %d is published now, and you looked at %d: look at the difference again", version, looked)}
}

func proposalView(p Proposal) web.Proposal {
	page := web.Proposal{
		Plan: planHead(*p.Draft, p.Location), Stale: p.Stale, Cost: webCost(p.Draft.Cost),
		Unplanned: webUnplanned(p.Draft.Unplanned, p.directory, p.pins),
		Finishes:  finishesView(*p.Draft, p.directory, p.Location, uuid.Nil),
		Holidays:  schedule.HolidaysKnown(p.Holidays, p.Draft.FirstDay+civil.Date(p.Draft.Days-1)),
	}
	if p.Current != nil {
		page.Base = p.Current.Version
		page.Was = webCost(p.Current.Cost)
	}
	page.Groups, page.Moved, page.Same = moveGroups(p)
	was := byStage(p.Current)
	for _, u := range p.Draft.Unplanned {
		if v := was[stageKey{u.Job, u.Stage}]; v != nil && p.planned(v) {
			page.NewlyOut++
		}
	}
	return page
}

// moveGroups compares the two plans visit by visit, for each party that a
// change disturbs.
func moveGroups(p Proposal) (groups []web.ProposalGroup, moved, same int) {
	was, is := byStage(p.Current), byStage(p.Draft)
	moves := map[string][]web.Move{}
	for _, k := range stageKeys(p, was, is) {
		a, b := was[k], is[k]
		if sameVisit(a, b) {
			same++
			continue
		}
		moved++
		parties := p.parties(a, b)
		for i, whom := range parties {
			m := p.move(k, a, b, whom)
			if m.Charge, m.ChargeAt = p.movedCharge(k); i > 0 && m.Charge != 0 { // told once
				m.Charge, m.ChargeAt = 0, "told once, under "+parties[0]
			}
			moves[whom] = append(moves[whom], m)
		}
		if k.stage == schedule.Commissioning {
			m := p.move(k, a, b, customers)
			m.What = "finished and commissioned"
			if m.Charge, m.ChargeAt = p.movedCharge(k); m.Charge != 0 {
				m.Charge, m.ChargeAt = 0, "told once, under "+parties[0]
			}
			moves[customers] = append(moves[customers], m)
		}
	}
	for whom, ms := range moves {
		groups = append(groups, web.ProposalGroup{Whom: whom, Moves: ms})
	}
	slices.SortFunc(groups, func(a, b web.ProposalGroup) int {
		if (a.Whom == customers) != (b.Whom == customers) {
			if a.Whom == customers {
				return 1
			}
			return -1
		}
		return strings.Compare(a.Whom, b.Whom)
	})
	return groups, moved, same
}

const customers = "customers"

type stageKey struct {
	job   uuid.UUID
	stage schedule.StageKind
}

func byStage(p *schedule.Plan) map[stageKey]*schedule.Visit {
	all := map[stageKey]*schedule.Visit{}
	if p != nil {
		for i, v := range p.Visits {
			all[stageKey{v.Job, v.Stage}] = &p.Visits[i]
		}
	}
	return all
}

// stageKeys gives every stage of either plan, by job reference.
func stageKeys(p Proposal, was, is map[stageKey]*schedule.Visit) []stageKey {
	var keys []stageKey
	for k := range is {
		keys = append(keys, k)
	}
	for k := range was {
		if is[k] == nil && p.planned(was[k]) {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b stageKey) int {
		return cmp.Or(strings.Compare(p.jobs[a.job].Ref, p.jobs[b.job].Ref), cmp.Compare(a.stage, b.stage))
	})
	return keys
}

// planned tells whether a visit of the published plan could still be moved: one
// that lies before the draft's first day is history, and its absence no change.
func (p Proposal) planned(v *schedule.Visit) bool { return v.Last().Date() >= p.Draft.FirstDay }

func sameVisit(a, b *schedule.Visit) bool {
	return a != nil && b != nil && a.Crew == b.Crew && a.ScaffoldFirm == b.ScaffoldFirm && slices.Equal(a.HalfDays, b.HalfDays)
}

// parties names who is disturbed by a change: both crews, when the work goes
// from one to another.
func (p Proposal) parties(a, b *schedule.Visit) []string {
	var names []string
	for _, v := range []*schedule.Visit{b, a} {
		if v != nil && !slices.Contains(names, p.who(*v)) {
			names = append(names, p.who(*v))
		}
	}
	return names
}

// move compares a stage's two visits for somebody who reads it.
func (p Proposal) move(k stageKey, a, b *schedule.Visit, reader string) web.Move {
	j := p.jobs[k.job]
	m := web.Move{Ref: j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), What: k.stage.String()}
	first := civil.NoDate
	if a != nil {
		m.Now = p.when(*a, reader)
		first = a.First().Date()
	}
	if b != nil {
		m.Proposed, m.Reason = p.when(*b, reader), b.Why
		m.Shift = p.shift(a, b)
		if a == nil || b.First().Date() < first {
			first = b.First().Date()
		}
	} else {
		m.Reason = p.whyOut(k)
	}
	m.Soon = p.Current != nil && first <= p.noticeEnds(k.stage, a, b)
	return m
}

// shift says by how much a visit begins earlier or later; "" when the day stays.
func (p Proposal) shift(a, b *schedule.Visit) string {
	if a == nil {
		return ""
	}
	from, to, way := a.First().Date(), b.First().Date(), "later"
	if to < from {
		from, to, way = to, from, "earlier"
	}
	days := 0
	for d := from; d < to; d++ {
		if schedule.WorkingDay(d, p.Holidays) {
			days++
		}
	}
	if days == 0 {
		return ""
	}
	return counted(days, "working day ", "working days ") + way
}

// when says when a visit runs, and by whom unless that is who reads it.
func (p Proposal) when(v schedule.Visit, reader string) string {
	words := v.First().Short()
	switch {
	case v.First() == v.Last():
	case v.First().Date() == v.Last().Date():
		words += " and pm"
	default:
		words += " to " + v.Last().Short()
	}
	if who := p.who(v); who != reader {
		words += ", " + who
	}
	return words
}

func (p Proposal) whyOut(k stageKey) string {
	for _, u := range p.Draft.Unplanned {
		if u.Job == k.job && u.Stage == k.stage {
			return u.Why
		}
	}
	return "no longer to be planned"
}

// noticeEnds is the last day for which a change comes at short notice: the
// firm's frozen days for a crew, the agreed notice for a scaffold firm.
func (p Proposal) noticeEnds(k schedule.StageKind, a, b *schedule.Visit) civil.Date {
	days := p.frozenDays
	for _, v := range []*schedule.Visit{a, b} {
		if v == nil {
			continue
		}
		f := p.firms[v.ScaffoldFirm]
		switch k {
		case schedule.ScaffoldErection:
			days = max(days, f.ErectNotice)
		case schedule.ScaffoldStrike:
			days = max(days, f.StrikeNotice)
		}
	}
	return schedule.AddWorkingDays(p.Today, days, p.Holidays)
}

// movedCharge is what the draft's cost has for moving one visit, or says where
// it is told: older drafts do not know which visit a charge is for.
func (p Proposal) movedCharge(k stageKey) (sum web.Money, elsewhere string) {
	for _, l := range p.Draft.Cost.Lines {
		if l.Item != schedule.Moved || l.Job != k.job {
			continue
		}
		switch l.Stage {
		case k.stage:
			sum += web.Money(l.Amount)
		case schedule.StageUnknown:
			elsewhere = "see the lines of the cost"
		}
	}
	return sum, elsewhere
}
