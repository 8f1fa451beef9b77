package schedule_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/schedule/ical"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

var (
	bookNow = time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)
	dec     = func(day int) civil.Date { return civil.On(2026, time.December, day) }
	yard    = uuid.MustParse("00000000-0000-7000-8000-0000000000a1")
	other   = uuid.MustParse("00000000-0000-7000-8000-0000000000a2")
)

// counter gives identifiers in order, so that a test can name them.
func counter() func() uuid.UUID {
	n := 0
	return func() uuid.UUID {
		n++
		return uuid.MustParse(fmt.Sprintf("00000000-0000-7000-8000-%012d", n))
	}
}

func jobNamed(ref string) schedule.Job {
	return schedule.Job{ID: uuid.NewSHA1(uuid.NameSpaceOID, []byte(ref)), Ref: ref, State: schedule.JobOpen,
		Site: schedule.Site{Address: "12 Heron Row", Postcode: "XQ1 1AB", WorkingHeightM: 6.5, Facts: map[string]any{}},
		Stages: []schedule.Stage{
			{Kind: schedule.ScaffoldErection, HalfDays: 1, StartedOn: civil.NoDate, DoneOn: civil.NoDate},
			{Kind: schedule.RoofWork, HalfDays: 2, StartedOn: civil.NoDate, DoneOn: civil.NoDate},
			{Kind: schedule.ScaffoldStrike, HalfDays: 1, StartedOn: civil.NoDate, DoneOn: civil.NoDate},
		}}
}

func scaffoldVisit(j schedule.Job, k schedule.StageKind, firm uuid.UUID, on civil.Date, why string) schedule.Visit {
	return schedule.Visit{Job: j.ID, Stage: k, ScaffoldFirm: firm, HalfDays: []civil.HalfDay{on.In(civil.Morning)}, Why: why}
}

// planFor has an erection and a strike for one job.
func planFor(j schedule.Job, firm uuid.UUID, erect, strike civil.Date) schedule.Plan {
	return schedule.Plan{FirstDay: dec(1), Days: 60, Visits: []schedule.Visit{
		scaffoldVisit(j, schedule.ScaffoldErection, firm, erect, "Upright needs 5 working days' notice."),
		scaffoldVisit(j, schedule.ScaffoldStrike, firm, strike, "the roof is finished on the day before"),
	}}
}

func booked(j schedule.Job, state schedule.BookingState, erect, strike civil.Date) schedule.Booking {
	id := uuid.NewSHA1(uuid.NameSpaceOID, []byte("booking of "+j.Ref))
	return schedule.Booking{ID: id, Job: j.ID, ScaffoldFirm: yard, UID: id.String() + "@toeboard.invalid", State: state,
		ErectOn: erect, StrikeOn: strike, Sequence: 3, OfferedOn: civil.NoDate, ChangedAt: bookNow.Add(-time.Hour)}
}

func rebook(j schedule.Job, p schedule.Plan, live ...schedule.Booking) []schedule.BookingChange {
	return schedule.Rebook(schedule.Snapshot{Jobs: []schedule.Job{j}}, p, live, bookNow, counter())
}

