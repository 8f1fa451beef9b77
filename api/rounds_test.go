package api

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
)

// A round is due once for each date of the firm's clock, in the hour that is
// left out in spring and in the one that comes twice in autumn as on any day.
// The zones' changes are those of the tz database: London 2026-03-29 01:00 and
// 2026-10-25 02:00, Lord Howe 2026-04-05 02:00 by half an hour.
func TestARoundIsDueOncePerLocalDate(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		zone     string
		from     string // first minute looked at, UTC
		hours    int
		at       int
		want     []string
		firstDue string // of the first date, UTC
	}{
		"an ordinary day":               {"Europe/London", "2026-11-26T00:00:00Z", 48, 17 * 60, []string{"2026-11-26", "2026-11-27"}, "2026-11-26T17:00:00Z"},
		"in the hour that is left out":  {"Europe/London", "2026-03-29T00:00:00Z", 24, 90, []string{"2026-03-29"}, "2026-03-29T01:00:00Z"},
		"in the hour that comes twice":  {"Europe/London", "2026-10-25T00:00:00Z", 24, 90, []string{"2026-10-25"}, "2026-10-25T00:30:00Z"},
		"in a half-hour that is twice":  {"Australia/Lord_Howe", "2026-04-04T13:00:00Z", 24, 105, []string{"2026-04-05"}, "2026-04-04T14:45:00Z"},
		"where the date begins earlier": {"Pacific/Auckland", "2026-11-26T11:00:00Z", 24, 6 * 60, []string{"2026-11-27"}, "2026-11-26T17:00:00Z"},
	} {
		zone, err := time.LoadLocation(c.zone)
		must(t, err)
		now, err := time.Parse(time.RFC3339, c.from)
		must(t, err)
		r := Round{Kind: "evening", At: c.at, Until: c.at + 180}
		begun := map[civil.Date]bool{}
		var order []string
		for minute := range c.hours * 60 {
			at := now.Add(time.Duration(minute) * time.Minute)
			on, due := r.dueDate(at, zone)
			if !due || begun[on] {
				continue
			}
			if begun[on] = true; len(order) == 0 && at.Format(time.RFC3339) != c.firstDue {
				t.Errorf("%s: first due at %s, want %s", name, at.Format(time.RFC3339), c.firstDue)
			}
			order = append(order, on.String())
		}
		if strings.Join(order, " ") != strings.Join(c.want, " ") {
			t.Errorf("%s: due on %v, want %v", name, order, c.want)
		}
	}
	if _, due := (Round{At: 60, Until: 120}).dueDate(time.Date(2026, 11, 26, 2, 0, 0, 0, time.UTC), time.UTC); due {
		t.Error("a round whose time has passed is still due")
	}
}

// oneRound is a round that tells one thing.
var oneRound = []roundWork{{Round{Kind: "evening", words: "evening", At: 0, Until: 24 * 60}, func(context.Context, uuid.UUID, civil.Date) ([]telling, error) {
	return []telling{{outMessage: outbox.Message{Kind: outbox.CrewEvening, Topic: "round/test", ToName: "Somebody", ToAddress: "somebody@firm.example",
		Letter: outbox.Letter{Subject: "Tomorrow", Says: []string{"One job."}}}}}, nil
}}}

// toldTimes is how many messages of that round there are.
func (b *bench) toldTimes() (n int) {
	b.t.Helper()
	must(b.t, b.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM message WHERE topic = 'round/test'`).Scan(&n))
	return n
}

// Instances that are awake together begin a round once, and its effect is there
// once even when a worker dies between deciding and writing.
func TestARoundIsDoneOnceByManyInstances(t *testing.T) {
	b := newScene(t)
	ctx := context.Background()
	services := []*Service{b.svc, b.another(), b.another()}
	for _, s := range services {
		s.rounds = oneRound
	}
	var all sync.WaitGroup
	for range 4 {
		for _, s := range services {
			all.Go(func() {
				if err := s.StartRounds(ctx, b.firm); err != nil {
					t.Error(err)
				}
			})
		}
	}
	all.Wait()
	var id uuid.UUID
	must(t, b.db.Owner.QueryRow(ctx, `SELECT round_id FROM daily_round WHERE kind = 'evening'`).Scan(&id))
	jobs := 0
	must(t, b.db.Owner.QueryRow(ctx, `SELECT count(*) FROM queue.river_job WHERE kind = 'daily_round'`).Scan(&jobs))
	if jobs != 1 {
		t.Fatalf("%d jobs were put in for one round", jobs)
	}
	lost := errors.New("the worker dies")
	b.svc.at = func(point string) {
		if point == "round: prepared" {
			panic(lost)
		}
	}
	func() {
		defer func() {
			if recover() != lost {
				t.Fatal("the worker did not reach the point at which it dies")
			}
		}()
		_ = b.svc.workRound(ctx, b.firm, id)
	}()
	if n := b.toldTimes(); n != 0 {
		t.Fatalf("a worker that died had told %d times", n)
	}
	for _, s := range services[1:] {
		must(t, s.workRound(ctx, b.firm, id))
	}
	if n := b.toldTimes(); n != 1 {
		t.Errorf("two workers after it told %d times, want once", n)
	}
	stop, err := services[1].Work()
	must(t, err)
	defer stop()
	deadline := time.Now().Add(20 * time.Second)
	for done := 0; done != 1; {
		must(t, b.db.Owner.QueryRow(ctx, `SELECT count(*) FROM queue.river_job WHERE kind = 'daily_round' AND state = 'completed'`).Scan(&done))
		if time.Now().After(deadline) {
			t.Fatal("the queue did not end the round's job")
		}
		time.Sleep(20 * time.Millisecond)
	}
	if n := b.toldTimes(); n != 1 {
		t.Errorf("the queue's own job told again: %d times", n)
	}
	must(t, tenant.Write(ctx, b.db.App, b.firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO daily_round (firm_id, kind, on_date, round_id, begun_at) VALUES ($1, 'lunch', '2026-12-01', $1, now())`, b.firm)
		return err
	}))
	if err := b.svc.workRound(ctx, b.firm, b.firm); err == nil || !strings.Contains(err.Error(), "lunch") {
		t.Errorf("a round nobody knows: %v", err)
	}
}

// The database lets nobody end a round twice or take it back.
func TestARoundEndsOnceInTheDatabase(t *testing.T) {
	b := newScene(t)
	ctx := context.Background()
	begun, err := b.svc.beginRound(ctx, b.firm, "evening", 20000, b.clock())
	if err != nil || !begun {
		t.Fatal(begun, err)
	}
	var id uuid.UUID
	must(t, b.db.Owner.QueryRow(ctx, `SELECT round_id FROM daily_round`).Scan(&id))
	must(t, b.svc.endRound(ctx, b.firm, id, b.clock(), "", nil))
	for _, attack := range []string{
		`UPDATE daily_round SET done_at = now()`, `UPDATE daily_round SET done_at = NULL`, `UPDATE daily_round SET on_date = on_date + 1`, `DELETE FROM daily_round`,
	} {
		err := tenant.Write(ctx, b.db.App, b.firm, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, attack)
			return err
		})
		if err == nil {
			t.Errorf("%s is let through", attack)
		}
	}
}
