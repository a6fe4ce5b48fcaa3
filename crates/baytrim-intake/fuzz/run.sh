#!/usr/bin/env bash
# Fuzzes every reader for SECONDS each (60 unless given), guided by coverage, on stable Rust.
#
#   run.sh [SECONDS] [READER...]      READER: text packed mdf parquet arrow channel_map; all unless named
#   FUZZ_SAVE=1 run.sh ...            afterwards keeps what reaches new code in corpus/READER.tar.gz
#
# The flags are those that cargo-fuzz passes, save the sanitizer, which needs nightly: the project has no
# unsafe code of its own. Seeds are tests/files and the committed corpus. 0 seconds replays the corpus.
set -euo pipefail
cd "$(dirname "$0")"
seconds=${1:-60}
shift || true
export RUSTFLAGS="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Ccodegen-units=1 --cfg fuzzing"
target=${FUZZ_TARGET_DIR:-target}
# With a target named, build scripts are built without the flags.
host=$(rustc -vV | sed -n 's/^host: //p')
cargo build --quiet --release --features columnar --target "$host" --target-dir "$target"

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
is_failed=0

fuzz() {
    local reader=$1 binary=$2 work=$scratch/$1
    shift 2
    mkdir -p "$work/corpus" "$work/seeds" found
    cp "$@" "$work/seeds"
    if [[ -f corpus/$reader.tar.gz ]]; then tar -xzf "corpus/$reader.tar.gz" -C "$work/corpus"; fi
    local limits=(-max_len=65536 -rss_limit_mb=1024 -timeout=10 "-artifact_prefix=found/$reader-")
    local program=$target/$host/release/$binary budget=(-max_total_time="$seconds")
    if [[ $seconds == 0 ]]; then budget=(-runs=0); fi
    printf '\n== %s\n' "$reader"
    "$program" "${limits[@]}" "${budget[@]}" -print_final_stats=1 "$work/corpus" "$work/seeds" >"$work/log" 2>&1 ||
        { is_failed=1; cp "$work/log" "found/$reader.log"; }
    grep -E 'DONE|ERROR|SUMMARY|panicked|stat::(number_of_executed_units|peak_rss_mb|slowest_unit)' "$work/log" || true
    if [[ -n ${FUZZ_SAVE:-} ]]; then save "$reader" "$program" "$work"; fi
}

# Keeps the smallest set of short inputs that reaches what all of them reach.
save() {
    local reader=$1 program=$2 work=$3
    mkdir -p "$work/least" corpus
    "$program" -merge=1 -max_len=4096 -timeout=10 "$work/least" "$work/corpus" >"$work/merge" 2>&1
    tar --sort=name --mtime=@0 --owner=0 --group=0 --numeric-owner -cf - -C "$work/least" . |
        gzip -9n >"corpus/$reader.tar.gz"
    printf 'kept: %s inputs, %s bytes packed\n' "$(find "$work/least" -type f | wc -l)" "$(stat -c %s "corpus/$reader.tar.gz")"
}

files=../tests/files
readers=${*:-text packed mdf parquet arrow channel_map}
for reader in $readers; do
    case $reader in
    text) fuzz text read_log $files/*.csv ;;
    packed) fuzz packed read_log $files/*.zst ;;
    mdf) fuzz mdf read_log $files/*.mf4 ;;
    parquet) fuzz parquet read_log $files/*.parquet ;;
    arrow) fuzz arrow read_log $files/*.arrow $files/*.arrows ;;
    channel_map) fuzz channel_map channel_map ../../../docs/examples/channels/*.toml ;;
    *) echo "no reader is called $reader" >&2; exit 2 ;;
    esac
done
if [[ $is_failed != 0 ]]; then
    echo "inputs that bring a reader down are in found/; add each to the tests when it is mended" >&2
    exit 1
fi
