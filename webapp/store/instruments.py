"""The workshop's own instruments: how well they read, when they were calibrated and when that is due again.

Every change is a new version under a new id (`own-gauge-a.2`), and a reading names the id: what was judged with a figure
stays judged with it. A retired instrument is offered no more, but its readings still know it.
"""

import json
import re
from datetime import date, timedelta
from typing import NamedTuple

from webapp.library.loader import load_catalogue
from webapp.library.schemas import InstrumentRow, find_problems
from webapp.store.models import InstrumentVersion
from webapp.store.moments import now
from webapp.store.refusals import Conflict, NotFound, Refusal
from webapp.store.scope import Workshop

REMIND_DAYS = 30  # judgement
NOT_OWNED = ("tap_timer", "film", "trace", "ear")  # hands, ears and what the phone does itself have no serial number
FIGURES = ("accuracy_full_scale", "full_scale", "accuracy_reading", "resolution")
OVERDUE, SOON, FINE = "overdue", "soon", "fine"


class Draft(NamedTuple):
    """What somebody entered; `like` is the instrument of the catalogue whose quantities and unit it has. Accuracies are
    parts, not per cent."""

    name: str
    serial: str
    like: str
    figures: dict[str, float | None]
    calibrated_on: date
    due_on: date
    note: str
    retired: bool = False


def list_kinds() -> dict[str, dict]:
    """Instruments of the catalogue that a workshop can own one of."""
    return {row["id"]: row for row in load_catalogue()["instruments"] if not row["id"].startswith(NOT_OWNED)}


def make_key(instrument: str, version: int) -> str:
    return f"own-{instrument}.{version}"


def list_versions(workshop: Workshop, instrument: str | None = None) -> list[InstrumentVersion]:
    """The newest first within each instrument."""
    wanted = workshop.select(InstrumentVersion).order_by(InstrumentVersion.instrument, InstrumentVersion.version.desc())
    return workshop.all(wanted if instrument is None else wanted.where(InstrumentVersion.instrument == instrument))


def list_newest(workshop: Workshop) -> list[InstrumentVersion]:
    """Those in use first, then by when they are due."""
    newest: dict[str, InstrumentVersion] = {}
    for row in list_versions(workshop):
        newest.setdefault(row.instrument, row)
    return sorted(newest.values(), key=lambda row: (row.retired, row.due_on, row.name, row.instrument))


def get_newest(workshop: Workshop, instrument: str) -> InstrumentVersion:
    rows = list_versions(workshop, instrument)
    if not rows:
        raise NotFound("There is no such instrument in this workshop. Go back to the instruments.")
    return rows[0]


def pack(key: str, name: str, serial: str, due_on: str, row: str, retired: bool) -> dict:
    """A version as engine and phones take it: the phone shows the name, so what matters in the van stands in it."""
    shown = f"{name}, no. {serial}, calibration due {due_on}"
    return {**json.loads(row), "id": key, "name": shown, "retired": retired}


def pack_all(rows: tuple) -> list[dict]:
    """Rows of (instrument, version, name, serial, due_on, row, retired), each instrument's newest last; those before it are
    known, but offered no more."""
    last = {row[0]: row[1] for row in rows}
    return [
        pack(make_key(instrument, version), name, serial, due, row, retired or version < last[instrument])
        for instrument, version, name, serial, due, row, retired in rows
    ]


def tell_state(row: InstrumentVersion, today: str | None = None) -> str:
    day = today or now()[:10]
    if row.due_on < day:
        return OVERDUE
    return SOON if row.due_on <= (date.fromisoformat(day) + timedelta(days=REMIND_DAYS)).isoformat() else FINE


def list_due(workshop: Workshop, today: str | None = None) -> list[InstrumentVersion]:
    """Instruments in use whose calibration is overdue or soon due."""
    return [row for row in list_newest(workshop) if not row.retired and tell_state(row, today) != FINE]


