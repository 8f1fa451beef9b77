package api

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// usualRounds are the rounds of a day, each at its time on the firm's clock
// (start values, common practice, no source). A machine that was off does a
// round late as long as it is of use.
func (s *Service) usualRounds() []roundWork {
	clock := func(h, m int) int { return 60*h + m }
	all := []roundWork{
		{Round{"signed_head", "signed head's", clock(2, 30), clock(12, 0)}, s.headRound}, // the log is signed each night at eleven minutes past two
		{Round{"morning", "morning", clock(6, 30), clock(10, 0)}, s.morningRound},
		{Round{"running_out", "running-out", clock(7, 0), clock(12, 0)}, s.dueRound},
		{Round{"customers", "customers'", clock(16, 0), clock(19, 30)}, s.customersRound},
		{Round{"evening", "evening", clock(17, 0), clock(21, 0)}, s.eveningRound},
	}
	for h := 7; h <= 17; h++ { // forecasts are read at seven minutes past
		all = append(all, roundWork{Round{RoundKind(fmt.Sprintf("turn_%02d", h)), "weather", clock(h, 15), clock(h, 55)}, s.turnRound})
	}
	return all
}

// headRound mails the night's signed head to whom the firm set: nobody, when it
// set nobody. A log that was changed behind its last head is not signed, and
// then no mail comes.
func (s *Service) headRound(ctx context.Context, firm uuid.UUID, on civil.Date) ([]telling, error) {
	to, err := s.safety.HeadRecipient(ctx, firm)
	if err != nil || to.Address == "" {
		return nil, err
	}
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, err
	}
	head, err := s.SignHead(ctx, firm)
	if err != nil {
		return nil, err
	}
	keys, err := s.safety.PublicKeys(ctx, firm)
	if err != nil {
		return nil, err
	}
	t := telling{outMessage: outMessage{Kind: signedHead, Topic: "signed-head/" + on.String(), ToName: to.Name, ToAddress: to.Address, Letter: headLetter(f.Name, head, keys, on)}}
	return []telling{t}, nil
}

// addressee is somebody of the firm with the address they sign in with.
type addressee struct {
	id            uuid.UUID
	name, address string
}

func (t *telling) to(a addressee) { t.ToName, t.ToAddress = a.name, a.address }

// leadOf is who leads a crew on the day of a decision.
func leadOf(m Judged, signIns map[uuid.UUID]string) (addressee, bool) {
	for _, p := range m.Snapshot.People {
		if p.Lead {
			return addressee{p.ID, p.Name, signIns[p.ID]}, true
		}
	}
	return addressee{}, false
}

// perCrew reads a day's decisions by crew, in the order of their names.
func (s *Service) perCrew(ctx context.Context, firm uuid.UUID, day civil.Date) (all [][]Judged, signIns map[uuid.UUID]string, err error) {
	mornings, err := s.Mornings(ctx, firm, day)
	if err != nil {
		return nil, nil, err
	}
	for _, m := range mornings {
		if n := len(all); n > 0 && all[n-1][0].Crew.ID == m.Crew.ID {
			all[n-1] = append(all[n-1], m)
			continue
		}
		all = append(all, []Judged{m})
	}
	signIns, err = s.SignIns(ctx, firm)
	return all, signIns, err
}

// tellCrews tells each crew's lead of a day.
func (s *Service) tellCrews(ctx context.Context, firm uuid.UUID, kind outKind, day, today civil.Date) (all []telling, err error) {
	crews, signIns, err := s.perCrew(ctx, firm, day)
	if err != nil {
		return nil, err
	}
	for _, works := range crews {
		lead, ok := leadOf(works[0], signIns)
		if !ok {
			continue // the office sees on its page that nobody leads
		}
		t := telling{outMessage: outMessage{Kind: kind, Topic: string(kind) + "/" + works[0].Crew.ID.String() + "/" + day.String(), Letter: crewDayLetter(works, today, s.baseURL)}, people: []uuid.UUID{lead.id}}
		t.to(lead)
		t.note = &Note{Title: t.Letter.Subject, Body: t.Letter.Says[len(t.Letter.Says)-1], Href: morningHref(works[0].Crew.ID, day), Until: works[0].Snapshot.EndAt}
		all = append(all, t)
	}
	return all, nil
}

// eveningRound tells crews what the next working day brings.
func (s *Service) eveningRound(ctx context.Context, firm uuid.UUID, on civil.Date) ([]telling, error) {
	holidays, err := s.schedule.Holidays(ctx, firm)
	if err != nil {
		return nil, err
	}
	return s.tellCrews(ctx, firm, crewEvening, schedule.AddWorkingDays(on, 1, holidays), on)
}

// morningRound tells crews what stands in the way of starting.
func (s *Service) morningRound(ctx context.Context, firm uuid.UUID, on civil.Date) ([]telling, error) {
	return s.tellCrews(ctx, firm, crewMorning, on, on)
}

