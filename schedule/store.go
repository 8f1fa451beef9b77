package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Store keeps what the schedule room knows of every firm. It never decides: it
// reads for the pure functions of this package and writes what they answer, one
// transaction a method. Times come in as values (but for the moment at which a
// firm was created, which nothing rests on) and are kept in UTC and whole
// microseconds.
type Store struct {
	pool *pgxpool.Pool
	ids  func() uuid.UUID
}

// NewStore makes a store on a pool whose role is held by the firms' policies.
// ids gives a new identifier at each call.
func NewStore(pool *pgxpool.Pool, ids func() uuid.UUID) *Store { return &Store{pool: pool, ids: ids} }

// write runs one transaction that sees only firm's rows.
func (s *Store) write(ctx context.Context, firm uuid.UUID, do func(pgx.Tx) error) error {
	return meaning(tenant.Write(ctx, s.pool, firm, do))
}

// serial runs one SERIALIZABLE transaction, for changes that rest on what they
// read.
func (s *Store) serial(ctx context.Context, firm uuid.UUID, do func(pgx.Tx) error) error {
	return meaning(tenant.Serial(ctx, s.pool, firm, do))
}

// read runs do on the firm's rows as they were at one instant.
func (s *Store) read(ctx context.Context, firm uuid.UUID, do func(pgx.Tx) error) error {
	return meaning(tenant.Snapshot(ctx, s.pool, firm, do))
}

// orNew gives an identifier where the caller has none.
func (s *Store) orNew(id uuid.UUID) uuid.UUID {
	if id == uuid.Nil {
		return s.ids()
	}
	return id
}

// orNull makes NULL of the identifier that stands for none.
func orNull(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

func orNil(id *uuid.UUID) uuid.UUID {
	if id == nil {
		return uuid.Nil
	}
	return *id
}

// timeOrNull makes NULL of the zero time.
func timeOrNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = instant(t)
	return &t
}

func timeOrZero(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// meaning names what a key of these tables refused.
func meaning(err error) error {
	var pg *pgconn.PgError
	if err == nil || !errors.As(err, &pg) {
		return err
	}
	switch {
	case pg.ConstraintName == "crew_firm_id_name_key":
		return &fault.Error{Kind: fault.Conflict, Field: "crew name", Want: "another crew has this name", Err: err}
	case pg.ConstraintName == "scaffold_firm_firm_id_name_key":
		return &fault.Error{Kind: fault.Conflict, Field: "scaffold firm's name", Want: "another scaffold firm has this name", Err: err}
	case pg.ConstraintName == "private_link_firm_id_token_hash_key":
		return &fault.Error{Kind: fault.Conflict, Field: "link", Want: "this token is in use: draw another", Err: err}
	case pg.Code == "23505" && strings.HasSuffix(pg.ConstraintName, "_pkey"):
		return &fault.Error{Kind: fault.Conflict, Field: pg.TableName, Want: "it is there already: look again", Err: err}
	case pg.Code == "23503":
		for _, what := range []string{"scaffold_firm", "stage_kind", "person", "crew", "booking", "plan", "job"} {
			if strings.Contains(pg.ConstraintName, what) {
				what = strings.ReplaceAll(strings.TrimSuffix(what, "_kind"), "_", " ")
				return &fault.Error{Kind: fault.NotFound, Field: what, Want: "no such " + what + " here", Err: err}
			}
		}
	}
	return err
}

// ---------------------------------------------------------------- the firm

// CreateFirm begins a firm with its holidays. Its ID may be uuid.Nil only for
// callers that do not need it back.
func (s *Store) CreateFirm(ctx context.Context, f Firm, holidays []Holiday) error {
	f.ID = s.orNew(f.ID)
	if err := f.check(); err != nil {
		return err
	}
	hours, rates, err := firmJSON(f)
	if err != nil {
		return err
	}
	return s.write(ctx, f.ID, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO firm (firm_id, name, time_zone, division, hours, rates, base_lat, base_lon, created_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, now())`,
			f.ID, f.Name, f.TimeZone, f.Division, hours, rates, f.BaseLat, f.BaseLon)
		if err != nil {
			return fmt.Errorf("create firm %s: %w", f.Name, err)
		}
		for _, h := range holidays {
			if err := saveHoliday(ctx, tx, f.ID, h); err != nil {
				return err
			}
		}
		return nil
	})
}

// SaveFirm changes a firm's own facts. Its rates are those that it begins with:
// once SetRates has set others, those count.
func (s *Store) SaveFirm(ctx context.Context, f Firm) error {
	if err := f.check(); err != nil {
		return err
	}
	hours, rates, err := firmJSON(f)
	if err != nil {
		return err
	}
	return s.write(ctx, f.ID, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE firm SET name = $2, time_zone = $3, division = $4, hours = $5, rates = $6, base_lat = $7, base_lon = $8
			WHERE firm_id = $1`, f.ID, f.Name, f.TimeZone, f.Division, hours, rates, f.BaseLat, f.BaseLon)
		if err != nil {
			return fmt.Errorf("save firm %s: %w", f.Name, err)
		}
		return one(tag, "firm", f.ID.String())
	})
}

// one refuses a change that met no row.
func one(tag pgconn.CommandTag, what, value string) error {
	if tag.RowsAffected() == 0 {
		return fault.Missing(what, value)
	}
	return nil
}

