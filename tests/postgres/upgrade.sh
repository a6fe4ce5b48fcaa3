#!/usr/bin/env bash
# A rolling upgrade with two real versions: an older commit of this repository and what is here, on one PostgreSQL. Two
# old daemons serve; one after the other becomes new while clients of both versions work at both; then back again.
#
#   tests/postgres/upgrade.sh [OLD_COMMIT]
#
# Builds the old one in a work tree of its own, which takes minutes; BAYTRIM_TEST_OLD and BAYTRIM_TEST_NEW name directories
# with programs that are there already, BAYTRIM_TEST_OLD_DATA the old one's demo data: what it knows of a job. Not for a checkout without history.
set -euo pipefail
cd "$(dirname "$0")/../.."
target=$(realpath -m "${CARGO_TARGET_DIR:-target}")
if [ -z "${BAYTRIM_TEST_POSTGRES:-}" ]; then
    if [ -z "${BAYTRIM_TEST_OLD:-}" ]; then
        commit=$(git rev-parse "${1:-48548a3}")
        [ -d "$target/old" ] || git worktree add --quiet --detach "$target/old" "$commit"
        git -C "$target/old" checkout --quiet --detach "$commit"
        (cd "$target/old" && CARGO_TARGET_DIR=$target/old-target cargo build --locked -p baytrimd -p baytrim --bins)
        export BAYTRIM_TEST_OLD=$target/old-target/debug BAYTRIM_TEST_OLD_DATA=$target/old/demo-data
    fi
    if [ -z "${BAYTRIM_TEST_NEW:-}" ]; then
        cargo build --locked --bins
        export BAYTRIM_TEST_NEW=$target/debug
    fi
    exec tests/postgres/run.sh "$0" "$@"
fi

work=$(mktemp -d)
declare -A daemon url
finish() {
    local name
    for name in "${!daemon[@]}"; do kill "${daemon[$name]}" 2>/dev/null || true; done
    wait
    rm -rf "$work"
}
trap finish EXIT
store=$BAYTRIM_TEST_POSTGRES
data=$BAYTRIM_TEST_OLD_DATA
declare -A programs=([old]=$BAYTRIM_TEST_OLD [new]=$BAYTRIM_TEST_NEW)
step() { printf '%4ss  %s\n' "$SECONDS" "$1"; }
fail() { echo "upgrade.sh: $1" >&2; exit 1; }

# Lets the daemon of that name be of that version from now on, as an upgrade does: stop one, start the other.
serve() {
    local name=$1 version=$2
    if [ -n "${daemon[$name]:-}" ]; then
        kill "${daemon[$name]}"
        wait "${daemon[$name]}" || fail "$name did not stop well"
    fi
    : >"$work/$name"
    "${programs[$version]}/baytrimd" serve --store "$store" --single-copy --listen 127.0.0.1:0 >"$work/$name" 2>>"$work/$name.log" &
    daemon[$name]=$!
    until grep -q listening "$work/$name"; do
        kill -0 "${daemon[$name]}" || fail "$name does not start: $(tail -1 "$work/$name.log")"
        sleep 0.1
    done
    url[$name]=$(sed -n 's/^listening on //p' "$work/$name")
}

# A client of that version at that daemon; what it prints is in $work/said.
at() {
    local name=$1 version=$2
    shift 2
    "${programs[$version]}/baytrim" --server "${url[$name]}" --token-file "$work/token" "$@" >"$work/said" 2>&1
}
must() { at "$@" || fail "$*: $(cat "$work/said")"; }

# A whole job, each step at the other daemon, by clients of either version.
jobs=()
work_on() {
    local job=$1
    sed "s/^id = .*/id = \"$job\"/" "$data/job.toml" >"$work/jobs/$job.toml"
    must a old job open "$work/jobs/$job.toml"
    must b new pull submit "$job" "$data/pull-1-holds.csv" --bay east
    must a new propose "$job"
    must b old approve "$job/c1" --reason "tried"
    must a old pull submit "$job" "$data/pull-2-sweeps.csv" --bay east
    must b new propose "$job"
    must a new reject "$job/c2" --reason "another pull first"
    jobs+=("$job")
}

# What each daemon says of every job, and the proof of the whole by either version.
alike() {
    local job version
    for job in "${jobs[@]}"; do
        must a new ledger log "$job" --json
        cp "$work/said" "$work/of-a"
        must b new ledger log "$job" --json
        cmp -s "$work/said" "$work/of-a" || fail "the daemons tell different things of $job"
        must a new proposal list "$job" --json
        [ "$(grep -o '"state": *"[a-z_A-Z]*"' "$work/said" | sort | uniq -c | tr -s ' \n' ' ')" = "${states:=$(grep -o '"state": *"[a-z_A-Z]*"' "$work/said" | sort | uniq -c | tr -s ' \n' ' ')}" ] ||
            fail "$job has other proposals: $(cat "$work/said")"
    done
    for version in old new; do
        "${programs[$version]}/baytrimd" ledger verify --store "$store" --single-copy >"$work/proof-$version" 2>/dev/null ||
            fail "the $version version finds the ledger unsound: $(cat "$work/proof-$version")"
    done
    heads=$(sed -n 's/^head of the whole ledger: //p' "$work"/proof-* | sort -u | wc -l)
    [ "$heads" = 1 ] || fail "the versions find different heads"
}

mkdir "$work/jobs"
cp "$data"/*.csv "$work/jobs"
step "two old daemons"
"${programs[old]}/baytrimd" owner first --store "$store" --single-copy --token-file "$work/token" >/dev/null 2>&1
serve a old
serve b old
must a old policy set --one-person true --reason "a test"
work_on before
alike
step "one is new, one is old"
serve a new
work_on first-new
alike
step "both are new"
serve b new
work_on both-new
alike
step "one back: what an old daemon does with a job that holds what it does not know"
sed "s/^id = .*/id = \"newer\"/" "$data/job.toml" >"$work/jobs/newer.toml"
printf '\n[grip.road]\ngrip_percent = [0.0, 50.0, 100.0]\nplate_percent = [[0.0, 50.0, 100.0]]\n' >>"$work/jobs/newer.toml"
must b new job open "$work/jobs/newer.toml"
serve a old
if at a old job show newer; then
    step "  it leaves out what it does not know: a version from before records refused that"
else
    grep -q RECORD_NEWER "$work/said" || fail "it says something else: $(cat "$work/said")"
    step "  it refuses that job, RECORD_NEWER"
fi
work_on one-back
alike
step "both back"
serve b old
work_on back
alike
[ "$(grep -c 'a request failed' "$work"/*.log | awk -F: '{sum += $2} END {print sum}')" = 0 ] || grep -h 'a request failed' "$work"/*.log
step "${#jobs[@]} jobs at daemons of both versions; all daemons and both versions agree on every record"
