"""One case as a zip file that proves itself: entries with their seals, photos, what was made of them, sums of everything.

Method: `manifest.json` names every other file with its SHA-256; the entries' chain is computed anew; each photo has the sum
that an entry names. Somebody who alters entries can make new sums and a new chain: what catches that is the seal, which
stands on the printed report and in whatever else was made from the case before.
"""

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator
from typing import Any, NamedTuple

from webapp import __version__
from webapp.engine import ENGINE_VERSION
from webapp.store import cases, erasure, limits, log, photos
from webapp.store.models import Entry
from webapp.store.moments import now
from webapp.store.refusals import Refusal
from webapp.store.scope import Workshop
from webapp.store.shape import read_entry
from webapp.store.shelves import Shelf

FORMAT = "railcase-case-archive/1"
MANIFEST, ENTRIES, SEALS, OWN = "manifest.json", "entries.jsonl", "seals.jsonl", "own.json"
NEEDED = (MANIFEST, ENTRIES, SEALS)
MOST_FILES, MOST_BYTES = 2_000, 1_000_000_000
EARLIEST = (1980, 1, 1, 0, 0, 0)  # a zip's own beginning of time; when it was made stands in the manifest
HEX = re.compile(r"[0-9a-f]{64}")
SALT = re.compile(r"[0-9a-f]{32}")
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")


class Archive(NamedTuple):
    """What a sound archive holds: `rows` as the log has them, `photos` their bytes by sum, `own` what the case names of the
    workshop's own, by part of the catalogue and id."""

    case_id: str
    seal: str
    rows: list[Entry]
    photos: dict[str, bytes]
    own: dict[str, dict[str, dict]]


class BadArchive(Refusal):
    def __init__(self, problems: list[str]):
        super().__init__("bad_archive", "file", problems[0])
        self.problems = [{"code": "bad_archive", "field": "archive", "text": text} for text in problems]


def write_lines(rows: list[str]) -> bytes:
    return "".join(f"{row}\n" for row in rows).encode()


def write_seal(row: Entry) -> str:
    return json.dumps(
        {"id": row.id, "salt": row.salt, "digest": row.digest, "chain": row.chain, "received_at": row.received_at}
    )


def write_pretty(value: object) -> bytes:
    return json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False).encode()