func TestRebookOneJob(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	up := jobNamed("J-7")
	up.Stages[0].State, up.Stages[0].StartedOn, up.Stages[0].DoneOn = schedule.StateDone, dec(3), dec(3)
	closed := j
	closed.State = schedule.JobDone
	strikeOnly := schedule.Plan{FirstDay: dec(1), Days: 60, Visits: []schedule.Visit{
		scaffoldVisit(j, schedule.ScaffoldStrike, yard, dec(15), "the roof is finished on Mon 14 Dec")}}
	erectOnly := schedule.Plan{FirstDay: dec(1), Days: 20, Visits: []schedule.Visit{
		scaffoldVisit(j, schedule.ScaffoldErection, yard, dec(7), "first free gang")},
		Unplanned: []schedule.Unplanned{{Job: j.ID, Stage: schedule.ScaffoldStrike, Why: "the plan ends on Sun 20 Dec."}}}
	countered := booked(j, schedule.BookingCountered, dec(7), dec(11))
	countered.OfferedOn = dec(9)
	type result struct {
		state         schedule.BookingState
		erect, strike civil.Date
		sequence      int
		same          bool // as the booking before: same ID and UID
		why           string
	}
	for name, c := range map[string]struct {
		job  schedule.Job
		plan schedule.Plan
		live []schedule.Booking
		want []result
	}{
		"new": {j, planFor(j, yard, dec(7), dec(11)), nil, []result{
			{schedule.BookingWanted, dec(7), dec(11), 0, false,
				"New booking: erect Mon 7 Dec, strike Fri 11 Dec; Upright needs 5 working days' notice."}}},
		"same days": {j, planFor(j, yard, dec(7), dec(11)), []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(7), dec(11))}, nil},
		"both days move": {j, planFor(j, yard, dec(9), dec(15)), []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(7), dec(11))}, []result{
			{schedule.BookingWanted, dec(9), dec(15), 4, true,
				"Moved: erect from Mon 7 Dec to Wed 9 Dec, strike from Fri 11 Dec to Tue 15 Dec; Upright needs 5 working days' notice."}}},
		"only the strike moves": {j, planFor(j, yard, dec(7), dec(15)), []schedule.Booking{booked(j, schedule.BookingSent, dec(7), dec(11))}, []result{
			{schedule.BookingWanted, dec(7), dec(15), 4, true,
				"Moved: strike from Fri 11 Dec to Tue 15 Dec, erect stays Mon 7 Dec; the roof is finished on the day before."}}},
		"only the erection moves": {j, planFor(j, yard, dec(8), dec(11)), []schedule.Booking{booked(j, schedule.BookingWanted, dec(7), dec(11))}, []result{
			{schedule.BookingWanted, dec(8), dec(11), 4, true,
				"Moved: erect from Mon 7 Dec to Tue 8 Dec, strike stays Fri 11 Dec; Upright needs 5 working days' notice."}}},
		"to the day that was offered": {j, planFor(j, yard, dec(9), dec(11)), []schedule.Booking{countered}, []result{
			{schedule.BookingWanted, dec(9), dec(11), 4, true,
				"Moved: erect from Mon 7 Dec to Wed 9 Dec, the day you offered, strike stays Fri 11 Dec; Upright needs 5 working days' notice."}}},
		"an offer stands while the plan does": {j, planFor(j, yard, dec(7), dec(11)), []schedule.Booking{countered}, nil},
		"unplanned": {j, schedule.Plan{FirstDay: dec(1), Days: 60, Unplanned: []schedule.Unplanned{{Job: j.ID, Stage: schedule.ScaffoldErection, Why: "no gang is free before the plan ends."}}},
			[]schedule.Booking{booked(j, schedule.BookingConfirmed, dec(7), dec(11))}, []result{
				{schedule.BookingCancelled, dec(7), dec(11), 4, true,
					"Cancelled: erect Mon 7 Dec, strike Fri 11 Dec is off; the job has no place in the plan: no gang is free before the plan ends."}}},
		"job closed": {closed, planFor(j, yard, dec(7), dec(11)), []schedule.Booking{booked(j, schedule.BookingWanted, dec(7), dec(11))}, []result{
			{schedule.BookingCancelled, dec(7), dec(11), 4, true,
				"Cancelled: erect Mon 7 Dec, strike Fri 11 Dec is off; the job is no longer open."}}},
		"closed and never booked": {closed, planFor(j, yard, dec(7), dec(11)), nil, nil},
		"another scaffold firm": {j, planFor(j, other, dec(7), dec(11)), []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(7), dec(11))}, []result{
			{schedule.BookingCancelled, dec(7), dec(11), 4, true, "Cancelled: erect Mon 7 Dec, strike Fri 11 Dec is off; another scaffold firm does this job."},
			{schedule.BookingWanted, dec(7), dec(11), 0, false, "New booking: erect Mon 7 Dec, strike Fri 11 Dec; Upright needs 5 working days' notice."}}},
		"standing: the erect day is a fact": {up, strikeOnly, []schedule.Booking{booked(j, schedule.BookingErected, dec(3), dec(11))}, []result{
			{schedule.BookingErected, dec(3), dec(15), 4, true, "Moved: strike from Fri 11 Dec to Tue 15 Dec, erect stays Thu 3 Dec; the roof is finished on Mon 14 Dec."}}},
		"standing and not in the plan":     {up, schedule.Plan{FirstDay: dec(1), Days: 60}, []schedule.Booking{booked(j, schedule.BookingErected, dec(3), dec(11))}, nil},
		"standing on a closed job":         {closed, schedule.Plan{FirstDay: dec(1), Days: 60}, []schedule.Booking{booked(j, schedule.BookingErected, dec(3), dec(11))}, nil},
		"standing, roof runs past strike":  {up, roofUntil(j, dec(18)), []schedule.Booking{booked(j, schedule.BookingErected, dec(3), dec(11))}, []result{{schedule.BookingErected, dec(3), dec(20), 4, true, "Moved: strike from Fri 11 Dec to Sun 20 Dec, erect stays Thu 3 Dec; the strike has no day yet, so the scaffold is taken to stand to the end of the plan."}}},
		"standing, never booked":           {up, strikeOnly, nil, []result{{schedule.BookingErected, dec(3), dec(15), 0, false, "The scaffold stands since Thu 3 Dec: strike Tue 15 Dec; the roof is finished on Mon 14 Dec."}}},
		"marked done by the stage alone":   {up, strikeOnly, []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(2), dec(15))}, []result{{schedule.BookingErected, dec(3), dec(15), 4, true, "Moved: erect from Wed 2 Dec to Thu 3 Dec, strike stays Tue 15 Dec; the whole plan was made again."}}},
		"no strike day yet, new":           {j, erectOnly, nil, []result{{schedule.BookingWanted, dec(7), dec(20), 0, false, "New booking: erect Mon 7 Dec, strike Sun 20 Dec; first free gang."}}},
		"no strike day yet, booked longer": {j, erectOnly, []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(7), dec(11))}, nil},
		"no strike day yet, too short": {j, erectOnly, []schedule.Booking{booked(j, schedule.BookingConfirmed, dec(2), dec(4))}, []result{{schedule.BookingWanted, dec(7), dec(20), 4, true,
			"Moved: erect from Wed 2 Dec to Mon 7 Dec, strike from Fri 4 Dec to Sun 20 Dec; first free gang."}}},
		"struck and cancelled are left alone": {j, schedule.Plan{FirstDay: dec(1), Days: 60}, []schedule.Booking{
			booked(j, schedule.BookingStruck, dec(1), dec(2)), booked(j, schedule.BookingCancelled, dec(7), dec(11))}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := rebook(c.job, c.plan, c.live...)
			if len(got) != len(c.want) {
				t.Fatalf("%d changes %+v, want %d", len(got), got, len(c.want))
			}
			for i, w := range c.want {
				g := got[i]
				a := g.After
				if a.State != w.state || a.ErectOn != w.erect || a.StrikeOn != w.strike || a.Sequence != w.sequence || g.Why != w.why {
					t.Errorf("change %d\n got %+v\n     %s\nwant %+v", i, a, g.Why, w)
				}
				if w.same && (g.Before == nil || *g.Before != c.live[0] || a.UID != c.live[0].UID || a.ID != c.live[0].ID) {
					t.Errorf("change %d is not of the booking before: %+v", i, g)
				}
				if !w.same && (g.Before != nil || a.UID != a.ID.String()+"@toeboard.invalid" || a.Job != j.ID) {
					t.Errorf("change %d is not a new booking: %+v", i, g)
				}
				if a.State != schedule.BookingCountered && a.OfferedOn != civil.NoDate {
					t.Errorf("change %d keeps the offered day %s", i, a.OfferedOn)
				}
			}
		})
	}
}