// turnRound tells crews at work when the weather turns. It only ever tightens: a
// later hour than the one that was told is not told.
func (s *Service) turnRound(ctx context.Context, firm uuid.UUID, on civil.Date) (all []telling, err error) {
	mornings, err := s.Mornings(ctx, firm, on)
	if err != nil {
		return nil, err
	}
	signIns, err := s.SignIns(ctx, firm)
	if err != nil {
		return nil, err
	}
	now := s.now()
	for _, m := range mornings {
		off := m.Snapshot.Weather.OffBy
		if !m.Snapshot.Outdoors || off.IsZero() || !now.Before(m.Snapshot.EndAt) || !off.Before(m.Snapshot.EndAt) {
			continue
		}
		topic := strings.Join([]string{"turn", m.Crew.ID.String(), m.Job.ID.String(), on.String()}, "/")
		letter := turnLetter(m, s.baseURL)
		was, told, err := s.lastTold(ctx, firm, topic)
		if err != nil {
			return nil, err
		}
		if told && was.Subject <= letter.Subject { // "Be off the roof by 14:00": of one day and place, so the words sort as the hours do
			continue
		}
		lead, ok := leadOf(m, signIns)
		if !ok {
			continue
		}
		t := telling{outMessage: outMessage{Kind: crewTurn, Topic: topic, Letter: letter}, note: &Note{Title: letter.Subject, Body: letter.Says[1], Href: morningHref(m.Crew.ID, on), Until: m.Snapshot.EndAt}}
		t.to(lead)
		for _, p := range m.Snapshot.People {
			t.people = append(t.people, p.ID)
		}
		all = append(all, t)
	}
	return all, nil
}

// dueRound tells the office what runs out soon: nothing, when nothing does.
func (s *Service) dueRound(ctx context.Context, firm uuid.UUID, on civil.Date) ([]telling, error) {
	lines, err := s.runningOut(ctx, firm, on)
	if err != nil || len(lines) == 0 {
		return nil, err
	}
	people, err := s.schedule.People(ctx, firm)
	if err != nil {
		return nil, err
	}
	signIns, err := s.SignIns(ctx, firm)
	if err != nil {
		return nil, err
	}
	var all []telling
	for _, p := range people {
		if p.Role != schedule.Office || !p.Active {
			continue
		}
		t := telling{outMessage: outMessage{Kind: officeDue, Topic: "running-out/" + p.ID.String() + "/" + on.String(), Letter: officeLetter(lines, on, s.baseURL)}}
		t.to(addressee{p.ID, p.Name, signIns[p.ID]})
		all = append(all, t)
	}
	return all, nil
}

// runningOut lists what runs out soon: inspections, bookings that nobody
// confirmed, weeks of hire, notifications that are due, competences.
func (s *Service) runningOut(ctx context.Context, firm uuid.UUID, on civil.Date) (lines []runningOut, err error) {
	d, err := s.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return nil, err
	}
	bookings, err := s.schedule.Bookings(ctx, firm)
	if err != nil {
		return nil, err
	}
	for _, b := range bookings {
		ref, scaffolder := d.jobs[b.Job].Ref, d.firms[b.ScaffoldFirm]
		if b.State.Stands() {
			file, err := s.safety.ScaffoldFile(ctx, firm, b.Job)
			if err != nil {
				return nil, err
			}
			lines = append(lines, inspectionsRunningOut(file, ref, s.now(), zone)...)
		}
		if line, due := hireRunningOut(b, scaffolder, ref, on); due {
			lines = append(lines, line)
		}
		if line, due := unanswered(b, scaffolder, ref, on); due {
			lines = append(lines, line)
		}
	}
	dues, _, err := s.Due(ctx, firm)
	if err != nil {
		return nil, err
	}
	lines = append(lines, notificationsRunningOut(dues, on)...)
	lines = append(lines, competencesRunningOut(sortedBy(d.crews, func(c schedule.Crew) string { return c.Name }), on)...)
	slices.SortStableFunc(lines, func(a, b runningOut) int { return strings.Compare(a.Ref, b.Ref) })
	return lines, nil
}

// customersRound tells customers of the days on which somebody comes, and of
// those that moved since they were told. One letter a day holds all that the
// day's plans changed.
func (s *Service) customersRound(ctx context.Context, firm uuid.UUID, on civil.Date) (all []telling, err error) {
	plan, err := s.current(ctx, firm)
	if err != nil || plan == nil {
		return nil, err
	}
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, err
	}
	office, err := s.schedule.OfficeContact(ctx, firm)
	if err != nil {
		return nil, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, err
	}
	for _, j := range jobs {
		if j.State != schedule.JobOpen || j.Customer.Email == "" {
			continue
		}
		visits, left := stillToCome(*plan, j)
		topic := "dates/" + j.ID.String()
		written, _, err := s.lastTold(ctx, firm, topic)
		if err != nil {
			return nil, err
		}
		heard, _, err := s.lastHeard(ctx, firm, topic)
		if err != nil {
			return nil, err
		}
		letter, tell := customerLetter(j, f.Name, office, visitsForCustomer(visits, left, written.Facts, on), written.Facts, heard.Facts)
		if !tell {
			continue
		}
		t := telling{outMessage: outMessage{Kind: customerDates, Topic: topic, Letter: letter}}
		t.to(addressee{j.Customer.ID, j.Customer.Name, j.Customer.Email})
		all = append(all, t)
	}
	return all, nil
}

// stillToCome gives a job's visits of stages that have not begun, and those
// stages that have no place.
func stillToCome(p schedule.Plan, j schedule.Job) (visits []schedule.Visit, left []schedule.StageKind) {
	for _, st := range j.Stages {
		if st.State != schedule.StatePlanned {
			continue
		}
		i := slices.IndexFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == j.ID && v.Stage == st.Kind })
		if i < 0 {
			left = append(left, st.Kind)
			continue
		}
		visits = append(visits, p.Visits[i])
	}
	return visits, left
}
