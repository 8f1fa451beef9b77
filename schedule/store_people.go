package schedule

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// SavePerson adds a person or changes one.
func (s *Store) SavePerson(ctx context.Context, firm uuid.UUID, p Person) error {
	p.ID = s.orNew(p.ID)
	c := &bounds{}
	c.text("name", p.Name, maxLine, true, false)
	c.text("phone", p.Phone, 60, false, false)
	if p.Role != Office && p.Role != CrewLead && p.Role != CrewMember {
		c.add("role", string(p.Role), "one of office, crew_lead, crew_member")
	}
	if err := errors.Join(c.bad...); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO person (firm_id, person_id, name, role, phone, active) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (firm_id, person_id) DO UPDATE
			SET name = excluded.name, role = excluded.role, phone = excluded.phone, active = excluded.active`,
			firm, p.ID, p.Name, p.Role, p.Phone, p.Active)
		if err != nil {
			return fmt.Errorf("save person %s: %w", p.Name, err)
		}
		return nil
	})
}

// People gives everybody of the firm, by name; those who left as well.
func (s *Store) People(ctx context.Context, firm uuid.UUID) ([]Person, error) {
	var all []Person
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT person_id, name, role, phone, active FROM person WHERE firm_id = $1
			ORDER BY name COLLATE "C", person_id`, firm)
		if err != nil {
			return fmt.Errorf("read the people: %w", err)
		}
		all, err = pgx.CollectRows(rows, pgx.RowToStructByPos[Person])
		return err
	})
	return all, err
}

// ---------------------------------------------------------------- crews

// SaveCrew adds a crew or changes its own facts. Members are added by AddMember.
func (s *Store) SaveCrew(ctx context.Context, firm uuid.UUID, k Crew) error {
	k.ID = s.orNew(k.ID)
	c := &bounds{}
	c.text("crew name", k.Name, maxLine, true, false)
	if k.Trade != RoofTrade && k.Trade != ElectricalTrade {
		c.add("trade", k.Trade.Key(), "roof or electrical")
	}
	c.within("home latitude", k.HomeLat, -90, 90, false, "degrees")
	c.within("home longitude", k.HomeLon, -180, 180, false, "degrees")
	if k.HalfDayCost < 0 {
		c.add("cost of a half-day", k.HalfDayCost.String(), "£0.00 or more")
	}
	if err := errors.Join(c.bad...); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO crew (firm_id, crew_id, name, trade, home_lat, home_lon, half_day_cost_pence, active)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
			ON CONFLICT (firm_id, crew_id) DO UPDATE
			SET name = excluded.name, trade = excluded.trade, home_lat = excluded.home_lat, home_lon = excluded.home_lon,
			    half_day_cost_pence = excluded.half_day_cost_pence, active = excluded.active`,
			firm, k.ID, k.Name, k.Trade.Key(), k.HomeLat, k.HomeLon, k.HalfDayCost, k.Active)
		if err != nil {
			return fmt.Errorf("save crew %s: %w", k.Name, err)
		}
		return nil
	})
}

// AddMember puts a person into a crew between two dates, both inclusive; Until
// NoDate is open. It is a conflict when the person is in a crew on one of those
// days, or the crew has a lead.
func (s *Store) AddMember(ctx context.Context, firm, crew uuid.UUID, m Membership) error {
	if err := span("member", m.From, m.Until, true); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO crew_member (firm_id, crew_id, person_id, during, is_lead)
			VALUES ($1, $2, $3, daterange($4, $5, '[]'), $6)`, firm, crew, m.Person.ID, m.From, m.Until, m.Lead)
		if err != nil {
			return fmt.Errorf("put %s into a crew: %w", m.Person.Name, err)
		}
		return nil
	})
}

