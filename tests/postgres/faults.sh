#!/usr/bin/env bash
# Three database nodes with automatic failover, three daemons and their clients, in networks of their own; nodes and
# daemons are killed, paused and cut off. Needs root, for the networks. How long, and which seed:
#
#   BAYTRIM_TEST_FAULTS=40 BAYTRIM_TEST_SEED=7 tests/postgres/faults.sh
#
# Everything happens in namespaces of this script, and all that it started ends with it.
set -euo pipefail
cd "$(dirname "$0")/../.."
live=baytrimd/live-tests,baytrim-ledger-postgres/live-tests
if [ "${BAYTRIM_TEST_INSIDE:-}" != 1 ]; then
    [ "$(id -u)" -eq 0 ] || { echo "faults.sh: needs root, to make networks" >&2; exit 2; }
    if ! command -v patroni >/dev/null || ! command -v etcd >/dev/null || ! ls -d /usr/lib/postgresql/*/bin >/dev/null 2>&1; then
        apt-get update -qq
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
            postgresql patroni etcd-server python3-etcd iproute2 curl >/dev/null
    fi
    BAYTRIM_TEST_POSTGRES_BIN=$(ls -d /usr/lib/postgresql/*/bin | sort -V | tail -1)
    BAYTRIM_TEST_NODES=$(mktemp -d "${TMPDIR:-/tmp}/baytrim-nodes.XXXXXX")
    chmod 711 "$BAYTRIM_TEST_NODES"
    trap '[ -n "${BAYTRIM_TEST_KEEP:-}" ] || rm -rf "$BAYTRIM_TEST_NODES"' EXIT
    export BAYTRIM_TEST_POSTGRES_BIN BAYTRIM_TEST_NODES
    export BAYTRIM_TEST_NODES_SH=$PWD/tests/postgres/nodes.sh
    [ $# -gt 0 ] || cargo test --workspace --locked --features "$live" --test faults --no-run
    BAYTRIM_TEST_INSIDE=1 unshare --net --mount --pid --fork --mount-proc --kill-child "$0" "$@"
    exit
fi
mount -t tmpfs none /run
mkdir /run/netns
"$BAYTRIM_TEST_NODES_SH" make
tell() {
    # What the daemons called a failure of their own, beside a database that was away.
    grep -h "a request failed" "$BAYTRIM_TEST_NODES"/d?.log 2>/dev/null | grep -v "can't be reached" || true
}
trap tell EXIT
if [ $# -gt 0 ]; then
    "$@"
    exit
fi
cargo test --workspace --locked --offline --features "$live" --test faults -- --nocapture --test-threads 1
