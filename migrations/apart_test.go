package migrations

import (
	"context"
	"crypto/md5"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// rows is one row for every table, in the order that foreign keys want. FIRM
// stands for the firm, #word for an identifier of that firm's. A new table
// without a row here fails TestASecondFirmSeesAndChangesNothing.
var rows = []struct{ table, values string }{
	{"firm", `FIRM, 'Firm', 'Europe/London', 'scotland', '{}', '{}', 55.9, -3.2, now()`},
	{"holiday", `FIRM, '2026-12-25', 'Christmas Day', 'test'`},
	{"limits", `FIRM, 1, '{}', 'test', now(), 'a test'`},
	{"weather_services", `FIRM, 2, '{test}', 'first', 'test', now(), 'a test'`},
	{"rates", `FIRM, 2, '{}', 'test', now()`},
	{"travel_matrix", `FIRM, 1, '[]', 'test', now()`},
	{"person", `FIRM, #lead, 'Lead', 'crew_lead', '', true`},
	{"person", `FIRM, #member, 'Member', 'crew_member', '', true`},
	{"login", `FIRM, #lead, 'same@example.com', '$argon2id$test'`},
	{"signing_pin", `FIRM, #lead, '$argon2id$test', #lead, now()`},
	{"session", `FIRM, sha256(FIRM::text::bytea), #lead, '', now() + interval '1 day'`},
	{"competence", `FIRM, #lead, 'lead_roof', '2026-01-01', NULL, ''`},
	{"crew", `FIRM, #crew, 'Crew', 'roof', 55.9, -3.2, 30000, true`},
	{"crew_member", `FIRM, #crew, #lead, '[2026-01-01,)', true`},
	{"absence", `FIRM, #absence, #lead, '[2026-07-01,2026-07-08)', 'leave'`},
	{"customer", `FIRM, #customer, 'Customer', '', ''`},
	{"site", `FIRM, #site, '1 Test Street', '', 55.9, -3.2, 'III', 6, '{}'`},
	{"job", `FIRM, #job, 'J1', #site, #customer, 'open', 10, 430, 21.5, 1.95, NULL, NULL, '', now()`},
	{"stage", `FIRM, #job, 'roof_work', 2, 'planned', NULL, NULL`},
	{"stage", `FIRM, #job, 'scaffold_erection', 1, 'planned', NULL, NULL`},
	{"customer_confirmation", `FIRM, #job, 'roof_work', '2026-02-03', 'test', now()`},
	{"consent", `FIRM, #job, 'grid_connection', 'roof_work', 'applied', NULL, NULL`},
	{"kit", `FIRM, #job, 'inverter', 1, NULL, NULL`},
	{"scaffold_firm", `FIRM, #scaffolder, 'Scaffolder', '', '', 1, 5, 5, 3, 90000, 4, 3000, true`},
	{"pin", `FIRM, #pin, #job, 'roof_work', 'start', NULL, NULL, '2026-02-03', 'am', 'the road is closed', 'test', now()`},
	{"pin_removal", `FIRM, #pin, 'open again', 'test', now()`},
	{"private_link", `FIRM, #link, #scaffolder, 'feed', sha256(FIRM::text::bytea), now(), NULL, NULL`},
	{"forecast", `FIRM, #forecast, #site, 'test', NULL, now(), '[2026-01-01,2026-01-02)', ''`},
	{"warning_answer", `FIRM, #answer, 'https://warnings.example', now(), NULL`},
	{"calibration", `FIRM, 1, '{}', 0, 'test', now()`},
	{"push_key", `FIRM, 'private', 'public', now()`},
	{"push_phone", `FIRM, #phone, #lead, 'https://push.example/1', 'key', 'secret', now(), NULL, ''`},
	{"push_note", `FIRM, #note, #lead, 'turn/1', 1, 'Off the roof', 'by 14:00', '/morning', now(), now(), NULL, ''`},
	{"push_sent", `FIRM, #note, #phone, now()`},
	{"daily_round", `FIRM, 'evening', '2026-01-05', #round, now(), NULL, ''`},
	{"climate", `FIRM, 1, 'a record', 'task', 'test', now()`},
	{"plan", `FIRM, #plan, 1, 'published', NULL, '2026-01-05', 14, 1, 10, sha256(''), '{}', '[]', 'test', now(), 'test', now()`},
	{"plan_run", `FIRM, #run, 'waiting', 'test', now(), '', 'least cost', 1, 10, 1, 0, 0, 0, NULL, NULL, NULL, NULL, now(), NULL, false, NULL, NULL, ''`},
	{"visit", `FIRM, #plan, #job, 'roof_work', #crew, NULL, '{[41000,41002)}', 0.7, 'test', false, ''`},
	{"visit_event", `FIRM, #crew, #job, 'roof_work', 1, 41000, 41001, false, 0, now()`},
	{"crew_link", `FIRM, #crewlink, #crew, sha256((FIRM::text || 'crew')::bytea), 'test', now(), NULL`},
	{"booking", `FIRM, #booking, #job, #scaffolder, 'same@example.com', 'wanted', '2026-02-02', '2026-02-20', 3, NULL, now()`},
	{"booking_version", `FIRM, #booking, 1, 0, 'wanted', '2026-02-02', '2026-02-20', #plan, 'first', 'test', now()`},
	{"message", `FIRM, #message, 'booking_new', 'booking', 0, 'Scaffolder', 'yard@example.com', 'a@example.com', '', '{}', NULL, 'test', now(), now(), 'waiting', 0, NULL, NULL, NULL, ''`},
	{"message_try", `FIRM, #message, 1, 'begun', now(), 'test', ''`},
	{"booking_token", `FIRM, #booking, md5(FIRM::text), now()`},
	{"mail_received", `FIRM, sha256('mail'), #booking, 'b@example.com', 'yard@example.com', 'confirmed', 'Confirmed.', now()`},
	{"handover_file", `FIRM, #file, #booking, 'handover.pdf', 'application/pdf', '%PDF-', sha256('%PDF-'), 'test', now()`},
	{"risk_assessment", `FIRM, #assessment, #job, 1, '{}', sha256(''), sha256(''), 'test', now()`},
	{"assessment_approval", `FIRM, #assessment, #lead, now()`},
	{"scaffold_report", `FIRM, #report, #job, 'handover', 'Firm', 'site', 'scaffold', now(), 'none found', 'none', 'none', 'A', 'inspector', 'fit', 3, 'test', now()`},
	{"scaffold_event", `FIRM, #event, #job, 'wind', 'gale', now(), 'test', now()`},
	{"scaffold_handover", `FIRM, #report, 'TG20 sheet 7', 2, 'every other lift', 'test'`},
	{"scaffold_remedy", `FIRM, #remedy, #report, 'two boards changed', 'A', now(), 'test', now()`},
	{"scaffold_report_delivery", `FIRM, #report, 'Firm', now(), 'test', now()`},
	{"firm_hazards", `FIRM, 1, '{}', 'a near miss', 'test', now()`},
	{"photo", `FIRM, #photo, #job, sha256('x'), 'image/png', 'x', 'test', now()`},
	{"site_hazard", `FIRM, #seen, #job, 1, '{}', #photo, sha256('x'), 'test', now()`},
	{"site_hazard_removal", `FIRM, #seen, 'taken down', 'test', now()`},
	{"survey_answer", `FIRM, #answered, #job, '{"moss": true}', 'test', now()`},
	{"briefing", `FIRM, #briefing, #crew, #job, '2026-02-03', #assessment, '{}', NULL, #lead, now()`},
	{"sign_off", `FIRM, #signoff, #crew, #job, '2026-02-03', #lead, #assessment, sha256(''), 'I have read it', 'Lead', NULL, now()`},
	{"sky_report", `FIRM, #sky, #job, 'gust', 7.5, now() - interval '1 minute', #lead, now()`},
	{"stop_work", `FIRM, #stop, #job, 'gusts', #lead, now()`},
	{"stop_work_lift", `FIRM, #stop, #member, 'calm again', now()`},
	{"decision", `FIRM, #decision, #crew, #job, '2026-02-03', 'not_clear', '[]', '{}', sha256(''), now()`},
	{"record_entry", `FIRM, 0, 'decision', 'x', #job, '2026-02-03', '{}', sha256('')`},
	{"record_signer", `FIRM, 'key', NULL, now()`},
	{"record_head", `FIRM, 1, now(), 'head'`},
	{"own_rule", `FIRM, 'B16', 1, true, #lead, 'test', #lead, now()`},
	{"rule_exception", `FIRM, #exception, #crew, #job, '2026-02-03', 'B16', 'rails are on the van', #lead, now()`},
	{"induction", `FIRM, #induction, #lead, '2026-02-03', 'Gwen Strand, office', '["stop_rule"]', 'I was inducted', 'pin', #member, '2026-02-03 07:00Z'`},
	{"check_in", `FIRM, #checkin, #crew, #job, '2026-02-03', #lead, 'Gwen Strand', '01632 960101', 60, 'drives out', #lead, '2026-02-03 07:00Z'`},
	{"lone_call", `FIRM, #lonecall, #crew, #job, '2026-02-03', #lead, 'well', #lead, '2026-02-03 08:00Z'`},
	{"job_record", `FIRM, #record, #job, 'near_miss', now() - interval '1 minute', '{}', #lead, now()`},
	{"fitness", `FIRM, #fitness, #lead, '2026-02-03', true, #lead, now()`},
	{"module_clearance", `FIRM, #clearance, #job, 2, 1, 'SN-0009', #lead, now(), #member, now()`},
	{"head_recipient", `FIRM, 1, 'Insurer', 'records@insurer.example', 'test', now()`},
	{"module_place", `FIRM, #job, 1, 1, 'SN-0001', #lead, now()`},
	{"held_offer", `FIRM, #offer, 'Customer', '', '{}', 100, now() + interval '1 day', 'test', now(), 'held', '', NULL`},
	{"held_place", `FIRM, #offer, 'roof_work', #crew, NULL, '{[41100,41102)}', true`},
	{"idempotency", `FIRM, #lead, 'POST /x', 'key', sha256(''), 200, '', now()`},
}

var word = regexp.MustCompile(`#(\w+)`)

// forFirm fills in FIRM and #words.
func forFirm(sql string, firm uuid.UUID) string {
	sql = strings.ReplaceAll(sql, "FIRM", "'"+firm.String()+"'::uuid")
	return word.ReplaceAllString(sql, "md5('"+firm.String()+"$1')::uuid")
}

// twoFirms is a migrated database with one row for each of two firms in every
// table: as the owner past the policies, and as the service.
func twoFirms(t *testing.T) (owner *pgx.Conn, app *pgxpool.Pool, a, b uuid.UUID) {
	t.Helper()
	owner, app = migrated(t)
	a, b = uuid.New(), uuid.New()
	for _, firm := range []uuid.UUID{a, b} {
		for _, r := range rows {
			if _, err := owner.Exec(t.Context(), forFirm("insert into "+r.table+" values ("+r.values+")", firm)); err != nil {
				t.Fatalf("a row for %s: %v", r.table, err)
			}
		}
	}
	return owner, app, a, b
}

func migrated(t *testing.T) (*pgx.Conn, *pgxpool.Pool) {
	t.Helper()
	ctx := t.Context()
	url := empty(t)
	if err := Up(ctx, url); err != nil {
		t.Fatal(err)
	}
	owner, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { owner.Close(context.Background()) })
	app, err := Service(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(app.Close)
	return owner, app
}

// asFirm runs do as the service in one transaction of the firm, which is rolled
// back. uuid.Nil means that no firm was set.
func asFirm(t *testing.T, app *pgxpool.Pool, firm uuid.UUID, do func(pgx.Tx) error) error {
	t.Helper()
	tx, err := app.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(context.Background())
	if firm != uuid.Nil {
		if _, err := tx.Exec(t.Context(), `select set_config('toeboard.firm', $1, true)`, firm.String()); err != nil {
			t.Fatal(err)
		}
	}
	return do(tx)
}

func tables(t *testing.T, conn *pgx.Conn) []string {
	t.Helper()
	got, err := column(t.Context(), conn, `
		select relname::text from pg_class
		 where relnamespace = 'public'::regnamespace and relkind in ('r', 'p', 'v', 'm', 'f') and relname <> 'schema_migrations'
		 order by relname`)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) < 30 {
		t.Fatalf("only %d tables: the list is wrong", len(got))
	}
	return got
}

