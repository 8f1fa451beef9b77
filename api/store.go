package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// pool is a pool of connections that work as the service's role.
type pool = pgxpool.Pool

// accounts reads and writes who may sign in and who is signed in.
type accounts struct{ pool *pool }

type login struct {
	Firm   uuid.UUID
	Person uuid.UUID
	Hash   string
}

// byEmail gives the sign-ins under one e-mail, at most one a firm. It is asked
// before the firm is known, so only rows with that very e-mail can be seen.
func (a accounts) byEmail(ctx context.Context, email string) ([]login, error) {
	var found []login
	err := tenant.Asking(ctx, a.pool, "email", email, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT firm_id, person_id, password_hash FROM login WHERE email = $1 ORDER BY firm_id`, email)
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, func(r pgx.CollectableRow) (l login, err error) {
			return l, r.Scan(&l.Firm, &l.Person, &l.Hash)
		})
		return err
	})
	return found, err
}

// set gives a person a sign-in, or changes it.
func (a accounts) set(ctx context.Context, firm, person uuid.UUID, email, hash string) error {
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO login (firm_id, person_id, email, password_hash) VALUES ($1, $2, $3, $4)
			ON CONFLICT (firm_id, person_id) DO UPDATE SET email = excluded.email, password_hash = excluded.password_hash`,
			firm, person, email, hash)
		return err
	})
}

// caller reads who a person is now: a role that was changed or a person who
// left counts from the next request on.
func (a accounts) caller(ctx context.Context, firm, person uuid.UUID) (Caller, error) {
	c := Caller{Firm: firm, Person: person}
	var active bool
	err := tenant.Snapshot(ctx, a.pool, firm, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `
			SELECT p.name, p.role, p.active, f.name, f.time_zone
			FROM person p JOIN firm f USING (firm_id)
			WHERE p.firm_id = $1 AND p.person_id = $2`, firm, person).
			Scan(&c.Name, (*string)(&c.Role), &active, &c.FirmName, &c.TimeZone)
	})
	if errors.Is(err, pgx.ErrNoRows) || (err == nil && !active) {
		return Caller{}, errUnsigned
	}
	if err != nil {
		return Caller{}, err
	}
	if c.Location, err = time.LoadLocation(c.TimeZone); err != nil {
		return Caller{}, err
	}
	return c, nil
}

var errUnsigned = &fault.Error{Kind: fault.Unsigned, Want: "sign in first"}

// The sessions' store. The token itself is never kept, only its hash. Expiry is
// told by the database's clock against the one the session manager used: both
// are real time, also when the demo's clock is moved.

func tokenHash(token string) [32]byte { return sha256.Sum256([]byte(token)) }

// FindCtx gives the data of a session that has not expired.
func (a accounts) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	hash := tokenHash(token)
	err = tenant.Asking(ctx, a.pool, "session", hex.EncodeToString(hash[:]), func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT data FROM session WHERE token_hash = $1 AND expires_at > now()`, hash[:]).Scan(&data)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, false, nil
	}
	return data, err == nil, err
}

// idleGrain is how much older an expiry must be before it is moved on: without
// it every page view would write a row.
const idleGrain = 10 * time.Minute

// startingKey marks the one commit that starts a session.
type startingKey struct{}

// starting marks a commit as the one that starts a session, at sign-in.
func starting(ctx context.Context) context.Context {
	return context.WithValue(ctx, startingKey{}, true)
}

// CommitCtx keeps a session. Only a signed-in one is kept: the data names firm
// and person. It is asked after each request, to move the expiry on; only at
// sign-in may it make a row. Otherwise a request that was still running when its
// session was ended, by a sign-out or a changed password, would bring it back.
func (a accounts) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	firm, person, err := signedIn(data)
	if err != nil || firm == uuid.Nil {
		return err
	}
	hash := tokenHash(token)
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		if ctx.Value(startingKey{}) != nil {
			_, err := tx.Exec(ctx, `INSERT INTO session (firm_id, token_hash, person_id, data, expires_at) VALUES ($1, $2, $3, $4, $5)`,
				firm, hash[:], person, data, expiry)
			return err
		}
		_, err := tx.Exec(ctx, `
			UPDATE session SET data = $4, expires_at = $5
			WHERE firm_id = $1 AND token_hash = $2 AND person_id = $3 AND expires_at < $5::timestamptz - $6::interval`,
			firm, hash[:], person, data, expiry, idleGrain)
		return err
	})
}

// DeleteCtx ends a session.
func (a accounts) DeleteCtx(ctx context.Context, token string) error {
	data, found, err := a.FindCtx(ctx, token)
	if err != nil || !found {
		return err
	}
	firm, _, err := signedIn(data)
	if err != nil {
		return err
	}
	hash := tokenHash(token)
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `DELETE FROM session WHERE firm_id = $1 AND token_hash = $2`, firm, hash[:])
		return err
	})
}

// Find, Commit and Delete are asked for by the session library's older
// interface; it calls the Ctx ones where they exist.

// Find is FindCtx without a caller's context.
func (a accounts) Find(token string) ([]byte, bool, error) {
	return a.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a caller's context.
func (a accounts) Commit(token string, data []byte, expiry time.Time) error {
	return a.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx without a caller's context.
func (a accounts) Delete(token string) error { return a.DeleteCtx(context.Background(), token) }

// endAll ends every session of a person: for a changed password.
func (a accounts) endAll(ctx context.Context, firm, person uuid.UUID) error {
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `DELETE FROM session WHERE firm_id = $1 AND person_id = $2`, firm, person)
		return err
	})
}

// sweep removes sessions that expired and stored answers made before oldest.
func (a accounts) sweep(ctx context.Context, firm uuid.UUID, oldest time.Time) error {
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `DELETE FROM session WHERE firm_id = $1 AND expires_at < now()`, firm); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `DELETE FROM idempotency WHERE firm_id = $1 AND made_at < $2`, firm, oldest)
		return err
	})
}

// ping asks the database for an answer.
func (a accounts) ping(ctx context.Context) error { return a.pool.Ping(ctx) }

// unreachable tells whether err means that the database could not be asked at
// all, so that trying later makes sense.
func unreachable(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return strings.HasPrefix(pg.Code, "57P") || strings.HasPrefix(pg.Code, "08") || pg.Code == "53300"
	}
	return errors.As(err, &connect) || errors.As(err, &network) || pgconn.Timeout(err)
}

// alreadyThere tells whether err says that the very row was inserted before.
// Identifiers of records are made from the request's key (recordID), so such a
// row is of the same request, from a try whose answer was lost, or of one with
// other content under its key: the caller compares.
func alreadyThere(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == "23505" && strings.HasSuffix(pg.ConstraintName, "_pkey")
}
