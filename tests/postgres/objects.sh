#!/usr/bin/env bash
# Tests blobs in object storage against a server of S3's interface, which it installs from the index of Python's packages
# and starts on a free port of the loopback. With arguments it runs those as a command instead, with the server there.
set -euo pipefail
cd "$(dirname "$0")/../.."
tools=${XDG_CACHE_HOME:-$HOME/.cache}/baytrim-s3-1
if [ ! -e "$tools/whole" ]; then
    rm -rf "$tools"
    python3 -m venv "$tools"
    "$tools/bin/pip" install --quiet --disable-pip-version-check "moto[server]==5.*"
    touch "$tools/whole"
fi
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
said=$(mktemp)
"$tools/bin/moto_server" -H 127.0.0.1 -p "$port" >"$said" 2>&1 &
server=$!
trap 'kill "$server" 2>/dev/null || true; wait "$server" 2>/dev/null || true; rm -f "$said"' EXIT
for _ in $(seq 300); do
    ! (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null || break
    kill -0 "$server" || { cat "$said" >&2; exit 1; }
    sleep 0.1
done
export AWS_ACCESS_KEY_ID=invented AWS_SECRET_ACCESS_KEY=invented AWS_REGION=us-east-1
export AWS_ENDPOINT=http://127.0.0.1:$port AWS_ALLOW_HTTP=true
export BAYTRIM_TEST_S3=s3://baytrim-test
python3 - "$AWS_ENDPOINT/baytrim-test" <<'PY'
import sys, urllib.request
urllib.request.urlopen(urllib.request.Request(sys.argv[1], method="PUT", headers={"Authorization": "AWS4-HMAC-SHA256 Credential=invented/20260101/us-east-1/s3/aws4_request, SignedHeaders=host, Signature=none"}))
PY
if [ $# -gt 0 ]; then
    "$@"
    exit
fi
cargo test --workspace --locked --features baytrim-ledger-objects/s3 --test s3
