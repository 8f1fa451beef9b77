package schedule_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// broken counts what a plan breaks beyond what another broke already.
func broken(s schedule.Snapshot, p schedule.Plan) []string {
	p.Cost = schedule.Price(s, p)
	var list []string
	for _, b := range schedule.Validate(s, p) {
		list = append(list, b.Rule+": "+b.Say)
	}
	return list
}

// moved gives the plan with one visit elsewhere and nothing else changed.
func moved(p schedule.Plan, v schedule.Visit) schedule.Plan {
	p.Visits = slices.Clone(p.Visits)
	for i := range p.Visits {
		if p.Visits[i].Job == v.Job && p.Visits[i].Stage == v.Stage {
			p.Visits[i] = v
		}
	}
	return p
}

// Every claim of an explanation is held against the validator and the price: a
// start that is called impossible breaks a rule whoever comes, one that has a
// price stands in a sound plan which costs just that much more.
func TestExplanationsAreTrue(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(2, 12).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(10, 40).Draw(t, "days"))
		p, _, err := schedule.SearchCost(s, 60, seed)
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "published") {
			s = live(rand.New(rand.NewPCG(seed, 5)), publish(s, p, 1), 2)
			if p, _, err = schedule.SearchCost(s, 30, seed); err != nil {
				t.Fatal(err)
			}
		}
		if len(p.Visits) > 0 {
			v := p.Visits[rand.New(rand.NewPCG(seed, 6)).IntN(len(p.Visits))]
			trueOf(t, s, p, v)
		}
	})
}

// A start just before days on which the lead is away goes on after them, so the
// weather of those days does not forbid it: here Thursday afternoon, with the
// lead away on Friday and Monday, when the chance is below the least.
func TestAnAbsenceCanMakeAStartPossible(t *testing.T) {
	t.Parallel()
	s := BuildExample(1, 3, 5, 15)
	p, _, err := schedule.SearchCost(s, 60, 1)
	if err != nil {
		t.Fatal(err)
	}
	thursday, told := civil.On(2026, 12, 10).In(civil.Afternoon), false
	for _, v := range p.Visits {
		trueOf(t, s, p, v)
		x, err := schedule.Explain(s, p, v.Job, v.Stage)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range x.Sooner {
			told = told || v.Stage == schedule.RoofWork && n.Possible() && n.From <= thursday && thursday <= n.To
		}
	}
	if !told {
		t.Error("no roof work is told that it could start on " + thursday.Short())
	}
}

// A standing scaffold whose roof work could be over on Thursday has to come down
// before Friday, on which its firm has more standing than sets: a strike on Monday
// would linger, and no plan with one is told a price.
func TestAStrikeThatWouldLingerHasNoPrice(t *testing.T) {
	t.Parallel()
	s := BuildExample(0xb, 12, 2, 28)
	p, _, err := schedule.SearchCost(s, 60, 0xb)
	if err != nil {
		t.Fatal(err)
	}
	s = live(rand.New(rand.NewPCG(0xb, 5)), publish(s, p, 1), 2)
	if p, _, err = schedule.SearchCost(s, 30, 0xb); err != nil {
		t.Fatal(err)
	}
	told := false
	for _, v := range p.Visits {
		if v.Stage != schedule.ScaffoldStrike {
			continue
		}
		trueOf(t, s, p, v)
		x, err := schedule.Explain(s, p, v.Job, v.Stage)
		if err != nil {
			t.Fatal(err)
		}
		if x.Ref != "J-005" {
			continue
		}
		told = true
		if n := x.Sooner[0]; n.Possible() || !strings.Contains(n.Say(), "more scaffolds standing than its 5 sets") {
			t.Errorf("a strike on %s: %s", n.From.Short(), n.Say())
		}
	}
	if !told {
		t.Error("the plan has no strike of J-005")
	}
}

