package tenant

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// GlanceThroughLink asks one question of the rows of the firm that a private
// link belongs to, all in one round trip: Postgres runs the settings and the
// question as one transaction. held is the link's hash in hexadecimal, as for
// Asking; a link that is not there leads to no firm and so to no rows. It is for
// what is asked again and again, such as whether a feed changed; whatever needs
// a second question wants Asking and Snapshot.
func GlanceThroughLink(ctx context.Context, pool *pgxpool.Pool, held string, scan func(pgx.Row) error, sql string, args ...any) error {
	var b pgx.Batch
	b.Queue(`SELECT set_config('toeboard.link', $1, true)`, held)
	b.Queue(`SELECT set_config('toeboard.firm', coalesce((SELECT firm_id::text FROM private_link WHERE token_hash = decode($1, 'hex') LIMIT 1), ''), true)`, held)
	b.Queue(sql, args...)
	r := pool.SendBatch(ctx, &b)
	for range 2 {
		if _, err := r.Exec(); err != nil {
			r.Close()
			return Meaning(err)
		}
	}
	err := scan(r.QueryRow())
	if closed := r.Close(); err == nil {
		err = closed
	}
	return Meaning(err)
}
