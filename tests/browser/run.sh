#!/usr/bin/env bash
# Drives the review page in a real browser, over the daemon and the command line as built here.
# Installs what it needs: Debian's Chromium and poppler-utils, and two npm packages beside this file.
set -euo pipefail
cd "$(dirname "$0")"
root="$(cd ../.. && pwd)"

if ! command -v chromium >/dev/null || ! command -v pdftotext >/dev/null; then
    sudo=""
    if [ "$(id -u)" != 0 ]; then sudo="sudo"; fi
    $sudo apt-get update -qq
    $sudo apt-get install -y -qq chromium poppler-utils >/dev/null
fi
npm install --silent --no-package-lock --no-audit --no-fund

if [ -z "${BAYTRIM_BIN:-}" ]; then
    (cd "$root" && cargo build --quiet --locked -p baytrimd -p baytrim)
    export BAYTRIM_BIN="${CARGO_TARGET_DIR:-$root/target}/debug"
fi
npm test --silent