// Of many crews those are told about whose homes are nearest to the job, and how
// many the others are.
func TestOfManyCrewsTheNearestAreToldAbout(t *testing.T) {
	t.Parallel()
	s := BuildExample(4, 6, 40, 20)
	p, _, err := schedule.SearchCost(s, 6, 4)
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, v := range p.Visits {
		x, err := schedule.Explain(s, p, v.Job, v.Stage)
		if err != nil {
			t.Fatal(err)
		}
		j := s.Jobs[slices.IndexFunc(s.Jobs, func(j schedule.Job) bool { return j.ID == v.Job })]
		site := weather.Point{Lat: j.Site.Lat, Lon: j.Site.Lon}
		farthest, nearest, untold := 0.0, math.Inf(1), 0
		for _, c := range s.Crews {
			km := weather.Point{Lat: c.HomeLat, Lon: c.HomeLon}.KmTo(site)
			switch {
			case c.ID == v.Crew || !c.Active || c.Trade != v.Stage.Trade():
			case slices.ContainsFunc(x.Crews, func(o schedule.Other) bool { return o.ID == c.ID }):
				farthest = max(farthest, km)
			default:
				nearest, untold = min(nearest, km), untold+1
			}
		}
		if x.Unsaid == 0 {
			continue // scaffold firms, or work that only its own crew goes on with
		}
		if tried++; len(x.Crews) != 12 || x.Unsaid != untold || nearest < farthest {
			t.Errorf("%s: %d told about up to %.1f km off, %d not from %.1f km on, of which it says %d", v.Stage, len(x.Crews), farthest, untold, nearest, x.Unsaid)
		}
	}
	if tried == 0 {
		t.Error("no stage could be done by more than twelve others")
	}
}

// trueOf holds every claim of the explanation of one visit.
func trueOf(t rapid.TB, s schedule.Snapshot, p schedule.Plan, v schedule.Visit) {
	now := schedule.Laid(s, p)
	for _, b := range broken(s, now) {
		t.Errorf("as laid out: %s", b)
	}
	cost := schedule.Price(s, now)
	if cost.Total != p.Cost.Total {
		t.Errorf("as laid out the plan costs %s, it says %s", cost.Total, p.Cost.Total)
	}
	x, err := schedule.Explain(s, p, v.Job, v.Stage)
	if err != nil {
		t.Fatal(err)
	}
	if x.Visit == nil || !slices.Equal(x.Visit.HalfDays, v.HalfDays) {
		t.Fatalf("%s is planned and the explanation has %+v", v.Stage, x.Visit)
	}
	for _, n := range x.Sooner {
		claim(t, s, now, v, n, cost.Total)
	}
	for _, o := range x.Crews {
		if o.At.Known() {
			priced(t, s, o.With(), cost.Total, o.More, o.Items, o.Say())
		} else if len(o.Reasons) == 0 {
			t.Errorf("%s cannot do it, and nothing says why", o.Name)
		}
		if !o.Same {
			impossible(t, s, now, v, v.First(), o.Say(), o)
		}
	}
	sayings(t, x)
}

func sayings(t rapid.TB, x schedule.Explanation) {
	for _, n := range slices.Concat(x.Sooner, x.Then) {
		if said := n.Say(); !strings.HasSuffix(said, ".") || strings.Contains(said, "%!") || strings.Contains(said, "-5877") {
			t.Errorf("%q", said)
		}
		if !n.Possible() && len(n.Reasons) == 0 {
			t.Errorf("from %s it is impossible, and nothing says why", n.From.Short())
		}
	}
}

func claim(t rapid.TB, s schedule.Snapshot, now schedule.Plan, v schedule.Visit, n schedule.Instead, total schedule.Pence) {
	if n.Possible() {
		priced(t, s, n.With(), total, n.More, n.Items, n.Say())
		return
	}
	for h := n.From; h <= n.To; h++ {
		if r := n.Reasons[0]; r.Rule == schedule.RuleHeld && strings.HasPrefix(r.Limit, h.Date().String()) {
			continue // a booked day is held as a day; in which half of it, the plan chooses
		}
		impossible(t, s, now, v, h, n.Say(), schedule.Other{})
	}
}

func priced(t rapid.TB, s schedule.Snapshot, with schedule.Plan, total, more schedule.Pence, items []schedule.CostDiff, say string) {
	for _, b := range broken(s, with) {
		t.Errorf("%s It breaks %s", say, b)
	}
	if got := schedule.Price(s, with).Total - total; got != more {
		t.Errorf("%s It costs %s more.", say, got)
	}
	sum := schedule.Pence(0)
	for _, d := range items {
		sum += d.More
	}
	if sum != more {
		t.Errorf("%s The items sum to %s.", say, sum)
	}
}