func roofUntil(j schedule.Job, last civil.Date) schedule.Plan {
	return schedule.Plan{FirstDay: dec(1), Days: 20, Visits: []schedule.Visit{
		{Job: j.ID, Stage: schedule.RoofWork, Crew: other, HalfDays: []civil.HalfDay{last.In(civil.Morning)}}}}
}

func TestRebookOrderIsCancellationsThenByReference(t *testing.T) {
	t.Parallel()
	a, b, c := jobNamed("A"), jobNamed("B"), jobNamed("C")
	p := planFor(c, yard, dec(7), dec(11))
	p.Visits = append(p.Visits, planFor(a, yard, dec(8), dec(10)).Visits...)
	got := schedule.Rebook(schedule.Snapshot{Jobs: []schedule.Job{c, b, a}}, p,
		[]schedule.Booking{booked(b, schedule.BookingWanted, dec(7), dec(11))}, bookNow, counter())
	var order []string
	for _, ch := range got {
		for _, j := range []schedule.Job{a, b, c} {
			if ch.After.Job == j.ID {
				order = append(order, j.Ref+" "+string(ch.After.State))
			}
		}
	}
	if want := []string{"B cancelled", "A wanted", "C wanted"}; !slices.Equal(order, want) {
		t.Errorf("order %v, want %v", order, want)
	}
}

func TestTheChangeTimeNeverFalls(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	b := booked(j, schedule.BookingWanted, dec(7), dec(11))
	b.ChangedAt = bookNow.Add(48 * time.Hour) // the clock was put right since
	got := rebook(j, planFor(j, yard, dec(9), dec(15)), b)
	if len(got) != 1 || got[0].After.ChangedAt.Before(b.ChangedAt) {
		t.Errorf("changed at %v, before it was %v", got[0].After.ChangedAt, b.ChangedAt)
	}
}

