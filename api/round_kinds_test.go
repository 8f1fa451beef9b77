package api

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// round does one round now and gives what it wrote.
func (s *scene) round(kind RoundKind, on civil.Date) []outbox.Letter {
	s.t.Helper()
	ctx := context.Background()
	begun, err := s.svc.beginRound(ctx, s.firm, kind, on, s.clock())
	must(s.t, err)
	if !begun {
		s.t.Fatalf("the %s round of %s had begun", kind, on)
	}
	var id uuid.UUID
	must(s.t, s.db.Owner.QueryRow(ctx, `SELECT round_id FROM daily_round WHERE firm_id = $1 AND kind = $2 AND on_date = $3`, s.firm, kind, on).Scan(&id))
	read := func() (ids []uuid.UUID, letters []outbox.Letter) {
		rows, err := s.db.Owner.Query(ctx, `SELECT message_id, letter FROM message WHERE firm_id = $1 ORDER BY written_at, message_id`, s.firm)
		must(s.t, err)
		var m uuid.UUID
		var l outbox.Letter
		_, err = pgx.ForEachRow(rows, []any{&m, &l}, func() error {
			ids, letters = append(ids, m), append(letters, l)
			l = outbox.Letter{}
			return nil
		})
		must(s.t, err)
		return ids, letters
	}
	seen, _ := read()
	must(s.t, s.svc.workRound(ctx, s.firm, id))
	ids, letters := read()
	var written []outbox.Letter
	for i, l := range letters {
		if !slices.Contains(seen, ids[i]) {
			written = append(written, l)
		}
	}
	return written
}

func wholeText(l outbox.Letter) string {
	lines := append([]string{l.Subject}, l.Says...)
	for _, f := range l.Facts {
		lines = append(lines, f.Name+": "+f.Is)
	}
	if l.Link != nil {
		lines = append(lines, l.Link.Address)
	}
	return strings.Join(append(lines, l.Ends...), "\n")
}

func wantIn(t *testing.T, what, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%s does not say %q:\n%s", what, w, text)
		}
	}
}

// The evening tells each lead the next working day, the morning what stands in
// the way; neither ever says clear.
func TestCrewsHearOfTheirDay(t *testing.T) {
	s := newScene(t)
	for _, m := range []struct {
		kind RoundKind
		on   civil.Date
		says string
	}{{"evening", tuesday - 1, "Tomorrow, "}, {"morning", tuesday, "Today"}} {
		letters := s.round(m.kind, m.on)
		if len(letters) == 0 {
			t.Fatalf("the %s round tells nobody", m.kind)
		}
		for _, l := range letters {
			text := wholeText(l)
			wantIn(t, string(m.kind), text, m.says, "http://toeboard.example/morning/", "clears nobody")
			if strings.Contains(strings.ToLower(text), "clear to start until") || strings.Contains(text, "B08") || strings.Contains(text, "signed") && strings.Contains(text, "In the way: Everybody") {
				t.Errorf("the letter clears somebody or asks for what only the briefing gives:\n%s", text)
			}
		}
	}
	// A stop is in the way, and the letter says so.
	_, err := s.svc.StopWork(context.Background(), Caller{Firm: s.firm, Person: s.mate, Name: "Dele Ashworth", Role: schedule.CrewMember, Location: time.UTC}, uuid.New(), s.q1.Ref, "a loose ledger")
	must(t, err)
	works, err := s.svc.Mornings(context.Background(), s.firm, tuesday)
	must(t, err)
	i := slices.IndexFunc(works, func(m Judged) bool { return m.Job.ID == s.q1.ID && m.Crew.ID == s.alder.ID })
	if i < 0 {
		t.Fatal("no work at Q-1")
	}
	wantIn(t, "after a stop", wholeText(crewDayLetter(works[i:i+1], tuesday, "")), "you would not be clear to start", "a loose ledger")
}

// Friday evening tells of Monday.
func TestTheEveningLooksToTheNextWorkingDay(t *testing.T) {
	s := newScene(t)
	friday := tuesday - 4
	for _, l := range s.round("evening", friday) {
		if strings.HasPrefix(l.Subject, "Tomorrow") {
			t.Errorf("a Friday calls Monday tomorrow: %s", l.Subject)
		}
	}
}