// EndMember makes last the last day of a person in a crew. It is NotFound when
// the person is not in the crew on that day.
func (s *Store) EndMember(ctx context.Context, firm, crew, person uuid.UUID, last civil.Date) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE crew_member SET during = daterange(lower(during), $4, '[]')
			WHERE firm_id = $1 AND crew_id = $2 AND person_id = $3 AND during @> $4::date`, firm, crew, person, last)
		if err != nil {
			return fmt.Errorf("end a membership: %w", err)
		}
		return one(tag, "crew member", person.String())
	})
}

// AddAbsence records leave or sickness, both days inclusive.
func (s *Store) AddAbsence(ctx context.Context, firm, person uuid.UUID, a Absence) error {
	if err := span("absence", a.From, a.Until, false); err != nil {
		return err
	}
	c := &bounds{}
	if c.text("reason", a.Reason, maxLine, true, false); len(c.bad) > 0 {
		return c.bad[0]
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO absence (firm_id, absence_id, person_id, during, reason)
			VALUES ($1, $2, $3, daterange($4, $5, '[]'), $6)`, firm, s.ids(), person, a.From, a.Until, a.Reason)
		if err != nil {
			return fmt.Errorf("record an absence: %w", err)
		}
		return nil
	})
}

// span refuses days that make no span.
func span(what string, from, until civil.Date, open bool) error {
	switch {
	case !from.Known():
		return fault.Bad(what+", first day", "", "a day such as 2026-12-31")
	case !until.Known() && !open:
		return fault.Bad(what+", last day", "", "a day such as 2026-12-31")
	case until.Known() && until < from:
		return fault.Bad(what+", last day", until.String(), "not before "+from.String()+", the first")
	}
	return nil
}

// Crews gives every crew by name, with its members by date, their absences and
// what they are competent in. Crews that are no longer active come too.
func (s *Store) Crews(ctx context.Context, firm uuid.UUID) ([]Crew, error) {
	var all []Crew
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readCrews(ctx, tx, firm)
		return err
	})
	return all, err
}

type crewRow struct {
	CrewID           uuid.UUID
	Name, Trade      string
	HomeLat, HomeLon float64
	HalfDayCostPence Pence
	Active           bool
}

func readCrews(ctx context.Context, tx pgx.Tx, firm uuid.UUID) ([]Crew, error) {
	rows, err := tx.Query(ctx, `
		SELECT crew_id, name, trade, home_lat, home_lon, half_day_cost_pence, active
		FROM crew WHERE firm_id = $1 ORDER BY name COLLATE "C"`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the crews: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[crewRow])
	if err != nil {
		return nil, fmt.Errorf("read the crews: %w", err)
	}
	members, err := readMembers(ctx, tx, firm)
	if err != nil {
		return nil, err
	}
	var all []Crew
	for _, r := range found {
		trade, err := TradeFromKey(r.Trade)
		if err != nil {
			return nil, fmt.Errorf("read crew %s: %w", r.Name, err)
		}
		all = append(all, Crew{ID: r.CrewID, Name: r.Name, Trade: trade, HomeLat: r.HomeLat, HomeLon: r.HomeLon,
			HalfDayCost: r.HalfDayCostPence, Active: r.Active, Members: members[r.CrewID]})
	}
	return all, nil
}

type memberRow struct {
	CrewID, PersonID  uuid.UUID
	Name, Role, Phone string
	Active, IsLead    bool
	FromDay, UntilDay civil.Date
}

