#!/usr/bin/env bash
# Runs the Python examples against the daemon and the command line as built here, with stubs made from proto/.
# Installs what it needs into a virtual environment under the target directory.
set -euo pipefail
cd "$(dirname "$0")"
root="$(cd ../.. && pwd)"
target="${CARGO_TARGET_DIR:-$root/target}"

if [ -z "${BAYTRIM_BIN:-}" ]; then
    (cd "$root" && cargo build --quiet --locked -p baytrimd -p baytrim)
    export BAYTRIM_BIN="$target/debug"
fi
if ! python3 -c 'import ensurepip' 2>/dev/null; then
    sudo=""
    if [ "$(id -u)" != 0 ]; then sudo="sudo"; fi
    $sudo apt-get update -qq
    $sudo apt-get install -y -qq python3-venv >/dev/null
fi
python3 -m venv "$target/python"
"$target/python/bin/pip" install --quiet --disable-pip-version-check \
    -r "$root/docs/examples/python/requirements.txt" -r "$root/docs/examples/checkpoint/requirements.txt"
"$target/python/bin/python" "$root/docs/examples/python/make_stubs.py"
"$target/python/bin/python" -m unittest discover -v
