"""The workshop's own limits over the library's: profiles for the whole workshop, an engine family or one vehicle.

Every published version is a row that never changes, and a case names profile and version in one (`vans-2l.3`): what was
reported stays as it was, whatever is published later. A profile builds on the newest version of its base (or on the
library) at the moment it is published, and keeps all that held then.
"""

import hashlib
import json
import re
from functools import lru_cache
from typing import NamedTuple

from webapp.engine.book import Book
from webapp.engine.limits import plain_limit
from webapp.engine.verdicts import write_limit
from webapp.library.loader import load_catalogue
from webapp.library.references import check_limit
from webapp.library.schemas import LimitRow, find_problems
from webapp.store import instruments, judging
from webapp.store.models import InstrumentVersion, LimitVersion, WeightVersion
from webapp.store.moments import now
from webapp.store.refusals import Conflict, NotFound, Refusal
from webapp.store.scope import Workshop

LIBRARY = "generic"
KINDS = ("workshop", "family", "vehicle")  # from the most general to the most special: a base is more general
BOUNDS = ("low", "high", "good", "ratio_high", "rate_high", "spread_high")
LONGEST_NAME = 80


class Draft(NamedTuple):
    """What would be published: `own` and `whole` are rows by quantity, `base` the key of what it builds on."""

    profile: str
    version: int
    name: str
    kind: str
    base: str
    own: dict[str, dict]
    whole: dict[str, dict]


class Known(NamedTuple):
    """What the workshop has of its own as engine and phones take it, and the mark by which a phone tells that it is new."""

    profiles: list[dict]
    weights: list[dict]
    instruments: list[dict]
    mark: str
    book: Book


def library_profile() -> dict:
    return next(row for row in load_catalogue()["profiles"] if row["id"] == LIBRARY)


def library_limits() -> dict[str, dict]:
    return {row["quantity"]: row for row in library_profile()["limits"]}


def quantities() -> dict[str, dict]:
    return {row["id"]: row for row in load_catalogue()["quantities"]}


def make_key(profile: str, version: int) -> str:
    return f"{profile}.{version}"


def make_weights_key(version: int) -> str:
    return f"learnt.{version}"


def profile_of(key: str | None) -> str:
    """The profile that a case's choice names, without its version."""
    return (key or LIBRARY).partition(".")[0]


def list_versions(workshop: Workshop, profile: str | None = None) -> list[LimitVersion]:
    """The newest first within each profile."""
    wanted = workshop.select(LimitVersion).order_by(LimitVersion.profile, LimitVersion.version.desc())
    return workshop.all(wanted if profile is None else wanted.where(LimitVersion.profile == profile))


def list_newest(workshop: Workshop) -> list[LimitVersion]:
    newest: dict[str, LimitVersion] = {}
    for row in list_versions(workshop):
        newest.setdefault(row.profile, row)
    return sorted(newest.values(), key=lambda row: (KINDS.index(row.kind), row.name.lower(), row.profile))


def get_version(workshop: Workshop, profile: str, version: int | None = None) -> LimitVersion:
    """One version, the newest when none is named."""
    rows = [row for row in list_versions(workshop, profile) if version in (None, row.version)]
    if not rows:
        raise NotFound("There is no such profile or version in this workshop. Go back to the limits.")
    return rows[0]


def read_whole(row: LimitVersion) -> dict[str, dict]:
    """All limits of a version, by quantity; a quantity that the library has learnt since is taken from it."""
    return library_limits() | json.loads(row.whole)


def pack_profile(profile: str, version: int, name: str, kind: str, whole: dict[str, dict]) -> dict:
    """A version as engine and phones take it: only the rows in which it differs from the library's."""
    library = library_profile()
    own = [whole[name_] for name_ in whole if whole[name_] != library_limits().get(name_)]
    rest = {key: library[key] for key in ("rule", "confidence", "pump_probability", "intrusion_minutes")}
    key = make_key(profile, version)
    return {
        "id": key,
        "profile": profile,
        "version": version,
        "name": name,
        "kind": kind,
        "base": LIBRARY,
        "limits": own,
        **rest,
    }


