"""What other limits would make of cases: before a version is published, and before a case is judged under another one.

Nothing is written here; the entries of a case stay as they are, and so does what was reported from them.
"""

import json
from typing import NamedTuple

from webapp.engine.book import Book
from webapp.engine.judge import judge_folded
from webapp.store.limits import Draft, know_profiles, make_key, open_book_with, pack_profile, profile_of
from webapp.store.models import Case, CaseDocument
from webapp.store.scope import Workshop

UNDER_WORK = ("open", "repaired")
MOST_CASES = 200  # judging takes milliseconds a case; more than these wait for a look at the case itself


class Effects(NamedTuple):
    """`cases` are those that would change, of `tried`; `is_cut` says that there are more than were tried."""

    cases: list[dict]
    tried: int
    is_cut: bool


def judge_under(document: dict, key: str, book: Book, weights: str | None = None) -> dict:
    """The assessment of a folded case under another profile, and other weights where some are named; empty where it cannot
    be judged at all."""
    own = {"profile": key} | ({} if weights is None else {"weights": weights})
    try:
        return judge_folded({**document, "limits": {**document["limits"], **own}}, book)
    except ValueError:
        return {}


def lay_side_by_side(before: dict, after: dict) -> dict:
    """Verdicts, conclusion, first suspect and pump under two sets of limits; every row says whether it `changes`."""
    rows: dict[str, dict] = {}
    for side, assessment in (("before", before), ("after", after)):
        for verdict in assessment.get("verdicts") or []:
            row = rows.setdefault(verdict["reading"], {"name": verdict["name"], "phase": verdict["phase"]})
            row[side] = verdict
    verdicts = [
        {**row, "changes": (row.get("before") or {}).get("verdict") != (row.get("after") or {}).get("verdict")}
        for row in rows.values()
    ]
    sides = [
        ((found.get("conclusion") or {}).get("fault"), (found.get("pump") or {}).get("status")) for found in (before, after)
    ]
    suspects = [next(iter(found.get("suspects") or []), None) for found in (before, after)]
    return {
        "verdicts": verdicts,
        "suspects": suspects,
        "conclusion": (sides[0][0], sides[1][0]),
        "pump": (sides[0][1], sides[1][1]),
        "changes": sides[0] != sides[1] or any(row["changes"] for row in verdicts),
    }


def list_under(workshop: Workshop, profile: str) -> list[tuple[Case, dict, dict]]:
    """Cases under work that name a version of this profile: row, document, assessment; one more than are tried at most."""
    wanted = workshop.select(Case, Case, CaseDocument.document, CaseDocument.assessment).join(
        CaseDocument, (CaseDocument.workshop_id == Case.workshop_id) & (CaseDocument.case_id == Case.id)
    )
    wanted = wanted.where(CaseDocument.workshop_id == workshop.id, Case.state.in_(UNDER_WORK))
    named = wanted.where(CaseDocument.document.contains(f'"profile": "{profile}.', autoescape=True))
    rows = workshop.all(named.order_by(Case.updated_at.desc(), Case.id).limit(MOST_CASES + 1))
    found = [(row, json.loads(document), json.loads(assessment)) for row, document, assessment in rows]
    return [row for row in found if profile_of(row[1]["limits"]["profile"]) == profile]


def list_effects(workshop: Workshop, made: Draft) -> Effects:
    """Which cases under work would come out otherwise if they were judged under a version that is not published yet."""
    packed = pack_profile(made.profile, made.version, made.name, made.kind, made.whole)
    book = open_book_with(workshop, packed)
    found = list_under(workshop, made.profile)
    rows = []
    for row, document, assessment in found[:MOST_CASES]:
        sides = lay_side_by_side(assessment, judge_under(document, packed["id"], book))
        if sides["changes"]:
            rows.append({"row": row, "now": document["limits"]["profile"], **sides})
    return Effects(rows, min(len(found), MOST_CASES), len(found) > MOST_CASES)


def list_behind(workshop: Workshop, profile: str, version: int) -> list[Case]:
    """Cases under work that stand on an earlier version."""
    newest = make_key(profile, version)
    return [row for row, document, _ in list_under(workshop, profile) if document["limits"]["profile"] != newest]


def compare_under(workshop: Workshop, document: dict, assessment: dict, key: str, weights: str | None = None) -> dict:
    """A case as it is judged now beside how a published version, or the library's limits, would judge it."""
    return lay_side_by_side(assessment, judge_under(document, key, know_profiles(workshop).book, weights))
