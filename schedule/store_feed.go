package schedule

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// FeedMark stands for everything that a scaffold firm's feed is made of: while
// it stays the same, so do the feed's bytes.
type FeedMark struct {
	Zone string // the firm's
	Mark string
}

// FeedLink finds the feed that a token opens and the mark of its content, in one
// round trip: calendars ask again and again, and hardly ever for something new.
//
// The mark is made of the row versions (xmin, cmin) of whatever the feed is read
// from and of the newest change of a booking: every change of a row gives it
// another version. After a restore all rows have others, and the feed is made
// again once.
func (s *Store) FeedLink(ctx context.Context, token string, now time.Time) (Link, FeedMark, error) {
	hash := sha256.Sum256([]byte(token))
	var r linkRow
	var m FeedMark
	err := tenant.GlanceThroughLink(ctx, s.pool, hex.EncodeToString(hash[:]), func(row pgx.Row) error {
		return row.Scan(&r.LinkID, &r.FirmID, &r.ScaffoldFirmID, &r.Purpose, &r.CreatedAt, &r.ExpiresAt, &r.RevokedAt, &r.LastUsedAt, &m.Zone, &m.Mark)
	}, `
		SELECT l.link_id, l.firm_id, l.scaffold_firm_id, l.purpose, l.created_at, l.expires_at, l.revoked_at, l.last_used_at, f.time_zone, concat_ws(' ', f.xmin, f.cmin,
		  (SELECT concat_ws(' ', count(*), sum(xmin::text::bigint), sum(cmin::text::bigint), max(changed_at)) FROM booking WHERE firm_id = l.firm_id AND scaffold_firm_id = l.scaffold_firm_id),
		  (SELECT concat_ws(' ', count(*), sum(xmin::text::bigint), sum(cmin::text::bigint)) FROM job WHERE firm_id = l.firm_id),
		  (SELECT concat_ws(' ', count(*), sum(xmin::text::bigint), sum(cmin::text::bigint)) FROM site WHERE firm_id = l.firm_id),
		  (SELECT concat_ws(' ', count(*), sum(xmin::text::bigint), sum(cmin::text::bigint)) FROM person WHERE firm_id = l.firm_id),
		  (SELECT concat_ws(' ', count(*), sum(xmin::text::bigint), sum(cmin::text::bigint)) FROM login WHERE firm_id = l.firm_id))
		FROM private_link l JOIN firm f USING (firm_id)
		WHERE l.token_hash = $1 AND l.purpose = 'feed' AND l.revoked_at IS NULL AND (l.expires_at IS NULL OR l.expires_at > $2)`, hash[:], now)
	if errors.Is(err, pgx.ErrNoRows) {
		return Link{}, FeedMark{}, fault.Missing("address", "")
	}
	if err != nil {
		return Link{}, FeedMark{}, fmt.Errorf("look at a feed: %w", err)
	}
	return r.link(), m, nil
}
