#!/bin/sh
# Run every test on this machine: lint, types, unit, server, the phone's engine, and the browsers.
#   sh deploy/test.sh [arguments for pytest]
# Installs what it needs: a virtual environment, the test extra, and through apt the browsers and PostgreSQL
# where they are missing (the tests start a cluster of their own; the one that Debian may start is not used).
set -eu

here=$(cd "$(dirname "$0")/.." && pwd)
venv=${RAILCASE_VENV:-$here/.venv}
python=${PYTHON:-python3}
cd "$here"

say() { printf '%s\n' "$*" >&2; }

[ -x "$venv/bin/python" ] || "$python" -m venv "$venv"
"$venv/bin/pip" install --quiet --disable-pip-version-check -e ".[test]"

missing=""
[ -x /usr/bin/chromium ] || missing="$missing chromium"
[ -x /usr/bin/firefox-esr ] || missing="$missing firefox-esr"
[ -x /usr/bin/WebKitWebDriver ] || missing="$missing webkit2gtk-driver"
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
[ -x /usr/sbin/nginx ] || missing="$missing nginx-light"
[ -x /usr/bin/caddy ] || missing="$missing caddy"
[ -x /usr/bin/systemd-analyze ] || missing="$missing systemd"
[ -x /usr/bin/xvfb-run ] || missing="$missing xvfb xauth"
if [ -n "$missing" ]; then
    root=""
    [ "$(id -u)" = 0 ] || root=sudo
    say "Installing$missing ..."
    $root apt-get update -qq
    # a list of packages
    # shellcheck disable=SC2086
    DEBIAN_FRONTEND=noninteractive $root apt-get install -y -qq --no-install-recommends $missing >/dev/null
fi

"$venv/bin/ruff" check .
"$venv/bin/ruff" format --check .
"$venv/bin/mypy"
[ $# = 0 ] || exec "$venv/bin/python" -m pytest "$@"
# two files at a time, but the browsers alone: some of their tests measure time
"$venv/bin/python" -m pytest -n 2 --dist loadfile tests
exec "$venv/bin/python" -m pytest e2e
