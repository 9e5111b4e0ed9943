"""Files of the phone app: bytes, content types, compression, and the list that the service worker keeps offline.

Files under static/vendor carry .br and .gz siblings made at build time; our own files are squeezed once, in memory, and
again when they change on disk. The service worker's list and its version follow from the files themselves.
"""

import gzip
import hashlib
import json
import threading
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import brotli
from flask import Response, request
from werkzeug.exceptions import NotFound
from werkzeug.utils import safe_join
from werkzeug.wrappers import Response as AnyResponse

from webapp.phone.slim import slim, slim_script

TYPES = {
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".ico": "image/x-icon",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mjs": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
}
READY_MADE = {"br": ".br", "gzip": ".gz"}  # best first
NO_TEXT = {"application/octet-stream", "application/wasm", "font/woff2", "image/png", "image/x-icon"}
INCOMPRESSIBLE = {".png", ".woff2", ".ico"}
SMALLEST_TO_SQUEEZE_BYTES = 512
BROTLI_QUALITY = 10  # 11 saves 2 % more and takes three times as long
# Served elsewhere, only for the office, or not needed by the app as it runs.
NOT_KEPT_OFFLINE = (
    "sw.js",
    "sw-send.js",
    "manifest.webmanifest",
    "css/office.css",
    "vendor/licenses/",
    "vendor/vendor.json",
)


class Asset(NamedTuple):
    """`squeezed` maps a content encoding to its bytes."""

    data: bytes
    type: str
    tag: str
    squeezed: dict[str, bytes]


@lru_cache(maxsize=512)
def squeeze(data: bytes) -> dict[str, bytes]:
    """Kept beyond one application: it is nearly all that starting another one in the same process takes."""
    return {"br": brotli.compress(data, quality=BROTLI_QUALITY), "gzip": gzip.compress(data, 9, mtime=0)}


def make_asset(data: bytes, suffix: str, squeezed: dict[str, bytes] | None = None) -> Asset:
    if squeezed is None and len(data) >= SMALLEST_TO_SQUEEZE_BYTES and suffix not in INCOMPRESSIBLE:
        squeezed = squeeze(data)
    return Asset(data, TYPES.get(suffix, "application/octet-stream"), hashlib.sha256(data).hexdigest()[:16], squeezed or {})


def read_asset(path: Path) -> Asset:
    ready = {name: Path(f"{path}{end}") for name, end in READY_MADE.items()}
    found = {name: file.read_bytes() for name, file in ready.items() if file.is_file()}
    data = path.read_bytes()
    if path.suffix == ".js":  # ours; a library's own file ends in .mjs
        data = slim_script(data.decode()).encode()
    return make_asset(data, path.suffix, found or None)


def send_asset(asset: Asset) -> AnyResponse:
    """Answer with the best encoding that the browser takes; browsers may keep it but ask each time (ETag)."""
    encoding = next((name for name in READY_MADE if name in asset.squeezed and request.accept_encodings[name]), None)
    response = Response(asset.squeezed[encoding] if encoding else asset.data, content_type=asset.type)
    if encoding:
        response.content_encoding = encoding
    response.vary.add("Accept-Encoding")
    response.set_etag(f"{asset.tag}-{encoding or 'plain'}")
    response.headers["Cache-Control"] = "no-cache"
    return response.make_conditional(request)


def make_bundle(paths: list[Path]) -> Asset:
    files = {f"engine/{path.name}": slim(path.read_text("utf-8")) for path in paths}
    version = hashlib.sha256(json.dumps(files, sort_keys=True).encode()).hexdigest()[:12]
    return make_asset(json.dumps({"version": version, "files": files}, ensure_ascii=False).encode(), ".json")


def make_pack(assets: dict[str, Asset]) -> Asset:
    """All texts in one file, {address: [type, text]}: brotli finds in one what the others have, and a third goes."""
    texts = {url: [asset.type, asset.data.decode()] for url, asset in assets.items()}
    return make_asset(json.dumps(texts, ensure_ascii=False, separators=(",", ":")).encode(), ".json")


class Assets:
    """The static folder and the engine's sources, read when first asked for and again when they change."""

    def __init__(self, static: Path, engine: Path, catalogue: dict):
        self.static, self.engine = static, engine
        self.catalogue = make_asset(json.dumps(catalogue, ensure_ascii=False, separators=(",", ":")).encode(), ".json")
        self._kept: dict[Path, tuple[tuple[int, int], Asset]] = {}
        self._pack: tuple[tuple[str, ...], Asset] | None = None
        self._making = threading.Lock()  # one thread makes, the others wait: it is slow, and ast.parse is not safe in two

    def file(self, name: str) -> Asset:
        """A file of the static folder. *Refuses* with NotFound what is outside, absent, or only a squeezed sibling."""
        joined = safe_join(str(self.static), name)
        path = Path(joined) if joined else None
        if path is None or path.suffix in READY_MADE.values() or "\0" in name or not path.is_file():
            raise NotFound()
        stat = path.stat()
        stamp = stat.st_mtime_ns, stat.st_size
        with self._making:
            if path not in self._kept or self._kept[path][0] != stamp:
                self._kept[path] = stamp, read_asset(path)
            return self._kept[path][1]

    def names_kept_offline(self) -> list[str]:
        names = (path.relative_to(self.static).as_posix() for path in self.static.rglob("*") if path.is_file())
        return sorted(
            name for name in names if not name.startswith(NOT_KEPT_OFFLINE) and not name.endswith(tuple(READY_MADE.values()))
        )

    def engine_bundle(self) -> Asset:
        """The engine's sources for the phone's Python: {"version", "files": {"engine/judge.py": source}}."""
        paths = sorted(self.engine.glob("*.py"))
        stamp = max(path.stat().st_mtime_ns for path in paths), len(paths)
        with self._making:
            if self.engine not in self._kept or self._kept[self.engine][0] != stamp:
                self._kept[self.engine] = stamp, make_bundle(paths)
            return self._kept[self.engine][1]

    def kept_offline(self) -> dict[str, Asset]:
        """All that the phone keeps but the shell, by address."""
        first = {"/engine.json": self.engine_bundle(), "/catalogue.json": self.catalogue}
        first["/manifest.webmanifest"] = self.file("manifest.webmanifest")
        return first | {f"/static/{name}": self.file(name) for name in self.names_kept_offline()}

    def pack(self) -> Asset:
        """What of it is text, for a phone that has nothing yet."""
        kept = {url: asset for url, asset in self.kept_offline().items() if asset.type not in NO_TEXT}
        stamp = tuple(asset.tag for asset in kept.values())
        with self._making:
            if self._pack is None or self._pack[0] != stamp:
                self._pack = stamp, make_pack(kept)
            return self._pack[1]

    def service_worker(self, shell: bytes, lost: str) -> Asset:
        """sw.js and sw-send.js with the list filled in, each file with the start of its SHA-256: the worker keeps only this
        very build. `lost` is the page for a phone that has neither files nor signal."""
        tags = {"/": make_asset(shell, ".html").tag} | {url: asset.tag for url, asset in self.kept_offline().items()}
        version = hashlib.sha256(json.dumps(tags).encode()).hexdigest()[:12]
        kept = json.dumps({"version": version, "files": tags, "lost": lost})
        before, _, after = self.file("sw.js").data.decode().rpartition("__PRECACHE__")
        return make_asset(f"{before}{kept}{after}{self.file('sw-send.js').data.decode()}".encode(), ".js")
