#!/usr/bin/env bash
# Fuzzes every reader for SECONDS each (60 unless given), guided by coverage, on stable Rust.
#
# The flags are those that cargo-fuzz passes, save the sanitizer, which needs nightly: the project has no
# unsafe code of its own. New inputs go to corpus/READER; seeds are tests/files and the committed corpus.
set -euo pipefail
cd "$(dirname "$0")"
seconds=${1:-60}
export RUSTFLAGS="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Ccodegen-units=1 --cfg fuzzing"
target=${FUZZ_TARGET_DIR:-target}
# With a target named, build scripts are built without the flags.
host=$(rustc -vV | sed -n 's/^host: //p')
cargo build --release --target "$host" --target-dir "$target" ${FUZZ_FEATURES:+--features "$FUZZ_FEATURES"}

fuzz() {
    local reader=$1 binary=$2
    shift 2
    local seeds
    seeds=$(mktemp -d)
    for file in "$@"; do cp "$file" "$seeds"; done
    mkdir -p "corpus/$reader"
    printf '\n== %s\n' "$reader"
    "$target/$host/release/$binary" -max_total_time="$seconds" -max_len=65536 -rss_limit_mb=1024 -timeout=10 \
        -print_final_stats=1 -artifact_prefix="$seeds/" "corpus/$reader" "$seeds" 2>&1 |
        grep -E 'DONE|ERROR|panicked|stat::(number_of_executed_units|peak_rss_mb|slowest_unit)'
}

files=../tests/files
fuzz text read_log $files/*.csv
fuzz packed read_log $files/*.zst
fuzz mdf read_log $files/*.mf4
if [[ ${FUZZ_FEATURES:-} == *columnar* ]]; then
    fuzz parquet read_log $files/*.parquet
    fuzz arrow read_log $files/*.arrow $files/*.arrows
fi
fuzz channel_map channel_map ../../../docs/examples/channels/*.toml