// When the forecast turns, the crew at work is told once, and again only when it
// turns sooner.
func TestTheTurnOfTheWeatherIsToldOnceAndOnlyTightens(t *testing.T) {
	s := newScene(t)
	s.setClock(benchStart.Add(90 * time.Minute))
	works, err := s.svc.Mornings(context.Background(), s.firm, tuesday)
	must(t, err)
	i := slices.IndexFunc(works, func(m Judged) bool { return m.Snapshot.Outdoors })
	if i < 0 {
		t.Fatal("nobody works outdoors")
	}
	m := works[i]
	at := func(h, min int) Judged {
		m := m
		m.Snapshot.Weather.OffBy = time.Date(2026, 12, 1, h, min, 0, 0, time.UTC)
		m.Snapshot.Weather.Reasons = []weather.Reason{{Rule: "gust while carrying modules", Verdict: weather.Stop, Quantity: weather.WindGust, Known: true, Value: 13, Limit: 10.3, Unit: "m/s", At: m.Snapshot.Weather.OffBy}}
		return m
	}
	if a, b := turnLetter(at(9, 0), "").Subject, turnLetter(at(14, 0), "").Subject; a >= b {
		t.Errorf("%q does not sort before %q, and the round takes it to", a, b)
	}
	wantIn(t, "the letter", wholeText(turnLetter(at(14, 0), "")), "by 14:00", "13", "10.3")
	if got := s.round("turn_08", tuesday); len(got) != 0 {
		t.Fatalf("a calm day turns: %s", wholeText(got[0]))
	}
	s.forecasts(turning)
	first := s.round("turn_09", tuesday)
	if len(first) == 0 {
		t.Fatal("the weather turns, and nobody is told")
	}
	wantIn(t, "the letter", wholeText(first[0]), "Be off the roof by ", "/morning/"+s.alder.ID.String())
	if got := s.round("turn_10", tuesday); len(got) != 0 {
		t.Errorf("the same turn is told again: %s", wholeText(got[0]))
	}
}

// A customer hears once of the days that come soon, again only when one of them
// moved or was lost, with what it was.
func TestACustomerHearsOfTheirDays(t *testing.T) {
	s := newScene(t)
	first := s.round("customers", tuesday)
	if len(first) == 0 {
		t.Fatal("no customer is told of a visit of the coming fortnight")
	}
	for _, l := range first {
		wantIn(t, "the first letter", wholeText(l), "Dear Hallam household,", "Imogen Thackray", "If a day does not suit you")
		if strings.Contains(l.Subject, "Changed") || len(l.Facts) == 0 {
			t.Errorf("the first letter is %s", wholeText(l))
		}
	}
	s.settleBefore() // they left
	if again := s.round("customers", tuesday+1); len(again) > 0 {
		for _, l := range again {
			for _, f := range l.Facts {
				if strings.Contains(f.Is, "it was") {
					t.Errorf("nothing moved, and the customer reads %s", wholeText(l))
				}
			}
		}
	}
	s.settleBefore()
	var stage schedule.StageKind
	s.publishByHand(func(p *schedule.Plan) {
		i := slices.IndexFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == s.q2.ID && v.Stage == schedule.ScaffoldStrike })
		if i < 0 {
			t.Fatal("Q-2 has no visit to move")
		}
		stage = p.Visits[i].Stage
		for n := range p.Visits[i].HalfDays {
			p.Visits[i].HalfDays[n] += 2 * 7
		}
	})
	moved := s.round("customers", tuesday+2)
	if len(moved) != 1 {
		t.Fatalf("one visit moved, %d letters", len(moved))
	}
	wantIn(t, "the letter", wholeText(moved[0]), "Changed: ", customerWords[stage], "(it was ")
	left := visitsForCustomer(nil, []schedule.StageKind{stage}, moved[0].Facts, tuesday+3)
	l, tell := customerLetter(s.q2, "Quillmere Solar", schedule.Contact{}, left, moved[0].Facts, moved[0].Facts)
	if !tell {
		t.Fatal("a day that was told and has no place any more is not told")
	}
	wantIn(t, "the letter", wholeText(l), "on a day that we have to find yet (it was ")
	if strings.Count(wholeText(l), "it was") != 1 {
		t.Errorf("what it was stands there more than once:\n%s", wholeText(l))
	}
}

