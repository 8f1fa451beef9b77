package schedule_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule"
)

// What must be true of any firm and any plan, whatever the search does.

// drawnFirm is any firm in mid-work, of so many jobs and days at most; often
// with a published plan.
func drawnFirm(t *rapid.T, jobs, days int) (s schedule.Snapshot, seed uint64) {
	seed = rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
	s = BuildExample(seed, rapid.IntRange(1, jobs).Draw(t, "jobs"), rapid.IntRange(2, 6).Draw(t, "crews"), rapid.IntRange(12, days).Draw(t, "days"))
	r := rand.New(rand.NewPCG(seed, 11))
	ownRates(r, &s)
	if rapid.Bool().Draw(t, "published") {
		p, _, err := schedule.SearchCost(s, 10, seed)
		if err != nil {
			t.Fatal(err)
		}
		s = live(r, publish(s, p, 1), 1+r.IntN(3))
	}
	return s, seed
}

// planned gives a plan and the lower bound that the search proved.
func planned(t *rapid.T, s schedule.Snapshot, schedules int, seed uint64) (schedule.Plan, schedule.Pence) {
	bound := schedule.Pence(0)
	p, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: schedules, Progress: func(p schedule.Progress) { bound = max(bound, p.Bound) }}, seed)
	if err != nil {
		t.Fatal(err)
	}
	return p, bound
}

func keepsRules(t *rapid.T, what string, s schedule.Snapshot, p schedule.Plan) {
	for _, b := range schedule.Validate(s, p) {
		t.Errorf("%s: %s: %s", what, b.Rule, b.Say)
	}
}

// A crew more that is paid nothing while it idles, with the calendar of another,
// makes no plan dearer or unsound and proves no higher least; and a search that starts from the old plan
// never ends dearer than that plan.
func TestAFreeCrewMoreNeverCostsMore(t *testing.T) {
	t.Parallel()
	held, firms := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 9, 32)
		p, bound := planned(t, s, 30, seed)
		more := s
		crew := s.Crews[rapid.IntRange(0, len(s.Crews)-1).Draw(t, "like")]
		crew.ID, crew.Name, crew.HalfDayCost = id(2, 500), "Z free", 0
		more.Crews = append(slices.Clone(s.Crews), crew)
		keepsRules(t, "with a crew more", more, p)
		if was, is := schedule.Price(s, p).Total, schedule.Price(more, p).Total; is != was {
			t.Errorf("the plan costs %s, with a crew more %s", was, is)
		}
		if _, freer := planned(t, more, 30, seed); bound > 0 && freer > bound {
			t.Errorf("%s is proven the least, and with a crew more %s", bound, freer)
		}
		if firms++; neverDearer(t, more, p, seed) {
			held++
		}
	})
	mostly(t, held, firms)
}

// neverDearer publishes a plan, plans again and holds the result against it.
// It tells whether there was something to hold.
func neverDearer(t *rapid.T, s schedule.Snapshot, p schedule.Plan, seed uint64) bool {
	s = publish(s, p, 2)
	if len(schedule.Validate(s, p)) > 0 {
		return false // once published, something is held that the plan had moved: it is no plan of this problem
	}
	again, _ := planned(t, s, 30, seed+1)
	keepsRules(t, "from the old plan", s, again)
	if kept := schedule.Price(s, p).Total; again.Cost.Total > kept {
		t.Errorf("keeping the old plan costs %s, planning from it %s", kept, again.Cost.Total)
	}
	return true
}

// mostly fails a test that had something to hold in too few of its firms.
func mostly(t *testing.T, held, firms int) {
	t.Helper()
	if held < firms/2 {
		t.Errorf("only %d of %d firms had something to hold", held, firms)
	}
}

