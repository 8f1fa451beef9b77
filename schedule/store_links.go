package schedule

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
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
	ForMail Purpose = "mail" // the page too, from a mail: it ends soon and shows no address that lasts
)

// Link is a scaffold firm's private link. Whoever holds its token is that
// scaffold firm; the token itself is not kept, only its SHA-256.
type Link struct {
	ID           uuid.UUID
	Firm         uuid.UUID
	ScaffoldFirm uuid.UUID
	Purpose      Purpose
	MadeBy       string    // "" = not known
	SentTo       string    // e-mail address of the mail that carries it; "" = handed over by hand
	CreatedAt    time.Time // UTC
	Expires      time.Time // UTC; zero = it lasts until it is revoked
	RevokedAt    time.Time // UTC; zero = it is not
	LastUsed     time.Time // UTC, to within usedWithin; zero = never
}

// Opens tells whether the link opens anything at a time.
func (l Link) Opens(now time.Time) bool {
	return l.RevokedAt.IsZero() && (l.Expires.IsZero() || now.Before(l.Expires))
}

const (
	// minToken is the fewest characters of a token: 128 random bits in base 64.
	minToken = 22
	// MailLinkLasts is how long a link in a mail opens the page (start value,
	// common practice, no source): a mail is passed on and lies in mailboxes.
	MailLinkLasts = 30 * 24 * time.Hour
	// LinkLastsMost is the most for which the office may give a link.
	LinkLastsMost = 2 * 366 * 24 * time.Hour
	// usedWithin is how exactly the last use of a link is kept: calendars ask
	// every few minutes, and not each question is to be a write.
	usedWithin = time.Hour
)

// CreateLink makes a private link of l's scaffold firm, purpose, end, maker and
// addressee; the zero time Expires makes one that lasts until revoked, but for
// one in a mail. token is drawn at random by the caller, at least 128 bits.
func (s *Store) CreateLink(ctx context.Context, firm uuid.UUID, l Link, token string, now time.Time) error {
	switch {
	case l.Purpose != ForPage && l.Purpose != ForFeed && l.Purpose != ForMail:
		return fault.Bad("purpose", string(l.Purpose), "page, feed or mail")
	case len(token) < minToken:
		return fault.Bad("token", fmt.Sprintf("%d characters", len(token)), fmt.Sprintf("at least %d random characters", minToken))
	case !l.Expires.IsZero() && !l.Expires.After(now):
		return fault.Bad("expires", l.Expires.UTC().Format(time.RFC3339), "a time after now")
	}
	hash := sha256.Sum256([]byte(token))
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO private_link (firm_id, link_id, scaffold_firm_id, purpose, token_hash, created_at, expires_at, made_by, sent_to)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			firm, s.orNew(l.ID), l.ScaffoldFirm, l.Purpose, hash[:], instant(now), timeOrNull(l.Expires), l.MadeBy, l.SentTo)
		if err != nil {
			return fmt.Errorf("make a private link: %w", err)
		}
		return nil
	})
}

type linkRow struct {
	LinkID, FirmID, ScaffoldFirmID   uuid.UUID
	Purpose                          string
	MadeBy, SentTo                   string
	CreatedAt                        time.Time
	ExpiresAt, RevokedAt, LastUsedAt *time.Time
}

const linkColumns = `link_id, firm_id, scaffold_firm_id, purpose, made_by, sent_to, created_at, expires_at, revoked_at, last_used_at`

func (r linkRow) link() Link {
	return Link{ID: r.LinkID, Firm: r.FirmID, ScaffoldFirm: r.ScaffoldFirmID, Purpose: Purpose(r.Purpose), MadeBy: r.MadeBy, SentTo: r.SentTo,
		CreatedAt: r.CreatedAt.UTC(), Expires: timeOrZero(r.ExpiresAt), RevokedAt: timeOrZero(r.RevokedAt), LastUsed: timeOrZero(r.LastUsedAt)}
}

