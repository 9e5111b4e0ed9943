"""The fence around each workshop's rows: a session refuses every statement and every write that is not held to a
workshop whose door was opened in it. A forgotten condition is then a failure in the first test, not a leak.

A statement is held when each table of a workshop that it mentions is compared with that workshop's id in the same SELECT,
UPDATE or DELETE, or with the workshop of another table that is. The few statements that find out *which* workshop it is
say so with `across`.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Delete, Insert, Select, TextClause, Update, event, inspect
from sqlalchemy.orm import ORMExecuteState, Session
from sqlalchemy.sql import operators
from sqlalchemy.sql.elements import BinaryExpression, BindParameter, BooleanClauseList, ColumnClause
from sqlalchemy.sql.selectable import Alias, FromClause

from webapp.store.models import Base, WorkshopRow

OWNER = {name: "workshop_id" for name, table in Base.metadata.tables.items() if "workshop_id" in table.columns}
OWNER |= {WorkshopRow.__tablename__: "id"}
WITHOUT_WORKSHOP = "across_workshops"


class OverTheFence(AssertionError):
    """Our bug: a statement or a write could reach another workshop's rows."""


def across(statement: Any, why: str) -> Any:
    """Let a statement look into all workshops; `why` is for the reader."""
    return statement.execution_options(**{WITHOUT_WORKSHOP: why})


def open_door(session: Session, workshop_id: str) -> None:
    session.info.setdefault("workshops", set()).add(workshop_id)


def opened(session: Session) -> set[str]:
    return session.info.get("workshops", set())


class FencedSession(Session):
    """The only kind of session that the server opens."""


@event.listens_for(FencedSession, "do_orm_execute")
def refuse_loose_statement(state: ORMExecuteState) -> None:
    if state.is_column_load or state.is_relationship_load or WITHOUT_WORKSHOP in state.execution_options:
        return
    loose = set(list_loose(state.statement, opened(state.session), state.parameters))
    if loose:
        raise OverTheFence(f"a statement reaches {', '.join(sorted(loose))} of every workshop")


@event.listens_for(FencedSession, "before_flush")
def refuse_loose_write(session: Session, _context, _instances) -> None:
    for row in [*session.dirty, *session.deleted, *session.new]:
        owner = OWNER.get(row.__tablename__)
        is_new_workshop = isinstance(row, WorkshopRow) and row in session.new
        if owner is None or is_new_workshop:
            continue
        was = inspect(row).attrs[owner].history.deleted or []
        if not {getattr(row, owner), *was} <= opened(session):
            raise OverTheFence(f"a row of {row.__tablename__} is written for a workshop whose door was not opened")


def list_loose(statement: Any, workshops: set[str], parameters: Any = None) -> Iterator[str]:
    """Names of the tables that a statement reaches unheld."""
    if isinstance(statement, TextClause):
        yield from (name for name in OWNER if name in statement.text)
    elif isinstance(statement, Insert):
        yield from list_loose_rows(statement, workshops, parameters)
    else:
        yield from list_loose_parts(statement, workshops, frozenset())


def list_loose_rows(statement: Insert, workshops: set[str], parameters: Any) -> Iterator[str]:
    owner = OWNER.get(statement.table.name)
    rows = parameters if isinstance(parameters, list) else [parameters or {}]
    values = getattr(statement, "_values", None) or {}
    given = {getattr(column, "name", column): bound.value for column, bound in values.items()}
    if owner and not {({**given, **row}).get(owner) for row in rows} <= workshops:
        yield statement.table.name


def list_loose_parts(statement: Any, workshops: set[str], held: frozenset[str]) -> Iterator[str]:
    """Walk one SELECT, UPDATE or DELETE; those inside it also see the tables that are held around them."""
    mentioned, inner = gather_parts(statement)
    if isinstance(statement, Select | Update | Delete):
        held = held | list_held(list_conditions(statement), workshops, held)
    yield from (mentioned[name] for name in mentioned.keys() - held)
    for part in inner:
        yield from list_loose_parts(part, workshops, held)


def gather_parts(statement: Any) -> tuple[dict[str, str], list]:
    """Tables of workshops that a statement itself mentions (name here: name of the table), and statements inside it."""
    mentioned: dict[str, str] = {}
    inner, waiting = [], [*statement.get_children(), *([statement.table] if isinstance(statement, Update | Delete) else [])]
    while waiting:
        part = waiting.pop()
        source = part.table if isinstance(part, ColumnClause) else part
        if isinstance(part, Select):
            inner.append(part)
        elif isinstance(source, FromClause) and origin(source) in OWNER:
            mentioned[source.name] = origin(source)  # type: ignore[union-attr]
        else:
            waiting += part.get_children()
    return mentioned, inner


def origin(source: FromClause) -> str:
    """The table that a name in a statement stands for; empty for what is none."""
    table = source.element if isinstance(source, Alias) else source
    return getattr(table, "name", "") if table.__visit_name__ == "table" else ""


def list_conditions(statement: Any) -> Iterator[BinaryExpression]:
    """The comparisons that all have to hold."""
    joins = [(on, flags) for _, on, _, flags in getattr(statement, "_setup_joins", ())]
    waiting = [*statement._where_criteria, *(on for on, flags in joins if not (flags["isouter"] or flags["full"]))]
    while waiting:
        part = waiting.pop()
        if isinstance(part, BooleanClauseList) and part.operator is operators.and_:
            waiting += part.clauses
        elif isinstance(part, BinaryExpression) and part.operator is operators.eq:
            yield part


def list_held(conditions: Iterator[BinaryExpression], workshops: set[str], held: frozenset[str]) -> frozenset[str]:
    """Names held to one of the workshops, directly or through another table."""
    sides = [(side(part.left), side(part.right)) for part in conditions]
    bound = [(left, right.value) for left, right in sides if isinstance(left, str) and isinstance(right, BindParameter)]
    found = {left for left, value in bound if value in workshops}
    pairs = [(left, right) for left, right in sides if isinstance(left, str) and isinstance(right, str)]
    for left, right in pairs + pairs[::-1]:
        if {left, right} & (found | held):
            found |= {left, right}
    return frozenset(found)


def side(part: Any) -> Any:
    """A column that names the owner as the name of its table; anything else as it is."""
    is_owner = isinstance(part, ColumnClause) and part.table is not None and part.name == OWNER.get(origin(part.table))
    return part.table.name if is_owner else part