// readMembers gives each crew's members: the lead first, then by name and date.
func readMembers(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (map[uuid.UUID][]Membership, error) {
	rows, err := tx.Query(ctx, `
		SELECT m.crew_id, m.person_id, p.name, p.role, p.phone, p.active, m.is_lead,
		       lower(m.during) AS from_day, upper(m.during) - 1 AS until_day
		FROM crew_member m JOIN person p ON p.firm_id = m.firm_id AND p.person_id = m.person_id
		WHERE m.firm_id = $1
		ORDER BY m.crew_id, m.is_lead DESC, p.name COLLATE "C", m.person_id, m.during`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the crews' members: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[memberRow])
	if err != nil {
		return nil, fmt.Errorf("read the crews' members: %w", err)
	}
	absences, err := readAbsences(ctx, tx, firm)
	if err != nil {
		return nil, err
	}
	skills, err := readSkills(ctx, tx, firm)
	if err != nil {
		return nil, err
	}
	all := map[uuid.UUID][]Membership{}
	for _, r := range found {
		all[r.CrewID] = append(all[r.CrewID], Membership{
			Person: Person{ID: r.PersonID, Name: r.Name, Role: Role(r.Role), Phone: r.Phone, Active: r.Active},
			From:   r.FromDay, Until: r.UntilDay, Lead: r.IsLead, Absences: absences[r.PersonID], Skills: skills[r.PersonID]})
	}
	return all, nil
}

func readAbsences(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (map[uuid.UUID][]Absence, error) {
	rows, err := tx.Query(ctx, `
		SELECT person_id, lower(during), upper(during) - 1, reason
		FROM absence WHERE firm_id = $1 ORDER BY person_id, during, absence_id`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the absences: %w", err)
	}
	all := map[uuid.UUID][]Absence{}
	var person uuid.UUID
	var a Absence
	_, err = pgx.ForEachRow(rows, []any{&person, &a.From, &a.Until, &a.Reason}, func() error {
		all[person] = append(all[person], a)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the absences: %w", err)
	}
	return all, nil
}

func readSkills(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (map[uuid.UUID][]Skill, error) {
	rows, err := tx.Query(ctx, `
		SELECT person_id, kind, valid_from, valid_to
		FROM competence WHERE firm_id = $1 ORDER BY person_id, kind, valid_from`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the competences: %w", err)
	}
	all := map[uuid.UUID][]Skill{}
	var person uuid.UUID
	var k Skill
	_, err = pgx.ForEachRow(rows, []any{&person, &k.Kind, &k.From, &k.Until}, func() error {
		all[person] = append(all[person], k)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the competences: %w", err)
	}
	return all, nil
}

// ---------------------------------------------------------------- scaffold firms

// SaveScaffoldFirm adds a scaffold firm or changes one.
func (s *Store) SaveScaffoldFirm(ctx context.Context, firm uuid.UUID, f ScaffoldFirm) error {
	f.ID = s.orNew(f.ID)
	if err := f.check(); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error { return saveScaffoldFirm(ctx, tx, firm, f) })
}

// ChangeScaffoldFirm puts new terms in the place of those that were looked at:
// seen is their Mark, and another one in force by now is a conflict.
func (s *Store) ChangeScaffoldFirm(ctx context.Context, firm uuid.UUID, f ScaffoldFirm, seen string) error {
	if err := f.check(); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT FROM scaffold_firm WHERE firm_id = $1 AND scaffold_firm_id = $2 FOR UPDATE`, firm, f.ID); err != nil {
			return fmt.Errorf("lock a scaffold firm: %w", err)
		}
		all, err := readScaffoldFirms(ctx, tx, firm)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(k ScaffoldFirm) bool { return k.ID == f.ID })
		switch {
		case i < 0:
			return fault.Missing("scaffold firm", f.ID.String())
		case all[i] == f:
			return nil
		case all[i].Mark() != seen:
			return fault.Changed("seen", seen, "somebody changed the terms of "+all[i].Name+" since you looked: look again")
		}
		return saveScaffoldFirm(ctx, tx, firm, f)
	})
}

func saveScaffoldFirm(ctx context.Context, tx pgx.Tx, firm uuid.UUID, f ScaffoldFirm) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO scaffold_firm (firm_id, scaffold_firm_id, name, email, phone, gangs_per_day, sets, erect_notice,
		                           strike_notice, visit_pence, included_weeks, weekly_hire_pence, active, days_off,
		                           yard_lat, yard_lon, reach_km, cancel_notice, cancel_pence, gust_limit_ms)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, nullif($20::double precision, 0))
		ON CONFLICT (firm_id, scaffold_firm_id) DO UPDATE
		SET name = excluded.name, email = excluded.email, phone = excluded.phone, gangs_per_day = excluded.gangs_per_day,
		    sets = excluded.sets, erect_notice = excluded.erect_notice, strike_notice = excluded.strike_notice,
		    visit_pence = excluded.visit_pence, included_weeks = excluded.included_weeks,
		    weekly_hire_pence = excluded.weekly_hire_pence, active = excluded.active, days_off = excluded.days_off,
		    yard_lat = excluded.yard_lat, yard_lon = excluded.yard_lon, reach_km = excluded.reach_km,
		    cancel_notice = excluded.cancel_notice, cancel_pence = excluded.cancel_pence,
		    gust_limit_ms = excluded.gust_limit_ms`,
		firm, f.ID, f.Name, f.Email, f.Phone, f.GangsPerDay, f.Sets, f.ErectNotice, f.StrikeNotice, f.VisitPrice,
		f.IncludedWeeks, f.WeeklyHire, f.Active, int16(f.DaysOff),
		whereReached(f, f.YardLat), whereReached(f, f.YardLon), whereReached(f, f.ReachKm), f.CancelNotice, f.CancelCharge, f.GustLimit)
	if err != nil {
		return fmt.Errorf("save scaffold firm %s: %w", f.Name, err)
	}
	return nil
}

// whereReached makes NULL of what a firm without an area has none of.
func whereReached[T any](f ScaffoldFirm, x T) *T {
	if f.ReachKm == 0 {
		return nil
	}
	return &x
}

func (f ScaffoldFirm) check() error {
	c := &bounds{}
	c.text("scaffold firm's name", f.Name, maxLine, true, false)
	c.text("e-mail", f.Email, 254, false, false)
	if f.Email != "" && !looksLikeEmail(f.Email) {
		c.add("e-mail", f.Email, "one address such as yard@scaffold.example")
	}
	c.text("phone", f.Phone, 60, false, false)
	c.within("gangs a day", float64(f.GangsPerDay), 1, 50, false, "gangs")
	c.within("sets", float64(f.Sets), 1, 500, false, "sets of kit that can stand at once")
	c.within("notice to erect", float64(f.ErectNotice), 0, 60, false, "working days")
	c.within("notice to strike", float64(f.StrikeNotice), 0, 60, false, "working days")
	c.within("weeks included", float64(f.IncludedWeeks), 0, 52, false, "weeks")
	if !f.DaysOff.valid() {
		c.add("days off", fmt.Sprint(f.DaysOff), "none to four of Monday to Friday")
	}
	c.within("yard's latitude", f.YardLat, -90, 90, false, "degrees north")
	c.within("yard's longitude", f.YardLon, -180, 180, false, "degrees east")
	c.within("reach", float64(f.ReachKm), 0, mostReachKm, false, "km from its yard; 0 = anywhere")
	c.within("cancel notice", float64(f.CancelNotice), 0, 60, false, "working days")
	if f.GustLimit != 0 {
		c.within("gust limit", f.GustLimit, leastGust, mostGust, false, "m/s at the working height; none = the limits of this firm alone")
	}
	switch {
	case f.CancelCharge < 0:
		c.add("charge for cancelling", f.CancelCharge.String(), "£0.00 or more")
	case f.CancelCharge > 0 && f.CancelNotice == 0:
		c.add("cancel notice", "0", "1 working day or more, since a charge for cancelling is given")
	}
	if f.VisitPrice < 0 {
		c.add("price of erection and strike", f.VisitPrice.String(), "£0.00 or more")
	}
	if f.WeeklyHire < 0 {
		c.add("weekly hire", f.WeeklyHire.String(), "£0.00 or more")
	}
	return errors.Join(c.bad...)
}

// ScaffoldFirms gives every scaffold firm by name; those not active as well.
func (s *Store) ScaffoldFirms(ctx context.Context, firm uuid.UUID) ([]ScaffoldFirm, error) {
	var all []ScaffoldFirm
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readScaffoldFirms(ctx, tx, firm)
		return err
	})
	return all, err
}

func readScaffoldFirms(ctx context.Context, tx pgx.Tx, firm uuid.UUID) ([]ScaffoldFirm, error) {
	rows, err := tx.Query(ctx, `
		SELECT scaffold_firm_id, name, email, phone, gangs_per_day, sets, erect_notice, strike_notice, visit_pence,
		       included_weeks, weekly_hire_pence, active, days_off,
		       coalesce(yard_lat, 0), coalesce(yard_lon, 0), coalesce(reach_km, 0), cancel_notice, cancel_pence, coalesce(gust_limit_ms, 0)
		FROM scaffold_firm WHERE firm_id = $1 ORDER BY name COLLATE "C"`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the scaffold firms: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[ScaffoldFirm])
}
