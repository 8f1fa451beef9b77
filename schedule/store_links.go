package schedule

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// Purpose is what a private link opens.
type Purpose string

// The purposes.
const (
	ForPage Purpose = "page"
	ForFeed Purpose = "feed"
)

// Link is a scaffold firm's private link. Whoever holds its token is that
// scaffold firm; the token itself is not kept, only its SHA-256.
type Link struct {
	ID           uuid.UUID
	Firm         uuid.UUID
	ScaffoldFirm uuid.UUID
	Purpose      Purpose
	CreatedAt    time.Time // UTC
	Expires      time.Time // UTC; zero = it lasts until it is revoked
	RevokedAt    time.Time // UTC; zero = it is not
}

// minToken is the fewest characters of a token: 128 random bits in base 64.
const minToken = 22

// CreateLink makes a private link. token is drawn at random by the caller, at
// least 128 bits; the zero time expires makes a link that lasts until revoked.
func (s *Store) CreateLink(ctx context.Context, firm, scaffoldFirm uuid.UUID, purpose Purpose, token string, now, expires time.Time) error {
	switch {
	case purpose != ForPage && purpose != ForFeed:
		return fault.Bad("purpose", string(purpose), "page or feed")
	case len(token) < minToken:
		return fault.Bad("token", fmt.Sprintf("%d characters", len(token)), fmt.Sprintf("at least %d random characters", minToken))
	case !expires.IsZero() && !expires.After(now):
		return fault.Bad("expires", expires.UTC().Format(time.RFC3339), "a time after now")
	}
	hash := sha256.Sum256([]byte(token))
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO private_link (firm_id, link_id, scaffold_firm_id, purpose, token_hash, created_at, expires_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			firm, s.ids(), scaffoldFirm, purpose, hash[:], instant(now), timeOrNull(expires))
		if err != nil {
			return fmt.Errorf("make a private link: %w", err)
		}
		return nil
	})
}

type linkRow struct {
	LinkID, FirmID, ScaffoldFirmID uuid.UUID
	Purpose                        string
	CreatedAt                      time.Time
	ExpiresAt, RevokedAt           *time.Time
}

func (r linkRow) link() Link {
	return Link{ID: r.LinkID, Firm: r.FirmID, ScaffoldFirm: r.ScaffoldFirmID, Purpose: Purpose(r.Purpose), CreatedAt: r.CreatedAt.UTC(),
		Expires: timeOrZero(r.ExpiresAt), RevokedAt: timeOrZero(r.RevokedAt)}
}

// LinkByToken finds the link that a token opens, in whichever firm. One that was
// revoked or has expired is NotFound, as one that never was.
func (s *Store) LinkByToken(ctx context.Context, token string, now time.Time) (Link, error) {
	hash := sha256.Sum256([]byte(token))
	var found []linkRow
	err := tenant.Asking(ctx, s.pool, "link", hex.EncodeToString(hash[:]), func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT link_id, firm_id, scaffold_firm_id, purpose, created_at, expires_at, revoked_at
			FROM private_link WHERE token_hash = $1`, hash[:])
		if err != nil {
			return fmt.Errorf("look for a private link: %w", err)
		}
		found, err = pgx.CollectRows(rows, pgx.RowToStructByName[linkRow])
		return err
	})
	if err != nil {
		return Link{}, tenant.Meaning(err)
	}
	for _, r := range found {
		if l := r.link(); l.RevokedAt.IsZero() && (l.Expires.IsZero() || now.Before(l.Expires)) {
			return l, nil
		}
	}
	return Link{}, fault.Missing("address", "")
}

// Links gives a scaffold firm's links, the newest first, without their tokens.
func (s *Store) Links(ctx context.Context, firm, scaffoldFirm uuid.UUID) ([]Link, error) {
	var all []Link
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT link_id, firm_id, scaffold_firm_id, purpose, created_at, expires_at, revoked_at
			FROM private_link WHERE firm_id = $1 AND scaffold_firm_id = $2 ORDER BY created_at DESC, link_id`, firm, scaffoldFirm)
		if err != nil {
			return fmt.Errorf("read the private links: %w", err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowToStructByName[linkRow])
		for _, r := range found {
			all = append(all, r.link())
		}
		return err
	})
	return all, err
}

// RevokeLink ends a link. One that is revoked already stays so.
func (s *Store) RevokeLink(ctx context.Context, firm, link uuid.UUID, now time.Time) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE private_link SET revoked_at = coalesce(revoked_at, $3) WHERE firm_id = $1 AND link_id = $2`, firm, link, instant(now))
		if err != nil {
			return fmt.Errorf("revoke a private link: %w", err)
		}
		return one(tag, "link", link.String())
	})
}