func firmJSON(f Firm) (hours, rates []byte, err error) {
	if hours, err = json.Marshal(f.Hours); err != nil {
		return nil, nil, fmt.Errorf("write the firm's hours: %w", err)
	}
	if rates, err = json.Marshal(f.Rates); err != nil {
		return nil, nil, fmt.Errorf("write the firm's rates: %w", err)
	}
	return hours, rates, nil
}

func (f Firm) check() error {
	c := &bounds{}
	c.text("firm's name", f.Name, maxLine, true, false)
	if _, err := f.Location(); err != nil || f.TimeZone == "" || f.TimeZone == "Local" {
		c.add("time zone", f.TimeZone, "a zone such as Europe/London")
	}
	if f.Division != "england-and-wales" && f.Division != "scotland" && f.Division != "northern-ireland" {
		c.add("division", f.Division, "one of england-and-wales, scotland, northern-ireland")
	}
	h := f.Hours
	if !(0 <= h.MorningStart && h.MorningStart < h.MorningEnd && h.MorningEnd <= h.AfternoonStart && h.AfternoonStart < h.AfternoonEnd && h.AfternoonEnd <= 24*60) {
		c.add("hours", fmt.Sprintf("%+v", h), "a morning and after it an afternoon, each with a start before its end, in minutes after midnight")
	}
	c.within("latitude", f.BaseLat, -90, 90, false, "degrees")
	c.within("longitude", f.BaseLon, -180, 180, false, "degrees")
	return errors.Join(c.bad...)
}

// Firm gives one firm.
func (s *Store) Firm(ctx context.Context, firm uuid.UUID) (Firm, error) {
	var f Firm
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		f, err = readFirm(ctx, tx, firm)
		return err
	})
	return f, err
}

func readFirm(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (Firm, error) {
	f := Firm{ID: firm}
	var hours []byte
	err := tx.QueryRow(ctx, `SELECT name, time_zone, division, hours, base_lat, base_lon FROM firm WHERE firm_id = $1`, firm).
		Scan(&f.Name, &f.TimeZone, &f.Division, &hours, &f.BaseLat, &f.BaseLon)
	if errors.Is(err, pgx.ErrNoRows) {
		return f, fault.Missing("firm", firm.String())
	}
	if err != nil {
		return f, fmt.Errorf("read the firm: %w", err)
	}
	if err := json.Unmarshal(hours, &f.Hours); err != nil {
		return f, fmt.Errorf("read the firm's hours: %w", err)
	}
	in, err := newestRates(ctx, tx, firm)
	f.Rates = in.Rates
	return f, err
}

// FirmAt is a firm as the rounds need it: whose turn it is, and in which zone.
type FirmAt struct {
	ID       uuid.UUID
	TimeZone string
}

// Firms lists all firms, for the rounds. It is the one question that no firm
// asks, and it tells nothing else.
func (s *Store) Firms(ctx context.Context) ([]FirmAt, error) {
	rows, err := s.pool.Query(ctx, `SELECT firm_id, time_zone FROM toeboard_firms()`)
	if err != nil {
		return nil, fmt.Errorf("list the firms: %w", tenant.Meaning(err))
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (f FirmAt, err error) {
		err = row.Scan(&f.ID, &f.TimeZone)
		return f, err
	})
	if err != nil {
		return nil, fmt.Errorf("list the firms: %w", tenant.Meaning(err))
	}
	return all, nil
}

// ---------------------------------------------------------------- holidays

// Holidays gives the days on which a firm does not work, in order.
func (s *Store) Holidays(ctx context.Context, firm uuid.UUID) ([]Holiday, error) {
	var all []Holiday
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readHolidays(ctx, tx, firm)
		return err
	})
	return all, err
}

func readHolidays(ctx context.Context, tx pgx.Tx, firm uuid.UUID) ([]Holiday, error) {
	rows, err := tx.Query(ctx, `SELECT day, title, source FROM holiday WHERE firm_id = $1 ORDER BY day`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the holidays: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Holiday])
}

// SaveHoliday adds or renames one day.
func (s *Store) SaveHoliday(ctx context.Context, firm uuid.UUID, h Holiday) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error { return saveHoliday(ctx, tx, firm, h) })
}

func saveHoliday(ctx context.Context, tx pgx.Tx, firm uuid.UUID, h Holiday) error {
	c := &bounds{}
	c.text("holiday", h.Title, maxLine, true, false)
	if !h.Day.Known() {
		c.add("holiday", h.Title, "the day it falls on")
	}
	if err := errors.Join(c.bad...); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO holiday (firm_id, day, title, source) VALUES ($1, $2, $3, $4)
		ON CONFLICT (firm_id, day) DO UPDATE SET title = excluded.title, source = excluded.source`, firm, h.Day, h.Title, h.Source)
	if err != nil {
		return fmt.Errorf("save the holiday of %s: %w", h.Day, err)
	}
	return nil
}

// RemoveHoliday makes a day an ordinary one.
func (s *Store) RemoveHoliday(ctx context.Context, firm uuid.UUID, day civil.Date) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `DELETE FROM holiday WHERE firm_id = $1 AND day = $2`, firm, day)
		if err != nil {
			return fmt.Errorf("remove the holiday of %s: %w", day, err)
		}
		return one(tag, "holiday", day.String())
	})
}
