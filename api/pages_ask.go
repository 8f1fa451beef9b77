package api

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// What the office asks of a plan: why a stage stands where it does, what a
// change would do, where a new job could go. Asking is a GET and changes
// nothing.

func whyHref(ref string, k schedule.StageKind, draft bool) string {
	href := "/why/" + pathPart(ref) + "/" + k.Key()
	if draft {
		href += "?plan=draft"
	}
	return href
}

// whyPage explains one stage of the published plan, or of the newest draft.
func (s *server) whyPage(c *gin.Context, caller Caller) error {
	k, err := schedule.StageFromKey(strings.ReplaceAll(c.Param("stage"), "-", "_"))
	if err != nil {
		return fault.Missing("stage", c.Param("stage"))
	}
	x, err := s.Explain(c.Request.Context(), caller.Firm, c.Param("ref"), k, c.Query("plan") == "draft")
	if err != nil {
		return err
	}
	page := explainedView(x)
	if st, has := x.Job.Stage(k); has {
		page.Pins = stagePins(x.Pins, x.directory, x.Job.ID, st, x.Visit, caller.Location)
	}
	page.Sheet = s.sheet(c.Request, caller)
	return s.show(c, http.StatusOK, page)
}

func explainedView(x Explained) web.Explained {
	page := web.Explained{Ref: x.Job.Ref, Href: jobHref(x.Job.Ref), Place: shortPlace(x.Job.Site.Address), Stage: x.Stage.String(),
		Plan:  string(x.Plan.State) + " plan " + decimal(uint64(x.Plan.Version)),
		Then:  mapped(x.Then, schedule.Instead.Say),
		Clash: mapped(x.Clash, func(r schedule.Reason) string { return capital(r.Say()) + "." }),
		Sooner: mapped(x.Sooner, func(n schedule.Instead) web.AskLine {
			return web.AskLine{Words: n.Say(), More: web.Money(n.More), Ok: n.Possible()}
		}),
		Others: mapped(x.Crews, func(o schedule.Other) web.AskLine {
			return web.AskLine{Words: o.Say(), More: web.Money(o.More), Ok: o.At.Known()}
		}),
		Unsaid: unsaidWords(x.Unsaid, x.Stage), Open: x.SayOpen(),
		WhatIfHref: "/what-if?draft=1&kind=pin&stage=" + x.Stage.Key() + "&job=" + queryPart(x.Job.Ref),
	}
	if x.Draft {
		page.Plan = "proposal " + decimal(uint64(x.Plan.Version))
	}
	if x.Visit != nil {
		page.When, page.By, page.Chance = whenWords(*x.Visit), x.who(*x.Visit), outdoorChance(*x.Visit)
		page.Kept = x.Visit.Why
	}
	if x.Lost != nil {
		page.Lost = "The plan has it on " + whenWords(*x.Lost) + " with " + x.who(*x.Lost) + ", and the facts no longer allow that: plan again."
	}
	if x.Move != nil {
		page.Move = "It moves from " + whenWords(x.Move.From) + ", " + x.who(x.Move.From) + ". " + x.Move.Say()
	}
	for _, st := range x.Job.Stages {
		if st.State != schedule.StateDone {
			page.Stages = append(page.Stages, web.Link{Words: capital(st.Kind.String()), Href: whyHref(x.Job.Ref, st.Kind, x.Draft), Here: st.Kind == x.Stage})
		}
	}
	if x.Has {
		page.Plans = []web.Link{{Words: "as published", Href: whyHref(x.Job.Ref, x.Stage, false), Here: !x.Draft},
			{Words: "as proposed", Href: whyHref(x.Job.Ref, x.Stage, true), Here: x.Draft}}
	}
	return page
}