func TestAnswersAndFacts(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	in := func(s schedule.BookingState) schedule.Booking {
		b := booked(j, s, dec(7), dec(11))
		if s == schedule.BookingCountered {
			b.OfferedOn = dec(9)
		}
		return b
	}
	all := []schedule.BookingState{schedule.BookingWanted, schedule.BookingSent, schedule.BookingConfirmed, schedule.BookingCountered,
		schedule.BookingErected, schedule.BookingStruck, schedule.BookingCancelled}
	today := dec(10)
	for _, c := range []struct {
		does string
		do   func(schedule.Booking) (schedule.BookingChange, error)
		to   schedule.BookingState
		from []schedule.BookingState // where it is allowed
		same schedule.BookingState   // where it changes nothing
	}{
		{"confirm", func(b schedule.Booking) (schedule.BookingChange, error) { return b.Confirmed(bookNow) },
			schedule.BookingConfirmed, []schedule.BookingState{schedule.BookingWanted, schedule.BookingSent, schedule.BookingCountered}, schedule.BookingConfirmed},
		{"offer", func(b schedule.Booking) (schedule.BookingChange, error) {
			return b.Countered(dec(14), today, nil, 0, bookNow)
		},
			schedule.BookingCountered, []schedule.BookingState{schedule.BookingWanted, schedule.BookingSent, schedule.BookingConfirmed, schedule.BookingCountered}, ""},
		{"take the offer", func(b schedule.Booking) (schedule.BookingChange, error) {
			return b.Accepted(dec(9), dec(1), nil, 0, bookNow)
		},
			schedule.BookingConfirmed, []schedule.BookingState{schedule.BookingCountered}, ""},
		{"erect", func(b schedule.Booking) (schedule.BookingChange, error) { return b.Erected(dec(7), today, bookNow) },
			schedule.BookingErected, []schedule.BookingState{schedule.BookingWanted, schedule.BookingSent, schedule.BookingConfirmed, schedule.BookingCountered}, schedule.BookingErected},
		{"strike", func(b schedule.Booking) (schedule.BookingChange, error) { return b.Struck(dec(10), today, bookNow) },
			schedule.BookingStruck, []schedule.BookingState{schedule.BookingErected}, ""},
	} {
		for _, state := range all {
			b := in(state)
			got, err := c.do(b)
			switch {
			case slices.Contains(c.from, state):
				if err != nil || got.After.State != c.to || got.Nothing() || got.Why == "" || *got.Before != b {
					t.Errorf("%s from %s: %+v, %v", c.does, state, got, err)
				}
				if rises := got.After.Sequence > b.Sequence; rises != (b.Status() != got.After.Status() || b.ErectOn != got.After.ErectOn || b.StrikeOn != got.After.StrikeOn) {
					t.Errorf("%s from %s: sequence %d to %d", c.does, state, b.Sequence, got.After.Sequence)
				}
			case state == c.same:
				if err != nil || !got.Nothing() {
					t.Errorf("%s from %s again: %+v, %v", c.does, state, got, err)
				}
			case fault.KindOf(err) != fault.Conflict:
				t.Errorf("%s from %s: %+v, error %v; want a refusal", c.does, state, got, err)
			}
		}
	}
}

func TestDaysThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	wanted, standing := booked(j, schedule.BookingWanted, dec(7), dec(11)), booked(j, schedule.BookingErected, dec(7), dec(11))
	for name, do := range map[string]func() (schedule.BookingChange, error){
		"offer a day that is gone": func() (schedule.BookingChange, error) { return wanted.Countered(dec(9), dec(10), nil, 0, bookNow) },
		"offer no day": func() (schedule.BookingChange, error) {
			return wanted.Countered(civil.NoDate, dec(10), nil, 0, bookNow)
		},
		"offer the booked day":         func() (schedule.BookingChange, error) { return wanted.Countered(dec(7), dec(1), nil, 0, bookNow) },
		"erected tomorrow":             func() (schedule.BookingChange, error) { return wanted.Erected(dec(11), dec(10), bookNow) },
		"erected on no day":            func() (schedule.BookingChange, error) { return wanted.Erected(civil.NoDate, dec(10), bookNow) },
		"struck before it was erected": func() (schedule.BookingChange, error) { return standing.Struck(dec(6), dec(10), bookNow) },
		"struck tomorrow":              func() (schedule.BookingChange, error) { return standing.Struck(dec(11), dec(10), bookNow) },
	} {
		got, err := do()
		if each := fault.Each(err); len(each) != 1 || each[0].Kind != fault.Invalid || each[0].Want == "" || got.Before != nil {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

// The office takes another day: the strike stays where it lies after the new
// day, else the scaffold stands its four working days (Mon 7 to Fri 11 December)
// from there, not counting the weekend.
func TestAnOfferTaken(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		offered, strike civil.Date
		why             string
	}{
		{dec(9), dec(11), "The office takes the day that the scaffold firm offered: erect from Mon 7 Dec to Wed 9 Dec, strike stays Fri 11 Dec."},
		{dec(4), dec(11), "The office takes the day that the scaffold firm offered: erect from Mon 7 Dec to Fri 4 Dec, strike stays Fri 11 Dec."},
		{dec(11), dec(17), "The office takes the day that the scaffold firm offered: erect from Mon 7 Dec to Fri 11 Dec, strike from Fri 11 Dec to Thu 17 Dec."},
	} {
		b := booked(jobNamed("J-7"), schedule.BookingCountered, dec(7), dec(11))
		b.OfferedOn, b.Sequence = c.offered, 3
		got, err := b.Accepted(c.offered, dec(1), nil, 0, bookNow)
		a := got.After
		if err != nil || a.State != schedule.BookingConfirmed || a.ErectOn != c.offered || a.StrikeOn != c.strike || a.OfferedOn.Known() ||
			a.Sequence != 4 || a.UID != b.UID || got.Why != c.why {
			t.Errorf("%s: %+v, %v", c.offered, got, err)
		}
		if again, err := a.Accepted(c.offered, dec(1), nil, 0, bookNow); err != nil || !again.Nothing() {
			t.Errorf("%s again: %+v, %v", c.offered, again, err)
		}
		for what, do := range map[string]func() (schedule.BookingChange, error){
			"another day": func() (schedule.BookingChange, error) { return b.Accepted(dec(10), dec(1), nil, 0, bookNow) },
			"too late":    func() (schedule.BookingChange, error) { return b.Accepted(c.offered, c.offered+1, nil, 0, bookNow) },
		} {
			if got, err := do(); fault.KindOf(err) != fault.Conflict {
				t.Errorf("%s, %s: %+v, %v", c.offered, what, got, err)
			}
		}
	}
	b := booked(jobNamed("J-7"), schedule.BookingCountered, dec(7), dec(11))
	b.OfferedOn = dec(11)
	if got, err := b.Accepted(dec(11), dec(1), nil, schedule.Thursday|schedule.Friday, bookNow); err != nil || got.After.StrikeOn != dec(21) {
		t.Errorf("a strike that would fall on Thursday 17, with Thursdays and Fridays off, is on %s, %v", got.After.StrikeOn, err)
	}
}

// An offer is a day on which somebody is there to take it: the refusal names
// the weekend or the holiday, or the last day that would do. Christmas Day 2026
// is a Friday and Boxing Day's substitute Monday 28 (gov.uk/bank-holidays).
func TestOffersThatMakeNoSense(t *testing.T) {
	t.Parallel()
	holidays, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		t.Fatal(err)
	}
	wanted := booked(jobNamed("J-7"), schedule.BookingWanted, dec(7), dec(11))
	for _, c := range []struct {
		offered civil.Date
		want    string // "" = taken
	}{
		{dec(1) - 1, "a day from Tuesday 1 December 2026 on"},
		{dec(1), ""},
		{dec(9), "a day on which your gangs work, such as Fri 11 Dec: the office has it that they do not work on Wednesdays and Thursdays"},
		{dec(12), "a working day, such as Mon 14 Dec: Sat 12 Dec is a weekend, and nobody is there"},
		{dec(25), "a working day, such as Tue 29 Dec: Fri 25 Dec is a holiday (Christmas Day), and nobody is there"},
		{civil.On(2027, 3, 5), ""}, // 7 December + 88 days, a Friday
		{civil.On(2027, 3, 8), "a day to Sunday 7 March 2027 at the latest, 90 days after Mon 7 Dec"},
	} {
		got, err := wanted.Countered(c.offered, dec(1), holidays, schedule.Wednesday|schedule.Thursday, bookNow)
		each := fault.Each(err)
		switch {
		case c.want == "":
			if err != nil || got.After.OfferedOn != c.offered {
				t.Errorf("%s: %+v, %v", c.offered, got, err)
			}
		case len(each) != 1 || each[0].Kind != fault.Invalid || each[0].Field != "offered day" || each[0].Value != c.offered.String() || each[0].Want != c.want:
			t.Errorf("%s: %v", c.offered, err)
		}
	}
}

func TestErectedLateStandsAtLeastThatDay(t *testing.T) {
	t.Parallel()
	b := booked(jobNamed("J-7"), schedule.BookingWanted, dec(7), dec(8))
	got, err := b.Erected(dec(10), dec(10), bookNow)
	if err != nil || got.After.ErectOn != dec(10) || got.After.StrikeOn != dec(10) {
		t.Errorf("%+v, %v", got.After, err)
	}
}

// history is a firm's scaffold over weeks: plans published at random, answers
// and facts between them. It keeps its own record of what must hold and knows
// nothing of how Rebook works.
type history struct {
	jobs  []schedule.Job
	all   map[uuid.UUID]schedule.Booking
	uids  map[string]uuid.UUID
	ids   func() uuid.UUID
	today civil.Date
	now   time.Time
}

func (h *history) live() []schedule.Booking {
	var live []schedule.Booking
	for _, b := range h.all {
		if b.State != schedule.BookingStruck && b.State != schedule.BookingCancelled {
			live = append(live, b)
		}
	}
	slices.SortFunc(live, func(a, b schedule.Booking) int { return strings.Compare(a.UID, b.UID) })
	return live
}

func (h *history) liveOf(job uuid.UUID) []schedule.Booking {
	return slices.DeleteFunc(h.live(), func(b schedule.Booking) bool { return b.Job != job })
}