// impossible moves the visit alone to a half-day, by whoever could come; each
// way must break a rule.
func impossible(t rapid.TB, s schedule.Snapshot, now schedule.Plan, v schedule.Visit, h civil.HalfDay, say string, only schedule.Other) {
	try := func(w schedule.Visit) {
		if w.HalfDays == nil || strings.Contains(say, "In progress since") {
			return // who carries on what nobody published, the planner settles
		}
		if len(broken(s, moved(now, w))) == 0 {
			t.Errorf("%s on %s is called impossible, and the validator finds nothing wrong with it: %s", v.Stage, h.Short(), say)
		}
	}
	if v.Stage.Trade() == schedule.ScaffoldTrade {
		for _, f := range s.ScaffoldFirms {
			if only.Name == "" || only.ID == f.ID {
				w := v
				w.ScaffoldFirm, w.HalfDays = f.ID, run(s, nil, h, len(v.HalfDays))
				try(w)
			}
		}
		return
	}
	for _, c := range s.Crews {
		if c.Trade == v.Stage.Trade() && c.Active && (only.Name == "" || only.ID == c.ID) {
			w := v
			w.Crew, w.HalfDays = c.ID, run(s, &c, h, len(v.HalfDays))
			try(w)
		}
	}
}

// run gives the half-days from one on in which somebody works; nil when they do
// not in the first.
func run(s schedule.Snapshot, c *schedule.Crew, from civil.HalfDay, n int) (list []civil.HalfDay) {
	works := func(d civil.Date) bool {
		if !schedule.WorkingDay(d, s.Holidays) {
			return false
		}
		need := map[schedule.Trade]string{schedule.RoofTrade: "lead_roof", schedule.ElectricalTrade: "electrical"}
		return c == nil || slices.ContainsFunc(c.Members, func(m schedule.Membership) bool {
			return m.Lead && m.Person.Active && m.On(d) && m.Holds(need[c.Trade], d)
		})
	}
	if !works(from.Date()) {
		return nil
	}
	for h := from; len(list) < n && h.Date() < s.FirstDay+civil.Date(s.Days)+60; h++ {
		if works(h.Date()) {
			list = append(list, h)
		}
	}
	return list
}

// The exact test and the search agree on what is possible.
func TestRoomAndSearchAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(1, 12).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(8, 30).Draw(t, "days"))
		p, _, err := schedule.SearchCost(s, 40, seed)
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(seed, 6))
		for range 12 {
			j := s.Jobs[r.IntN(len(s.Jobs))]
			k := j.Stages[r.IntN(len(j.Stages))]
			if k.State == schedule.StateDone {
				continue
			}
			h := s.FirstDay.In(civil.Morning) + civil.HalfDay(r.IntN(2*s.Days))
			q := schedule.Request{Job: j.ID, Stage: k.Kind, At: h}
			room, search, ok := asks(s, p, q, h)
			// The room knows nothing of scaffolds that linger on a day without a free
			// set, as the job's own may that is struck later; the search places no
			// strike so.
			later := p
			later.Visits = slices.DeleteFunc(slices.Clone(p.Visits), func(v schedule.Visit) bool { return v.Job == j.ID && v.Stage == schedule.ScaffoldStrike })
			if lingers := room && !search && k.Kind == schedule.ScaffoldStrike && overfull(s, later); ok && room != search && !lingers {
				t.Errorf("%s of %s on %s: possible %t, found %t", k.Kind, j.Ref, h.Short(), room, search)
			}
		}
	})
}

// overfull tells whether a scaffold firm has more scaffolds standing on some day
// than sets.
func overfull(s schedule.Snapshot, p schedule.Plan) bool {
	for _, f := range s.ScaffoldFirms {
		for d := s.FirstDay; d < s.FirstDay+civil.Date(s.Days); d++ {
			if sets, _ := schedule.SetsOn(s, p.Visits, f.ID, d); sets > f.Sets {
				return true
			}
		}
	}
	return false
}

// The quick test of an explanation, which leaves out what cannot matter and keeps
// what it found for one start for the next, answers as the exact one does.
func TestQuickRoomIsExact(t *testing.T) {
	t.Parallel()
	asked, possible := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, rapid.IntRange(1, 12).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(8, 30).Draw(t, "days"))
		p, _, err := schedule.SearchCost(s, 10, seed)
		if err != nil {
			t.Fatal(err)
		}
		schedule.QuickAndExact(s, p, func(k schedule.StageKind, at civil.HalfDay, quick, exact bool) {
			if asked++; exact {
				possible++
			}
			if quick != exact {
				t.Errorf("%s on %s: possible %t, quickly %t", k, at.Short(), exact, quick)
			}
		})
	})
	if asked == 0 || possible == 0 {
		t.Errorf("%d starts asked about, %d possible", asked, possible)
	}
}

func asks(s schedule.Snapshot, p schedule.Plan, q schedule.Request, h civil.HalfDay) (room, search, ok bool) {
	defer func() { recover() }()
	room, search = schedule.RoomAndSearch(s, p, q, h)
	return room, search, true
}
