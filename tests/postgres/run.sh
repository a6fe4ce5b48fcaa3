#!/usr/bin/env bash
# Tests the ledger on a real PostgreSQL, which it installs where there is none and starts on a free port of the loopback,
# in a directory of its own, as a user that is not root. With arguments it runs those as a command instead, with the database there.
set -euo pipefail
cd "$(dirname "$0")/../.."

find_bin() { compgen -G '/usr/lib/postgresql/*/bin' | sort -V | tail -1; }
[ -n "$(find_bin)" ] || { apt-get update -qq; DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql >/dev/null; }
BAYTRIM_TEST_POSTGRES_BIN=$(find_bin)

# A server never runs as root.
as=()
[ "$(id -u)" -ne 0 ] || as=(setpriv --reuid postgres --regid postgres --clear-groups)
BAYTRIM_TEST_POSTGRES_DIR=$(mktemp -d "${TMPDIR:-/tmp}/baytrim-postgres.XXXXXX")
[ "$(id -u)" -ne 0 ] || chown postgres:postgres "$BAYTRIM_TEST_POSTGRES_DIR"
chmod 711 "$BAYTRIM_TEST_POSTGRES_DIR"
home=$BAYTRIM_TEST_POSTGRES_DIR/shared
stop() {
    (cd / && "${as[@]}" "$BAYTRIM_TEST_POSTGRES_BIN/pg_ctl" stop -m immediate -D "$home" >/dev/null 2>&1) || true
    rm -rf "$BAYTRIM_TEST_POSTGRES_DIR"
}
trap stop EXIT

# Certificates: an authority that vouches for 127.0.0.1, and another one.
certificates=$BAYTRIM_TEST_POSTGRES_DIR/certificates
mkdir "$certificates"
make_ca() {
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj "/CN=invented authority $1" \
        -addext "basicConstraints=critical,CA:TRUE" -keyout "$certificates/$1.key" -out "$certificates/$1.pem" 2>/dev/null
}
make_ca ca
make_ca other-ca
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj "/CN=invented database" \
    -keyout "$certificates/server.key" -out "$certificates/server.csr" 2>/dev/null
openssl x509 -req -in "$certificates/server.csr" -CA "$certificates/ca.pem" -CAkey "$certificates/ca.key" -days 2 \
    -extfile <(echo "subjectAltName=IP:127.0.0.1") -out "$certificates/server.pem" 2>/dev/null
chmod 755 "$certificates"
chmod 600 "$certificates"/*.key
[ "$(id -u)" -ne 0 ] || chown postgres:postgres "$certificates"/server.*

port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
(
    cd /
    "${as[@]}" "$BAYTRIM_TEST_POSTGRES_BIN/initdb" -D "$home" -U postgres -A trust -E UTF8 --data-checksums >/dev/null
    "${as[@]}" tee -a "$home/postgresql.auto.conf" >/dev/null <<EOF
listen_addresses = '127.0.0.1'
port = $port
unix_socket_directories = ''
max_connections = 200
ssl = on
ssl_cert_file = '$certificates/server.pem'
ssl_key_file = '$certificates/server.key'
EOF
    "${as[@]}" tee "$home/pg_hba.conf" >/dev/null <<EOF
hostssl all secure 127.0.0.1/32 trust
host all postgres 127.0.0.1/32 trust
EOF
    "${as[@]}" "$BAYTRIM_TEST_POSTGRES_BIN/pg_ctl" start -w -D "$home" -l "$home/log" >/dev/null
    "$BAYTRIM_TEST_POSTGRES_BIN/psql" -qX -h 127.0.0.1 -p "$port" -U postgres \
        -c 'create role secure login; create schema secure authorization secure;'
)
export BAYTRIM_TEST_POSTGRES_BIN BAYTRIM_TEST_POSTGRES_DIR
export BAYTRIM_TEST_POSTGRES="postgres://postgres@127.0.0.1:$port/postgres"
export BAYTRIM_TEST_POSTGRES_CERTIFICATES=$certificates

if [ $# -gt 0 ]; then
    "$@"
    exit
fi
# As the whole workspace is built, so that nothing is built twice.
live=baytrimd/live-tests,baytrim-ledger-postgres/live-tests
cargo test --workspace --locked --features "$live" --test live --test kills --test replicated
# The drill that docs/replicated.md names, with the programs as built here.
cargo test --workspace --locked --features "$live" --test cli --test replicated --no-run --quiet
deploy/postgres/restore-drill.sh "${CARGO_TARGET_DIR:-target}/debug"
# Nodes that fail over by themselves, in short: a primary is killed, the next one stands still and wakes up.
told=0
BAYTRIM_TEST_FAULTS=2 BAYTRIM_TEST_SEED=1 tests/postgres/faults.sh || told=$?
[ "$told" -ne 77 ] || { echo "nodes that fail over by themselves: SKIPPED" >&2; told=0; }
exit "$told"