def pack_zip(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in sorted(files):
            packed.writestr(zipfile.ZipInfo(name, EARLIEST), files[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def list_named(rows: list[Entry]) -> dict[str, set[str]]:
    """Ids of limits, weights and instruments that entries name, by part of the catalogue."""
    found: dict[str, set[str]] = {"profiles": set(), "weights": set(), "instruments": set()}
    for row in rows:
        body = json.loads(row.content)["body"] if row.kind in ("limits_set", "reading_taken") else {}
        for part, name in (("profiles", "profile"), ("weights", "weights"), ("instruments", "instrument")):
            found[part] |= {str(body[name])} if body.get(name) else set()
    return found


def find_own(workshop: Workshop, rows: list[Entry]) -> dict[str, dict[str, dict]]:
    """What the workshop has of its own and entries name. A newer version of an instrument does not make this one another."""
    known, named = limits.know_profiles(workshop), list_named(rows)
    parts = {"profiles": known.profiles, "weights": known.weights, "instruments": known.instruments}
    return {
        part: {row["id"]: {k: v for k, v in row.items() if k != "retired"} for row in rows_ if row["id"] in named[part]}
        for part, rows_ in parts.items()
    }


def list_files(workshop: Workshop, shelf: Shelf, whole: cases.WholeCase) -> dict[str, bytes]:
    sums = [json.loads(row.content)["body"]["sha256"] for row in whole.log if row.kind == "photo_added"]
    pictures = {}
    for sha256, photo in photos.list_arrived(workshop, sums).items():
        data = shelf.read(photos.find_key(workshop, sha256))
        if data is not None:
            pictures[f"photos/{sha256}.{photo.type.partition('/')[2]}"] = data
    return {
        ENTRIES: write_lines([row.content for row in whole.log]),
        SEALS: write_lines([write_seal(row) for row in whole.log]),
        OWN: write_pretty(find_own(workshop, whole.log)),
        "case.json": write_pretty(whole.document),
        "assessment.json": write_pretty(whole.assessment),
        **pictures,
    }


def write_archive(workshop: Workshop, shelf: Shelf, case_id: str, more: dict[str, bytes]) -> bytes:
    """The bytes of the zip; `more` are files to go along, such as the report."""
    whole = cases.get_case(workshop, case_id)
    files = list_files(workshop, shelf, whole) | more
    manifest = {
        "format": FORMAT,
        "case": case_id,
        "workshop": workshop.row().name,
        "made_at": now(),
        "program": __version__,
        "engine": ENGINE_VERSION,
        "entries": len(whole.log),
        "seal": whole.log[-1].chain,
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()},
    }
    return pack_zip({**files, MANIFEST: write_pretty(manifest)})


def unpack_zip(data: bytes) -> dict[str, bytes]:
    """*Refuses* what is no zip, is packed to burst, or names a file twice."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            infos = packed.infolist()
            if len(infos) > MOST_FILES or sum(info.file_size for info in infos) > MOST_BYTES:
                raise BadArchive(
                    [f"it unpacks to more than {MOST_FILES} files or {MOST_BYTES} bytes; it is no case of ours"]
                )
            if len({info.filename for info in infos}) != len(infos):
                raise BadArchive(["a file is in it twice; export the case again"])
            return {info.filename: packed.read(info) for info in infos}
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, OSError, NotImplementedError, RuntimeError, ValueError):
        raise BadArchive(["it is not a whole zip file; copy it again, or export the case again"]) from None
    except zipfile.zlib.error:  # type: ignore[attr-defined]
        raise BadArchive(["it is not a whole zip file; copy it again, or export the case again"]) from None


def read_manifest(files: dict[str, bytes]) -> dict[str, Any]:
    lacking = [name for name in NEEDED if name not in files]
    if lacking:
        raise BadArchive([f"{name}: it is not there; this is no whole case, export it again" for name in lacking])
    try:
        manifest = json.loads(files[MANIFEST])
    except (ValueError, RecursionError):
        manifest = None
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT or not isinstance(manifest.get("files"), dict):
        raise BadArchive([f"{MANIFEST}: it is not of the format {FORMAT}; export the case with this program"])
    return manifest


def list_wrong_files(files: dict[str, bytes], sums: dict[str, Any]) -> Iterator[str]:
    for name in sorted(set(sums) - set(files)):
        yield f"{name}: the manifest names it, but it is not there"
    for name in sorted(set(files) - set(sums) - {MANIFEST}):
        yield f"{name}: it is there, but the manifest does not name it"
    for name in sorted(set(files) & set(sums)):
        if hashlib.sha256(files[name]).hexdigest() != sums[name]:
            yield f"{name}: it was altered, its sum is another than the manifest's"


def is_seal(seal: object) -> bool:
    if not isinstance(seal, dict) or set(seal) != {"id", "salt", "digest", "chain", "received_at"}:
        return False
    texts = [(HEX, seal["chain"]), (MOMENT, seal["received_at"])]
    texts += [(SALT, seal["salt"])] if seal["salt"] is not None else []
    texts += [(HEX, seal["digest"])] if seal["digest"] is not None else []
    return all(isinstance(text, str) and shape.fullmatch(text) for shape, text in texts)


def read_lines(files: dict[str, bytes], name: str) -> list[Any]:
    """*Refuses* lines that are not JSON, each by its number."""
    rows, problems = [], []
    for number, line in enumerate(files[name].decode("utf-8", "replace").splitlines(), 1):
        try:
            rows.append(json.loads(line))
        except (ValueError, RecursionError):
            problems.append(f"{name}, line {number}: it is not JSON")
    if problems:
        raise BadArchive(problems)
    return rows


def read_rows(files: dict[str, bytes]) -> list[Entry]:
    """The entries as rows of a log. *Refuses* what an entry or a seal cannot be; the chain is looked at later."""
    entries, seals = read_lines(files, ENTRIES), read_lines(files, SEALS)
    if not entries or len(entries) != len(seals):
        raise BadArchive(
            [f"{SEALS}: {len(seals)} seals for {len(entries)} entries; there is one an entry, and one at least"]
        )
    rows, problems = [], []
    for place, (entry, seal) in enumerate(zip(entries, seals, strict=True), 1):
        content, wrong = read_entry(entry)
        if wrong or not is_seal(seal) or seal["id"] != entry["id"]:
            problems.append(f"entry {place}: {wrong[0]['text'] if wrong else 'its seal is not one, or is of another entry'}")
            continue
        rows.append(
            Entry(
                id=entry["id"], case_id=entry["case"], device=entry["device"], kind=entry["kind"], content=content,
                position=place, **{name: seal[name] for name in ("salt", "digest", "chain", "received_at")},
            )
        )  # fmt: skip
    if problems:
        raise BadArchive(problems)
    return rows


def read_own(files: dict[str, bytes]) -> dict[str, dict[str, dict]]:
    """It is only ever compared with what is known here, so any JSON object will do."""
    try:
        found = json.loads(files.get(OWN, b"{}"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(isinstance(part, dict) for part in found.values()):
        raise BadArchive([f"{OWN}: it is not a JSON object of limits, weights and instruments; export the case again"])
    return found


def list_wrong_rows(rows: list[Entry], manifest: dict) -> Iterator[str]:
    chain = log.CHAIN_START
    for place, row in enumerate(rows, 1):
        if row.case_id != manifest.get("case"):
            yield f"entry {place}: it belongs to case {row.case_id}, the manifest speaks of another"
        if not log.follows(chain, row):
            yield f"entry {place} ({row.id}): it does not follow from those before it; the log was altered here"
            return
        chain = row.chain
    if (chain, len(rows)) != (manifest.get("seal"), manifest.get("entries")):
        yield f"{MANIFEST}: its seal or its number of entries is not that of the entries; entries are missing or were added"
    if len({row.id for row in rows}) != len(rows):
        yield f"{ENTRIES}: an entry is in it twice"
    false = erasure.find_false_erasure(rows)
    if false:
        yield false


def read_photos(files: dict[str, bytes], rows: list[Entry]) -> tuple[dict[str, bytes], list[str]]:
    """Photos by their sum, and what is wrong with them."""
    spoken = {json.loads(row.content)["body"].get("sha256") for row in rows if row.kind == "photo_added"}
    found, problems = {}, []
    for name, data in ((name, data) for name, data in sorted(files.items()) if name.startswith("photos/")):
        sha256 = hashlib.sha256(data).hexdigest()
        if sha256 not in spoken or name.removeprefix("photos/").partition(".")[0] != sha256:
            problems.append(f"{name}: no entry speaks of a photo with its sum")
        found[sha256] = data
    return found, problems


def read_archive(data: bytes) -> Archive:
    """*Refuses* with BadArchive, each problem by the name of its file or entry."""
    files = unpack_zip(data)
    manifest = read_manifest(files)
    problems = list(list_wrong_files(files, manifest["files"]))
    rows = read_rows(files)
    pictures, wrong = read_photos(files, rows)
    problems += [*list_wrong_rows(rows, manifest), *wrong]
    if problems:
        raise BadArchive(problems)
    return Archive(manifest["case"], rows[-1].chain, rows, pictures, read_own(files))
