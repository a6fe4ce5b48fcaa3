#!/usr/bin/env bash
# How the database bears a growing ledger: the store's own statements, by pgbench, on three nodes with synchronous
# commit. First appends by more and more clients, then the look at all heads that each daemon makes, on more and more
# jobs. The figures are in docs/replicated.md. Run it by itself:
#
#   tests/postgres/faults.sh tests/postgres/growth.sh [SECONDS FOR EACH FIGURE] [JOBS...]
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
seconds=${1:-10}
shift || true
jobs=${*:-1000 10000 100000}
psql=$BAYTRIM_TEST_POSTGRES_BIN/psql
pgbench=$BAYTRIM_TEST_POSTGRES_BIN/pgbench
place="host=10.77.0.1,10.77.0.2,10.77.0.3 user=postgres target_session_attrs=read-write"
sql() { "$psql" -AtXq -v ON_ERROR_STOP=1 -d "$place connect_timeout=2" -c "$1"; }

echo "load before: $(cat /proc/loadavg)"
until [ "$(sql "select count(*) from pg_stat_replication where state = 'streaming' and application_name in ('a', 'b', 'c')" 2>/dev/null)" = 2 ]; do
    sleep 0.5
    [ "$SECONDS" -lt 90 ] || { echo "the nodes do not start" >&2; exit 1; }
done
"$psql" -AtXq -v ON_ERROR_STOP=1 -d "$place" -f "$here/../../crates/baytrim-ledger-postgres/src/schema/v1.sql"

# One append of a record of 12 kB, which is what a pull comes to, to a job of the client's own.
cat >"$BAYTRIM_TEST_NODES/append.sql" <<'SQL'
\set n :n + 1
insert into baytrim_record (stream, seq, prev, hash, body, append_id)
select 'job/p' || :clients || '-' || :client_id, :n, h, h, b, substring(h for 16)
from (select sha256(('x' || :client_id || '-' || :n)::bytea) as h, convert_to(repeat(md5(:n::text), 375), 'utf8') as b) as r;
SQL
echo "| clients | appends of 12 kB a second | mean ms | p99 ms |"
echo "|---|---|---|---|"
for clients in 1 2 4 8 16 32 64; do
    rm -f "$BAYTRIM_TEST_NODES"/log.*
    told=$("$pgbench" -n -d "$place" -c "$clients" -j 2 -T "$seconds" -D "clients=$clients" -D n=0 -l --log-prefix="$BAYTRIM_TEST_NODES/log" -f "$BAYTRIM_TEST_NODES/append.sql" 2>&1)
    rate=$(sed -n 's/^tps = \([0-9.]*\).*/\1/p' <<<"$told")
    mean=$(sed -n 's/^latency average = \([0-9.]*\).*/\1/p' <<<"$told")
    [ -n "$rate" ] || { echo "$told" >&2; exit 1; }
    p99=$(cat "$BAYTRIM_TEST_NODES"/log.* | awk '{print $3}' | sort -n | awk '{all[NR] = $1} END {print all[int(NR * 0.99)] / 1000}')
    echo "| $clients | $rate | $mean | $p99 |"
done

# As a daemon looks: a page of 256 after the other.
cat >"$BAYTRIM_TEST_NODES/look.sql" <<'SQL'
do $$
declare
    name text := '';
    last text;
begin
    loop
        select max(stream) into last from (
            select first.stream, last.seq, last.hash from (
                select stream from baytrim_record where seq = 0 and stream >= '' and stream < '~' and stream > name
                order by stream limit 256) as first
            cross join lateral (select seq, hash from baytrim_record as r where r.stream = first.stream order by seq desc limit 1) as last
            order by first.stream) as page;
        exit when last is null;
        name := last;
    end loop;
end $$;
SQL
echo "| jobs, 14 records each | table and keys MB | look at all heads ms |"
echo "|---|---|---|"
sql "truncate baytrim_record"
before=0
for count in $jobs; do
    sql "insert into baytrim_record (stream, seq, prev, hash, body, append_id)
         select 'job/' || lpad(j::text, 8, '0'), s, h, h, convert_to(repeat('x', 200), 'utf8'), substring(h for 16)
         from generate_series($before + 1, $count) as j, generate_series(0, 13) as s, lateral (select sha256((j || '-' || s)::bytea) as h) as r"
    before=$count
    sql "analyze baytrim_record"
    size=$(sql "select pg_total_relation_size('baytrim_record') / 1000000")
    took=$("$pgbench" -n -d "$place" -c 1 -t 5 -f "$BAYTRIM_TEST_NODES/look.sql" 2>&1 | sed -n 's/^latency average = \([0-9.]*\).*/\1/p')
    echo "| $count | $size | $took |"
done
echo "load after: $(cat /proc/loadavg)"