// With more gangs and sets and shorter notice the old plan is still a plan, at
// the same cost; so nothing that is proven of the looser problem can lie above
// it (what was proven of the tighter one may lie below: what is booked inside a
// longer notice is held), and a search that starts from the old plan does not end above it.
func TestLooserScaffoldFirmsNeverCostMore(t *testing.T) {
	t.Parallel()
	held, firms := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 9, 32)
		p, bound := planned(t, s, 30, seed)
		if bound > p.Cost.Total {
			t.Errorf("the plan costs %s, and %s is proven the least", p.Cost.Total, bound)
		}
		loose := s
		loose.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
		for i := range loose.ScaffoldFirms {
			f := &loose.ScaffoldFirms[i]
			f.GangsPerDay += rapid.IntRange(0, 2).Draw(t, "gangs")
			f.Sets += rapid.IntRange(0, 3).Draw(t, "sets")
			f.ErectNotice = max(0, f.ErectNotice-rapid.IntRange(0, 3).Draw(t, "erect notice"))
			f.StrikeNotice = max(0, f.StrikeNotice-rapid.IntRange(0, 3).Draw(t, "strike notice"))
		}
		if was, is := schedule.Price(s, p).Total, schedule.Price(loose, p).Total; is != was {
			t.Errorf("the plan costs %s, with looser firms %s", was, is)
		}
		if firms++; len(schedule.Validate(loose, p)) > 0 {
			return // a visit that found no gang before could now have stayed where it was
		}
		_, looser := planned(t, loose, 30, seed+1)
		if looser > p.Cost.Total {
			t.Errorf("with looser firms %s is proven the least, though there is a plan for %s", looser, p.Cost.Total)
		}
		if neverDearer(t, loose, p, seed) {
			held++
		}
	})
	mostly(t, held, firms)
}

// Nothing that one search proves is above what another finds.
func TestNoPlanIsCheaperThanWhatIsProven(t *testing.T) {
	t.Parallel()
	held, firms := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 9, 32)
		cheapest, highest := schedule.Pence(1<<60), schedule.Pence(0)
		for i := range uint64(3) {
			p, bound := planned(t, s, 5+40*int(i), seed+i)
			cheapest, highest = min(cheapest, p.Cost.Total), max(highest, bound)
		}
		if highest > cheapest {
			t.Errorf("%s is proven the least, and there is a plan for %s", highest, cheapest)
		}
		if firms++; highest > 0 {
			held++
		}
	})
	mostly(t, held, firms)
}

// Names and identifiers are nothing to what a plan costs and which rules it
// keeps: all jobs, crews and scaffold firms are called otherwise, in another
// order, and get other identifiers.
func TestOtherNamesCostTheSame(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 4, 16)
		p, _ := planned(t, s, 10, seed)
		for _, one := range append(badPlans(s, p, seed)[:1], p) {
			text, err := schedule.WriteInstance(s)
			if err != nil {
				t.Fatal(err)
			}
			file, err := schedule.WritePlan(s, one)
			if err != nil {
				t.Fatal(err)
			}
			renamed, err := schedule.ReadInstance(renamedText(text))
			if err != nil {
				t.Fatal(err)
			}
			got, err := schedule.ReadPlan(renamed, renamedText(file))
			if err != nil {
				t.Fatal(err)
			}
			if was, is := schedule.Price(s, one), schedule.Price(renamed, got); was.Total != is.Total {
				t.Errorf("it costs %s, under other names %s", was.Total, is.Total)
			}
			if was, is := rules(schedule.Validate(s, one)), rules(schedule.Validate(renamed, got)); was != is {
				t.Errorf("it breaks %s, under other names %s", was, is)
			}
		}
	})
}

// Planned under other names, in another order and with other identifiers, a firm
// gets a plan that costs the same to the penny: no two crews, scaffold firms or jobs
// that are drawn are alike in everything but their names.
func TestOtherNamesArePlannedAtTheSameCost(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 5, 20)
		text, err := schedule.WriteInstance(s)
		if err != nil {
			t.Fatal(err)
		}
		renamed, err := schedule.ReadInstance(renamedText(text))
		if err != nil {
			t.Fatal(err)
		}
		was, _ := planned(t, s, 60, seed)
		if is, _ := planned(t, renamed, 60, seed); is.Cost.Total != was.Cost.Total {
			t.Errorf("it is planned at %s, under other names at %s", was.Cost.Total, is.Cost.Total)
		}
	})
}

var (
	identifiers = regexp.MustCompile(`"(id|site_id|base)":\s*"[0-9a-f-]{36}",?`)
	numbered    = regexp.MustCompile(`\b(J-|Roof |Electrical |Northgate |Southwell |Eastcote )(\d+)\b`)
)

// renamedText takes out every identifier and calls the last of each kind the
// first.
func renamedText(text []byte) []byte {
	text = identifiers.ReplaceAll(text, nil)
	return numbered.ReplaceAllFunc(text, func(name []byte) []byte {
		parts := numbered.FindSubmatch(name)
		n, err := strconv.Atoi(string(parts[2]))
		if err != nil {
			return name
		}
		return fmt.Appendf(nil, "X%s%03d", parts[1], 900-n)
	})
}
