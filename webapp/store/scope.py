"""The one door to a workshop's rows: every query starts here and is held to one workshop.

Functions of people, devices, cases and photos take a `Workshop` and build on its methods; pages and the phone's API
are handed one by `webapp.access` and have no other way in. Finding out *which* workshop (a token, a sign-in, a
pairing) is the only query without one. `store.fence` refuses whatever comes by another way.
"""

import secrets
import time
from typing import Any

from sqlalchemy import Delete, Select, delete, select
from sqlalchemy.orm import Session

from webapp.store.fence import across, open_door
from webapp.store.models import WorkshopRow
from webapp.store.moments import now


def new_id() -> str:
    """A uuid7: milliseconds first, so that ids sort by age, then 74 random bits."""
    value = (time.time_ns() // 1_000_000) << 80 | 7 << 76 | secrets.randbits(12) << 64 | 2 << 62 | secrets.randbits(62)
    text = f"{value:032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


class Workshop:
    """One workshop within one session."""

    def __init__(self, session: Session, workshop_id: str):
        self.session = session
        self.id = workshop_id
        open_door(session, workshop_id)

    def select(self, model: Any, *columns: Any) -> Select:
        return select(*(columns or (model,))).where(model.workshop_id == self.id)

    def delete(self, model: Any) -> Delete:
        return delete(model).where(model.workshop_id == self.id)

    def all(self, statement: Select) -> list:
        """Rows of a statement begun with `select`: objects when it asked for a model, else tuples."""
        rows = self.session.execute(statement).all()
        return [row[0] if len(row) == 1 else row for row in rows]

    def first(self, statement: Select) -> Any:
        """The first row, or None."""
        return next(iter(self.all(statement.limit(1))), None)

    def add(self, row: Any) -> Any:
        row.workshop_id = self.id
        self.session.add(row)
        return row

    def add_many(self, model: Any, rows: list[dict]) -> None:
        if rows:
            self.session.execute(model.__table__.insert(), [{**row, "workshop_id": self.id} for row in rows])

    def run(self, statement: Delete) -> None:
        self.session.execute(statement)

    def row(self) -> WorkshopRow:
        return self.session.execute(select(WorkshopRow).where(WorkshopRow.id == self.id)).scalar_one()

    def lock(self) -> WorkshopRow:
        """The workshop's own row, locked until the commit: writers of one workshop queue up, so feed numbers become
        visible in their order and a reader's cursor can never step over one that commits late."""
        mine = select(WorkshopRow).where(WorkshopRow.id == self.id).with_for_update()
        return self.session.execute(mine.execution_options(populate_existing=True)).scalar_one()


def add_workshop(session: Session, name: str) -> Workshop:
    row = WorkshopRow(id=new_id(), name=name, last_feed=0, created_at=now())
    session.add(row)
    session.flush()
    return Workshop(session, row.id)


def find_workshop(session: Session, name: str) -> Workshop | None:
    """By its name; used by the command line only."""
    found = session.execute(across(select(WorkshopRow.id).where(WorkshopRow.name == name), "by name")).scalar()
    return Workshop(session, found) if found else None


def list_workshops(session: Session) -> list[Workshop]:
    """All of them; used by the command line only."""
    return [Workshop(session, found) for found in session.execute(across(select(WorkshopRow.id), "all")).scalars()]
