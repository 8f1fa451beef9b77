package migrations

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
)

// Describe writes the whole schema of a database for a reader, table by table,
// from the catalog: columns, constraints, indexes, triggers, policies and what
// the service's role may do. The same schema gives the same text, whoever owns
// it, so it also serves to compare two schemas.
func Describe(ctx context.Context, url string) (string, error) {
	conn, err := connect(ctx, url)
	if err != nil {
		return "", err
	}
	defer conn.Close(ctx)
	var b strings.Builder
	for _, part := range []struct{ title, query string }{
		{"extensions", extensionsQuery},
		{"functions", functionsQuery},
	} {
		lines, err := column(ctx, conn, part.query)
		if err != nil {
			return "", fmt.Errorf("describing the %s: %w", part.title, err)
		}
		for _, line := range lines {
			fmt.Fprintf(&b, "%s;\n\n", strings.TrimSpace(line))
		}
	}
	tables, err := column(ctx, conn, tablesQuery)
	if err != nil {
		return "", fmt.Errorf("describing the tables: %w", err)
	}
	for _, table := range tables {
		if err := describeTable(ctx, conn, &b, table); err != nil {
			return "", fmt.Errorf("describing table %s: %w", table, err)
		}
	}
	if err := describeQueue(ctx, conn, &b); err != nil {
		return "", err
	}
	return b.String(), nil
}

// describeQueue names the queue's tables and what the service may do there.
// What they look like is River's business and not told.
func describeQueue(ctx context.Context, conn *pgx.Conn, b *strings.Builder) error {
	lines, err := column(ctx, conn, queueQuery, QueueSchema)
	if err != nil {
		return fmt.Errorf("describing the queue: %w", err)
	}
	for _, line := range lines {
		fmt.Fprintf(b, "%s;\n", line)
	}
	return nil
}

func describeTable(ctx context.Context, conn *pgx.Conn, b *strings.Builder, table string) error {
	columns, err := column(ctx, conn, columnsQuery, table)
	if err != nil {
		return err
	}
	constraints, err := column(ctx, conn, constraintsQuery, table)
	if err != nil {
		return err
	}
	fmt.Fprintf(b, "CREATE TABLE %s (\n  %s\n);\n", table, strings.Join(append(columns, constraints...), ",\n  "))
	for _, query := range []string{indexesQuery, triggersQuery, securityQuery, policiesQuery, grantsQuery} {
		lines, err := column(ctx, conn, query, table)
		if err != nil {
			return err
		}
		for _, line := range lines {
			fmt.Fprintf(b, "%s;\n", line)
		}
	}
	b.WriteString("\n")
	return nil
}

