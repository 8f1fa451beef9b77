package schedule_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

func instance(t testing.TB, s schedule.Snapshot) []byte {
	t.Helper()
	text, err := schedule.WriteInstance(s)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func planFile(t testing.TB, s schedule.Snapshot, p schedule.Plan) []byte {
	t.Helper()
	text, err := schedule.WritePlan(s, p)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func readBack(t testing.TB, text []byte) schedule.Snapshot {
	t.Helper()
	s, err := schedule.ReadInstance(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// midWork is a firm with a published plan some days into it, and a plan made
// from there.
func midWork(t testing.TB, seed uint64, jobs, crews, days int) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	s := BuildExample(seed, jobs, crews, days)
	s = publish(s, plan(t, s, 8, seed), int(seed))
	s = live(rand.New(rand.NewPCG(seed, 3)), s, 1+int(seed%5))
	return s, plan(t, s, 12, seed)
}

// What is read back plans, prices and validates as what was written, and is
// written again in the same bytes whatever the order of the facts.
func TestAnInstanceReadBackIsTheSameProblem(t *testing.T) {
	t.Parallel()
	for seed := range uint64(12) {
		s, p := midWork(t, seed, 6+int(seed), 2+int(seed%5), 30)
		text := instance(t, s)
		back := readBack(t, text)
		if back.HashOf() != s.HashOf() {
			t.Fatalf("seed %d: another hash", seed)
		}
		if again := instance(t, back); !bytes.Equal(again, text) {
			t.Fatalf("seed %d: written again it differs:\n%s", seed, firstDifference(text, again))
		}
		if mixed := instance(t, shuffled(s, seed)); !bytes.Equal(mixed, text) {
			t.Fatalf("seed %d: in another order it differs:\n%s", seed, firstDifference(text, mixed))
		}
		for _, one := range append(badPlans(s, p, seed), p) {
			file := planFile(t, s, one)
			got, err := schedule.ReadPlan(back, file)
			if err != nil {
				t.Fatal(err)
			}
			if want, cost := schedule.Price(s, one), schedule.Price(back, got); !reflect.DeepEqual(want.By(), cost.By()) || want.Total != cost.Total {
				t.Fatalf("seed %d: costs %v, read back %v", seed, want.By(), cost.By())
			}
			if want, broken := rules(schedule.Validate(s, one)), rules(schedule.Validate(back, got)); want != broken {
				t.Fatalf("seed %d: breaks %q, read back %q", seed, want, broken)
			}
			if again, err := schedule.WritePlan(back, got); err != nil || !bytes.Equal(again, file) {
				t.Fatalf("seed %d: the plan written again differs (%v):\n%s", seed, err, firstDifference(file, again))
			}
		}
		if again := plan(t, back, 12, seed); !reflect.DeepEqual(again.Cost.Total, p.Cost.Total) || again.Hash != p.Hash {
			t.Fatalf("seed %d: planned from the file it costs %s, was %s", seed, again.Cost.Total, p.Cost.Total)
		}
	}
}

func rules(broken []schedule.Violation) string {
	count := map[string]int{}
	for _, b := range broken {
		count[b.Rule]++
	}
	return fmt.Sprint(count)
}

func firstDifference(a, b []byte) string {
	x, y := strings.Split(string(a), "\n"), strings.Split(string(b), "\n")
	for i := range x {
		if i >= len(y) || x[i] != y[i] {
			return fmt.Sprintf("line %d\n%s\n%s", i+1, x[i], strings.Join(y[min(i, len(y)):min(i+1, len(y))], ""))
		}
	}
	return "it goes on after the end"
}

// shuffled gives the same facts in another order.
func shuffled(s schedule.Snapshot, seed uint64) schedule.Snapshot {
	r := rand.New(rand.NewPCG(seed, 4))
	mix(r, &s.Holidays)
	mix(r, &s.Crews)
	mix(r, &s.ScaffoldFirms)
	mix(r, &s.Jobs)
	mix(r, &s.Bookings)
	mix(r, &s.Outlooks)
	for i := range s.Jobs {
		mix(r, &s.Jobs[i].Stages)
		mix(r, &s.Jobs[i].Consents)
		mix(r, &s.Jobs[i].Kit)
	}
	return s
}

func mix[T any](r *rand.Rand, list *[]T) {
	mixed := append([]T(nil), *list...)
	r.Shuffle(len(mixed), func(i, k int) { mixed[i], mixed[k] = mixed[k], mixed[i] })
	*list = mixed
}

// badPlans are a plan with some of its visits moved, lost, doubled, given to
// others or to nobody, in places that break rules.
func badPlans(s schedule.Snapshot, p schedule.Plan, seed uint64) (bad []schedule.Plan) {
	r := rand.New(rand.NewPCG(seed, 5))
	for range 6 {
		one := p
		one.Visits = append([]schedule.Visit(nil), p.Visits...)
		for range 1 + r.IntN(6) {
			if len(one.Visits) == 0 {
				break
			}
			i := r.IntN(len(one.Visits))
			v := &one.Visits[i]
			switch r.IntN(6) {
			case 0: // lost without a word
				one.Visits = append(one.Visits[:i:i], one.Visits[i+1:]...)
			case 1: // moved to any half-days
				v.HalfDays = append([]civil.HalfDay(nil), v.HalfDays...)
				for k := range v.HalfDays {
					v.HalfDays[k] = (s.FirstDay + civil.Date(r.IntN(s.Days))).In(civil.Half(r.IntN(2)))
				}
			case 2: // another crew, of any trade
				if v.Crew != uuid.Nil {
					v.Crew = s.Crews[r.IntN(len(s.Crews))].ID
				}
			case 3: // a scaffold firm that nobody knows
				if v.ScaffoldFirm != uuid.Nil {
					v.ScaffoldFirm = id(4, 900)
				}
			case 4: // a job that nobody knows
				v.Job = id(5, 900)
			case 5: // late by a week
				v.HalfDays = append([]civil.HalfDay(nil), v.HalfDays...)
				for k := range v.HalfDays {
					v.HalfDays[k] += 14
				}
			}
		}
		bad = append(bad, one)
	}
	return bad
}

// leftOut are the fields of a snapshot and of a plan that a file does not hold,
// and why.
var leftOut = map[string]string{
	"HeldOffer.For":                 "a person's name",
	"HeldOffer.Contact":             "of a person",
	"HeldOffer.Job":                 "asked for, not planned: what is kept free for it counts",
	"HeldOffer.More":                "told once, not priced",
	"HeldOffer.Until":               "while it is in the facts it holds",
	"HeldOffer.ToldBy":              "a person's name",
	"HeldOffer.ToldAt":              "does not bear on the problem",
	"HeldOffer.State":               "while it is in the facts it holds",
	"HeldOffer.EndedBy":             "a person's name",
	"HeldOffer.EndedAt":             "does not bear on the problem",
	"HeldOffer.Visits Visit.Job":    "the offer's own, which is in no plan",
	"HeldOffer.Visits Visit.Chance": "not priced",
	"HeldOffer.Visits Visit.Why":    "not priced",
	"CostLine.Stage":                "stands in the line's sentence",
	"Plan.Replay":                   "rests on futures that are not in the file",
	"Plan.Choice":                   "rests on futures that are not in the file",
	"Firm.ID":                       "whose plan it is does not bear on the problem",
	"Firm.Name":                     "whose plan it is does not bear on the problem",
	"Firm.Division":                 "the holidays themselves are in the file",
	"Firm.Hours":                    "half-days are counted, not hours; chances are for the half-days as the firm works them",
	"Firm.BaseLat":                  "crews travel from their homes",
	"Firm.BaseLon":                  "crews travel from their homes",
	"Holiday.Title":                 "only the day counts",
	"Holiday.Source":                "only the day counts",
	"Person.Name":                   "a person's name",
	"Person.Role":                   "of a person; who leads is in the membership",
	"Person.Phone":                  "a person's",
	"Absence.Reason":                "of a person, and may tell of illness",
	"ScaffoldFirm.Email":            "how to reach it does not bear on the problem",
	"ScaffoldFirm.Phone":            "how to reach it does not bear on the problem",
	"Job.Customer":                  "a person's name and how to reach him",
	"Job.Modules":                   "the stages' half-days say how long it takes",
	"Job.ModuleWatts":               "does not bear on the problem",
	"Job.ModuleKg":                  "does not bear on the problem",
	"Job.ModuleM2":                  "the chances know the wind on it",
	"Job.Note":                      "free text, may speak of people",
	"Job.CreatedAt":                 "does not bear on the problem",
	"Site.Address":                  "of a person",
	"Site.Postcode":                 "of a person",
	"Site.Terrain":                  "the chances know it",
	"Site.WorkingHeightM":           "the chances know it",
	"Site.Facts":                    "for the risk assessment",
	"Kit.Quantity":                  "only the days count",
	"Booking.ID":                    "the job and the UID say which it is",
	"Booking.Sequence":              "for calendars",
	"Booking.ChangedAt":             "does not bear on the problem",
	"Chance.Basis":                  "where a chance comes from does not bear on what it costs",
	"Pin.Why":                       "free text, may speak of people",
	"Pin.SetBy":                     "a person's name",
	"Pin.SetAt":                     "does not bear on the problem",
	"Plan.MadeBy":                   "a person's name",
	"Plan.MadeAt":                   "does not bear on the problem",
	"Plan.PublishedBy":              "a person's name",
	"Plan.PublishedAt":              "does not bear on the problem",
}

// everyField is a snapshot and a plan of it in which no field is empty.
func everyField() (schedule.Snapshot, schedule.Plan) {
	d := firstMonday
	member := schedule.Membership{Person: schedule.Person{ID: id(1, 1), Name: "PRIVATE", Role: schedule.CrewLead, Phone: "PRIVATE", Active: true},
		From: d - 400, Until: d + 400, Lead: true, Absences: []schedule.Absence{{From: d + 3, Until: d + 4, Reason: "PRIVATE"}},
		Skills: []schedule.Skill{{Kind: "lead_roof", From: d - 400, Until: d + 300}}}
	site := schedule.Site{ID: id(6, 1), Address: "PRIVATE", Postcode: "PRIVATE", Lat: 52.5, Lon: -1.5, Terrain: "III", WorkingHeightM: 7, Facts: map[string]any{"PRIVATE": true}}
	job := schedule.Job{ID: id(5, 1), Ref: "J-1", State: schedule.JobOpen, Customer: schedule.Customer{ID: id(7, 1), Name: "PRIVATE", Email: "PRIVATE", Phone: "PRIVATE"},
		Site: site, Modules: 9, ModuleWatts: 430, ModuleKg: 21, ModuleM2: 2, ReadyOn: d + 1, PromisedOn: d + 9, PromiseTold: true, Confirmed: []schedule.Confirmation{{Stage: schedule.RoofWork, On: d + 3}}, Note: "PRIVATE", CreatedAt: d.At(1, 1, time.UTC),
		Stages: []schedule.Stage{{Kind: schedule.FirstFix, HalfDays: 2, State: schedule.StateStarted, StartedOn: d - 1, DoneOn: d - 1},
			{Kind: schedule.ScaffoldErection, HalfDays: 1, State: schedule.StatePlanned, StartedOn: civil.NoDate, DoneOn: civil.NoDate}},
		Consents: []schedule.Consent{{Kind: schedule.Landlord, Stage: schedule.RoofWork, State: schedule.ConsentApplied, ExpectedOn: d + 2, GrantedOn: d + 3}},
		Kit:      []schedule.Kit{{Item: "rails", Quantity: 3, DueOn: d + 2, ArrivedOn: d + 1}}}
	p := schedule.Plan{ID: id(8, 1), Version: 3, State: schedule.Published, Base: id(8, 2), FirstDay: d, Days: 30, Seed: 5, Schedules: 40, Hash: [32]byte{1},
		Visits: []schedule.Visit{{Job: job.ID, Stage: schedule.FirstFix, Crew: id(2, 1), ScaffoldFirm: id(4, 1), HalfDays: []civil.HalfDay{d.In(civil.Morning)},
			Chance: weather.Chance{Known: true, P: 0.5, Basis: "PRIVATE"}, Why: "first free"}},
		Cost:      schedule.Cost{Total: 7, Lines: []schedule.CostLine{{Item: schedule.Travel, Job: job.ID, Crew: id(2, 1), Amount: 7, Why: "far"}}},
		Unplanned: []schedule.Unplanned{{Job: job.ID, Stage: schedule.ScaffoldErection, Why: "no gang"}},
		MadeBy:    "PRIVATE", MadeAt: d.At(1, 1, time.UTC), PublishedBy: "PRIVATE", PublishedAt: d.At(2, 1, time.UTC)}
	s := schedule.Snapshot{
		Firm: schedule.Firm{ID: id(0, 1), Name: "PRIVATE", TimeZone: "Europe/London", Division: "PRIVATE", Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 52, BaseLon: -1},
		Now:  d.At(7, 0, time.UTC), FirstDay: d, Days: 30, Frozen: 2,
		Holidays: []schedule.Holiday{{Day: d + 18, Title: "PRIVATE", Source: "PRIVATE"}},
		Crews:    []schedule.Crew{{ID: id(2, 1), Name: "Roof 1", Trade: schedule.RoofTrade, HomeLat: 52, HomeLon: -1, HalfDayCost: 260_00, Members: []schedule.Membership{member}, Active: true}},
		ScaffoldFirms: []schedule.ScaffoldFirm{{ID: id(4, 1), Name: "Northgate", Email: "PRIVATE", Phone: "PRIVATE", GangsPerDay: 2, Sets: 6, ErectNotice: 5, StrikeNotice: 3,
			VisitPrice: 800_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true, YardLat: 52.4, YardLon: -1.2, ReachKm: 60, CancelNotice: 4, CancelCharge: 90_00, GustLimit: 12}},
		Jobs: []schedule.Job{job},
		Bookings: []schedule.Booking{{ID: id(9, 1), Job: job.ID, ScaffoldFirm: id(4, 1), UID: "u1", State: schedule.BookingCountered, ErectOn: d + 4, StrikeOn: d + 9, Sequence: 2,
			OfferedOn: d + 6, ChangedAt: d.At(1, 1, time.UTC)}},
		Refused:  []schedule.RefusedDay{{Job: job.ID, ScaffoldFirm: id(4, 1), On: d + 5}},
		Outlooks: []schedule.Outlook{{Site: site.ID, By: id(4, 1), Task: weather.ScaffoldErection, First: d.In(civil.Morning), Chances: []weather.Chance{{Known: true, P: 0.5, Basis: "PRIVATE"}}}},
		Pins: []schedule.Pin{{ID: id(7, 9), Job: job.ID, Stage: schedule.FirstFix, Kind: schedule.PinStart, Who: id(2, 1), On: d + 5, Half: civil.Morning,
			Why: "PRIVATE", SetBy: "PRIVATE", SetAt: d.At(1, 1, time.UTC)}},
		Travel: []schedule.Leg{{From: "Roof 1", To: "J-1", Km: 12.5}},
		Base:   &p,
	}
	s.Offers = []schedule.HeldOffer{{ID: id(10, 1), For: "PRIVATE", Contact: "PRIVATE", ToldBy: "PRIVATE", EndedBy: "PRIVATE", State: schedule.OfferHeld,
		Visits: []schedule.Visit{{Job: id(10, 1), Stage: schedule.RoofWork, Crew: id(2, 1), ScaffoldFirm: id(4, 1), HalfDays: []civil.HalfDay{(d + 2).In(civil.Morning)}, Why: "PRIVATE"}}}}
	return s, p
}

// Every field of the facts is in the file, or in the list of those that are
// left out with the reason: each is changed in turn, and the file must change
// with it or not. What is in the file is also read back.
func TestEveryFieldIsInTheFileOrLeftOutForAReason(t *testing.T) {
	t.Parallel()
	used := map[string]bool{}
	s, _ := everyField()
	was := instance(t, s)
	for i := range leaves(reflect.ValueOf(&s)) {
		s, _ = everyField()
		f := leaves(reflect.ValueOf(&s))[i]
		changed(f.value)
		now := instance(t, s)
		inFile := checkField(t, used, "the instance", f.path, bytes.Equal(was, now))
		if again := instance(t, readBack(t, now)); inFile && !bytes.Equal(again, now) {
			t.Errorf("%s is written and not read back:\n%s", f.path, firstDifference(now, again))
		}
	}
	s, p := everyField()
	was = planFile(t, s, p)
	for i := range leaves(reflect.ValueOf(&p)) {
		_, p = everyField()
		f := leaves(reflect.ValueOf(&p))[i]
		changed(f.value)
		now := planFile(t, s, p)
		checkField(t, used, "the plan", f.path, bytes.Equal(was, now))
		got, err := schedule.ReadPlan(s, now)
		if err != nil {
			t.Fatalf("%s: %v", f.path, err)
		}
		if again := planFile(t, s, got); !bytes.Equal(again, now) {
			t.Errorf("%s of the plan is written and not read back:\n%s", f.path, firstDifference(now, again))
		}
	}
	for name := range leftOut {
		if !used[name] {
			t.Errorf("%s is listed as left out and no such field was met", name)
		}
	}
	if bytes.Contains(was, []byte("PRIVATE")) || bytes.Contains(instance(t, s), []byte("PRIVATE")) {
		t.Errorf("the file holds what is private")
	}
}

func checkField(t *testing.T, used map[string]bool, where string, path []string, same bool) (inFile bool) {
	t.Helper()
	why := ""
	for i, name := range path {
		if i > 0 && leftOut[path[i-1]+" "+name] != "" {
			name = path[i-1] + " " + name
		}
		if reason := leftOut[name]; reason != "" {
			used[name], why = true, reason
		}
		if name == "Snapshot.Base" && i+1 < len(path) && path[i+1] == "Plan.Cost" {
			why = "Price works it out"
		}
	}
	if same && why == "" {
		t.Errorf("%s is not in %s, and no reason is given", strings.Join(path, " "), where)
	}
	if !same && why != "" {
		t.Errorf("%s is in %s though it was to be left out: %s", strings.Join(path, " "), where, why)
	}
	return !same
}

// leaf is a field that holds no others, and the Type.Field names that lead to
// it.
type leaf struct {
	path  []string
	value reflect.Value
}

// leaves lists every leaf under a value, of lists those of the first element.
func leaves(v reflect.Value, path ...string) (list []leaf) {
	whole := v.Type().PkgPath() == "time" || v.Kind() == reflect.Array || v.Kind() == reflect.Map
	switch {
	case v.Kind() == reflect.Pointer && !v.IsNil():
		return leaves(v.Elem(), path...)
	case v.Kind() == reflect.Slice && v.Len() > 0:
		return leaves(v.Index(0), path...)
	case v.Kind() != reflect.Struct || whole:
		return []leaf{{path, v}}
	}
	for i := range v.NumField() {
		name := v.Type().Name() + "." + v.Type().Field(i).Name
		list = append(list, leaves(v.Field(i), append(path[:len(path):len(path)], name)...)...)
	}
	return list
}

// changed gives a leaf another value that the form allows.
func changed(v reflect.Value) {
	words := map[string]string{"JobState": "done", "ConsentKind": "planning", "ConsentState": "refused", "BookingState": "confirmed", "PlanState": "draft", "OfferState": "taken", "CostItem": "lateness", "PinKind": "on"}
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
	case reflect.Bool:
		v.SetBool(!v.Bool())
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(v.Int() + 1)
	case reflect.Uint8, reflect.Uint64:
		v.SetUint(v.Uint() + 1)
	case reflect.Float64:
		v.SetFloat(v.Float() + 0.0625)
	case reflect.Array:
		v.Index(0).SetUint(v.Index(0).Uint() + 1)
	case reflect.Map:
		if v.IsNil() {
			v.Set(reflect.MakeMap(v.Type()))
		}
		v.SetMapIndex(reflect.ValueOf("new"), reflect.ValueOf(any(1)))
	case reflect.String:
		switch word := words[v.Type().Name()]; {
		case word != "":
			v.SetString(word)
		case v.String() == "Europe/London":
			v.SetString("Europe/Paris")
		default:
			v.SetString(v.String() + "2")
		}
	default:
		v.Set(reflect.ValueOf(v.Interface().(time.Time).Add(time.Hour)))
	}
}

// A file that is wrong is refused with the path, the value and what would be
// right; several faults at once.
func TestAWrongFileIsRefusedByPath(t *testing.T) {
	t.Parallel()
	s, p := everyField()
	good := string(instance(t, s))
	for _, c := range []struct{ old, new, want string }{
		{`"half_days":2`, `"half_days":0`, `jobs[0].stages[1].half_days is "0": 1 to 40`},
		{`"half_days":2`, `"half_days":"two"`, `jobs[0].stages[1].half_days is "a text": a whole number`},
		{`"half_days":2`, `"half_days":2.5`, `jobs[0].stages[1].half_days is "2.5": a whole number`},
		{`"half_days":2,`, ``, `jobs[0].stages[1].half_days: missing: it must be given`},
		{`"half_days":2`, `"half_day":2`, `jobs[0].stages[1].half_day: no such member in this form`},
		{`"half_days":2`, `"half_days":2,"half_days":3`, `jobs[0].stages[1].half_days): each member once`},
		{`"job":"J-1"`, `"job":"J-2"`, `bookings[0].job is "J-2": the ref of a job of the file`},
		{`"lat":52.5`, `"lat":152.5`, `jobs[0].lat is "152.5": -90 to 90 degrees`},
		{`"lat":52.5,`, ``, `jobs[0].lat: missing`},
		{`"erect_on":"2026-12-11"`, `"erect_on":"11/12/2026"`, `bookings[0].erect_on is "11/12/2026": a date from 1970 to 2199`},
		{`"chances":[0.5]`, `"chances":[1]`, `outlooks[0].chances[0] is "1": a chance above 0 and below 1`},
		{`"chances":[0.5]`, `"chances":["high"]`, `outlooks[0].chances[0] is "high": a chance above 0`},
		{`"first":"2026-12-07 am"`, `"first":"2026-12-07"`, `outlooks[0].first is "2026-12-07": a half-day`},
		{`"version": 1`, `"version": 2`, `version is "2": 1`},
		{`"toeboard instance"`, `"toeboard plan"`, `form is "toeboard plan": "toeboard instance"`},
		{`"travel_per_km_pence":90,`, ``, `rates.travel_per_km_pence: missing`},
		{`"travel_per_km_pence":90`, `"travel_per_km_pence":null`, `rates.travel_per_km_pence: missing`},
		{`"travel_per_km_pence":90`, `"travel":90,"travel_per_km_pence":90`, `rates.travel: no such member`},
		{`"state":"countered"`, `"state":"offered"`, `bookings[0].state is "offered": one of wanted, sent`},
		{`"trade":"roof"`, `"trade":"tiler"`, `crews[0].trade is "tiler": one of roof, electrical`},
		{`"time_zone": "Europe/London"`, `"time_zone": "Middle/Earth"`, `time_zone is "Middle/Earth": a zone of the IANA list`},
		{`"now": "2026-12-07T07:00:00Z"`, `"now": "2026-12-09T07:00:00Z"`, `first day is "2026-12-07": today, 2026-12-09, or later`},
		{`"days": 30`, `"days": 30, "day": 1`, `day: no such member`},
	} {
		if strings.Count(good, c.old) == 0 {
			t.Fatalf("the file has no %s:\n%s", c.old, good)
		}
		_, err := schedule.ReadInstance([]byte(strings.Replace(good, c.old, c.new, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s for %s: %v, want %s", c.new, c.old, err, c.want)
		}
	}
	for _, c := range []struct{ text, want string }{
		{"", "JSON"}, {"{", "JSON"}, {"[]", "document"}, {"null", "form"}, {`{"a":1}`, "a: no such member"}, {good + "{}", "line"},
		{strings.Replace(good, `"lat":52.5`, `"lat":1e999`, 1), "jobs[0].lat"},
	} {
		if _, err := schedule.ReadInstance([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.40q: %v, want %s", c.text, err, c.want)
		}
	}
	_, err := schedule.ReadInstance([]byte(strings.NewReplacer(`"half_days":2`, `"half_days":0`, `"sets":6`, `"sets":-1`).Replace(good)))
	if len(fault.Each(err)) != 2 {
		t.Errorf("two faults give %v", err)
	}
	text := planFile(t, s, p)
	for _, c := range []struct{ old, new, want string }{
		{`"job":"J-1"`, `"job":"J-9"`, `visits[0].job is "J-9"`},
		{`"2026-12-07 am"`, `"2026-12-07 noon"`, `visits[0].half_days[0] is "2026-12-07 noon": a half-day`},
		{`"total_pence":7`, `"total":7`, `cost.total: no such member`},
		{`"toeboard plan"`, `"toeboard instance"`, `form is "toeboard instance"`},
	} {
		broken := strings.Replace(strings.Replace(string(text), `"total_pence": 7`, `"total_pence":7`, 1), c.old, c.new, 1)
		if _, err := schedule.ReadPlan(s, []byte(broken)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.new, err, c.want)
		}
	}
}

// A plan's file says of each visit that has not begun how many of its half-days
// are kept for weather: those beyond the half-days of the stage. A number that
// cannot be is refused by its path, and none is needed.
func TestAPlanFileSaysWhatIsKeptForWeather(t *testing.T) {
	t.Parallel()
	s := firm(t, 4)
	for n := range s.Jobs { // past the forecast
		s.Jobs[n].ReadyOn = firstMonday + 14
		sky(&s, n, weather.PanelCarrying, func(civil.HalfDay) weather.Chance { return known(0.55) })
	}
	p := plan(t, s, 40, 3)
	text := planFile(t, s, p)
	var file struct {
		Visits []struct {
			Job, Stage string
			HalfDays   []string `json:"half_days"`
			Reserve    int      `json:"reserve_half_days"`
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	some := 0
	for _, v := range file.Visits {
		for _, j := range s.Jobs {
			k, _ := schedule.StageFromKey(v.Stage)
			st, has := j.Stage(k)
			if !has || j.Ref != v.Job {
				continue
			}
			want := len(v.HalfDays) - st.HalfDays
			if st.State != schedule.StatePlanned {
				want = 0
			}
			if v.Reserve != want {
				t.Errorf("%s of %s takes %d half-days for %d of work and keeps %d", v.Stage, v.Job, len(v.HalfDays), st.HalfDays, v.Reserve)
			}
			some += v.Reserve
		}
	}
	if some == 0 {
		t.Error("no visit of the plan keeps anything")
	}
	again, err := schedule.ReadPlan(s, text)
	if err != nil || again.Cost.Total != p.Cost.Total {
		t.Errorf("read back: %v, %s", err, again.Cost.Total)
	}
	member := regexp.MustCompile(`"reserve_half_days":\s*\d+`)
	if _, err := schedule.ReadPlan(s, member.ReplaceAll(text, []byte(`"reserve_half_days":99`))); err == nil || !strings.Contains(err.Error(), `reserve_half_days is "99": 0 to `) {
		t.Errorf("99 kept of a few: %v", err)
	}
	if _, err := schedule.ReadPlan(s, regexp.MustCompile(`"reserve_half_days":\s*\d+,`).ReplaceAll(text, nil)); err != nil {
		t.Errorf("without: %v", err)
	}
}

// Without identifiers a file is read all the same, as one problem: they are made
// from the names.
func TestIdentifiersMayBeLeftOut(t *testing.T) {
	t.Parallel()
	s := firm(t, 3)
	text := string(instance(t, s))
	for _, name := range []string{"id", "site_id"} {
		for {
			from := strings.Index(text, `"`+name+`":"`)
			if from < 0 {
				break
			}
			to := from + len(name) + 5 + 36 + 1
			text = text[:from] + text[to:]
		}
	}
	a, b := readBack(t, []byte(text)), readBack(t, []byte(text))
	if a.HashOf() != b.HashOf() {
		t.Error("read twice it has two hashes")
	}
	if got, want := plan(t, a, 20, 1), plan(t, s, 20, 1); got.Cost.Total != want.Cost.Total {
		t.Errorf("it costs %s, with identifiers %s", got.Cost.Total, want.Cost.Total)
	}
}

func TestTwoOfOneNameAreNotWritten(t *testing.T) {
	t.Parallel()
	s := firm(t, 2)
	s.Jobs[1].Ref = s.Jobs[0].Ref
	if _, err := schedule.WriteInstance(s); err == nil || !strings.Contains(err.Error(), s.Jobs[0].Ref) {
		t.Errorf("two jobs %s: %v", s.Jobs[0].Ref, err)
	}
}

// Whatever is read is written again, and can be priced and judged.
func FuzzInstance(f *testing.F) {
	s, p := everyField()
	f.Add(instance(f, s))
	f.Add(instance(f, firm(f, 1)))
	s, p = midWork(f, 3, 4, 2, 20)
	f.Add(instance(f, s))
	f.Add([]byte(`{"form":"toeboard instance","version":1}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := schedule.ReadInstance(text)
		if err != nil {
			return
		}
		again := instance(t, s)
		if back := readBack(t, again); back.HashOf() != s.HashOf() {
			t.Errorf("written and read again it has another hash")
		}
		p := p
		p.FirstDay, p.Days = s.FirstDay, s.Days
		schedule.Price(s, p)
		schedule.Validate(s, p)
	})
}

func FuzzPlanFile(f *testing.F) {
	s, p := everyField()
	f.Add(planFile(f, s, p))
	s, p = midWork(f, 3, 4, 2, 20)
	f.Add(planFile(f, s, p))
	f.Add([]byte(`{"form":"toeboard plan","version":1}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := schedule.ReadPlan(s, text)
		if err != nil {
			return
		}
		if again, err := schedule.WritePlan(s, p); err != nil {
			t.Errorf("read and not written: %v", err)
		} else if _, err := schedule.ReadPlan(s, again); err != nil {
			t.Errorf("written and not read: %v", err)
		}
		schedule.Price(s, p)
		schedule.Validate(s, p)
	})
}