// apply writes one change as the database would, refusing what it would refuse.
func (h *history) apply(t *rapid.T, c schedule.BookingChange) {
	a := c.After
	if c.Why == "" || strings.ContainsAny(c.Why, "\r\n") || !strings.HasSuffix(c.Why, ".") {
		t.Fatalf("the reason is no sentence: %q", c.Why)
	}
	if c.Before == nil {
		if _, used := h.uids[a.UID]; used || a.Sequence != 0 {
			t.Fatalf("UID %s used again, or sequence %d of a new booking", a.UID, a.Sequence)
		}
		h.uids[a.UID] = a.ID
	} else {
		was := h.all[a.ID]
		switch {
		case *c.Before != was:
			t.Fatalf("changed from %+v, but it was %+v", *c.Before, was)
		case a.UID != was.UID || a.Job != was.Job || a.ScaffoldFirm != was.ScaffoldFirm || h.uids[a.UID] != a.ID:
			t.Fatalf("identity changed from %+v to %+v", was, a)
		case was.State == schedule.BookingCancelled || was.State == schedule.BookingStruck:
			t.Fatalf("a %s booking came back to life", was.State)
		case !was.State.MayBecome(a.State):
			t.Fatalf("%s became %s", was.State, a.State)
		case was.State.Stands() && (a.ErectOn != was.ErectOn || a.State == schedule.BookingCancelled || a.State == schedule.BookingWanted):
			t.Fatalf("a standing scaffold was put back: %+v to %+v", was, a)
		case a.Sequence < was.Sequence || a.Sequence > was.Sequence+1 || a.ChangedAt.Before(was.ChangedAt):
			t.Fatalf("sequence %d to %d, changed %v to %v", was.Sequence, a.Sequence, was.ChangedAt, a.ChangedAt)
		case newsFor(was, a) != (a.Sequence == was.Sequence+1):
			t.Fatalf("sequence %d to %d for %+v to %+v", was.Sequence, a.Sequence, was, a)
		}
	}
	if a.StrikeOn < a.ErectOn || (a.State == schedule.BookingCountered) != a.OfferedOn.Known() {
		t.Fatalf("the database would refuse %+v", a)
	}
	h.all[a.ID] = a
	for _, b := range h.all {
		if b.ID != a.ID && b.Job == a.Job && b.State != schedule.BookingCancelled && a.State != schedule.BookingCancelled &&
			b.ErectOn <= a.StrikeOn && a.ErectOn <= b.StrikeOn {
			t.Fatalf("two scaffolds on one job: %+v and %+v", a, b)
		}
	}
}

// newsFor tells whether a calendar, or whoever waits for an answer, sees
// something new: other days, another status, that an offer is not taken, that the
// scaffold is to come down or to stay.
func newsFor(was, a schedule.Booking) bool {
	off := schedule.BookingOffHire
	return a.ErectOn != was.ErectOn || a.StrikeOn != was.StrikeOn || a.Status() != was.Status() ||
		was.State == schedule.BookingCountered && a.State == schedule.BookingWanted ||
		a.State == off && was.State != off || was.State == off && a.State == schedule.BookingErected
}

func stageOf(j *schedule.Job, k schedule.StageKind) *schedule.Stage {
	for i := range j.Stages {
		if j.Stages[i].Kind == k {
			return &j.Stages[i]
		}
	}
	return nil
}

// draw makes a plan that the facts allow, with what each job should have after
// it: firm, erect and strike day; strike NoDate = any.
func (h *history) draw(t *rapid.T) (schedule.Plan, map[uuid.UUID]schedule.Booking) {
	p := schedule.Plan{FirstDay: h.today, Days: 40}
	should := map[uuid.UUID]schedule.Booking{}
	for i := range h.jobs {
		j := &h.jobs[i]
		what := rapid.SampledFrom([]string{"both", "both", "both", "unplanned", "no strike"}).Draw(t, "plan of "+j.Ref)
		if j.State != schedule.JobOpen || what == "unplanned" {
			p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: j.ID, Stage: schedule.ScaffoldErection, Why: "no gang\nis free. "})
			continue
		}
		firm := rapid.SampledFrom([]uuid.UUID{yard, other}).Draw(t, "firm")
		erect := h.today + civil.Date(rapid.IntRange(0, 20).Draw(t, "erect"))
		strike := erect + civil.Date(rapid.IntRange(0, 15).Draw(t, "strike"))
		w := schedule.Booking{ScaffoldFirm: firm, ErectOn: erect, StrikeOn: strike}
		switch {
		case stageOf(j, schedule.ScaffoldStrike).State == schedule.StateDone:
			continue
		case stageOf(j, schedule.ScaffoldErection).State == schedule.StateDone:
			b := h.liveOf(j.ID)[0]
			w.ScaffoldFirm, w.ErectOn = b.ScaffoldFirm, b.ErectOn
		default:
			p.Visits = append(p.Visits, scaffoldVisit(*j, schedule.ScaffoldErection, firm, erect, "a gang is free"))
		}
		if what == "no strike" {
			w.StrikeOn = civil.NoDate
		} else {
			p.Visits = append(p.Visits, scaffoldVisit(*j, schedule.ScaffoldStrike, w.ScaffoldFirm, strike, ""))
		}
		should[j.ID] = w
	}
	return p, should
}