// unsaidWords says of how many others nothing is told; "" = of none.
func unsaidWords(n int, k schedule.StageKind) string {
	if n == 0 {
		return ""
	}
	if k.Trade() == schedule.ScaffoldTrade {
		return "Of " + counted(n, "scaffold firm more, whose visits cost as much or more, nothing is said.", "scaffold firms more, whose visits cost as much or more, nothing is said.")
	}
	return "Of " + counted(n, "crew more, whose home is farther off, nothing is said.", "crews more, whose homes are farther off, nothing is said.")
}

// whenWords says when a visit runs.
func whenWords(v schedule.Visit) string {
	switch {
	case v.First() == v.Last():
		return v.First().Short()
	case v.First().Date() == v.Last().Date():
		return v.First().Short() + " and pm"
	}
	return v.First().Short() + " to " + v.Last().Short()
}

// whatIfPage asks and answers.
func (s *server) whatIfPage(c *gin.Context, caller Caller) error {
	ctx := c.Request.Context()
	d, err := s.directory(ctx, caller.Firm)
	if err != nil {
		return err
	}
	q := c.Query
	page := web.WhatIf{Sheet: s.sheet(c.Request, caller), Action: "/what-if", Stages: mapped(schedule.StageKinds, stageChoice),
		Asked: web.WhatIfAsked{Kind: q("kind"), Job: q("job"), Stage: q("stage"), Who: q("who"), Weeks: q("weeks"), On: web.Day(q("on")), Until: web.Day(q("until"))}}
	page.Jobs, page.Crews, page.Firms = d.choices()
	if q("kind") == "" || q("draft") != "" {
		return s.show(c, http.StatusOK, page)
	}
	change, err := typedChange(c, d)
	if err == nil {
		var w schedule.WhatIf
		if w, _, err = s.WhatIf(ctx, caller.Firm, []schedule.Change{change}); err == nil {
			whatIfAnswer(&page, w, d)
			return s.show(c, http.StatusOK, page)
		}
	}
	if faults := pageFaults(err); faults != nil {
		page.Faults = faults
		return s.show(c, refusalOf(err).kind.status, page)
	}
	return err
}

// choices lists open jobs by reference, crews and scaffold firms by name.
func (d directory) choices() (jobs, crews, firms []web.Choice) {
	for _, j := range d.byRef() {
		if j.State == schedule.JobOpen {
			jobs = append(jobs, web.Choice{Key: j.Ref, Words: j.Ref + ", " + shortPlace(j.Site.Address)})
		}
	}
	for _, c := range sortedBy(d.crews, func(c schedule.Crew) string { return c.Name }) {
		if c.Active {
			crews = append(crews, web.Choice{Key: c.ID.String(), Words: c.Name + " (" + c.Trade.String() + ")"})
		}
	}
	for _, f := range sortedBy(d.firms, func(f schedule.ScaffoldFirm) string { return f.Name }) {
		if f.Active {
			firms = append(firms, web.Choice{Key: f.ID.String(), Words: f.Name})
		}
	}
	return jobs, crews, firms
}

// typedChange reads one change from a query.
func typedChange(c *gin.Context, d directory) (schedule.Change, error) {
	k := schedule.Change{Kind: schedule.ChangeKind(c.Query("kind")), On: civil.NoDate, Until: civil.NoDate}
	if ref := c.Query("job"); ref != "" {
		for _, j := range d.jobs {
			if j.Ref == ref {
				k.Job = j.ID
			}
		}
		if k.Job == uuid.Nil {
			return k, fault.Bad("job", ref, "the reference of an open job")
		}
	}
	var err error
	if key := c.Query("stage"); key != "" {
		if k.Stage, err = schedule.StageFromKey(key); err != nil {
			return k, err
		}
	}
	if who := c.Query("who"); who != "" {
		if k.Who, err = uuid.Parse(who); err != nil {
			return k, fault.Bad("who", who, "choose a crew or a scaffold firm")
		}
	}
	for field, to := range map[string]*civil.Date{"on": &k.On, "until": &k.Until} {
		if typed := c.Query(field); typed != "" {
			if *to, err = civil.Parse(typed); err != nil {
				return k, fault.Bad(field, typed, "a day as 2026-12-31")
			}
		}
	}
	if typed := c.Query("weeks"); typed != "" {
		if k.Weeks, err = strconv.Atoi(strings.TrimSpace(typed)); err != nil {
			return k, fault.Bad("weeks", typed, "a whole number from 1 to 52")
		}
	}
	return k, nil
}