func column(ctx context.Context, conn *pgx.Conn, query string, args ...any) ([]string, error) {
	rows, err := conn.Query(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// What an extension made belongs to it and is left out everywhere
// (pg_depend.deptype 'e').
const (
	extensionsQuery = `
		select 'CREATE EXTENSION ' || extname from pg_extension where extname <> 'plpgsql' order by extname`

	functionsQuery = `
		select pg_get_functiondef(p.oid)
		  from pg_proc p
		 where p.pronamespace = 'public'::regnamespace
		   and not exists (select from pg_depend d where d.objid = p.oid and d.deptype = 'e')
		 order by p.proname, p.oid::regprocedure::text`

	tablesQuery = `
		select c.relname::text from pg_class c
		 where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p', 'v', 'm', 'S', 'f')
		   and c.relname <> 'schema_migrations'
		 order by c.relname`

	columnsQuery = `
		select a.attname || ' ' || format_type(a.atttypid, a.atttypmod)
		       || case when a.attnotnull then ' NOT NULL' else '' end
		       || coalesce(' DEFAULT ' || pg_get_expr(d.adbin, d.adrelid), '')
		  from pg_attribute a
		  left join pg_attrdef d on d.adrelid = a.attrelid and d.adnum = a.attnum
		 where a.attrelid = $1::text::regclass and a.attnum > 0 and not a.attisdropped
		 order by a.attnum`

	// NOT NULL is a constraint of its own from PostgreSQL 18 on ('n'); it
	// stands with its column.
	constraintsQuery = `
		select 'CONSTRAINT ' || conname || ' ' || pg_get_constraintdef(oid)
		  from pg_constraint
		 where conrelid = $1::text::regclass and contype in ('p', 'u', 'x', 'f', 'c')
		 order by array_position(array['p', 'u', 'x', 'f', 'c']::"char"[], contype), conname`

	indexesQuery = `
		select replace(pg_get_indexdef(i.indexrelid), ' ON public.', ' ON ')
		  from pg_index i join pg_class c on c.oid = i.indexrelid
		 where i.indrelid = $1::text::regclass
		   and not exists (select from pg_constraint k where k.conindid = i.indexrelid and k.contype in ('p', 'u', 'x'))
		 order by c.relname`

	triggersQuery = `
		select replace(pg_get_triggerdef(oid), ' ON public.', ' ON ')
		  from pg_trigger where tgrelid = $1::text::regclass and not tgisinternal order by tgname`

	securityQuery = `
		select 'ALTER TABLE ' || relname || ' ' || setting
		  from pg_class, lateral (values (relrowsecurity, 1, 'ENABLE ROW LEVEL SECURITY'),
		                                 (relforcerowsecurity, 2, 'FORCE ROW LEVEL SECURITY')) as s (is_on, n, setting)
		 where oid = $1::text::regclass and is_on order by n`

	// The migrating user has another name on each server.
	policiesQuery = `
		select 'CREATE POLICY ' || p.polname || ' ON ' || c.relname
		       || case when p.polpermissive then '' else ' AS RESTRICTIVE' end
		       || ' FOR ' || case p.polcmd when '*' then 'ALL' when 'r' then 'SELECT' when 'a' then 'INSERT' when 'w' then 'UPDATE' else 'DELETE' end
		       || ' TO ' || (select string_agg(case when r = 0 then 'PUBLIC' when r = c.relowner then 'OWNER' else r::regrole::text end, ', ' order by r) from unnest(p.polroles) r)
		       || coalesce(' USING (' || pg_get_expr(p.polqual, p.polrelid) || ')', '')
		       || coalesce(' WITH CHECK (' || pg_get_expr(p.polwithcheck, p.polrelid) || ')', '')
		  from pg_policy p join pg_class c on c.oid = p.polrelid
		 where p.polrelid = $1::text::regclass order by p.polname`

	grantsQuery = `
		select 'GRANT ' || string_agg(distinct what, ', ' order by what) || ' ON ' || c.relname || ' TO ' || grantee
		  from pg_class c,
		       lateral (select a.privilege_type as what, case when a.grantee = 0 then 'PUBLIC' else a.grantee::regrole::text end as grantee
		                  from aclexplode(c.relacl) a where a.grantee <> c.relowner
		                union all
		                select a.privilege_type || ' (' || t.attname || ')', case when a.grantee = 0 then 'PUBLIC' else a.grantee::regrole::text end
		                  from pg_attribute t, aclexplode(t.attacl) a where t.attrelid = c.oid and a.grantee <> c.relowner) g
		 where c.oid = $1::text::regclass
		 group by c.relname, grantee order by grantee`

	queueQuery = `
		select 'CREATE SCHEMA ' || nspname from pg_namespace where nspname = $1
		union all
		select 'GRANT ' || string_agg(a.privilege_type, ', ' order by a.privilege_type) || ' ON SCHEMA ' || nspname || ' TO ' || a.grantee::regrole
		  from pg_namespace, aclexplode(nspacl) a where nspname = $1 and a.grantee <> nspowner and a.grantee <> 0 group by nspname, a.grantee
		union all
		(select '-- ' || nspname || '.' || relname || ', made by River'
		        || coalesce((select '; GRANT ' || string_agg(a.privilege_type, ', ' order by a.privilege_type) || ' TO ' || a.grantee::regrole
		                       from aclexplode(c.relacl) a where a.grantee <> c.relowner and a.grantee <> 0 group by a.grantee), '')
		   from pg_class c join pg_namespace n on n.oid = c.relnamespace
		  where nspname = $1 and relkind in ('r', 'p', 'v', 'm', 'S', 'f') order by relname)`
)