func (h *history) publish(t *rapid.T) {
	p, should := h.draw(t)
	s := schedule.Snapshot{Jobs: h.jobs}
	for _, c := range schedule.Rebook(s, p, h.live(), h.now, h.ids) {
		h.apply(t, c)
	}
	if again := schedule.Rebook(s, p, h.live(), h.now.Add(time.Hour), h.ids); len(again) != 0 {
		t.Fatalf("the same plan again changed %+v", again)
	}
	for _, j := range h.jobs {
		live := h.liveOf(j.ID)
		w, planned := should[j.ID]
		switch {
		case len(live) > 1:
			t.Fatalf("job %s has %d live bookings", j.Ref, len(live))
		case !planned && len(live) == 1 && !live[0].State.Stands():
			t.Fatalf("job %s is not planned, yet booked: %+v", j.Ref, live[0])
		case planned && len(live) != 1:
			t.Fatalf("job %s is planned, but not booked", j.Ref)
		case planned && (live[0].ScaffoldFirm != w.ScaffoldFirm || live[0].ErectOn != w.ErectOn || w.StrikeOn.Known() && live[0].StrikeOn != w.StrikeOn):
			t.Fatalf("job %s is booked %+v, planned %+v", j.Ref, live[0], w)
		}
	}
}

// happen lets the scaffold firm answer or a fact come in.
func (h *history) happen(t *rapid.T) {
	live := h.live()
	if len(live) == 0 {
		return
	}
	b := rapid.SampledFrom(live).Draw(t, "booking")
	var c schedule.BookingChange
	var err error
	var done schedule.StageKind
	switch rapid.SampledFrom([]string{"confirm", "offer", "erect", "strike", "close", "refuse", "take", "decline", "sent", "inspect", "off hire", "keep"}).Draw(t, "what") {
	case "confirm":
		c, err = b.Confirmed(h.now)
	case "offer":
		c, err = b.Countered(h.today+civil.Date(rapid.IntRange(-1, 9).Draw(t, "offered")), h.today, nil, 0, h.now)
	case "erect":
		c, err = b.Erected(h.today-civil.Date(rapid.IntRange(-1, 3).Draw(t, "ago")), h.today, h.now)
		done = schedule.ScaffoldErection
	case "strike":
		c, err = b.Struck(h.today-civil.Date(rapid.IntRange(-1, 3).Draw(t, "ago")), h.today, h.now)
		done = schedule.ScaffoldStrike
	case "refuse":
		c, err = b.Refused(h.now)
	case "take":
		c, err = b.Accepted(b.OfferedOn, h.today, nil, 0, h.now)
	case "decline":
		c, err = b.OfferDeclined(b.OfferedOn, h.now)
	case "sent":
		c = b.Sent(b.Sequence-rapid.IntRange(0, 1).Draw(t, "late"), h.now)
	case "inspect":
		c, err = b.Inspected(h.now)
	case "off hire":
		c, err = b.OffHired(h.today+civil.Date(rapid.IntRange(-1, 5).Draw(t, "down")), h.today, h.now)
	case "keep":
		c, err = b.KeptOnHire(h.now)
	case "close":
		for i := range h.jobs {
			if h.jobs[i].ID == b.Job {
				h.jobs[i].State = schedule.JobDone
			}
		}
		return
	}
	if err != nil || c.Nothing() {
		return
	}
	h.apply(t, c)
	for i := range h.jobs {
		if h.jobs[i].ID == b.Job && done != schedule.StageUnknown {
			st := stageOf(&h.jobs[i], done)
			st.State, st.StartedOn, st.DoneOn = schedule.StateDone, h.today, map[bool]civil.Date{true: c.After.ErectOn, false: c.After.StrikeOn}[done == schedule.ScaffoldErection]
		}
	}
}

func TestRandomHistories(t *testing.T) {
	t.Parallel()
	rapid.Check(t, randomHistory)
}

// Ten thousand histories, the same ones each time.
func TestTenThousandHistories(t *testing.T) {
	t.Parallel()
	one := rapid.Custom(func(t *rapid.T) int { randomHistory(t); return 0 })
	for seed := range 10_000 {
		one.Example(seed)
	}
}

func randomHistory(t *rapid.T) {
	h := &history{all: map[uuid.UUID]schedule.Booking{}, uids: map[string]uuid.UUID{}, ids: counter(), today: dec(1), now: bookNow}
	for i := range rapid.IntRange(1, 4).Draw(t, "jobs") {
		h.jobs = append(h.jobs, jobNamed(fmt.Sprintf("J-%d", i)))
	}
	for range rapid.IntRange(1, 25).Draw(t, "steps") {
		if rapid.Bool().Draw(t, "publish") {
			h.publish(t)
		} else {
			h.happen(t)
		}
		h.today += civil.Date(rapid.IntRange(0, 4).Draw(t, "days"))
		h.now = h.now.Add(time.Duration(rapid.IntRange(-60, 3000).Draw(t, "minutes")) * time.Minute)
	}
	h.feedSaysTheSame(t)
}