// LinkByToken finds the link that a token opens, in whichever firm. One that was
// revoked or has expired is NotFound, as one that never was.
func (s *Store) LinkByToken(ctx context.Context, token string, now time.Time) (Link, error) {
	hash := sha256.Sum256([]byte(token))
	var found []linkRow
	err := tenant.Asking(ctx, s.pool, "link", hex.EncodeToString(hash[:]), func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+linkColumns+` FROM private_link WHERE token_hash = $1`, hash[:])
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
		if l := r.link(); l.Opens(now) {
			return l, nil
		}
	}
	return Link{}, fault.Missing("address", "")
}

// Links gives a scaffold firm's links, the newest first, without their tokens.
// uuid.Nil gives those of every scaffold firm.
func (s *Store) Links(ctx context.Context, firm, scaffoldFirm uuid.UUID) ([]Link, error) {
	var all []Link
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT `+linkColumns+`
			FROM private_link WHERE firm_id = $1 AND ($2::uuid IS NULL OR scaffold_firm_id = $2) ORDER BY created_at DESC, link_id`, firm, orNull(scaffoldFirm))
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

// LinkUsed notes that a link was opened, unless that is noted already of the
// last hour. It is one of the few things that looking writes; nobody's page
// changes by it but the office's list of links.
func (s *Store) LinkUsed(ctx context.Context, l Link, now time.Time) error {
	if !l.LastUsed.IsZero() && now.Sub(l.LastUsed) < usedWithin {
		return nil
	}
	return s.write(ctx, l.Firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE private_link SET last_used_at = greatest(last_used_at, $3) WHERE firm_id = $1 AND link_id = $2`, l.Firm, l.ID, instant(now))
		if err != nil {
			return fmt.Errorf("note the use of a private link: %w", err)
		}
		return one(tag, "link", l.ID.String())
	})
}

// ExtendLink has a page's or a feed's link end at another time, sooner or later.
// One that has run out opens again; one that was revoked does not, and one that
// left in a mail keeps its end.
func (s *Store) ExtendLink(ctx context.Context, firm, link uuid.UUID, expires, now time.Time) error {
	if !expires.After(now) || expires.Sub(now) > LinkLastsMost {
		return fault.Bad("until", expires.UTC().Format(time.RFC3339), fmt.Sprintf("a time after now, at most %d days from now", int(LinkLastsMost.Hours()/24)))
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		var purpose string
		var revoked *time.Time
		err := tx.QueryRow(ctx, `SELECT purpose, revoked_at FROM private_link WHERE firm_id = $1 AND link_id = $2 FOR UPDATE`, firm, link).Scan(&purpose, &revoked)
		switch {
		case errors.Is(err, pgx.ErrNoRows):
			return fault.Missing("link", link.String())
		case err != nil:
			return fmt.Errorf("read a private link: %w", err)
		case revoked != nil:
			return fault.Changed("link", "ended", "it was ended, and what was ended stays so: make a new one")
		case Purpose(purpose) == ForMail:
			return fault.Changed("link", "in a mail", "a link in a mail keeps its end: the next mail carries a new one")
		}
		if _, err = tx.Exec(ctx, `UPDATE private_link SET expires_at = $3 WHERE firm_id = $1 AND link_id = $2`, firm, link, instant(expires)); err != nil {
			return fmt.Errorf("extend a private link: %w", err)
		}
		return nil
	})
}

// RevokeLinks ends every link of a scaffold firm that opens something, of one
// purpose or, as "", of all. It gives how many those were.
func (s *Store) RevokeLinks(ctx context.Context, firm, scaffoldFirm uuid.UUID, purpose Purpose, now time.Time) (ended int, err error) {
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		var there bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM scaffold_firm WHERE firm_id = $1 AND scaffold_firm_id = $2)`, firm, scaffoldFirm).Scan(&there); err != nil {
			return fmt.Errorf("look for a scaffold firm: %w", err)
		}
		if !there {
			return fault.Missing("scaffold firm", scaffoldFirm.String())
		}
		tag, err := tx.Exec(ctx, `
			UPDATE private_link SET revoked_at = $4
			WHERE firm_id = $1 AND scaffold_firm_id = $2 AND ($3 = '' OR purpose = $3) AND revoked_at IS NULL AND (expires_at IS NULL OR expires_at > $4)`,
			firm, scaffoldFirm, purpose, instant(now))
		if err != nil {
			return fmt.Errorf("end private links: %w", err)
		}
		ended = int(tag.RowsAffected())
		return nil
	})
	return ended, err
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