func TestEveryTableIsHeldApartByFirm(t *testing.T) {
	t.Parallel()
	owner, _ := migrated(t)
	// Each question lists what is wrong; the answer must be nothing.
	for what, query := range map[string]string{
		"not an ordinary table (a view could pass the policies)": `
			select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind in ('v', 'm', 'f', 'p')`,
		"row-level security not enabled and forced": `
			select relname::text from pg_class
			 where relnamespace = 'public'::regnamespace and relkind = 'r' and relname <> 'schema_migrations'
			   and not (relrowsecurity and relforcerowsecurity)`,
		"firm_id is not a uuid that must be there": `
			select c.relname::text from pg_class c
			 where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and c.relname <> 'schema_migrations'
			   and not exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'firm_id' and a.attnotnull and a.atttypid = 'uuid'::regtype)`,
		"primary key does not begin with firm_id": `
			select c.relname::text from pg_class c
			 where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and c.relname <> 'schema_migrations'
			   and not exists (select from pg_constraint k join pg_attribute a on a.attrelid = c.oid and a.attnum = k.conkey[1]
			                    where k.conrelid = c.oid and k.contype = 'p' and a.attname = 'firm_id')`,
		"unique over several firms (one would learn of another's rows, and no shard could check it)": `
			select i.indexrelid::regclass::text from pg_index i join pg_class c on c.oid = i.indrelid
			 where c.relnamespace = 'public'::regnamespace and c.relname <> 'schema_migrations' and (i.indisunique or i.indisexclusion)
			   and not exists (select from pg_attribute a where a.attrelid = c.oid and a.attnum = i.indkey[0] and a.attname = 'firm_id')`,
		"foreign key that does not pair firm_id with firm_id (a row could point into another firm)": `
			select k.conname::text from pg_constraint k
			 where k.contype = 'f' and k.connamespace = 'public'::regnamespace
			   and not exists (
			     select from unnest(k.conkey, k.confkey) as pair (here, there)
			       join pg_attribute h on h.attrelid = k.conrelid and h.attnum = pair.here and h.attname = 'firm_id'
			       join pg_attribute o on o.attrelid = k.confrelid and o.attnum = pair.there and o.attname = 'firm_id')`,
		"no policy on the firm for everything": `
			select c.relname::text from pg_class c
			 where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and c.relname <> 'schema_migrations'
			   and not exists (select from pg_policy p where p.polrelid = c.oid and p.polcmd = '*' and p.polroles = '{0}'
			                      and pg_get_expr(p.polqual, c.oid) = '(firm_id = toeboard_firm())'
			                      and pg_get_expr(p.polwithcheck, c.oid) = '(firm_id = toeboard_firm())')`,
	} {
		wrong, err := column(t.Context(), owner, query)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if len(wrong) > 0 {
			t.Errorf("%s: %s", what, strings.Join(wrong, ", "))
		}
	}
}