// feedSaysTheSame reads the feed with another library and compares it with the
// bookings.
func (h *history) feedSaysTheSame(t *rapid.T) {
	var all []schedule.Booking
	for _, b := range h.all {
		all = append(all, b)
	}
	raw, err := schedule.FeedOf("Yard", all, h.jobs, schedule.Contact{}, civil.NoDate, time.UTC).Bytes()
	if err != nil {
		t.Fatalf("feed: %v", err)
	}
	cal, err := goical.NewDecoder(bytes.NewReader(raw)).Decode()
	if err != nil {
		t.Fatalf("feed: %v", err)
	}
	events := cal.Events()
	if len(events) != len(all) {
		t.Fatalf("%d events for %d bookings", len(events), len(all))
	}
	for _, e := range events {
		b := h.all[h.uids[e.Props.Get("UID").Value]]
		seq, _ := e.Props.Get("SEQUENCE").Int()
		start, _ := e.DateTimeStart(time.UTC)
		end, _ := e.DateTimeEnd(time.UTC)
		if seq != b.Sequence || civil.DateOf(start, time.UTC) != b.ErectOn || civil.DateOf(end, time.UTC) != b.StrikeOn+1 ||
			(e.Props.Get("STATUS").Value == "CANCELLED") != (b.State == schedule.BookingCancelled) {
			t.Fatalf("event %v for booking %+v", e.Props, b)
		}
	}
}

func TestWhatAnEventSays(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	j.Customer.Name = "Hallam household"
	j.Site.Address = "12 Heron Row\r\nQuillmere"
	j.Site.Lat, j.Site.Lon = 53.17, -0.38
	j.Site.Facts = map[string]any{"access": "internal_ladder", "scaffold_lifts": 2.0, "scaffold_load_class": 3.0, "pitch_deg": 35.0,
		"ohl_support": "wood_pole", "ohl_distance_m": 8.5, "conservatory_below": true, "footpath": false}
	b := booked(j, schedule.BookingCountered, dec(7), dec(11))
	b.OfferedOn = dec(9)
	office := schedule.Contact{Name: "Imogen Thackray", Phone: "01632 960001", ChangedAt: bookNow}
	f := schedule.FeedOf("Quillmere Solar: scaffold", []schedule.Booking{b}, []schedule.Job{j}, office, civil.NoDate, time.UTC)
	want := ical.Event{UID: b.UID, Sequence: 3, ChangedAt: bookNow, Status: ical.Tentative, FirstDay: dec(7), LastDay: dec(11),
		Summary: "Scaffold J-7, 12 Heron Row, Quillmere", Location: "12 Heron Row, Quillmere, XQ1 1AB", Lat: 53.17, Lon: -0.38}
	lines := []string{"Erect: Monday 7 December 2026", "Strike: Friday 11 December 2026", "State: you offered Wed 9 Dec; the office will answer",
		"Job: J-7", "Working height: 6.5 m above ground", "Lifts: 2",
		"Load class: 3 (2 kN/m2, EN 12811-1)", // EN 12811-1 table 3, read second-hand
		"Access to the platform: internal ladder", "Roof pitch: 35 degrees", "Overhead power line on wood pole, 8.5 m away",
		"Glass roof below the work", "Office: Imogen Thackray, 01632 960001"}
	got := f.Events[0]
	if !slices.Equal(got.Lines, lines) {
		t.Errorf("lines\n%s\nwant\n%s", strings.Join(got.Lines, "\n"), strings.Join(lines, "\n"))
	}
	got.Lines = nil
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("event %+v\nwant  %+v", got, want)
	}
	raw, err := f.Bytes()
	if err != nil || bytes.Contains(raw, []byte("Hallam")) {
		t.Errorf("error %v, or the customer's name is in the feed", err)
	}
}

func TestWhatIsNotKnownIsLeftOut(t *testing.T) {
	t.Parallel()
	got := schedule.ForScaffold(schedule.Site{Facts: map[string]any{"scaffold_load_class": 9.0, "ohl_support": "none", "access": 3.0, "footpath": "maybe"}})
	if len(got) != 0 {
		t.Errorf("made up %q", got)
	}
}

func TestFeedDropsWhatIsLongGone(t *testing.T) {
	t.Parallel()
	j := jobNamed("J-7")
	struck, cancelled, live := booked(j, schedule.BookingStruck, dec(1), dec(4)), booked(j, schedule.BookingCancelled, dec(20), dec(24)), booked(j, schedule.BookingWanted, dec(1), dec(2))
	cancelled.ChangedAt = dec(4).At(23, 30, time.UTC)
	for since, want := range map[civil.Date]int{civil.NoDate: 3, dec(4): 3, dec(5): 1} {
		f := schedule.FeedOf("x", []schedule.Booking{struck, cancelled, live}, nil, schedule.Contact{}, since, time.UTC)
		if len(f.Events) != want {
			t.Errorf("since %s: %d events, want %d", since, len(f.Events), want)
		}
	}
}
