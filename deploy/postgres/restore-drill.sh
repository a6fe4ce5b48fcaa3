#!/usr/bin/env bash
# A drill, to be run now and then: a ledger in PostgreSQL is damaged by hand and put back to the moment before.
# It makes a database of its own in a temporary directory, archives its log, backs it up while a daemon writes, has an
# "accident", and restores to a named moment; the head of the whole ledger must be the one that was written down.
#   deploy/postgres/restore-drill.sh [DIRECTORY WITH baytrimd AND baytrim]
# For your own database keep the same settings (archive_mode, archive_command, a base backup) and the same last step.
set -euo pipefail
cd "$(dirname "$0")/../.."
programs=$(realpath "${1:-target/release}")
pg=$(compgen -G '/usr/lib/postgresql/*/bin' | sort -V | tail -1)
work=$(mktemp -d "${TMPDIR:-/tmp}/baytrim-drill.XXXXXX")
daemon=
# A database server never runs as root.
as=()
if [ "$(id -u)" -eq 0 ]; then
    as=(setpriv --reuid postgres --regid postgres --clear-groups)
    chown postgres:postgres "$work"
fi
chmod 711 "$work"
server() { (cd / && "${as[@]}" env PATH="$pg:$PATH" "$@"); }
finish() {
    [ -z "$daemon" ] || kill "$daemon" 2>/dev/null || true
    server pg_ctl stop -m immediate -D "$work/live" >/dev/null 2>&1 || true
    server pg_ctl stop -m immediate -D "$work/restored" >/dev/null 2>&1 || true
    rm -rf "$work"
}
trap finish EXIT
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
url=postgres://postgres@127.0.0.1:$port/postgres
sql() { "$pg/psql" -AtXq -v ON_ERROR_STOP=1 "$url" -c "$1"; }
# What is written down elsewhere after each backup.
head_of_all() { "$programs/baytrimd" ledger verify --store "$url" --single-copy 2>/dev/null | sed -n 's/^head of the whole ledger: //p'; }
step() { printf '%4ss  %s\n' "$SECONDS" "$1"; }

step "a database that archives its log"
server initdb -D "$work/live" -U postgres -A trust -E UTF8 --data-checksums >/dev/null
server mkdir "$work/archive"
"${as[@]}" tee -a "$work/live/postgresql.auto.conf" >/dev/null <<EOF
listen_addresses = '127.0.0.1'
port = $port
unix_socket_directories = ''
archive_mode = on
archive_command = 'test ! -f $work/archive/%f && cp %p $work/archive/%f'
EOF
server pg_ctl start -w -D "$work/live" -l "$work/live/log" >/dev/null

step "a daemon writes the demo's job"
"$programs/baytrimd" owner first --store "$url" --single-copy --token-file "$work/token" >/dev/null 2>&1
"$programs/baytrimd" serve --store "$url" --single-copy --listen 127.0.0.1:0 >"$work/address" 2>/dev/null &
daemon=$!
until grep -q listening "$work/address"; do sleep 0.1; done
shop() { "$programs/baytrim" --server "$(sed -n 's/^listening on //p' "$work/address")" --token-file "$work/token" "$@" >/dev/null 2>"$work/said" || { cat "$work/said" >&2; return 1; }; }
shop job open demo-data/job.toml
shop pull submit plover-690 demo-data/pull-1-holds.csv --bay east

step "a base backup while it serves"
server pg_basebackup -h 127.0.0.1 -p "$port" -U postgres -c fast -D "$work/restored"
shop pull submit plover-690 demo-data/pull-2-sweeps.csv --bay east
shop propose plover-690
before=$(head_of_all)
sql "select pg_create_restore_point('before_the_accident')" >/dev/null
step "the head of the whole ledger is $before"

step "the accident: somebody deletes records by hand, and work goes on for a moment"
shop pull submit plover-690 demo-data/pull-3-ride.csv --bay east
sql "delete from baytrim_record where stream = 'job/plover-690' and seq = 2"
if "$programs/baytrimd" ledger verify --store "$url" --single-copy >"$work/found" 2>/dev/null; then
    echo "the damage was not found" >&2
    exit 1
fi
step "found: $(sed -n 's/^first fault: //p' "$work/found")"

step "every daemon is stopped, the database too; the backup goes on to the moment before"
kill "$daemon"
wait "$daemon" || true
daemon=
sql "select pg_switch_wal()" >/dev/null
server pg_ctl stop -m fast -w -D "$work/live" >/dev/null
"${as[@]}" tee -a "$work/restored/postgresql.auto.conf" >/dev/null <<EOF
restore_command = 'cp $work/archive/%f %p'
recovery_target_name = 'before_the_accident'
recovery_target_action = 'promote'
archive_mode = off
EOF
server touch "$work/restored/recovery.signal"
server pg_ctl start -w -D "$work/restored" -l "$work/restored/log" >/dev/null
until [ "$(sql 'select pg_is_in_recovery()')" = f ]; do sleep 0.1; done

after=$(head_of_all)
step "the head of the whole ledger is $after"
[ -n "$before" ] && [ "$before" = "$after" ] || {
    echo "it is another one: the restore is not what was backed up" >&2
    exit 1
}
step "restored; everything holds"