// Policies add up: each further one shows more. These are all there may be, and
// each only for reading.
func TestPoliciesBesideTheFirmsAreTheKnownOnes(t *testing.T) {
	t.Parallel()
	owner, _ := migrated(t)
	got, err := column(t.Context(), owner, `
		select c.relname || '.' || p.polname || ' ' || p.polcmd::text from pg_policy p join pg_class c on c.oid = p.polrelid
		 where p.polname <> 'own_firm' order by 1`)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"booking_token.by_answer r", "crew_link.by_link r", "firm.owner_counts_firms r", "login.by_email r", "private_link.by_link r", "session.by_token r"}
	if !slices.Equal(got, want) {
		t.Errorf("policies beside own_firm: %v, want %v", got, want)
	}
}

func TestTheServicesRoleOwnsNothingAndMayNotPass(t *testing.T) {
	t.Parallel()
	owner, app := migrated(t)
	for what, query := range map[string]string{
		"power": `select rolname::text from pg_roles where rolname = '` + Role + `'
			and (rolsuper or rolbypassrls or rolcreaterole or rolcreatedb or rolreplication or rolcanlogin)`,
		"membership in another role": `select roleid::regrole::text from pg_auth_members where member = '` + Role + `'::regrole`,
		"a thing owned":              `select classid::regclass || ' ' || objid from pg_shdepend where refobjid = '` + Role + `'::regrole and deptype = 'o'`,
		"a right that passes the policies (TRUNCATE and REFERENCES do) or changes the table": `
			select c.relname || ' ' || p from pg_class c, unnest(array['TRUNCATE', 'REFERENCES', 'TRIGGER']) p
			 where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and has_table_privilege('` + Role + `', c.oid, p)`,
		"a right on the version table": `select 'schema_migrations' where has_table_privilege('` + Role + `', 'schema_migrations', 'SELECT, INSERT, UPDATE, DELETE')`,
		"a right to make things here":  `select 'public' where has_schema_privilege('` + Role + `', 'public', 'CREATE')`,
		"a function with its owner's rights that is not known": `
			select p.oid::regprocedure::text from pg_proc p where p.pronamespace = 'public'::regnamespace and p.prosecdef
			   and (p.proname <> 'toeboard_firms' or p.proconfig is distinct from array['search_path=public, pg_temp'])`,
	} {
		wrong, err := column(t.Context(), owner, query)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if len(wrong) > 0 {
			t.Errorf("%s has %s: %v", Role, what, wrong)
		}
	}
	for _, statement := range []string{
		"alter table job disable row level security",
		"alter table job no force row level security",
		"drop policy own_firm on job",
		"create policy mine on job using (true)",
		"truncate job cascade",
		"create table mine (n int)",
		"set local row_security = off; select * from job",
		"set local session_replication_role = replica",
	} {
		err := asFirm(t, app, uuid.New(), func(tx pgx.Tx) error {
			_, err := tx.Exec(t.Context(), statement, pgx.QueryExecModeSimpleProtocol)
			return err
		})
		if !refused(err) {
			t.Errorf("%s: %v, want it refused", statement, err)
		}
	}
}

