"""What the list of cases may be narrowed to; every part can stand beside every other."""

from typing import NamedTuple

from sqlalchemy import ColumnElement

from webapp.store.models import Case

NEEDS_REVIEW = "needs_review"


class Wanted(NamedTuple):
    """`person` has the job; `since` and `until` are days of the last change, both included; `photos`: some are still on a
    phone; `questions`: some have no answer; `merged`: duplicates are listed as well."""

    person: str | None = None
    fault: str | None = None
    pump: str | None = None
    complaint: str | None = None
    since: str | None = None
    until: str | None = None
    photos: bool = False
    questions: bool = False
    merged: bool = False


ANYTHING = Wanted()


def list_claims(state: str | None, wanted: Wanted) -> list[ColumnElement]:
    """What a row of `cases` must fulfil."""
    claims = [getattr(Case, name) == value for name, value in wanted._asdict().items() if name in EQUAL and value]
    if state:
        claims.append(Case.needs_review.is_(True) if state == NEEDS_REVIEW else Case.state == state)
    if wanted.complaint:
        claims.append(Case.complaints.contains(f" {wanted.complaint} ", autoescape=True))
    if wanted.since:
        claims.append(Case.updated_at >= wanted.since)
    if wanted.until:
        claims.append(Case.updated_at < f"{wanted.until}T~")  # after every hour of that day
    claims += [Case.photos_missing > 0] if wanted.photos else []
    claims += [Case.questions > 0] if wanted.questions else []
    return claims if wanted.merged else [*claims, Case.merged_into.is_(None)]


EQUAL = ("person", "fault", "pump")