def pack_weights(version: int, weights: str) -> dict:
    """Weights of the faults (`store.weights`) as engine and phones take them."""
    return {"id": make_weights_key(version), "weights": json.loads(weights)}


@lru_cache(maxsize=64)
def know(limit_rows: tuple, weight_rows: tuple, instrument_rows: tuple) -> Known:
    """Versions never change, so what is made of them is kept for as long as there are no others."""
    profiles = [
        pack_profile(profile, version, name, kind, json.loads(whole)) for profile, version, name, kind, whole in limit_rows
    ]
    own = profiles, [pack_weights(*row) for row in weight_rows], instruments.pack_all(instrument_rows)
    mark = hashlib.sha256(json.dumps(own, sort_keys=True).encode()).hexdigest()[:16] if any(own) else ""
    return Known(*own, mark, judging.book_with(*own))


def read_versions(workshop: Workshop, model: type, columns: tuple, *order) -> tuple:
    return tuple(tuple(row) for row in workshop.all(workshop.select(model, *columns).order_by(*order)))


def know_profiles(workshop: Workshop) -> Known:
    row, weight, tool = LimitVersion, WeightVersion, InstrumentVersion
    return know(
        read_versions(workshop, row, (row.profile, row.version, row.name, row.kind, row.whole), row.profile, row.version),
        read_versions(workshop, weight, (weight.version, weight.weights), weight.version),
        read_versions(
            workshop, tool, (tool.instrument, tool.version, tool.name, tool.serial, tool.due_on, tool.row, tool.retired),
            tool.instrument, tool.version,
        ),
    )  # fmt: skip


def open_book_with(workshop: Workshop, profile: dict) -> Book:
    """The workshop's book with one profile more, which is not published yet."""
    known = know_profiles(workshop)
    return judging.book_with([*known.profiles, profile], known.weights, known.instruments)


def find_usual(workshop: Workshop) -> dict[str, str]:
    """What a new case is judged by unless somebody chooses, as the body of a `limits_set`: the newest limits for all the
    workshop's work and the newest weights, each where there are any. Phones do the same in `screens/new-case.js`."""
    known = know_profiles(workshop)
    ours = {row["profile"]: row["id"] for row in known.profiles if row["kind"] == "workshop"}
    first = [{"profile": key} for key in ours.values()][:1]
    return {**(first[0] if first else {}), **({"weights": known.weights[-1]["id"]} if known.weights else {})}


def open_workshop_book(workshop: Workshop) -> Book:
    """The book under which this workshop's cases are judged: the library's, and every version of its own profiles."""
    return know_profiles(workshop).book


def tell_phone(workshop: Workshop, mark: str | None) -> dict | None:
    """What a phone that holds `mark` has to learn; None when that is nothing, or when it knows of no such thing."""
    known = know_profiles(workshop)
    if mark is None or mark == known.mark:
        return None
    return {"mark": known.mark, "profiles": known.profiles, "weights": known.weights, "instruments": known.instruments}


def write_words(row: dict) -> str:
    return write_limit(plain_limit(row, None, None), quantities()[row["quantity"]])


def list_flaws(row: dict) -> list[tuple[str, str]]:
    """(field, text) of everything wrong with one limit."""
    flaws = find_problems(LimitRow, row, False)
    if flaws or row["quantity"] not in quantities():
        return flaws or [("quantity", f"{row['quantity']!r} is not a quantity known here; take one from an export")]
    return [(flaw.field, flaw.text) for flaw in check_limit("", "", row, quantities())]


def check_changes(changes: object) -> dict[str, dict | None]:
    """Changes by quantity, None for back to the base. *Refuses* what is not sound, naming quantity and field."""
    if not isinstance(changes, dict):
        raise Refusal("not_an_object", "changes", "changes: these are no changes of limits; go back and enter them anew")
    for name, row in changes.items():
        if name not in quantities() or not (row is None or (isinstance(row, dict) and row.get("quantity") == name)):
            raise Refusal("not_accepted", "changes", f"changes: {name[:40]!r} is not a limit known here; enter it anew")
        for field, text in list_flaws(row) if row else []:
            raise Refusal("not_accepted", f"{name}.{field}", f"{name}, {field}: {text}")
    return changes


