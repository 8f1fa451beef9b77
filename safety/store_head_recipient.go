package safety

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// HeadRecipient is to whom the signed head of a firm's log is mailed each night.
// The zero value is nobody.
type HeadRecipient struct {
	Version int    // 0 = never set
	Name    string // "" = nobody
	Address string // e-mail; "" = nobody
	SetBy   string
	SetAt   time.Time // UTC
}

// HeadRecipient reads to whom the firm's heads go.
func (s *Store) HeadRecipient(ctx context.Context, firm uuid.UUID) (r HeadRecipient, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		r = HeadRecipient{}
		err := tx.QueryRow(ctx, `SELECT version, name, address, set_by, set_at FROM head_recipient ORDER BY version DESC LIMIT 1`).
			Scan(&r.Version, &r.Name, &r.Address, &r.SetBy, &r.SetAt)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read to whom the heads go: %w", err)
		}
		r.SetAt = r.SetAt.UTC()
		return nil
	})
	return r, err
}

// SetHeadRecipient keeps to whom the firm's heads go from now on, as the next
// version after r.Version. Without name and address it is nobody. When another
// version was set meanwhile it is a conflict and nothing is stored.
func (s *Store) SetHeadRecipient(ctx context.Context, firm uuid.UUID, r HeadRecipient) (HeadRecipient, error) {
	r.Name, r.Address, r.SetAt = strings.TrimSpace(r.Name), strings.TrimSpace(r.Address), stamp(r.SetAt)
	base := r.Version
	r.Version = base + 1
	switch {
	case (r.Name == "") != (r.Address == ""):
		return HeadRecipient{}, fault.Bad("heads_address", r.Address, "a name and an e-mail address, or neither for nobody")
	case len(r.Name) > 200:
		return HeadRecipient{}, fault.Bad("heads_name", "", "at most 200 letters")
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		var newest int
		if err := tx.QueryRow(ctx, `SELECT coalesce(max(version), 0) FROM head_recipient`).Scan(&newest); err != nil {
			return fmt.Errorf("find the newest version: %w", err)
		}
		if newest != base {
			return fault.Changed("recipient", "version "+strconv.Itoa(base), fmt.Sprintf("version %d was set meanwhile: look at it and decide again", newest))
		}
		if _, err := tx.Exec(ctx, `INSERT INTO head_recipient (firm_id, version, name, address, set_by, set_at) VALUES ($1, $2, $3, $4, $5, $6)`,
			firm, r.Version, r.Name, r.Address, r.SetBy, r.SetAt); err != nil {
			return fmt.Errorf("set to whom the heads go: %w", err)
		}
		return Keep(ctx, tx, firm, "head_recipient", r.Version)
	})
	return r, err
}