func whatIfAnswer(page *web.WhatIf, w schedule.WhatIf, d directory) {
	page.Says, page.Lost = w.Say(), w.Lost
	page.Clash = mapped(w.Clash, func(r schedule.Reason) string { return capital(r.Say()) + "." })
	page.Was, page.With = web.Money(w.Without.Cost.Total), web.Money(w.With.Cost.Total)
	was, now := w.Without.Cost.By(), w.With.Cost.By()
	for _, item := range w.Items {
		page.Items = append(page.Items, web.ItemDiff{Item: string(item.Item), Was: web.Money(was[item.Item]), Now: web.Money(now[item.Item])})
	}
	n := strconv.Itoa
	page.Counts = []web.CountDiff{
		{What: "Promises planned in time", Was: n(w.InTime[0]) + " of " + n(w.Promises[0]), Now: n(w.InTime[1]) + " of " + n(w.Promises[1])},
		{What: "Published visits that move", Was: n(w.Moved[0]), Now: n(w.Moved[1])},
		{What: "Stages without a place", Was: n(w.LeftOut[0]), Now: n(w.LeftOut[1])},
	}
	link := func(ref string) web.Link { return web.Link{Words: ref, Href: jobHref(ref)} }
	page.Late, page.Saved = mapped(w.Late, link), mapped(w.Saved, link)
	page.Moves = mapped(w.Moves, func(m schedule.Move) web.Move {
		out := web.Move{Ref: m.Ref, Href: jobHref(m.Ref), What: m.Stage.String(), Now: whenWords(m.From) + ", " + d.who(m.From), Place: strings.Join(m.Whom, ", ")}
		if m.To != nil {
			out.Proposed = whenWords(*m.To) + ", " + d.who(*m.To)
			if d.who(*m.To) == "" {
				out.Proposed = whenWords(*m.To) + ", the added crew"
			}
		}
		return out
	})
	noise := w.Noise.String() + " more or less: a smaller difference says little."
	if w.Noise == 0 {
		noise = "the same."
	}
	page.How = "Both sides were searched from the published plan with " + n(w.Schedules) + " schedules and seed " + decimal(w.Seed) +
		". With another seed the side without the change costs " + noise
}

// offersPage finds places and shows what is held.
func (s *server) offersPage(c *gin.Context, caller Caller) error {
	return s.showOffers(c, caller, c.Request.URL.Query(), http.StatusOK, nil)
}

// showOffers shows the page for a question, with what is wrong with it or with
// the form that was sent.
func (s *server) showOffers(c *gin.Context, caller Caller, q url.Values, status int, faults []web.Fault) error {
	ctx := c.Request.Context()
	page := web.Offers{Sheet: s.sheet(c.Request, caller), Action: "/offers", Asked: offerTyped(q)}
	held, err := s.HeldOffers(ctx, caller.Firm)
	if err != nil {
		return err
	}
	for _, h := range held {
		page.Held = append(page.Held, s.heldView(ctx, caller, h))
	}
	if q.Get("ask") != "" {
		ask, err := offerAsked(q)
		if err == nil {
			var found Offered
			if found, err = s.FindOffers(ctx, caller.Firm, ask); err == nil {
				foundView(&page, found, q)
			}
		}
		if wrong := pageFaults(err); wrong != nil && faults == nil {
			faults, status = wrong, refusalOf(err).kind.status
		} else if err != nil && wrong == nil {
			return err
		}
	}
	page.Faults = faults
	return s.show(c, status, page)
}