// refused says whether Postgres refused for want of a right or by a policy.
func refused(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == "42501"
}

func TestASecondFirmSeesAndChangesNothing(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	owner, app, a, b := twoFirms(t)
	for _, table := range tables(t, owner) {
		t.Run(table, func(t *testing.T) {
			var mine, all int
			if err := owner.QueryRow(ctx, "select count(*) filter (where firm_id = $1), count(*) from "+table, a).Scan(&mine, &all); err != nil {
				t.Fatal(err)
			}
			if mine == 0 || all != 2*mine {
				t.Fatalf("%d rows of the first firm of %d in all: add a row for this table to the list", mine, all)
			}
			for _, c := range []struct {
				who  string
				firm uuid.UUID
				want int
			}{{"its own firm", a, mine}, {"the other firm", b, mine}, {"no firm", uuid.Nil, 0}, {"a firm that is not there", uuid.New(), 0}} {
				seen := 0
				err := asFirm(t, app, c.firm, func(tx pgx.Tx) error {
					return tx.QueryRow(ctx, "select count(*) from "+table+" where firm_id = $1", c.firm).Scan(&seen)
				})
				if err != nil || seen != c.want {
					t.Errorf("%s sees %d of its rows (%v), want %d", c.who, seen, err, c.want)
				}
				err = asFirm(t, app, c.firm, func(tx pgx.Tx) error {
					return tx.QueryRow(ctx, "select count(*) from "+table+" where firm_id <> $1", c.firm).Scan(&seen)
				})
				if err != nil || seen != 0 {
					t.Errorf("%s sees %d rows of others (%v)", c.who, seen, err)
				}
			}

			// The other firm tries to change, remove and forge the first one's rows.
			for _, statement := range []string{"update " + table + " set firm_id = firm_id where firm_id = $1", "delete from " + table + " where firm_id = $1"} {
				err := asFirm(t, app, b, func(tx pgx.Tx) error {
					tag, err := tx.Exec(ctx, statement, a)
					if err == nil && tag.RowsAffected() > 0 {
						return fmt.Errorf("%d rows", tag.RowsAffected())
					}
					return err
				})
				if err != nil && !refused(err) {
					t.Errorf("the other firm could %s: %v", statement, err)
				}
			}
			var row json.RawMessage
			if err := owner.QueryRow(ctx, "select to_jsonb(x) from "+table+" x where firm_id = $1 limit 1", a).Scan(&row); err != nil {
				t.Fatal(err)
			}
			forge := "insert into " + table + " select * from jsonb_populate_record(null::" + table + ", $1)"
			for who, firm := range map[string]uuid.UUID{"the other firm": b, "no firm": uuid.Nil} {
				err := asFirm(t, app, firm, func(tx pgx.Tx) error {
					_, err := tx.Exec(ctx, forge, row)
					return err
				})
				if !refused(err) {
					t.Errorf("%s forges a row of the first: %v, want it refused by the policy", who, err)
				}
			}
			err := asFirm(t, app, a, func(tx pgx.Tx) error {
				_, err := tx.Exec(ctx, "update "+table+" set firm_id = $1", b)
				return err
			})
			if !refused(err) {
				t.Errorf("a firm gives its rows to another: %v, want it refused", err)
			}
		})
	}
}