def make_row(draft: Draft) -> str:
    """The instrument as the catalogue has them. *Refuses* figures that cannot be."""
    kind = list_kinds().get(draft.like)
    if kind is None:
        raise Refusal("not_a_choice", "like", f"{draft.like[:40]!r} is not a kind of instrument; choose one from the list")
    figures = {name: draft.figures.get(name) for name in FIGURES}
    if figures["accuracy_full_scale"] and not figures["full_scale"]:
        raise Refusal("missing", "full_scale", "An accuracy of full scale needs the full scale; write it too.")
    row = {
        **kind, **figures, "id": "own", "name": draft.name, "timing_sd_s": None, "basis": "judgement", "source": None,
        "note": draft.note or f"Like: {kind['name'].lower()}.",
    }  # fmt: skip
    for field, text in find_problems(InstrumentRow, row, False):
        raise Refusal("not_accepted", field, text)
    return json.dumps({**row, "like": draft.like}, sort_keys=True)


def check(draft: Draft) -> None:
    if draft.due_on <= draft.calibrated_on:
        raise Refusal("impossible_value", "due_on", f"{draft.due_on} is not after the calibration on {draft.calibrated_on}.")
    if draft.calibrated_on.isoformat() > now()[:10]:
        raise Refusal(
            "impossible_value", "calibrated_on", f"{draft.calibrated_on} lies in the future; write the day it was done."
        )


def keep(workshop: Workshop, instrument: str, version: int, draft: Draft, person_id: str) -> InstrumentVersion:
    row = InstrumentVersion(
        instrument=instrument, version=version, name=draft.name, serial=draft.serial, row=make_row(draft),
        calibrated_on=draft.calibrated_on.isoformat(), due_on=draft.due_on.isoformat(), retired=draft.retired,
        by=person_id, at=now(),
    )  # fmt: skip
    workshop.add(row)
    workshop.session.flush()
    return row


def make_slug(workshop: Workshop, name: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:24].strip("-") or "instrument"
    taken = {row.instrument for row in list_versions(workshop)}
    return next(slug for slug in (plain, *(f"{plain}-{n}" for n in range(2, 10_000))) if slug not in taken)


def add(workshop: Workshop, draft: Draft, person_id: str) -> InstrumentVersion:
    """*Refuses* a serial number that another instrument in use has."""
    workshop.lock()
    check(draft)
    same = [row for row in list_newest(workshop) if row.serial == draft.serial and not row.retired]
    if same:
        raise Refusal("taken", "serial", f"{draft.serial} is the number of {same[0].name}; open that one to change it.")
    return keep(workshop, make_slug(workshop, draft.name), 1, draft, person_id)


def change(workshop: Workshop, instrument: str, seen: int, draft: Draft, person_id: str) -> InstrumentVersion:
    """The next version. *Refuses* when another one was made since version `seen`."""
    workshop.lock()
    newest = get_newest(workshop, instrument)
    if newest.version != seen:
        raise Conflict("stale", "name", "Somebody changed this instrument meanwhile; look at it again.")
    check(draft)
    return keep(workshop, instrument, seen + 1, draft, person_id)


def find_overdue(workshop: Workshop, readings: list[dict]) -> list[dict]:
    """Readings of a case taken with an own instrument on a day on which no calibration of it held: rows of quantity, name
    and the day it had been due. Days are those of the phone's clock."""
    named = {str(row.get("instrument")) for row in readings}
    if not any(name.startswith("own-") for name in named):
        return []
    versions = list_versions(workshop)
    by_key = {make_key(row.instrument, row.version): row for row in versions}
    rows = []
    for reading in readings:
        used, day = by_key.get(str(reading.get("instrument"))), str(reading.get("at"))[:10]
        if used is None:
            continue
        mine = [row for row in versions if row.instrument == used.instrument and row.calibrated_on <= day]
        due = max((row.due_on for row in mine), default=None)
        if due is None or due < day:
            rows.append({"quantity": reading["quantity"], "name": used.name, "serial": used.serial, "due_on": due})
    return rows