// usualHalves is how long stages take unless somebody says otherwise (start
// values of the form, common practice, no source).
var usualHalves = map[schedule.StageKind]string{schedule.ScaffoldErection: "1", schedule.RoofWork: "3", schedule.FirstFix: "1",
	schedule.SecondFix: "1", schedule.Commissioning: "1", schedule.ScaffoldStrike: "1"}

func offerTyped(q url.Values) web.OfferAsked {
	or := func(name, usual string) string {
		if q.Has(name) {
			return q.Get(name)
		}
		return usual
	}
	a := web.OfferAsked{Postcode: q.Get("postcode"), Lat: q.Get("latitude"), Lon: q.Get("longitude"), Terrain: or("terrain", "III"),
		Height: or("height", "6"), ModuleM2: or("module_m2", "1.95"), Modules: or("modules", "10"), Ready: web.Day(q.Get("ready"))}
	for _, k := range schedule.StageKinds {
		a.HalfDays = append(a.HalfDays, web.StageHalves{Key: k.Key(), Stage: k.String(), N: or("halves_"+k.Key(), usualHalves[k])})
	}
	return a
}

// offerAsked reads the question of the page.
func offerAsked(q url.Values) (OfferAsk, error) {
	typed := offerTyped(q)
	a := OfferAsk{Postcode: strings.TrimSpace(typed.Postcode), Lat: math.NaN(), Lon: math.NaN(), Terrain: typed.Terrain,
		HalfDays: map[schedule.StageKind]int{}, ReadyOn: civil.NoDate, Best: 5}
	for _, f := range []struct {
		field, typed string
		to           *float64
		may          bool // it may be empty
	}{{"latitude", typed.Lat, &a.Lat, true}, {"longitude", typed.Lon, &a.Lon, true}, {"working height", typed.Height, &a.HeightM, false}, {"module_m2", typed.ModuleM2, &a.ModuleM2, false}} {
		text := strings.TrimSpace(f.typed)
		if text == "" && f.may {
			continue
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(n) || math.IsInf(n, 0) {
			return a, fault.Bad(f.field, f.typed, "a number such as 6.5")
		}
		*f.to = n
	}
	var err error
	if a.Modules, err = strconv.Atoi(strings.TrimSpace(typed.Modules)); err != nil {
		return a, fault.Bad("modules", typed.Modules, "a whole number from 1 to 200")
	}
	for i, k := range schedule.StageKinds {
		text := strings.TrimSpace(typed.HalfDays[i].N)
		if text == "" {
			continue
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 || n > 40 {
			return a, fault.Bad("stages", text, "0 to 40 half-days of "+k.String())
		}
		a.HalfDays[k] = n
	}
	if typed.Ready != "" {
		if a.ReadyOn, err = civil.Parse(string(typed.Ready)); err != nil {
			return a, fault.Bad("ready", string(typed.Ready), "a day as 2026-12-31")
		}
	}
	return a, nil
}

func foundView(page *web.Offers, found Offered, q url.Values) {
	page.Done, page.Place, page.Sky = true, found.Place, found.Sky
	page.No = mapped(found.No, func(r schedule.Reason) string { return capital(r.Say()) + "." })
	for n, o := range found.Offers {
		hold := url.Values{}
		for name, v := range q {
			hold[name] = v
		}
		hold.Set("hold", o.On.String())
		f := web.FoundOffer{Rank: n + 1, On: webDay(o.On), Done: webDay(o.Done), More: web.Money(o.More), Why: o.Why, Action: "/offers?" + hold.Encode()}
		if v := o.Roof(); v != nil {
			f.Chance = webChance(v.Chance)
		}
		for _, v := range o.Visits {
			f.Visits = append(f.Visits, capital(v.Stage.String())+": "+whenWords(v)+", "+found.who(v))
		}
		page.Found = append(page.Found, f)
	}
}

// holdForm keeps the place of one offer for a customer.
func (s *server) holdForm(c *gin.Context, caller Caller) error {
	q := c.Request.URL.Query()
	ask, err := offerAsked(q)
	var on civil.Date
	if err == nil {
		if on, err = civil.Parse(q.Get("hold")); err != nil {
			err = fault.Bad("offer", q.Get("hold"), "the day that the page shows: open it again")
		}
	}
	days := 0
	if typed := strings.TrimSpace(c.PostForm("days")); err == nil && typed != "" {
		if days, err = strconv.Atoi(typed); err != nil {
			err = fault.Bad("days", typed, "1 to 20 working days")
		}
	}
	if err == nil {
		ctx := c.Request.Context()
		_, err = s.HoldOffer(ctx, caller.Firm, HoldAsk{ID: recordID(ctx), For: c.PostForm("for"), Contact: c.PostForm("contact"), Days: days, Question: ask, On: on}, caller.Name)
	}
	return s.afterOffer(c, caller, q, err, "held")
}

// takeForm makes the job of a held offer.
func (s *server) takeForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("offer"))
	if err != nil {
		return badID("offer", c.Param("offer"))
	}
	_, _, err = s.TakeOffer(c.Request.Context(), caller.Firm, id, c.PostForm("ref"), caller.Name)
	return s.afterOffer(c, caller, nil, err, "taken")
}