// The one exception to the rule that a policy holds every table: the queue's
// tables. They are River's, their key is a number over all firms, and a worker
// must find a job before it knows whose it is. So no policy by firm is possible
// there, and what stands in them must harm nobody who reads it: kinds, numbers
// and identifiers (migrations/queue holds its jobs to that by their types).
// These are all there may be.
func TestTheQueuesTablesAreTheOnlyOnesWithoutAPolicy(t *testing.T) {
	t.Parallel()
	owner, app := migrated(t)
	elsewhere, err := column(t.Context(), owner, `
		select n.nspname || '.' || c.relname from pg_class c join pg_namespace n on n.oid = c.relnamespace
		 where c.relkind in ('r', 'p', 'v', 'm', 'f') and n.nspname not in ('public', 'information_schema') and n.nspname not like 'pg\_%'
		 order by 1`)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"queue.river_job", "queue.river_leader", "queue.river_migration", "queue.river_notification", "queue.river_queue"}
	if !slices.Equal(elsewhere, want) {
		t.Errorf("tables outside the firms' schema: %v, want %v: say here why a new one may stand there", elsewhere, want)
	}
	for _, statement := range []string{
		"select * from queue.river_migration", "truncate queue.river_job", "drop table queue.river_job",
		"alter table queue.river_job add column customer text", "create table queue.mine (n int)",
	} {
		if err := asFirm(t, app, uuid.Nil, func(tx pgx.Tx) error { _, err := tx.Exec(t.Context(), statement); return err }); !refused(err) {
			t.Errorf("%s: %v, want it refused", statement, err)
		}
	}
	for _, statement := range []string{"select * from queue.river_job", "delete from queue.river_job"} {
		if err := asFirm(t, app, uuid.Nil, func(tx pgx.Tx) error { _, err := tx.Exec(t.Context(), statement); return err }); err != nil {
			t.Errorf("the service works the queue: %s: %v", statement, err)
		}
	}
}

