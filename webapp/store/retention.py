"""How long a workshop keeps whose vehicle it was: finished cases that rest longer than its months are erased (`erasure`).

Nothing happens by itself: the office looks at what is due, and a timer of the host runs `railcase retention --apply`.
"""

from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from typing import NamedTuple

from webapp.store import erasure, log, projection
from webapp.store.db import Database
from webapp.store.models import Case, Entry
from webapp.store.moments import now, read_moment, write_moment
from webapp.store.refusals import Conflict, NotFound, Refusal
from webapp.store.scope import Workshop, list_workshops

FINISHED = ("concluded", "repaired", "confirmed")
MOST_MONTHS = 240
MOST_SHOWN = 500


class Due(NamedTuple):
    """`resting` cases are over their months, of `late` ones something came in after they were erased."""

    resting: list[Case]
    late: list[Case]
    is_cut: bool

    @property
    def cases(self) -> list[Case]:
        return [*self.resting, *self.late]


def step_back(moment: datetime, months: int) -> datetime:
    """The same day so many months ago, or that month's 28th where it is past that: no month lacks it."""
    count = moment.year * 12 + moment.month - 1 - months
    return moment.replace(year=count // 12, month=count % 12 + 1, day=min(moment.day, 28))


def set_months(workshop: Workshop, months: int | None) -> None:
    """*Refuses* what is no whole number of months within reach; None keeps cases for good."""
    if months is not None and not 1 <= months <= MOST_MONTHS:
        raise Refusal("not_accepted", "months", f"months: {months} cannot be; give 1 to {MOST_MONTHS}, or nothing to keep")
    workshop.lock().retention_months = months


def walk_resting(workshop: Workshop, end: str) -> Iterator[Case]:
    """Finished cases last changed before `end` that tell something personal, the oldest first. Those whose last word is
    their erasure are passed over unread."""
    erased = workshop.select(Entry, Entry.id).where(
        Entry.case_id == Case.id, Entry.kind == log.ERASURE, Entry.position == Case.entries
    )
    is_finished = Case.state.in_(FINISHED) | Case.merged_into.is_not(None)  # a duplicate is done with, whatever its state
    wanted = workshop.select(Case).where(is_finished, Case.updated_at < end, ~erased.exists())
    for row in workshop.all(wanted.order_by(Case.updated_at, Case.id)):
        if erasure.list_dirty(log.read_rows(workshop, row.id)):
            yield row


def list_due(workshop: Workshop, months: int | None, moment: str | None = None) -> Due:
    """Cases from which something personal would be erased now if the setting were `months`."""
    found: list[Case] = []
    if months is not None:
        end = write_moment(step_back(read_moment(moment or now()), months))
        found = list(islice(walk_resting(workshop, end), MOST_SHOWN + 1))
    late = workshop.all(workshop.select(Case).where(Case.id.in_(erasure.list_late(workshop))))
    return Due(found[:MOST_SHOWN], [row for row in late if row not in found], len(found) > MOST_SHOWN)


def write_reason(months: int | None, is_late: bool) -> str:
    if is_late:
        return "Came in after the case was erased."
    return f"The workshop keeps finished cases for {months} {'month' if months == 1 else 'months'}."


def apply(database: Database, workshop_id: str, person_id: str = erasure.BY_TIMER) -> int:
    """Erase what is due, each case in a transaction of its own, then their photos; return how many cases."""
    projection.catch_up(database, workshop_id, limit_s=60.0)
    done, is_cut = 0, True
    while is_cut:
        with database.reading() as session:
            workshop = Workshop(session, workshop_id)
            months = workshop.row().retention_months
            due = list_due(workshop, months)
        now_done = sum(
            erase_one(database, workshop_id, row.id, person_id, write_reason(months, row in due.late)) for row in due.cases
        )
        done, is_cut = done + now_done, due.is_cut and now_done > 0
    erasure.drop_photos(database, workshop_id)
    return done


def keep_to(database: Database, name: str | None, is_meant: bool) -> Iterator[str]:
    """For the command: erase in the workshop of that name, or in all; unless it `is_meant`, only say what would be."""
    with database.reading() as session:
        rows = [(one, one.row()) for one in list_workshops(session) if name in (None, one.row().name)]
        months = [(row.id, row.name, row.retention_months) for _, row in rows]
        due = {one.id: len(list_due(one, row.retention_months).cases) for one, row in rows}
    if name and not rows:
        raise NotFound(f"workshop: there is none of the name {name[:60]!r}")
    for workshop_id, title, kept in months:
        words = f"kept for {kept} {'month' if kept == 1 else 'months'}" if kept else "kept for good"
        done = f"{apply(database, workshop_id)} erased" if is_meant else f"{due[workshop_id]} would be erased with --apply"
        yield f"{title}: finished cases are {words}; {done}."


def erase_one(database: Database, workshop_id: str, case_id: str, person_id: str, reason: str) -> bool:
    """False when somebody else was faster."""
    try:
        with database.writing() as session:
            erasure.erase_case(Workshop(session, workshop_id), case_id, person_id, reason)
    except Conflict:
        return False
    return True