// releaseForm gives a held place free.
func (s *server) releaseForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("offer"))
	if err != nil {
		return badID("offer", c.Param("offer"))
	}
	_, err = s.ReleaseOffer(c.Request.Context(), caller.Firm, id, caller.Name)
	return s.afterOffer(c, caller, nil, err, "free")
}

func (s *server) afterOffer(c *gin.Context, caller Caller, q url.Values, err error, done string) error {
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = ""
		}
		return s.showOffers(c, caller, q, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/offers", done)
}

// heldView is one held offer as the page shows it.
func (s *server) heldView(ctx context.Context, caller Caller, h schedule.HeldOffer) web.HeldOffer {
	out := web.HeldOffer{ID: h.ID.String(), For: h.For, Contact: h.Contact, On: webDay(h.On()), Done: webDay(h.Done()), More: web.Money(h.More),
		State: string(h.State), By: h.ToldBy}
	if h.State == schedule.OfferHeld {
		out.Until = stamped(h.Until, caller.Location)
		if may(caller.Role, MakePlan) {
			out.Take, out.Release = "/offers/"+out.ID+"/take", "/offers/"+out.ID+"/release"
		}
		return out
	}
	if j, err := s.schedule.JobByID(ctx, caller.Firm, h.ID); err == nil {
		out.Job = web.Link{Words: j.Ref, Href: jobHref(j.Ref)}
	}
	return out
}

// sortedBy gives the values of a map in the order of their names.
func sortedBy[T any](all map[uuid.UUID]T, name func(T) string) []T {
	list := make([]T, 0, len(all))
	for _, v := range all {
		list = append(list, v)
	}
	slices.SortFunc(list, func(a, b T) int { return strings.Compare(name(a), name(b)) })
	return list
}

// buys says beside each move of a proposal what it saves, or why it had to be. A
// proposal that can no longer be published is not priced.
func (s *server) buys(ctx context.Context, caller Caller, p Proposal, page *web.Proposal) error {
	if p.Current == nil || p.Stale != "" {
		return nil
	}
	moves, _, err := s.Moves(ctx, caller.Firm)
	if err != nil {
		return err
	}
	said := map[string]schedule.Move{}
	for _, m := range moves {
		said[m.Ref+" "+m.Stage.String()] = m
	}
	for g := range page.Groups {
		for i := range page.Groups[g].Moves {
			w := &page.Groups[g].Moves[i]
			if m, ok := said[w.Ref+" "+w.What]; ok {
				w.Buys = m.Say()
				w.WhyHref = whyHref(m.Ref, m.Stage, true)
			}
		}
	}
	return nil
}