// A transaction's firm ends with the transaction: the next user of the pooled
// connection starts with none.
func TestTheFirmDoesNotStayOnTheConnection(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	_, app, a, _ := twoFirms(t)
	conn, err := app.Acquire(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Release()
	count := func() (n int) {
		if err := conn.QueryRow(ctx, `select count(*) from job`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `select set_config('toeboard.firm', $1, true)`, a.String())
		if n := count(); n != 1 {
			t.Errorf("inside: %d jobs", n)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if n := count(); n != 0 {
		t.Errorf("after the transaction the connection still sees %d jobs", n)
	}
}

// Before the firm is known, one row answers to whoever holds its secret.
func TestQuestionsBeforeTheFirmIsKnown(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	_, app, a, b := twoFirms(t)
	ask := func(setting, held, query string) int {
		n := -1
		err := asFirm(t, app, uuid.Nil, func(tx pgx.Tx) error {
			if held != "" {
				if _, err := tx.Exec(ctx, `select set_config($1, $2, true)`, setting, held); err != nil {
					return err
				}
			}
			return tx.QueryRow(ctx, query).Scan(&n)
		})
		if err != nil {
			t.Errorf("%s: %v", query, err)
		}
		return n
	}
	hash := func(firm uuid.UUID) string {
		var h string
		if err := app.QueryRow(ctx, `select encode(sha256($1::text::bytea), 'hex')`, firm.String()).Scan(&h); err != nil {
			t.Fatal(err)
		}
		return h
	}
	md5 := func(firm uuid.UUID) string { return fmt.Sprintf("%x", md5.Sum([]byte(firm.String()))) }
	for _, c := range []struct {
		setting, held, query string
		want                 int
	}{
		{"toeboard.email", "same@example.com", `select count(*) from login`, 2}, // one address in two firms: both may ask for the password
		{"toeboard.email", "other@example.com", `select count(*) from login`, 0},
		{"toeboard.email", "", `select count(*) from login`, 0},
		{"toeboard.email", "same@example.com", `select count(*) from person`, 0},
		{"toeboard.session", hash(a), `select count(*) from session`, 1},
		{"toeboard.session", hash(b), `select count(*) from private_link`, 0},
		{"toeboard.session", "00", `select count(*) from session`, 0},
		{"toeboard.session", "", `select count(*) from session`, 0},
		{"toeboard.link", hash(b), `select count(*) from private_link`, 1},
		{"toeboard.link", "", `select count(*) from private_link`, 0},
		{"toeboard.answer", md5(a), `select count(*) from booking_token`, 1},
		{"toeboard.answer", md5(a), `select count(*) from booking`, 0},
		{"toeboard.answer", "", `select count(*) from booking_token`, 0},
	} {
		if got := ask(c.setting, c.held, c.query); got != c.want {
			t.Errorf("%s = %q: %s gives %d, want %d", c.setting, c.held, c.query, got, c.want)
		}
	}
	var firms []uuid.UUID
	rows, err := app.Query(ctx, `select firm_id from toeboard_firms()`)
	if err == nil {
		firms, err = pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	}
	if err != nil || len(firms) != 2 || !slices.Contains(firms, a) || !slices.Contains(firms, b) {
		t.Errorf("the rounds see %v (%v)", firms, err)
	}
}
