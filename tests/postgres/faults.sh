#!/usr/bin/env bash
# Three database nodes with automatic failover, three daemons and their clients, in networks of their own; nodes and
# daemons are killed, paused and cut off. Needs root, for the networks. How long, and which seed:
#
#   BAYTRIM_TEST_FAULTS=40 BAYTRIM_TEST_SEED=7 tests/postgres/faults.sh
#
# Patroni is the version that this names, from the index of Python's packages; BAYTRIM_TEST_PATRONI names another program.
# Everything happens in namespaces of this script, and all that it started ends with it.
set -euo pipefail
cd "$(dirname "$0")/../.."
version=4.1.5
live=baytrimd/live-tests,baytrim-ledger-postgres/live-tests
if [ "${BAYTRIM_TEST_INSIDE:-}" != 1 ]; then
    # 77: it can't be done here.
    [ "$(id -u)" -eq 0 ] || { echo "faults.sh: needs root, to make networks" >&2; exit 77; }
    if ! command -v etcd >/dev/null || ! command -v ip >/dev/null || ! command -v curl >/dev/null ||
        ! [ -e /usr/share/doc/python3-venv ] || ! compgen -G '/usr/lib/postgresql/*/bin' >/dev/null; then
        apt-get update -qq
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
            postgresql etcd-server iproute2 curl python3-venv >/dev/null
    fi
    unshare --net --mount --pid --fork sh -c 'mount -t tmpfs none /run && mkdir /run/netns && ip netns add a && ip link add type veth' ||
        { echo "faults.sh: no networks can be made here" >&2; exit 77; }
    # Debian's Python, which the databases' user may run.
    if [ -z "${BAYTRIM_TEST_PATRONI:-}" ]; then
        python=/var/cache/baytrim-tests/patroni-$version
        if [ ! -e "$python/whole" ]; then
            rm -rf "$python"
            /usr/bin/python3 -m venv "$python"
            "$python/bin/pip" install --quiet --disable-pip-version-check "patroni[etcd3]==$version" "psycopg[binary]==3.3.*"
            touch "$python/whole"
        fi
        export BAYTRIM_TEST_PATRONI=$python/bin/patroni
    fi
    BAYTRIM_TEST_POSTGRES_BIN=$(compgen -G '/usr/lib/postgresql/*/bin' | sort -V | tail -1)
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
