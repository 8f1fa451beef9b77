package schedule_test

import (
	"context"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

func solveFor(t *testing.T, s schedule.Snapshot, f schedule.Futures, aim schedule.Aim, stop schedule.Stop) schedule.Plan {
	t.Helper()
	p, err := schedule.SolveFor(context.Background(), s, f, aim, stop, 1)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// tight is a firm with more to do than fits its promises, under changing skies.
func tight(t *testing.T) (schedule.Snapshot, schedule.Futures) {
	s := firm(t, 12)
	r := rand.New(rand.NewPCG(3, 3))
	for i := range s.Jobs {
		s.Jobs[i].PromisedOn = s.FirstDay + civil.Date(12+r.IntN(24))
	}
	return s, randomSkies(s, 50, 3, 0.6)
}

// An aim takes, of the plans that it compared, the one that the replay of each
// says is best; each is a sound plan of the facts as they are, at their price.
func TestAnAimTakesTheBestOfWhatItCompared(t *testing.T) {
	t.Parallel()
	s, f := tight(t)
	for _, aim := range []schedule.Aim{schedule.CheapestOnAverage, schedule.KeepsPromises} {
		p := solveFor(t, s, f, aim, schedule.Stop{Schedules: 200})
		mustHold(t, s, p)
		if p.Hash != s.HashOf() || p.Cost.Total != schedule.Price(s, p).Total {
			t.Errorf("%s: the plan has the hash or the cost of other facts", aim)
		}
		c := p.Choice
		if c == nil || len(c.Compared) < 2 || c.Aim != aim {
			t.Fatalf("%s: choice %+v", aim, c)
		}
		again := schedule.Replay(s, p, f)
		if !reflect.DeepEqual(*p.Replay, again) || c.Compared[0].Mean != again.Cost.Mean || c.Compared[0].Kept != again.Kept || c.Compared[0].Cost != p.Cost.Total {
			t.Errorf("%s: what is said of the plan is not its own replay: %+v", aim, c.Compared[0])
		}
		for _, o := range c.Compared[1:] {
			worse := c.Compared[0].Mean > o.Mean
			if aim == schedule.KeepsPromises {
				worse = c.Compared[0].Kept < o.Kept || c.Compared[0].Kept == o.Kept && worse
			}
			if worse {
				t.Errorf("%s: %+v was taken and not %+v", aim, c.Compared[0], o)
			}
		}
		if !strings.Contains(c.Say, "plans were compared") || !strings.Contains(c.Say, "of 12 promises") || !strings.HasSuffix(c.Say, ".") {
			t.Errorf("%s: %q", aim, c.Say)
		}
	}
}

func TestAnAimIsReproducible(t *testing.T) {
	t.Parallel()
	s, f := tight(t)
	a := solveFor(t, s, f, schedule.KeepsPromises, schedule.Stop{Schedules: 100})
	if b := solveFor(t, s, f, schedule.KeepsPromises, schedule.Stop{Schedules: 100}); !reflect.DeepEqual(a, b) {
		t.Error("the same facts, futures, aim, budget and seed gave two plans")
	}
}

// The rates' own plan is Solve's, with its replay beside it.
func TestLowestCostIsSolve(t *testing.T) {
	t.Parallel()
	s, f := tight(t)
	p, want := solveFor(t, s, f, schedule.LowestCost, schedule.Stop{Schedules: 60}), plan(t, s, 60, 1)
	if p.Replay == nil || p.Choice != nil {
		t.Fatalf("replay %v, choice %v", p.Replay, p.Choice)
	}
	p.Replay = nil
	if !reflect.DeepEqual(p, want) {
		t.Error("the plan is another than Solve's")
	}
}

// A search that ends early chooses among what it has; one without futures says
// that nobody can say.
func TestAnAimThatCannotCompareSaysSo(t *testing.T) {
	t.Parallel()
	s, f := tight(t)
	ended, end := context.WithCancel(context.Background())
	end()
	p, err := schedule.SolveFor(ended, s, f, schedule.KeepsPromises, schedule.Stop{Schedules: 200}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if p.Choice == nil || len(p.Choice.Compared) != 1 || strings.Contains(p.Choice.Say, "plans were compared") {
		t.Errorf("choice %+v", p.Choice)
	}
	p = solveFor(t, s, schedule.Futures{}, schedule.CheapestOnAverage, schedule.Stop{Schedules: 50})
	if p.Choice == nil || !strings.Contains(p.Choice.Say, "Nobody can say") || p.Replay != nil {
		t.Errorf("choice %+v, replay %v", p.Choice, p.Replay)
	}
	unknown := skies(s, 50, func(uuid.UUID, weather.Task, civil.HalfDay, int) (bool, bool) { return false, false })
	p = solveFor(t, s, unknown, schedule.CheapestOnAverage, schedule.Stop{Schedules: 50})
	if !strings.Contains(p.Choice.Say, "nobody can say") || strings.Contains(p.Choice.Say, "£") || p.Choice.Compared[0].CannotSay != 12-len(notFinished(p)) {
		t.Errorf("choice %+v", p.Choice)
	}
}

// notFinished gives the jobs whose commissioning has no place.
func notFinished(p schedule.Plan) (list []uuid.UUID) {
	for _, u := range p.Unplanned {
		if u.Stage == schedule.Commissioning {
			list = append(list, u.Job)
		}
	}
	return list
}

// Progress counts the whole budget, and its best is a plan at the firm's rates.
func TestAnAimTellsHowFarItIs(t *testing.T) {
	t.Parallel()
	s, f := tight(t)
	var told []schedule.Progress
	p := solveFor(t, s, f, schedule.CheapestOnAverage, schedule.Stop{Schedules: 300, Progress: func(p schedule.Progress) { told = append(told, p) }})
	if len(told) == 0 {
		t.Fatal("nothing is told")
	}
	if !slices.IsSortedFunc(told, func(a, b schedule.Progress) int { return a.Schedules - b.Schedules }) {
		t.Errorf("schedules go back: %v", told)
	}
	last := told[len(told)-1]
	least := p.Cost.Total
	for _, c := range p.Choice.Compared {
		least = min(least, c.Cost)
	}
	if last.Of != 300 || last.Schedules > 300 || last.Best < least {
		t.Errorf("at the end %+v; the cheapest plan costs %s", last, least)
	}
}

func TestAimFromKey(t *testing.T) {
	t.Parallel()
	for _, a := range schedule.Aims {
		if got, err := schedule.AimFromKey(string(a)); got != a || err != nil {
			t.Errorf("%q is read as %q, %v", a, got, err)
		}
	}
	if got, err := schedule.AimFromKey(""); got != schedule.LowestCost || err != nil {
		t.Errorf("empty is read as %q, %v", got, err)
	}
	if _, err := schedule.AimFromKey("best"); err == nil || !strings.Contains(err.Error(), "keeps_promises") {
		t.Errorf("another word: %v", err)
	}
}
