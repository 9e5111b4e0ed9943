#!/bin/sh
# Set up and start railcase on this machine: a virtual environment, the package, SQLite, the server.
#   sh deploy/start.sh [--demo] [--port 8700] [--host 127.0.0.1]
# Needs Python 3.11 or later and a network for the first run; no Node, no database server.
set -eu

here=$(cd "$(dirname "$0")/.." && pwd)
venv=${RAILCASE_VENV:-$here/.venv}
export RAILCASE_DATA="${RAILCASE_DATA:-$here/var}"
python=${PYTHON:-python3}

say() { printf '%s\n' "$*" >&2; }

"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || {
    say "railcase needs Python 3.11 or later; '$python' is not. Install it, or name another: PYTHON=python3.12 sh $0"
    exit 2
}

demo=no
if [ "${1:-}" = "--demo" ]; then demo=yes; shift; fi

if [ ! -x "$venv/bin/python" ]; then
    say "Making a virtual environment in $venv ..."
    "$python" -m venv "$venv" || { say "On Debian and Ubuntu: apt install python3-venv"; exit 2; }
fi

# Install again only when what is installed does not match: pyproject, the browser packages, or nothing there yet.
stamp="$venv/railcase-installed"
want=$(cat "$here/pyproject.toml" "$here"/deploy/browser/*.json "$here/deploy/browser/vendor.toml" \
    "$here/deploy/build_hook.py" | cksum)
if [ "$(cat "$stamp" 2>/dev/null || true)" != "$want" ] || [ ! -f "$here/static/vendor/vendor.json" ]; then
    say "Installing (the first time takes a minute) ..."
    "$venv/bin/pip" install --quiet --disable-pip-version-check -e "$here"
    printf '%s' "$want" > "$stamp"
fi

# The invented workshop may be there already; that is said, and is no reason not to start.
if [ "$demo" = yes ]; then "$venv/bin/railcase" demo || true; fi
exec "$venv/bin/railcase" serve "$@"