def find_base(workshop: Workshop, base: str) -> tuple[str, dict[str, dict]]:
    """Key and limits of what a profile builds on, in its newest version."""
    if base == LIBRARY:
        return LIBRARY, library_limits()
    row = get_version(workshop, base)
    return make_key(row.profile, row.version), read_whole(row)


def draft(workshop: Workshop, newest: LimitVersion, changes: dict[str, dict | None]) -> Draft:
    own = {name: row for name, row in (json.loads(newest.own) | changes).items() if row is not None}
    base, limits = find_base(workshop, profile_of(newest.base))
    return Draft(newest.profile, newest.version + 1, newest.name, newest.kind, base, own, limits | own)


def list_changed(before: dict[str, dict], after: dict[str, dict]) -> list[dict]:
    """Rows of quantity, name, before and after in words, for every limit that is not the same, its source included."""
    names = quantities()
    return [
        {
            "quantity": name,
            "name": names[name]["name"],
            "before": write_words(before[name]),
            "after": write_words(after[name]),
            "only_source": all(before[name][key] == after[name][key] for key in BOUNDS),
            "row": after[name],
        }
        for name in names
        if name in before and name in after and before[name] != after[name]
    ]


def list_published_since(workshop: Workshop, profile: str, seen: int) -> list[LimitVersion]:
    """Versions that an editor who began at version `seen` does not know, the newest first."""
    return [row for row in list_versions(workshop, profile) if row.version > seen]


def sign_changes(changes: dict[str, dict | None], by: str) -> dict[str, dict | None]:
    """Who answers for each limit, and since when, where the change does not say so itself."""
    day = now()[:10]
    return {
        name: row and {**row, "checked_on": row["checked_on"] or day, "checked_by": row["checked_by"] or by}
        for name, row in changes.items()
    }


def keep(workshop: Workshop, made: Draft, note: str, person_id: str) -> LimitVersion:
    row = workshop.add(
        LimitVersion(
            profile=made.profile, version=made.version, name=made.name, kind=made.kind, base=made.base, note=note,
            own=json.dumps(made.own, sort_keys=True), whole=json.dumps(made.whole, sort_keys=True), by=person_id, at=now(),
        )
    )  # fmt: skip
    workshop.session.flush()
    return row


def make_slug(workshop: Workshop, name: str) -> str:
    """An id that people can read, taken by no other profile."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:30].strip("-") or "limits"
    taken = {LIBRARY, *(row.profile for row in list_versions(workshop))}
    return next(slug for slug in (plain, *(f"{plain}-{n}" for n in range(2, 10_000))) if slug not in taken)


def add_profile(workshop: Workshop, name: str, kind: str, base: str, person_id: str) -> LimitVersion:
    """The first version: as its base. *Refuses* a base that is not more general, and a name that is there already."""
    workshop.lock()
    rows = list_newest(workshop)
    if name.lower() in [row.name.lower() for row in rows]:
        raise Conflict("taken", "name", f"{name}: there is a profile of this name; open it, or choose another name")
    of_base = next((row.kind for row in rows if row.profile == base), None)
    if base != LIBRARY and (of_base is None or KINDS.index(of_base) >= KINDS.index(kind)):
        raise Refusal("not_a_base", "base", "Choose a more general base: a vehicle builds on a family, that on a workshop.")
    key, limits = find_base(workshop, base)
    made = Draft(make_slug(workshop, name), 1, name, kind, key, {}, limits)
    return keep(workshop, made, "Begun", person_id)


def publish(
    workshop: Workshop, profile: str, seen: int, changes: dict[str, dict | None], note: str, person_id: str, by: str
) -> LimitVersion:
    """Publish the next version. *Refuses* with Conflict when another was published since version `seen`, which the editor
    knew, and what would change nothing."""
    workshop.lock()
    newest = get_version(workshop, profile)
    if newest.version != seen:
        raise Conflict("stale", "seen", f"Version {newest.version} was published meanwhile; look at it first.")
    made = draft(workshop, newest, sign_changes(check_changes(changes), by))
    if made.whole == read_whole(newest) and made.own == json.loads(newest.own):
        raise Refusal("nothing_changed", "changes", "This changes nothing. Enter a limit that differs from the one in use.")
    return keep(workshop, made, note, person_id)