// The office hears what runs out, and nothing when nothing does.
func TestTheOfficeHearsWhatRunsOut(t *testing.T) {
	t.Parallel()
	today := tuesday
	person := schedule.Person{ID: uuid.New(), Name: "Dele Ashworth", Active: true}
	crew := func(until civil.Date, more ...schedule.Skill) []schedule.Crew {
		return []schedule.Crew{{Name: "Alder", Active: true, Members: []schedule.Membership{{Person: person, From: 0, Until: civil.NoDate,
			Skills: append([]schedule.Skill{{Kind: "roof", From: 0, Until: until}}, more...)}}}}
	}
	for days, want := range map[int]int{61: 0, 60: 1, 59: 0, 30: 1, 7: 1, 1: 1, 0: 1, -1: 0} {
		if got := competencesRunningOut(crew(today+civil.Date(days)), today); len(got) != want {
			t.Errorf("%d days before the end: %v, want %d", days, got, want)
		}
	}
	if got := competencesRunningOut(crew(today+7, schedule.Skill{Kind: "roof", From: today + 5, Until: today + 400}), today); len(got) != 0 {
		t.Errorf("what was renewed is told: %v", got)
	}
	firm := schedule.ScaffoldFirm{Name: "Upright & Brace", IncludedWeeks: 4, WeeklyHire: 45_00}
	b := schedule.Booking{State: schedule.BookingErected, ErectOn: today - 27, StrikeOn: today + 20}
	for days, want := range map[civil.Date]bool{0: true, 1: false, -1: false, -2: true, -7: false, 7: true, 5: true} {
		_, due := hireRunningOut(b, firm, "Q-1", today+days)
		if due != want {
			t.Errorf("%d days from the last free day: told %t, want %t", days, due, want)
		}
	}
	b.StrikeOn = today
	if _, due := hireRunningOut(b, firm, "Q-1", today); due {
		t.Error("a scaffold that comes down before the week begins is told")
	}
	wanted := schedule.Booking{State: schedule.BookingSent, ErectOn: today + 5}
	if _, due := unanswered(wanted, firm, "Q-1", today); !due {
		t.Error("an erection in five days that nobody confirmed is not told")
	}
	wanted.State = schedule.BookingConfirmed
	if _, due := unanswered(wanted, firm, "Q-1", today); due {
		t.Error("a confirmed one is told")
	}
	l := officeLetter([]runningOut{{"Q-1", "The scaffold."}}, today, "http://toeboard.example")
	wantIn(t, "the letter", wholeText(l), "1 thing has run out or soon will", "Q-1: The scaffold.")
}

// The office hears of what must be sent after a job: as the last day comes near,
// each day after it has passed until it was sent, and at once of what has no
// number of days.
func TestTheOfficeHearsOfNotifications(t *testing.T) {
	s := newScene(t)
	due := safety.Due{JobRef: "Q-1", Words: "tell the grid operator", Who: "the office", Began: tuesday - 20, Deadline: tuesday, Sent: civil.NoDate}
	for days, want := range map[civil.Date]bool{-15: false, -14: true, -13: false, -7: true, -1: true, 0: true, 1: true, 2: true, 30: true} {
		if got := notificationsRunningOut([]safety.Due{due}, tuesday+days); len(got) == 1 != want {
			t.Errorf("%d days from the last day: %v, told should be %t", days, got, want)
		}
	}
	sent := due
	sent.Sent = tuesday - 3
	atOnce := safety.Due{JobRef: "Q-1", Began: tuesday - 1, Deadline: civil.NoDate, Clock: "at once", Sent: civil.NoDate}
	if got := notificationsRunningOut([]safety.Due{sent, atOnce}, tuesday); len(got) != 1 || !strings.Contains(got[0].Says, "due, at once") {
		t.Errorf("told is %v", got)
	}
	if got := notificationsRunningOut([]safety.Due{sent, atOnce}, tuesday+1); len(got) != 0 {
		t.Errorf("two days later told is %v", got)
	}

	ctx := context.Background()
	_, err := s.db.Owner.Exec(ctx, `UPDATE stage SET state = 'done', done_on = $1 WHERE job_id = $2 AND kind = 'commissioning'`, (tuesday - 35).String(), s.q1.ID)
	must(t, err)
	all, _, err := s.svc.Due(ctx, s.firm)
	must(t, err)
	late := slices.IndexFunc(all, func(d safety.Due) bool { return d.JobRef == s.q1.Ref && d.Overdue(tuesday) })
	if late < 0 {
		t.Fatalf("nothing is overdue five weeks after commissioning: %+v", all)
	}
	letters := s.round("running_out", tuesday)
	if len(letters) == 0 {
		t.Fatal("the office hears nothing")
	}
	wantIn(t, "the letter", wholeText(letters[0]), capital(all[late].Words)+": overdue by ")
}
